"""How far golfers with the same readings differ in carry for good.

No reading says everything of a strike: one golfer carries 2 % more than another with the same ball speed, launch and
spin, in every quarter. A golfer's own yards lost show it. What a golfer would do after a change has not been shown yet,
so that it is as unsure as golfers differ: goals take it up.
"""

import numpy as np
import polars as pl

from pipeline.drives import KEYS, Drives, with_spin_unguessed
from pipeline.fit.model import CarryModel, Delivery
from pipeline.golfers.day_form import figure_errors
from pipeline.golfers.doubt import Doubt
from pipeline.statistics.shrinkage import between_golfers

# Fewer golfers don't show how far they differ: the standard deviation would be off by a fourth or more.
MIN_GOLFERS = 8

SIZE = 0.01  # of a drive's carry over expected carry; readings are taken to have a step of a tenth of it


def expected_of_drives(drives: pl.DataFrame, model: CarryModel) -> pl.DataFrame:
    """Give the carry expected of each drive, as `expected_yd`; what isn't known of its launch and spin is usual.

    Parameters
    ----------
    drives : DataFrame
        The columns of `FIT_COLUMNS`; where they have `expected_yd` already, that is given.
    model : CarryModel
    """
    if "expected_yd" in drives.columns:
        return drives.select("expected_yd")
    expected = model.expected(model.with_usual(Delivery.of(with_spin_unguessed(drives))))
    return pl.DataFrame([pl.Series("expected_yd", expected, pl.Float64)])


def lasting_share(drives: pl.DataFrame | Drives, model: CarryModel) -> float | None:
    """Estimate the standard deviation of golfers' lasting differences, as a share of carry.

    Parameters
    ----------
    drives : DataFrame or Drives
        The columns of `FIT_COLUMNS` and struck_on.
    model : CarryModel

    Returns
    -------
    float or None
        None where under `MIN_GOLFERS` golfers tell it.

    Notes
    -----
    Golfers' mean carry over expected carry, of all their quarters, less the luck of drives and days (`Doubt`): the
    variance between them that is left, about a line in club speed, is Paule and Mandel's (`between_golfers`).
    """

    def departures(frame: pl.DataFrame) -> pl.DataFrame:
        expected = expected_of_drives(frame, model).to_series().to_numpy()
        departure = model.reference_carry(frame) / np.maximum(expected, 1.0) - 1
        return pl.DataFrame([pl.Series("departure", departure, pl.Float64)])

    read = Drives.of(drives).with_once(departures)  # read twice below
    errors, _ = figure_errors(read, "departure", median=False, size=SIZE)
    means = read.gathered(lambda frame: frame.group_by(KEYS).agg(pl.col("departure", "club_speed_mph").mean()))
    table = errors.join(means, on=KEYS).sort(KEYS)
    error, _ = Doubt.of(table).of_figure()
    known = table.with_columns(pl.Series("weight", 1 / error**2).fill_nan(None)).drop_nulls("weight")
    weighted = ((pl.col(name) * pl.col("weight")).sum() / pl.col("weight").sum() for name in means.columns[2:])
    worth = (1 / pl.col("weight").sum()).alias("variance")
    golfers = known.group_by("golfer", maintain_order=True).agg(*weighted, worth)
    if golfers.height < MIN_GOLFERS:
        return None
    value, speed, variance = (golfers.get_column(name).to_numpy() for name in golfers.columns[1:])
    X = np.column_stack([np.ones(len(speed)), speed - speed.mean()])
    tau2, _, _ = between_golfers(value, variance, X[:, : 1 + (np.ptp(speed) > 0)])
    return float(np.sqrt(tau2))


def own_difference(lost: pl.DataFrame, share: float | None) -> pl.Series:
    """Give golfers' lasting difference as a standard deviation at their efficient carry, yd, as `own_difference_yd`."""
    return (lost.get_column("efficient_yd").cast(pl.Float64) * share).alias("own_difference_yd")


def lasting_share_of(golfers: pl.DataFrame) -> float | None:
    """Give the share that `own_difference` took, back from the table `Golfers`; None where that doesn't show it."""
    share = golfers.select((pl.col("own_difference_yd") / pl.col("efficient_yd")).median()).item()
    return None if share is None else float(share)
