"""The order of golfers in every list and picture: the worst first."""

import polars as pl

_WORST = {"ranked_lost_yd": True, "lost_yd": True, "golfer": False}  # whether a column falls


def worst_first(golfers: pl.DataFrame) -> pl.DataFrame:
    """Sort rows of `Golfers` by yards lost with luck taken out, most first; equals by yards lost, then by pseudonym.

    Where too few golfers are there to separate luck, nobody has that figure, and yards lost stand in.
    """
    return golfers.sort(list(_WORST), descending=list(_WORST.values()), nulls_last=True)


def newest_and_worst_first(golfers: pl.DataFrame) -> pl.DataFrame:
    """Sort rows of `Golfers`: the newest quarter first, in it the flagged before the others, each the worst first."""
    by = {"quarter": True, "flagged": True, **_WORST}
    return golfers.sort(list(by), descending=list(by.values()), nulls_last=True)


def flagged_of(golfers: pl.DataFrame, quarter: str) -> pl.DataFrame:
    """Give the flagged golfers of a quarter, the worst first."""
    return worst_first(golfers.filter((pl.col("quarter") == quarter) & pl.col("flagged")))


def newest_flagged(golfers: pl.DataFrame) -> pl.DataFrame:
    """Give the flagged golfers of the newest quarter, the worst first; nobody of an empty table."""
    return flagged_of(golfers, str(golfers.get_column("quarter").max()))
