"""The doubt of drives that were moved far to standard conditions: flight coefficient sets differ in what air does.

The error is a share of the move, one for all drives of a study. What the moves of a device's drives have in common
isn't doubted here: the device's share of carry takes that up, and for the reference device the fit, whose efficient
carry is then off as much as its golfers' carry. A golfer has the rest: what another air than the device's usual one
does, and what fast drives gain more in thin air than slow ones.
"""

import numpy as np
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
    sums = Drives.of(drives).gathered(move_sums)
    return moved_by(sums, common_moves(sums, model), model)


def move_sums(drives: pl.DataFrame) -> pl.DataFrame:
    """Sum up by golfer, quarter and device how far drives were moved: keys, device, drives, move, carry_standard_yd."""
    named = pl.col("device").fill_null(UNSTATED)
    move = (pl.col("carry_standard_yd") - pl.col("carry_measured_yd")).sum().alias("move")
    counted = pl.len().cast(pl.Int64).alias("drives")
    return drives.group_by(*KEYS, named).agg(counted, move, pl.col("carry_standard_yd").sum()).sort(*KEYS, "device")


def common_moves(sums: pl.DataFrame, model: CarryModel) -> dict[str, float]:
    """Give by device, and for the devices that the model doesn't know, what their drives' moves have in common.

    Parameters
    ----------
    sums : DataFrame
        From `move_sums`, of all golfers in their order.
    model : CarryModel

    Returns
    -------
    dict of str to float
        Shares of carry, by the name of the device.
    """
    known = [level for column, level in (*model.offsets.levels, *model.offsets.absorbed) if column == "device"]
    wanted = {*known, model.offsets.reference.get("device")}
    of_device = sums.filter(pl.col("device").is_in(sorted(one for one in wanted if one is not None)))
    names = of_device.get_column("device").unique(maintain_order=True)
    # Added up golfer by golfer, however they are read.
    place = of_device.get_column("device").replace_strict(names, range(len(names)), return_dtype=pl.Int64).to_numpy()
    move, carry = (
        np.bincount(place, of_device.get_column(name).cast(pl.Float64).to_numpy())
        for name in ("move", "carry_standard_yd")
    )
    return dict(zip(names, (move / carry).tolist(), strict=True))


def moved_by(sums: pl.DataFrame, common: dict[str, float], model: CarryModel) -> pl.DataFrame:
    """Give `moved_yards` of some golfers, whose `move_sums` these are; see there."""
    reference = common.get(model.offsets.reference.get("device", ""), 0.0)
    share = pl.lit(reference)
    if common:
        share = pl.col("device").replace_strict(common, default=reference, return_dtype=pl.Float64)
    rest = pl.col("move") - share * pl.col("carry_standard_yd")
    run = sums.select(pl.struct(KEYS).rle_id()).to_series().to_numpy()
    own = sums.select(rest.alias("rest"), pl.col("drives").cast(pl.Float64))
    moved = np.bincount(run, own.get_column("rest").to_numpy()) / np.bincount(run, own.get_column("drives").to_numpy())
    return sums.select(KEYS).unique(maintain_order=True).with_columns(pl.Series(MOVED, moved))


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
