"""What moved since the quarter before: who is newly flagged, still flagged, flagged no longer."""

import dataframely as dy
import polars as pl

from pipeline.report.display import Item, ShownTable, show
from pipeline.tables.golfers import MOVEMENTS, Changes, Golfers

# Told in this order, with the page's words; `clear` is a golfer who was flagged in neither quarter.
WORDS = {"new": "new", "no_longer": "no longer", "still": "still", "clear": "not flagged"}
SHOWN: tuple[Item, ...] = (
    "golfer",
    "movement",
    "since",
    "shots_before",
    "shots",
    "club_speed_change_mph",
    "carry_change_yd",
    "lost_change_yd",
    ("lost_change_lo90_yd", "lost_change_hi90_yd"),
    "chance_change_yd",
    "more_than_chance",
)


def count_movement(changes: dy.DataFrame[Changes], golfers: dy.DataFrame[Golfers], quarter: str) -> dict[str, int]:
    """Count a quarter's movements.

    Parameters
    ----------
    changes : DataFrame
        All quarters.
    golfers : DataFrame
        All quarters.
    quarter : str
        Such as 2026Q3.

    Returns
    -------
    dict
        `compared` golfers; for each movement how many, and as `<movement>_sure` how many of those changed by more
        than chance; `first`, the flagged without an earlier assessed quarter; `unseen`, the golfers flagged in their
        last assessed quarter who are not assessed in this one.
    """
    here = changes.filter(pl.col("quarter") == quarter).with_columns(pl.col("movement").cast(pl.String))
    counts: dict[str, int] = {}
    for movement in MOVEMENTS:
        some = here.filter(pl.col("movement") == movement)
        counts |= {movement: some.height, f"{movement}_sure": int(some["more_than_chance"].sum())}
    here = here.filter(pl.col("movement").is_in(list(WORDS)))
    counts["compared"] = here.height
    assessed = golfers.filter(pl.col("status").cast(pl.String) != "not_assessed")
    now = assessed.filter(pl.col("quarter") == quarter)
    last = assessed.filter(pl.col("quarter") < quarter).sort("quarter").group_by("golfer").agg(pl.col("flagged").last())
    counts["first"] = now.filter("flagged").join(here, on="golfer", how="anti").height
    counts["unseen"] = last.filter("flagged").join(now, on="golfer", how="anti").height
    return counts


def show_changes(changes: dy.DataFrame[Changes], quarter: str) -> ShownTable:
    """Show who is or was flagged, or whose change is more than chance.

    New flags come first, then those that are gone and those that stay, each from the largest gain to the largest loss.

    Parameters
    ----------
    changes : DataFrame
        All quarters.
    quarter : str
        Such as 2026Q3.
    """
    here = changes.filter(pl.col("quarter") == quarter).with_columns(pl.col("movement").cast(pl.String))
    compared = here.filter(pl.col("movement").is_in(list(WORDS)))
    told = compared.filter((pl.col("movement") != "clear") | pl.col("more_than_chance"))
    places = {name: place for place, name in enumerate(WORDS)}
    place = pl.col("movement").replace_strict(places, return_dtype=pl.Int64)
    table = told.sort(place, "lost_change_yd", "golfer").with_columns(pl.col("movement").replace(WORDS))
    return show(table, Changes, SHOWN)
