"""The doubt of drives that were moved far to standard conditions: flight coefficient sets differ in what air does.

The error is a share of the move, one for all drives of a study. What the moves of a device's drives have in common
isn't doubted here: the device's share of carry takes that up, and for the reference device the fit, whose efficient
carry is then off as much as its golfers' carry. A golfer has the rest: what another air than the device's usual one
does, and what fast drives gain more in thin air than slow ones.
"""

import polars as pl

from pipeline.drives import KEYS, Drives
from pipeline.fit.model import CarryModel
from pipeline.flight.offsets import UNSTATED

MOVED = "moved_yd"


def moved_yards(drives: pl.DataFrame | Drives, model: CarryModel) -> pl.DataFrame:
    """Give how far golfers' mean carry was moved, beyond what the drives of their devices have in common.

    Parameters
    ----------
    drives : DataFrame or Drives
        All accepted drives: golfer, quarter, device, carry_measured_yd, carry_standard_yd.
    model : CarryModel
        A device that it doesn't know counts as the reference in the fit, so it has that one's common move.

    Returns
    -------
    DataFrame
        golfer, quarter, moved_yd; sorted. What a device's drives have in common is a share of carry, as its offset is.
    """
    named = pl.col("device").fill_null(UNSTATED)
    move = (pl.col("carry_standard_yd") - pl.col("carry_measured_yd")).sum().alias("move")
    counted = pl.len().cast(pl.Int64).alias("drives")
    sums = (
        Drives.of(drives)
        .gathered(lambda frame: frame.group_by(*KEYS, named).agg(counted, move, pl.col("carry_standard_yd").sum()))
        .sort(*KEYS, "device")
    )
    offsets = model.offsets
    known = [level for column, level in (*offsets.levels, *offsets.absorbed) if column == "device"]
    reference = pl.lit(offsets.reference.get("device"), pl.String)
    alike = pl.when(pl.col("device").is_in(known)).then("device").otherwise(reference)
    of_device = sums.group_by("device").agg((pl.col("move").sum() / pl.col("carry_standard_yd").sum()).alias("common"))
    each = sums.join(of_device, left_on=alike, right_on="device", how="left")
    rest = pl.col("move") - pl.col("common").fill_null(0.0) * pl.col("carry_standard_yd")
    return each.group_by(KEYS).agg((rest.sum() / pl.col("drives").sum()).alias(MOVED)).sort(KEYS)


def with_moves(
    golfers: pl.DataFrame, drives: pl.DataFrame | Drives, model: CarryModel, moved_share: float
) -> pl.DataFrame:
    """Add `moved_yards` to golfers' quarters; 0 where no move is in doubt, and then no drive is read.

    Parameters
    ----------
    golfers : DataFrame
        golfer, quarter.
    drives : DataFrame or Drives
    model : CarryModel
    moved_share : float
        Of the `Frontier`.
    """
    if moved_share == 0:
        return golfers.with_columns(pl.lit(0.0).alias(MOVED))
    return golfers.join(moved_yards(drives, model), on=KEYS, how="left", validate="1:1", maintain_order="left")
