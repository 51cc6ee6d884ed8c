"""What the drives themselves add to the tables: device, ball, group, days, the spread of strikes, drives to draw."""

from typing import NamedTuple

import polars as pl

from pipeline.drives import KEYS, MEASURED, Drives
from pipeline.report.page.quality import unknown_of

# What is read of drives.parquet for the page.
PAGE_COLUMNS = (
    *KEYS,
    "struck_on",
    "device",
    "ball",
    "group",
    "launch_deg",
    "spin_rpm",
    "carry_standard_yd",
    "spin_measured",
    "ball_speed_mph",
    "temp_c",
    "pressure_hpa",
    "altitude_m",
)
DRAWN = ("launch_deg", "spin_rpm", "carry_standard_yd")  # figures of a drive to draw
MOST_DRIVES = 60  # in one golfer's picture: as many as can be seen apart in 10 cm of paper; 2,000 golfers' are 2 MB
# One drive in five. Where consistency is the main cause a fifth of the demo's drives falls 59 yd short (median of
# golfers), elsewhere 6; a tenth 89 and 10, three in ten 23 and 4. A fifth parts the two as well and is easy to picture.
POORER = 0.2


class OfDrives(NamedTuple):
    """What the drives add to the tables, from one reading of them.

    Attributes
    ----------
    facts : DataFrame
        golfer, quarter; days; device, ball and group of most drives (null if not stated); mean_yd, the mean of carry
        at standard conditions, and poorer_yd, how far below the median the fifth of the drives that carry least begins.
    drawn : DataFrame
        The newest quarter's drives to draw, at most `MOST_DRIVES` of a golfer: golfer, launch_deg, spin_rpm and
        carry_standard_yd, rounded to tenths of a degree, tens of rpm and tenths of a yard, in the order in which they
        were logged. Guessed spins are left out: they have no place in a picture of launch and spin.
    unknown : dict
        From `pipeline.report.page.quality.unknown_of`.
    """

    facts: pl.DataFrame
    drawn: pl.DataFrame
    unknown: dict[str, int]


def of_drives(drives: pl.DataFrame | Drives, newest: str) -> OfDrives:
    """Gather what the drives add to the tables.

    Parameters
    ----------
    drives : DataFrame or Drives
        The columns of `PAGE_COLUMNS`.
    newest : str
        The quarter whose drives are drawn.
    """

    def told(frame: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
        return _facts(frame), _thinned(frame.filter(pl.col("quarter") == newest)), unknown_of(frame)

    facts, drawn, unknown = map(pl.concat, zip(*Drives.of(drives).each(told), strict=True))
    return OfDrives(facts, drawn, unknown.sum().row(0, named=True))


def _facts(frame: pl.DataFrame) -> pl.DataFrame:
    carry = pl.col("carry_standard_yd").cast(pl.Float64)
    found = frame.group_by(KEYS, maintain_order=True).agg(
        pl.col("struck_on").n_unique().cast(pl.Int64).alias("days"),
        carry.mean().alias("mean_yd"),
        (carry.median() - carry.quantile(POORER, "linear")).alias("poorer_yd"),
    )
    for column in ("device", "ball", "group"):
        found = found.join(_most(frame, column), on=KEYS, how="left", maintain_order="left")
    return found.with_columns(pl.col(key).cast(pl.String) for key in KEYS)


def _most(frame: pl.DataFrame, column: str) -> pl.DataFrame:
    """Give what most drives of a golfer's quarter say, the first by name of equals; null where none says anything."""
    said = frame.select(*KEYS, pl.col(column).cast(pl.String)).drop_nulls(column)
    counted = said.group_by(*KEYS, column).len().sort("len", column, descending=[True, False])
    return counted.group_by(KEYS, maintain_order=True).agg(pl.col(column).first())


def evenly_thinned(frame: pl.DataFrame) -> pl.DataFrame:
    """Keep at most `MOST_DRIVES` of each golfer's rows, evenly apart."""
    place, count = pl.int_range(pl.len()).over("golfer"), pl.len().over("golfer").clip(1)
    # The drives at which place * most / count enters a new whole number: most of them, evenly apart.
    step = (place * MOST_DRIVES) // count
    return frame.filter((count <= MOST_DRIVES) | (place == 0) | (step != ((place - 1) * MOST_DRIVES) // count))


def _thinned(frame: pl.DataFrame) -> pl.DataFrame:
    return evenly_thinned(frame.filter(MEASURED)).select(
        "golfer",
        pl.col("launch_deg").cast(pl.Float64).round(1),
        (pl.col("spin_rpm").cast(pl.Float64) / 10).round(0) * 10,
        pl.col("carry_standard_yd").cast(pl.Float64).round(1),
    )
