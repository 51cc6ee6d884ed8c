"""Golfers' own drives smoothed and filled up with those of the others: how drives scatter about their center.

A golfer's distribution is what n own drives and `PRIOR_DRIVES` drives of the others say, each drive smeared by a normal
kernel: the mean of a Dirichlet process whose base is how golfers here scatter, in the golfer's own scale. Mishits are
in it as they are in the drives, own and others'.

References
----------
Ferguson, Ann. Stat. 1 (1973) 209, doi 10.1214/aos/1176342360 (the mean of the posterior process; from memory).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.statistics.arrays import Array
from pipeline.statistics.drive_spread import LEVELS

# The others count as much as so many drives. Of simulated golfers of 6 to 120 drives (tests/coach/reaching) 5, 10 and
# 20 give shares of the next quarter that err alike (0.103, 0.103 and 0.104, root mean square) and intervals of which
# 91, 90 and 88 % cover the true share.
PRIOR_DRIVES = 10.0

# Fewer own drives say nothing of how they scatter: the others' do.
MIN_OWN = 8
# From so many drives on the others are under a fifth of it.
MOSTLY_OWN = 40

# Points that stand for the others' drives, and quantiles that each golfer gives to them.
BASE_POINTS = 101
_FROM_EACH = (np.arange(25) + 0.5) / 25

# Width of the kernel over the spread, times n^(1/5), n counting the others too: two thirds of the normal rule (0.9 to
# 1.06; Silverman, Density Estimation (1986), section 3.4.2, from memory). Half or one and a half of it give simulated
# golfers the same errors to 0.0001.
KERNEL = 0.6

_FAR = 8.3  # kernels from a drive at which it lies wholly on one side: a normal tail of 5e-17

_GRID = 241  # distances at which a distribution is worked out before quantiles are read off


@dataclass(frozen=True)
class Scatter:
    """One golfer's drives.

    Attributes
    ----------
    off_yd : ndarray, shape (n,)
        Drives less their center.
    spread_yd : float
        Standard deviation of the sound ones.
    """

    off_yd: Array
    spread_yd: float


def shows_scatter(golfer: Scatter) -> bool:
    """Say whether a golfer's drives count in `others_shape`."""
    return len(golfer.off_yd) >= MIN_OWN and golfer.spread_yd > 0


def others_shape(golfers: list[Scatter]) -> Array:
    """Pool how golfers scatter, each counting the same.

    Returns
    -------
    ndarray, shape (BASE_POINTS,)
        Points about the center, in standard deviations of sound drives. Those of a normal distribution where no golfer
        has `MIN_OWN` drives.
    """
    from scipy.special import ndtri

    at = (np.arange(BASE_POINTS) + 0.5) / BASE_POINTS
    enough = [one for one in golfers if shows_scatter(one)]
    if not enough:
        return np.asarray(ndtri(at))
    pooled = np.concatenate([np.quantile(one.off_yd, _FROM_EACH) / one.spread_yd for one in enough])
    return np.asarray(np.quantile(pooled, at))


def own_weight(drives: int) -> float:
    """Give the weight of a golfer's own drives; the rest is the others'."""
    return drives / (drives + PRIOR_DRIVES) if drives >= MIN_OWN else 0.0


def worth_of(drives: int) -> float:
    """Give the number of drives that the two are worth together."""
    return PRIOR_DRIVES + (drives if drives >= MIN_OWN else 0)


def quantiles_of(golfer: Scatter, usual_spread_yd: float, others: Array, more_yd: float) -> Array:
    """Give a golfer's distribution about the center.

    Parameters
    ----------
    golfer : Scatter
    usual_spread_yd : float
        Standard deviation of sound drives, steadied by the other golfers', yd: what others' drives are scaled by. NaN
        where nobody's drives show any.
    others : ndarray, shape (BASE_POINTS,)
        From `others_shape`.
    more_yd : float
        Standard deviation of what these days lack of many days' scatter.

    Returns
    -------
    ndarray, shape (levels,)
        Quantiles at `LEVELS`, yd; NaN without a spread.
    """
    from scipy.special import ndtr

    if np.isnan(usual_spread_yd):
        return np.full(len(LEVELS), np.nan)

    drives = len(golfer.off_yd)
    own = own_weight(drives)
    width = KERNEL * worth_of(drives) ** -0.2
    points, weights = others * usual_spread_yd, np.full(len(others), (1 - own) / len(others))
    if own > 0:
        points = np.concatenate([golfer.off_yd, points])
        weights = np.concatenate([np.full(drives, own / drives), weights])
    # Drawn in as much as the kernel smears, so that sound drives keep their spread.
    points = points / np.hypot(1.0, width)
    kernel = max(float(np.hypot(width * usual_spread_yd / np.hypot(1.0, width), more_yd)), 1e-3)
    grid = np.linspace(points.min() - 4 * kernel, points.max() + 4 * kernel, _GRID)
    beyond = (grid[:, None] - points) / kernel
    near = np.abs(beyond) < _FAR
    below = (beyond > 0).astype(float)
    below[near] = ndtr(beyond[near])  # most of what a golfer takes: a third of the places are near
    below = below @ weights
    return np.asarray(np.interp(LEVELS, np.maximum.accumulate(below), grid))
