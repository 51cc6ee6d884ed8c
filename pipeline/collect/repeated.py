"""Results by hand that are there twice (pure: touches no file)."""

import polars as pl

# As those of drives, in `load_shots`: half a step of each export's rounding.
SAME_BY_HAND = {"club_speed_mph": 0.25, "carry_yd": 1.1}
_DECIMALS = 2


def repeated(rows: pl.DataFrame) -> pl.DataFrame:
    """Find the rows that an earlier row holds.

    Where a log's clock counts seconds, as that of drives does, a golfer hits once in one: another row of the same
    second with like figures is a duplicate. Most results by hand have the day alone. A log shows that where one second
    of a golfer holds unlike rows. Then rows of one log are as many drives, be they equal, and only another log can
    repeat them: each of its rows stands for one row with the same figures, to the hundredth.

    Parameters
    ----------
    rows : DataFrame
        source, row, shot_key (the same for a golfer's second), club_speed_mph and carry_yd.

    Returns
    -------
    DataFrame
        source and row of each duplicate, and `earlier`, the source that holds it already; by source and row.
    """
    figures = list(SAME_BY_HAND)
    spread = [(pl.col(name).max() - pl.col(name).min() > apart) for name, apart in SAME_BY_HAND.items()]
    second = rows.group_by("source", "shot_key").agg(pl.any_horizontal(spread).alias("unlike"))
    days_alone = second.group_by("source").agg(pl.col("unlike").any().alias("days_alone"))
    told = rows.join(days_alone, on="source").sort("source", "row")
    alike = ["shot_key", *(f"{name}_rounded" for name in figures)]
    told = told.with_columns(pl.col(name).round(_DECIMALS).alias(f"{name}_rounded") for name in figures)
    told = told.with_columns(nth=pl.int_range(pl.len()).over("source", *alike))
    pairs = told.join(told, on="shot_key", suffix="_first").filter(
        (pl.col("source_first") < pl.col("source"))
        | ((pl.col("source_first") == pl.col("source")) & (pl.col("row_first") < pl.col("row")))
    )
    near = [(pl.col(name) - pl.col(f"{name}_first")).abs() <= apart for name, apart in SAME_BY_HAND.items()]
    same = [pl.col(name) == pl.col(f"{name}_first") for name in (*alike[1:], "nth")]
    by_row = pl.all_horizontal(*same, pl.col("source_first") < pl.col("source"))
    either = pl.col("days_alone") | pl.col("days_alone_first")
    found = pairs.filter(pl.when(either).then(by_row).otherwise(pl.all_horizontal(near)))
    return found.group_by("source", "row").agg(pl.col("source_first").min().alias("earlier")).sort("source", "row")
