"""What shape a crowd of deliveries has: how launch and spin go together, and how its spread changes with club speed.

Numpy alone. Both are worked out so that a golfer with a fault, far from the others, counts for little.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import SMALL, Array

NORMAL_QUARTILE_RANGE = 1.349  # of a normal distribution with standard deviation 1

# Share of all pairs of golfers that shows the shape. In a normal crowd any share would do. Of two crowds of the same
# size half of the pairs are within one, of three a third. Sensitivity: with 70 golfers 0.40 makes efficient carry
# 0.1 yd higher where there are two schools of swing, and changes it by under 0.05 yd elsewhere. 0.10 makes it 0.1 yd
# lower there and up to 0.2 yd higher elsewhere, and its squared error up to a half larger (60 to 120 academies each).
CLOSE_SHARE = 0.25
# Times that close pairs are found by the shape before. In a normal crowd of correlation 0.75, 16 find nine tenths of
# its slope and each spread within 5 %, 32 all of it; the smoothing keeps the crowd's spread with either.
PASSES = 16
# Golfers whose pairs are looked at, evenly out of all: 150 make 11,175 pairs and fix a spread within 6 %
# (1 / sqrt(2 n)), which only the smoothing takes up.
MOST_PAIRED = 150
# Share that weights must have of the largest: golfers far from the speed make pairs but hardly count.
LEAST_WEIGHT = 0.01

# Steps of readings, squared (deg^2, rpm^2): deliveries that are all alike still have a shape to measure closeness by.
LEAST_LAUNCH_VAR, LEAST_SPIN_VAR = 0.01**2, 1.0**2

# Distances from the trend count up to the one that 95 % of a normal crowd lie within, sqrt(-2 ln 0.05), so that a
# golfer with a fault counts no more than the widest others.
WIDEST = 2.448
CLOSEST = 0.01  # its logarithm stays finite; 1 in 20,000 of a normal crowd lies nearer


@dataclass(frozen=True)
class Shape:
    """Shape of a crowd of deliveries.

    Attributes
    ----------
    launch_sd_deg : float
    spin_sd_rpm : float
        Of spin beside what goes with launch.
    slope_rpm_per_deg : float
        How much more spin goes with a degree more launch.
    """

    launch_sd_deg: float
    spin_sd_rpm: float
    slope_rpm_per_deg: float


def shape_of(launch: Array, spin: Array, weights: Array) -> Shape:
    """Find the shape that close deliveries have: of two crowds that of one, not of both together.

    Parameters
    ----------
    launch, spin, weights : ndarray, shape (golfers,)
        deg, rpm, and how much each golfer counts.

    Returns
    -------
    Shape
        Spreads are those of a normal crowd with such pairs. Of two crowds far apart they are 1.5 times those of one,
        since only half of all pairs can be close; of the very closest pairs still 1.41 times. That does no harm: with
        the spreads of one crowd efficient carry is 0.5 yd too low and scatters more (docs/statistics.md).

    Notes
    -----
    The covariance of half the differences of the closest pairs, closeness being by the covariance found before (Art,
    Gnanadesikan and Kettenring, Utilitas Math. 21A (1982) 75; from memory). The closest share q of a normal crowd's
    pairs has 1 + ln(1 - q) (1 - q) / q of the covariance of all.
    """
    near = np.flatnonzero(weights >= LEAST_WEIGHT * weights.max())
    near = near[:: -(-len(near) // MOST_PAIRED)]
    if len(near) < 3:
        return Shape(0.0, 0.0, 0.0)
    one, other = np.triu_indices(len(near), 1)
    launch, spin, both = launch[near], spin[near], weights[near][one] * weights[near][other]
    by_launch, by_spin = launch[one] - launch[other], spin[one] - spin[other]
    products = np.stack([by_launch**2, by_launch * by_spin, by_spin**2])
    kept = 1 + np.log(1 - CLOSE_SHARE) * (1 - CLOSE_SHARE) / CLOSE_SHARE
    launch_var, product, spin_var = _quartile_spread(launch) ** 2, 0.0, _quartile_spread(spin) ** 2
    for _ in range(PASSES):
        launch_var, spin_var = launch_var + LEAST_LAUNCH_VAR, spin_var + LEAST_SPIN_VAR
        distance = np.array([spin_var, -2 * product, launch_var]) @ products
        close = both * (distance <= _weighted_quantile(distance, both, CLOSE_SHARE))
        launch_var, product, spin_var = products @ close / (2 * kept * close.sum())
    slope = product / (launch_var + LEAST_LAUNCH_VAR)
    beside = max(spin_var - slope * product, 0.0)
    return Shape(float(np.sqrt(launch_var)), float(np.sqrt(beside)), float(slope))


def log_distance(launch: Array, spin: Array) -> Array:
    """Give the logarithm of how far deliveries lie from the trend, in the crowd's spreads.

    Parameters
    ----------
    launch, spin : ndarray, shape (golfers,)
        Departures from the trend, deg and rpm.

    Returns
    -------
    ndarray, shape (golfers,)
        Held to between `CLOSEST` and `WIDEST`; all 0 where half of the departures are none.
    """
    middle = float(np.median(np.abs(launch))), float(np.median(np.abs(spin)))
    if min(middle) <= 0:
        return np.zeros(len(launch))
    to_sd = NORMAL_QUARTILE_RANGE / 2  # the median distance of a normal distribution
    distance = to_sd * np.hypot(launch / middle[0], spin / middle[1])
    return np.asarray(np.log(np.clip(distance, CLOSEST, WIDEST)))


def spread_slopes(
    speed_mph: Array, log_distances: Array, counts: npt.NDArray[np.number[Any]], place: npt.NDArray[np.int64]
) -> Array:
    """Fit how the spread of deliveries changes with club speed, in each of many draws of golfers: a share per mph.

    Parameters
    ----------
    speed_mph, log_distances : ndarray, shape (golfers,)
        Distances from `log_distance`.
    counts : ndarray, shape (draws, m)
        How often each draw holds each golfer, and maybe others.
    place : ndarray of int, shape (golfers,)
        The golfers' columns in them.

    Returns
    -------
    ndarray, shape (draws,)
        Slope of the logarithm of the spread, pulled towards zero by as much of it as chance would make: the part
        1 - (standard error / slope)^2 of it stays, none where chance would make more.

    Notes
    -----
    Least squares of the logarithm of distances on speed (Harvey, Econometrica 44 (1976) 461), pulled as by James and
    Stein's positive part (both from memory).
    """
    x, y = speed_mph - speed_mph.mean(), log_distances - log_distances.mean()
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    sums = np.zeros((len(counts), 6))
    part = max(SMALL // len(counts), 1)
    for start in range(0, len(x), part):
        these = slice(start, start + part)
        sums += counts[:, place[these]].astype(float) @ terms[these]
    total = np.maximum(sums[:, 0], 1.0)
    mean_x, mean_y, xx, xy, yy = (sums[:, 1:] / total[:, None]).T
    xx, xy, yy = xx - mean_x**2, xy - mean_x * mean_y, yy - mean_y**2
    slope = np.divide(xy, xx, out=np.zeros_like(xx), where=xx > 0)
    variance = np.divide(yy - slope * xy, xx * total, out=np.zeros_like(xx), where=xx > 0)
    stays = 1 - np.divide(variance, slope**2, out=np.ones_like(slope), where=slope != 0)
    return np.asarray(slope * np.maximum(stays, 0.0))


def _quartile_spread(x: Array) -> float:
    lo, hi = np.quantile(x, [0.25, 0.75])
    return float(hi - lo) / NORMAL_QUARTILE_RANGE


def _weighted_quantile(x: Array, weights: Array, share: float) -> float:
    order = np.argsort(x)
    held = np.cumsum(weights[order])
    return float(x[order[np.searchsorted(held, share * held[-1])]])
