"""Which deliveries golfers of about a club speed really produce (numpy alone).

The support at a speed is the smallest region of launch and spin that holds a share of the smoothed density of golfers'
typical deliveries, four fifths unless a study says otherwise (a highest-density region: Hyndman, Am. Stat. 50 (1996)
120, doi 10.1080/00031305.1996.10474359), weighted by how near their speed is. Smoothing follows the shape that close
deliveries have (`pipeline.benchmark.crowd`), and its kernel is of fourth order, so that the region isn't wider than the
crowd.
"""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from pipeline.benchmark.crowd import Shape
from pipeline.statistics.arrays import SMALL, Array

# Bandwidth over spread, times n to the power -1/10: the least mean integrated squared error on a normal crowd. With the
# kernel's fourth moment -3 and roughness 27 / (32 sqrt(pi)) in each direction, the squared bias is 0.01772 h^8 and the
# variance 0.2266 / (n h^2), whose sum is least where h^10 = 3.197 / n.
FOURTH_ORDER = 1.123

# Narrowest smoothing, so that a handful of like deliveries still makes an area: about the reading errors.
MIN_BANDWIDTH_LAUNCH_DEG = 0.3
MIN_BANDWIDTH_SPIN_RPM = 80.0

# From so many golfers on, deliveries are gathered at nodes, a third of the narrowest smoothing apart.
BINNED_FROM = 1000
CELL_LAUNCH_DEG = MIN_BANDWIDTH_LAUNCH_DEG / 3
CELL_SPIN_RPM = MIN_BANDWIDTH_SPIN_RPM / 3
CHUNK = 4096  # golfers at a time: larger arrays leave the cache, or are made anew by the system each time

# Between columns of spin the density is a straight line: a quarter of a bandwidth apart, off by under 1 % of its peak
# (an eighth of the squared step times the kernel's curvature, at most 3 at its peak, over its height of 1.5).
COLUMNS_PER_BANDWIDTH = 4
FARTHEST = 50.0  # half of a squared distance, at which a Gaussian is 2e-22
# Of the peak: denser places, a few of the grid's, hold 95 % of a normal crowd, and only they need be ranked.
DENSE = 0.05
REACH = 4.5  # bandwidths beyond which a kernel is nothing (under 0.0004 of its peak)


def kernel_weights(golfer_speed_mph: Array, speed_mph: float, half_width_mph: float) -> Array:
    """Weigh golfers by the nearness of their speed: a Gaussian whose standard deviation is the half-width.

    Parameters
    ----------
    golfer_speed_mph : ndarray, shape (golfers,)
    speed_mph, half_width_mph : float

    Returns
    -------
    ndarray, shape (golfers,)
        1 at the same speed.
    """
    return np.asarray(np.exp(-0.5 * ((golfer_speed_mph - speed_mph) / half_width_mph) ** 2), dtype=float)


def effective_number(weights: Array) -> float:
    """Give Kish's effective number of golfers: as many as would tell as much if all weighed the same."""
    return float(weights.sum() ** 2 / np.sum(weights**2))


def support_masks(
    crowds: Iterable[tuple[Array, Array, Array, Shape]], launch_grid: Array, spin_grid: Array, share: float
) -> npt.NDArray[np.bool_]:
    """Mark the support of each of several crowds.

    Parameters
    ----------
    crowds : iterable of tuple
        For each, launch, spin and weights, of shape (golfers,), and the shape of the smoothing; made one by one they
        need little memory.
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)
    share : float
        Of the density, that the support holds.

    Returns
    -------
    ndarray of bool, shape (crowds, m, n)
        None in a crowd of less than two golfers.
    """
    nowhere = np.zeros((len(launch_grid), len(spin_grid)), dtype=bool)
    return np.stack(
        [
            support_mask(launch, spin, weights, shape, launch_grid, spin_grid, share)
            if np.count_nonzero(weights) > 1
            else nowhere
            for launch, spin, weights, shape in crowds
        ]
    )


def support_mask(
    launch: Array, spin: Array, weights: Array, shape: Shape, launch_grid: Array, spin_grid: Array, share: float
) -> npt.NDArray[np.bool_]:
    """Mark the grid points in the support of golfers' deliveries at one speed.

    Parameters
    ----------
    launch, spin, weights : ndarray, shape (golfers,)
        Golfers of no weight are left out.
    shape : Shape
        Of the smoothing.
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)
        Evenly spaced. They must reach well beyond the deliveries, so that they hold the density's tails.
    share : float
        Of the density, that the support holds.

    Returns
    -------
    ndarray of bool, shape (m, n)
    """
    if not np.all(weights):
        drawn = np.flatnonzero(weights > 0)
        launch, spin, weights = launch[drawn], spin[drawn], weights[drawn]
    density = support_density(launch, spin, weights, shape, launch_grid, spin_grid)
    return np.asarray(density >= _level(density, share))


