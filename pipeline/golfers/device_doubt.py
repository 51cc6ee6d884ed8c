"""What isn't known of devices and balls, as it reaches a golfer's mean carry: shares' errors, and levels without one.

A share is off by the same for all who hit at a device, so that no number of drives makes up for it.
"""

import numpy as np
import polars as pl

from pipeline.drives import KEYS
from pipeline.fit.model import CarryModel
from pipeline.flight.offsets import CELL, UNSTATED
from pipeline.statistics.arrays import Array

# By how much of carry devices and balls of this trade differ from each other, a standard deviation: devices by 3 to 4 %
# at the same shots (from memory), range balls by 5 % or so from others. It is used only where nothing was found out:
# half as much or double moves the interval's half-width of such a golfer from 13 yd to 7 or 26 yd at 220 yd of carry.
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
        Flags of the same names, a row per drive.
    """
    offsets = model.offsets
    known = (*offsets.levels, *offsets.absorbed, *offsets.reference.items())
    return drives.select(
        ~pl.col(column).fill_null(UNSTATED).is_in([level for one, level in known if one == column]) for column in CELL
    )


def exposure(drives: pl.DataFrame, model: CarryModel) -> pl.DataFrame:
    """Give by how many yards a golfer's mean carry falls with each level's share: by 1 % of share a hundredth of it.

    Parameters
    ----------
    drives : DataFrame
        Accepted drives, with the columns of `FIT_COLUMNS`.
    model : CarryModel

    Returns
    -------
    DataFrame
        One row per golfer and quarter, sorted: keys, a column for each of `model.offsets.labels`, in their order. Yards
        lost rise by the same. uncompared_variance: of mean carry by the levels without a share, yd^2; uncompared_note,
        null where all drives can be compared.
    """
    labels, carry = list(model.offsets.labels), model.reference_carry(drives)
    falls = model.offsets.design(drives) * (carry / (1 + model.added_share(drives)))[:, None]
    marks = uncompared(drives, model).to_numpy()
    table = drives.select(
        *KEYS,
        pl.col(CELL).fill_null(UNSTATED),
        pl.Series("carry", carry),
        *(pl.Series(f"new_{column}", marks[:, k]) for k, column in enumerate(CELL)),
        *(pl.Series(label, falls[:, k]) for k, label in enumerate(labels)),
    )
    found = table.group_by(KEYS).agg(pl.len().cast(pl.Int64).alias("shots"), pl.col(labels).mean()).sort(KEYS)
    parts = [_uncompared(table, column).join(found.select(*KEYS, "shots"), on=KEYS) for column in CELL]
    variance = [
        part.group_by(KEYS).agg(((DEVICE_SHARE_SD * pl.col("carry") / pl.col("shots")) ** 2).sum().alias("variance"))
        for part in parts
    ]
    both = pl.concat(variance).group_by(KEYS).agg(pl.col("variance").sum().alias("uncompared_variance"))
    noted = pl.concat(_noted(part, column) for part, column in zip(parts, CELL, strict=True))
    notes = noted.group_by(KEYS, maintain_order=True).agg(pl.col("note").str.join("; ").alias("uncompared_note"))
    joined = found.join(both, on=KEYS, how="left").join(notes, on=KEYS, how="left").sort(KEYS)
    return joined.select(*KEYS, *labels, pl.col("uncompared_variance").fill_null(0.0), "uncompared_note")


def _uncompared(table: pl.DataFrame, column: str) -> pl.DataFrame:
    """Sum up the drives at each level of a column that can't be compared: keys, level, drives, carry."""
    some = table.filter(pl.col(f"new_{column}")).group_by(*KEYS, pl.col(column).alias("level"))
    return some.agg(pl.len().cast(pl.Int64).alias("drives"), pl.col("carry").sum()).sort(*KEYS, "level")


def _noted(part: pl.DataFrame, column: str) -> pl.DataFrame:
    note = pl.format(
        "{} of {} drives are from {}, which has too few drives or golfers to be compared",
        "drives",
        "shots",
        pl.col("level").map_elements(lambda level: f"the {column} {' '.join(level.split())}", return_dtype=pl.String),
    )
    return part.select(*KEYS, note.alias("note"))


def share_variance(exposed: pl.DataFrame, model: CarryModel, draws: Array) -> Array:
    """Give the variance of golfers' mean carry by the errors of shares, yd^2, shape (golfers,).

    Parameters
    ----------
    exposed : DataFrame
        From `exposure`.
    model : CarryModel
    draws : ndarray, shape (replicates, levels)
        `ResampledFits.offset_share`.
    """
    away = draws - draws.mean(axis=0)
    return (
        np.var(exposed.select(model.offsets.labels).to_numpy() @ away.T, axis=1)
        if draws.shape[1]
        else np.zeros(exposed.height)
    )
