"""Yards lost shrunk towards golfers of the same kind, so that the worst rank isn't the unluckiest one's.

Within a quarter, yards lost are taken as linear in club speed and in the scatter of a golfer's drives, with golfers'
own departures from that (normal, variance tau^2) and the luck of the drives and of their days (normal, each golfer's
own variance, see `doubt`). The shrunk figure is the mean of what a golfer really loses given all of it: few or
scattered drives or days pull it to what is usual, many leave it where it is. Scatter must stand in what is usual: who
mishits now and then loses more and is known less well, and would otherwise be pulled to the level of steady golfers (by
5 yd on the demo's inconsistent ones).
"""

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.golfers.doubt import Doubt, Part
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
        From `known_losses`: golfer, quarter, shots, club_speed_mph, lost_yd, and what `with_doubt` adds.

    Returns
    -------
    DataFrame
        With ranked_lost_yd, ranked_lo90_yd, ranked_hi90_yd added; null where lost_yd is null, where the quarter has
        under three golfers with yards lost, and where none of them has two drives.
    """
    names = ("ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd")
    lost_yd, speed, shared, shared_freedom = (
        lost.get_column(name).cast(pl.Float64).to_numpy()
        for name in ("lost_yd", "club_speed_mph", "shared_variance", "shared_freedom")
    )
    doubt = Doubt.of(lost)
    shots, quarter = lost.get_column("shots").to_numpy(), lost.get_column("quarter").to_numpy()
    columns = np.full((len(names), lost.height), np.nan)
    for one in np.unique(quarter):
        rows = np.flatnonzero((quarter == one) & ~np.isnan(lost_yd))
        if len(rows) >= MIN_ESTIMATES:
            known = (shared[rows], shared_freedom[rows])
            columns[:, rows] = _ranked(lost_yd[rows], doubt.rows(rows), shots[rows], speed[rows], known)
    return lost.with_columns(pl.Series(name, row).fill_nan(None) for name, row in zip(names, columns, strict=True))


def _ranked(lost_yd: Array, doubt: Doubt, shots: npt.NDArray[np.int64], speed: Array, shared: Part) -> Array:
    """Shrunk figure and interval of one quarter, shape (3, n); NaN where the drives' luck is not known."""
    variance, freedom = moderated_variance(doubt.own_variance * shots, shots)
    if np.isnan(variance).any():
        return np.full((3, len(lost_yd)), np.nan)
    days, days_freedom = doubt.of_days
    luck = variance / shots + days
    shrunk = shrink(lost_yd, luck, design(speed, np.sqrt(variance)))
    # A shared error moves all golfers of a speed and what is usual there together, so it reaches the shrunk figure
    # whole: it widens the interval and changes nobody's rank among those of the same speed.
    total = shrunk.std_error**2 + shared[0]
    # Satterthwaite: of the whole, only share^2 of the golfer's own luck moves with its uncertain variances.
    own = shrunk.own_share**2
    moving = ((own * variance / shots, freedom), (own * days, days_freedom), shared)
    unsure = sum(part**2 / np.minimum(each, MANY) for part, each in moving)
    reach = t_reach(np.minimum(total**2 / np.maximum(unsure, total**2 / MANY), MANY)) * np.sqrt(total)
    return np.stack([shrunk.value, shrunk.value - reach, shrunk.value + reach])