def support_density(
    launch: Array, spin: Array, weights: Array, shape: Shape, launch_grid: Array, spin_grid: Array
) -> Array:
    """Give the smoothed density at the grid, shape (m, n), no unit; parameters as in `support_mask`.

    Notes
    -----
    The kernel is the product of `fourth_order` along launch and along spin beside what goes with launch, of
    bandwidths `FOURTH_ORDER` times spread times n to the power -1/10, n being Kish's number of golfers. Where it
    comes out below zero nobody is.

    From `BINNED_FROM` golfers on, each one's weight is shared out over the four nearest nodes of a fine grid, so that
    the cost no longer grows with the golfers times the grid points (linear binning: Wand, J. Comput. Graph. Stat. 3
    (1994) 433, doi 10.1080/10618600.1994.10474656; from memory).
    """
    factor = bandwidth_factor(weights)
    launch_sd = max(factor * shape.launch_sd_deg, MIN_BANDWIDTH_LAUNCH_DEG)
    spin_sd = max(factor * shape.spin_sd_rpm, MIN_BANDWIDTH_SPIN_RPM)
    beside = spin - shape.slope_rpm_per_deg * launch
    first = beside.min() - REACH * spin_sd
    columns = first + np.arange(0.0, beside.max() + REACH * spin_sd - first, spin_sd / COLUMNS_PER_BANDWIDTH)
    if len(weights) < BINNED_FROM:
        by_launch = fourth_order((launch_grid[:, None] - launch) / launch_sd) * weights
    else:
        launch, beside, table = shared_out(launch, beside, weights)
        by_launch = fourth_order((launch_grid[:, None] - launch) / launch_sd) @ table
    straight = np.zeros((len(launch_grid), len(columns)))
    part = max(SMALL // len(columns), 1)
    for start in range(0, len(beside), part):
        these = slice(start, start + part)
        straight += by_launch[:, these] @ fourth_order((beside[these, None] - columns) / spin_sd)
    place = (spin_grid - shape.slope_rpm_per_deg * launch_grid[:, None] - first) / (columns[1] - columns[0])
    density = _between(straight, place)
    return np.asarray(np.maximum(density, 0.0, out=density))


def bandwidth_factor(weights: Array) -> float:
    """Give the ratio of bandwidth to spread for golfers of such weights; see `FOURTH_ORDER`."""
    return float(FOURTH_ORDER * effective_number(weights) ** (-1 / 10))


def fourth_order(distance: Array) -> Array:
    """Give the Gaussian-based kernel of fourth order at distances in bandwidths, times the root of 2 pi.

    A crowd that it smooths keeps its variance; a Gaussian adds its own. Source: Wand and Schucany, Can. J. Stat. 18
    (1990) 197 (from memory).
    """
    half = distance * distance
    half *= 0.5
    # Far beyond any reach; without it most values would be too small for the processor's plain arithmetic.
    np.minimum(half, FARTHEST, out=half)
    kernel = np.exp(-half)
    kernel *= 1.5 - half
    return np.asarray(kernel)


def _between(straight: Array, place: Array) -> Array:
    """Look up each row between its columns, and beyond them as if a column of 0 stood on either side.

    `straight` is of shape (m, columns), `place` of shape (m, n), in columns from the first.
    """
    rows, columns = straight.shape
    values = np.zeros((rows, columns + 3))
    values[:, 1:-2] = straight
    place = np.clip(place, -1.0, columns) + 1.0
    left = place.astype(np.int64)
    place -= left
    left += values.shape[1] * np.arange(rows)[:, None]
    flat = values.ravel()
    at_left = flat.take(left)
    left += 1
    at_right = flat.take(left)
    at_right -= at_left
    at_right *= place
    at_right += at_left
    return at_right


def shared_out(launch: Array, spin: Array, weights: Array) -> tuple[Array, Array, Array]:
    """Give the nodes' launch, shape (rows,), and spin, shape (columns,), and their weights, shape (rows, columns)."""
    first = launch.min(), spin.min()
    rows = int((launch.max() - first[0]) / CELL_LAUNCH_DEG) + 2
    columns = int((spin.max() - first[1]) / CELL_SPIN_RPM) + 2
    table = np.zeros(rows * columns)
    for start in range(0, len(weights), CHUNK):
        part = slice(start, start + CHUNK)
        node, beyond_row = _cells(launch[part] - first[0], CELL_LAUNCH_DEG)
        column, beyond_column = _cells(spin[part] - first[1], CELL_SPIN_RPM)
        node *= columns
        node += column
        upper = weights[part] * beyond_row
        lower = weights[part] - upper
        upper_right, lower_right = upper * beyond_column, lower * beyond_column
        np.subtract(lower, lower_right, out=lower)
        np.subtract(upper, upper_right, out=upper)
        for beyond, share in ((0, lower), (1, lower_right), (columns, upper), (columns + 1, upper_right)):
            np.add.at(table[beyond:], node, share)
    nodes = table.reshape(rows, columns)
    # A few golfers far from the others leave most rows and columns between them empty.
    held, across = np.flatnonzero(nodes.any(axis=1)), np.flatnonzero(nodes.any(axis=0))
    return first[0] + CELL_LAUNCH_DEG * held, first[1] + CELL_SPIN_RPM * across, nodes[np.ix_(held, across)]


def _cells(x: Array, width: float) -> tuple[npt.NDArray[np.int64], Array]:
    """Give the node at or below each value and how far beyond it the value lies, as a share of the width.

    The latter takes the values' own place.
    """
    x /= width
    node = x.astype(np.int64)
    x -= node
    return node, x


def _level(density: Array, share: float) -> Array:
    """Give the least density inside the smallest region that holds a share of it."""
    held_in_all = share * density.sum()
    dense = density[density >= DENSE * density.max()]
    # Of a crowd so wide that its dense part holds less, all is ranked.
    ranked = np.sort(dense if dense.sum() >= held_in_all else density, axis=None)[::-1]
    held = np.cumsum(ranked)
    return np.asarray(ranked[min(np.searchsorted(held, held_in_all), len(held) - 1)])
