"""Yards lost shrunk towards golfers of the same kind, so that the worst rank isn't the unluckiest one's.

Within a quarter, yards lost are taken as linear in club speed and in the scatter of a golfer's drives, with golfers'
own departures from that (normal, variance tau^2) and the luck of the drives (normal, each golfer's own variance). The
shrunk figure is the mean of what a golfer really loses given all of it: few or scattered drives pull it to what is
usual, many leave it where it is. Scatter must stand in what is usual: who mishits now and then loses more and is known
less well, and would otherwise be pulled to the level of steady golfers (by 5 yd on the demo's inconsistent ones).
"""

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import MANY, t_reach
from pipeline.statistics.shrinkage import MIN_ESTIMATES, moderated_variance, shrink

# Speed is looked at from this many golfers on, scatter too from the second number on; fewer golfers are shrunk
# towards their mean.
SPEED_FROM_GOLFERS = 5
SCATTER_FROM_GOLFERS = 10


def design(club_speed_mph: Array, scatter_yd: Array) -> Array:
    """Give the regressors of what is usual, as many as the number of golfers bears, shape (n, 1 to 3)."""
    golfers = len(club_speed_mph)
    wanted = ((club_speed_mph, SPEED_FROM_GOLFERS), (scatter_yd, SCATTER_FROM_GOLFERS))
    used = [values - values.mean() for values, enough in wanted if golfers >= enough and np.ptp(values) > 0]
    return np.column_stack([np.ones(golfers), *used])


def ranked(lost: pl.DataFrame) -> pl.DataFrame:
    """Add what golfers are ranked by: yards lost, shrunk within the quarter, with its 90 % interval.

    Parameters
    ----------
    lost : DataFrame
        From `losses`: golfer, quarter, shots, club_speed_mph, lost_yd, own_variance, efficient_std_error_yd.

    Returns
    -------
    DataFrame
        With ranked_lost_yd, ranked_lo90_yd, ranked_hi90_yd added; null where lost_yd is null, where the quarter has
        under three golfers with yards lost, and where none of them has two drives.
    """
    names = ("ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd")
    lost_yd, own, speed, shared = (
        lost.get_column(name).cast(pl.Float64).to_numpy()
        for name in ("lost_yd", "own_variance", "club_speed_mph", "efficient_std_error_yd")
    )
    shots, quarter = lost.get_column("shots").to_numpy(), lost.get_column("quarter").to_numpy()
    columns = np.full((len(names), lost.height), np.nan)
    for one in np.unique(quarter):
        rows = np.flatnonzero((quarter == one) & ~np.isnan(lost_yd))
        if len(rows) >= MIN_ESTIMATES:
            columns[:, rows] = _ranked(lost_yd[rows], own[rows], shots[rows], speed[rows], shared[rows])
    return lost.with_columns(pl.Series(name, row).fill_nan(None) for name, row in zip(names, columns, strict=True))


def _ranked(lost_yd: Array, own: Array, shots: npt.NDArray[np.int64], speed: Array, shared: Array) -> Array:
    """Shrunk figure and interval of one quarter, shape (3, n); NaN where the drives' luck is not known."""
    variance, freedom = moderated_variance(own * shots, shots)
    if np.isnan(variance).any():
        return np.full((3, len(lost_yd)), np.nan)
    own_variance = variance / shots
    shrunk = shrink(lost_yd, own_variance, design(speed, np.sqrt(variance)))
    # An error of efficient carry moves all golfers of a speed and what is usual there together, so it reaches the
    # shrunk figure whole: it widens the interval and changes nobody's rank among those of the same speed.
    total = shrunk.std_error**2 + shared**2
    # Satterthwaite: of the whole, only share^2 * own_variance moves with the golfer's own uncertain variance.
    moving = shrunk.own_share**2 * own_variance / total
    reach = t_reach(np.minimum(freedom, MANY) / np.maximum(moving, 1e-3) ** 2) * np.sqrt(total)
    return np.stack([shrunk.value, shrunk.value - reach, shrunk.value + reach])
