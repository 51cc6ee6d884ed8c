"""What the drives themselves add to the tables: device, ball, group, days, the spread of strikes, drives to draw."""

from typing import Any

import polars as pl

from pipeline.drives import KEYS, MEASURED, Drives

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
MOST_DRIVES = 60  # in one golfer's picture: as many as can be seen apart in 10 cm of paper; 2,000 golfers' are 2 MB
# One drive in five. Where consistency is the main cause a fifth of the demo's drives falls 59 yd short (median of
# golfers), elsewhere 6; a tenth 89 and 10, three in ten 23 and 4. A fifth parts the two as well and is easy to picture.
POORER = 0.2


def quarter_facts(drives: pl.DataFrame | Drives) -> dict[tuple[str, str], dict[str, Any]]:
    """Say of each golfer's quarter what the drives have that the tables haven't.

    Parameters
    ----------
    drives : DataFrame or Drives
        The columns of `PAGE_COLUMNS`.

    Returns
    -------
    dict
        By golfer and quarter: days; device, ball and group of most drives (None if not stated); mean_yd, the mean of
        carry at standard conditions, and poorer_yd, how far below the median the fifth of the drives that carry least
        begins.
    """
    every = Drives.of(drives).gathered(_facts)
    return {(row.pop("golfer"), row.pop("quarter")): row for row in every.iter_rows(named=True)}


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


def drives_to_draw(drives: pl.DataFrame | Drives, quarter: str) -> dict[str, list[list[float]]]:
    """Pick the drives of a quarter to draw, evenly thinned, as launch, spin and carry at standard conditions.

    Guessed spins are left out: they have no place in a picture of launch and spin.

    Returns
    -------
    dict
        By golfer: at most `MOST_DRIVES` of [launch_deg, spin_rpm, carry_yd], rounded to tenths of a degree, tens of rpm
        and tenths of a yard, in the order in which they were logged.
    """
    every = Drives.of(drives).gathered(lambda frame: _thinned(frame.filter(pl.col("quarter") == quarter)))
    found: dict[str, list[list[float]]] = {}
    for golfer, *drive in every.iter_rows():
        found.setdefault(golfer, []).append(drive)
    return found


def evenly_thinned(frame: pl.DataFrame) -> pl.DataFrame:
    """Keep at most `MOST_DRIVES` of each golfer's rows, evenly apart."""
    place, count = pl.int_range(pl.len()).over("golfer"), pl.len().over("golfer").clip(1)
    # The drives at which place * most / count enters a new whole number: most of them, evenly apart.
    step = (place * MOST_DRIVES) // count
    return frame.filter((count <= MOST_DRIVES) | (place == 0) | (step != ((place - 1) * MOST_DRIVES) // count))


def _thinned(frame: pl.DataFrame) -> pl.DataFrame:
    return evenly_thinned(frame.filter(MEASURED)).select(
        pl.col("golfer").cast(pl.String),
        pl.col("launch_deg").cast(pl.Float64).round(1),
        (pl.col("spin_rpm").cast(pl.Float64) / 10).round(0) * 10,
        pl.col("carry_standard_yd").cast(pl.Float64).round(1),
    )
