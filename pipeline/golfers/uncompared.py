"""Devices and balls that too little is known of to be compared: their drives, and the doubt that they leave."""

import polars as pl

from pipeline.drives import KEYS
from pipeline.fit.model import CarryModel
from pipeline.flight.offsets import CELL, UNSTATED

# By how much of carry devices and balls of this trade differ from each other at the same shots, a standard deviation: 3
# to 4 %, from memory. It is used only where nothing could be found out. A golfer all of whose drives of 220 yd are from
# such a device gets an interval of 13 yd to either side for it; at 2 % it would be 7 yd, at 5 % 18 yd.
DEVICE_SHARE_SD = 0.035


def uncompared(drives: pl.DataFrame, model: CarryModel) -> pl.DataFrame:
    """Mark the drives whose device or ball has no share and isn't the reference.

    Parameters
    ----------
    drives : DataFrame
        device, ball.
    model : CarryModel

    Returns
    -------
    DataFrame
        Flags `device` and `ball`, a row per drive.
    """
    offsets = model.offsets
    known = (*offsets.levels, *offsets.absorbed, *offsets.reference.items())
    return drives.select(
        ~pl.col(column).fill_null(UNSTATED).is_in([level for one, level in known if one == column]) for column in CELL
    )


def uncompared_doubt(drives: pl.DataFrame, model: CarryModel) -> pl.DataFrame:
    """Give the doubt of golfers' mean carry that comes of drives which can't be compared.

    Parameters
    ----------
    drives : DataFrame
        Accepted drives, with the columns of `FIT_COLUMNS`.
    model : CarryModel

    Returns
    -------
    DataFrame
        One row per golfer and quarter, sorted: keys, uncompared_variance (yd^2, 0 where all drives can be compared) and
        uncompared_note (null there). Each level is off by a share of its own, the same for all its drives.
    """
    marks = uncompared(drives, model)
    table = model.with_reference(drives).with_columns(
        marks.get_column(column).alias(f"new_{column}") for column in CELL
    )
    shots = table.group_by(KEYS).agg(pl.len().cast(pl.Int64).alias("shots"))
    parts = []
    for column in CELL:
        there = table.filter(f"new_{column}").group_by(*KEYS, pl.col(column).fill_null(UNSTATED).alias("level"))
        sums = there.agg(pl.len().cast(pl.Int64).alias("drives"), pl.col("carry_reference_yd").sum().alias("carry"))
        parts.append(sums.with_columns(column=pl.lit(column)))
    levels = (
        pl.concat(parts).join(shots, on=KEYS).sort(*KEYS, "column", "level", descending=[False, False, True, False])
    )
    note = pl.format(
        "{} of {} drives are from the {} {}, which has too few drives or golfers to be compared",
        *("drives", "shots", "column", "level"),
    )
    doubt = levels.group_by(KEYS).agg(
        ((DEVICE_SHARE_SD * pl.col("carry") / pl.col("shots")) ** 2).sum().alias("uncompared_variance"),
        note.str.join("; ").alias("uncompared_note"),
    )
    found = shots.join(doubt, on=KEYS, how="left").sort(KEYS)
    return found.select(*KEYS, pl.col("uncompared_variance").fill_null(0.0), "uncompared_note")
