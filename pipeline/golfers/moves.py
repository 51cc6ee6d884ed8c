"""The doubt of drives that were moved far to standard conditions: flight coefficient sets differ in what air does."""

import polars as pl

from pipeline.drives import KEYS, Drives


def move_variance(drives: pl.DataFrame | Drives, moved_share: float) -> pl.DataFrame:
    """Give the variance of each golfer's mean carry that the choice of a coefficient set leaves.

    Parameters
    ----------
    drives : DataFrame or Drives
        golfer, quarter, carry_measured_yd, carry_standard_yd.
    moved_share : float
        Of the `Frontier`: standard error of a move, as a share of it.

    Returns
    -------
    DataFrame
        golfer, quarter, move_variance, yd^2; sorted. It is one error of all drives of a golfer, so more drives don't
        lessen it, and golfers of one air share it. Where a device has an offset of its own, that takes up what its
        drives have in common: this is then the most that it can be.
    """
    moved = pl.col("carry_standard_yd") - pl.col("carry_measured_yd")
    variance = (moved_share * moved.mean()).pow(2).alias("move_variance")
    return Drives.of(drives).gathered(lambda frame: frame.group_by(KEYS).agg(variance)).sort(KEYS)
