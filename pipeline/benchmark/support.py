"""Which deliveries golfers of about a club speed really produce (numpy alone).

The support at a speed is the smallest region of launch and spin that holds four fifths of the smoothed density of
golfers' typical deliveries (a highest-density region: Hyndman, Am. Stat. 50 (1996) 120, doi
10.1080/00031305.1996.10474359), weighted by how near their speed is.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

# Golfers with a fault stand alone, far from the others; a region that held each of them would also reach out from the
# crowd to where nobody is.
HELD_SHARE = 0.80

NORMAL_QUARTILE_RANGE = 1.349  # of a normal distribution with standard deviation 1

# Narrowest smoothing, so that a handful of like deliveries still makes an area: about the reading errors.
MIN_BANDWIDTH_LAUNCH_DEG = 0.3
MIN_BANDWIDTH_SPIN_RPM = 80.0

# From so many golfers on, deliveries are gathered at nodes, a third of the narrowest smoothing apart.
BINNED_FROM = 1000
CELL_LAUNCH_DEG = MIN_BANDWIDTH_LAUNCH_DEG / 3
CELL_SPIN_RPM = MIN_BANDWIDTH_SPIN_RPM / 3
CHUNK = 8192  # golfers at a time: larger arrays are made anew by the system each time, which takes thrice as long


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


def replicate_masks(
    deliveries: Iterable[tuple[Array, Array, Array]], launch_grid: Array, spin_grid: Array
) -> npt.NDArray[np.bool_]:
    """Mark the support of each replicate, whose golfers, weights and so smoothing are its own.

    Parameters
    ----------
    deliveries : iterable of tuple
        For each replicate launch, spin and weights, each of shape (golfers,); made one by one they need little memory.
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)

    Returns
    -------
    ndarray of bool, shape (replicates, m, n)
        None in a replicate of less than two golfers.
    """
    nowhere = np.zeros((len(launch_grid), len(spin_grid)), dtype=bool)
    return np.stack(
        [
            support_mask(launch, spin, weights, launch_grid, spin_grid) if np.count_nonzero(weights) > 1 else nowhere
            for launch, spin, weights in deliveries
        ]
    )


def support_mask(
    launch: Array, spin: Array, weights: Array, launch_grid: Array, spin_grid: Array
) -> npt.NDArray[np.bool_]:
    """Mark the grid points in the support of golfers' deliveries at one speed.

    Parameters
    ----------
    launch, spin, weights : ndarray, shape (golfers,)
        Golfers of no weight are left out.
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)

    Returns
    -------
    ndarray of bool, shape (m, n)

    Notes
    -----
    From `BINNED_FROM` golfers of any weight on, each one's weight is shared out over the four nearest nodes of a fine
    grid, so that the cost no longer grows with the golfers times the grid points (linear binning: Wand, J. Comput.
    Graph. Stat. 3 (1994) 433, doi 10.1080/10618600.1994.10474656; from memory).
    """
    if not np.all(weights):
        drawn = np.flatnonzero(weights > 0)
        launch, spin, weights = launch[drawn], spin[drawn], weights[drawn]
    if len(weights) < BINNED_FROM:
        return make_support(launch, spin, weights, launch_grid, spin_grid).mask(weights)
    density = binned_density(launch, spin, weights, launch_grid, spin_grid)
    return np.asarray(density >= _level(density))


def binned_density(launch: Array, spin: Array, weights: Array, launch_grid: Array, spin_grid: Array) -> Array:
    """Give the density at the grid by golfers gathered at nodes, shape (m, n), no unit; see `support_mask`."""
    launch_at, spin_at, table = _shared_out(launch, spin, weights)
    by_launch, by_spin = table.sum(axis=1), table.sum(axis=0)
    factor = scott_factor(weights)
    to_launch, to_spin = (
        # Sharing out widens as a smoothing of variance cell^2 / 6 does, averaged over where golfers lie in a cell.
        _gauss(at[:, None] - grid, np.sqrt(max(factor * _node_spread(at, mass), least) ** 2 - cell**2 / 6))
        for at, grid, mass, least, cell in (
            (launch_at, launch_grid, by_launch, MIN_BANDWIDTH_LAUNCH_DEG, CELL_LAUNCH_DEG),
            (spin_at, spin_grid, by_spin, MIN_BANDWIDTH_SPIN_RPM, CELL_SPIN_RPM),
        )
    )
    return np.asarray(to_launch.T @ table @ to_spin)


def _shared_out(launch: Array, spin: Array, weights: Array) -> tuple[Array, Array, Array]:
    """Give the nodes' launch, shape (rows,), and spin, shape (columns,), and their weights, shape (rows, columns)."""
    first = launch.min(), spin.min()
    rows = int((launch.max() - first[0]) / CELL_LAUNCH_DEG) + 2
    columns = int((spin.max() - first[1]) / CELL_SPIN_RPM) + 2
    table = np.zeros(rows * columns)
    for start in range(0, len(weights), CHUNK):
        part = slice(start, start + CHUNK)
        row, beyond_row = _cells(launch[part] - first[0], CELL_LAUNCH_DEG)
        column, beyond_column = _cells(spin[part] - first[1], CELL_SPIN_RPM)
        node = row * columns + column
        upper = weights[part] * beyond_row
        lower = weights[part] - upper
        upper_right, lower_right = upper * beyond_column, lower * beyond_column
        np.add.at(table, node, lower - lower_right)
        np.add.at(table, node + 1, lower_right)
        np.add.at(table, node + columns, upper - upper_right)
        np.add.at(table, node + columns + 1, upper_right)
    nodes = table.reshape(rows, columns)
    # A few golfers far from the others leave most rows and columns between them empty.
    held, across = np.flatnonzero(nodes.any(axis=1)), np.flatnonzero(nodes.any(axis=0))
    return first[0] + CELL_LAUNCH_DEG * held, first[1] + CELL_SPIN_RPM * across, nodes[np.ix_(held, across)]


def _cells(x: Array, width: float) -> tuple[npt.NDArray[np.int64], Array]:
    """Give the node at or below each value and how far beyond it the value lies, as a share of the width."""
    place = x / width
    node = place.astype(np.int64)
    return node, place - node


def _node_spread(x: Array, mass: Array) -> float:
    total = float(mass.sum())
    mean = x @ mass / total
    sd = float(np.sqrt((x - mean) ** 2 @ mass / total))
    lo, hi = np.interp([0.25 * total, 0.75 * total], np.cumsum(mass) - mass / 2, x)
    return min(sd, float(hi - lo) / NORMAL_QUARTILE_RANGE)


@dataclass(frozen=True)
class Support:
    """Density of deliveries over a launch and spin grid at one speed, for any weights of the golfers.

    The grid must reach well beyond the deliveries, so that it holds the density's tails.

    Attributes
    ----------
    launch, spin : ndarray, shape (golfers,)
        Golfers' typical deliveries, deg and rpm.
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)
    bandwidth : tuple of float
        Standard deviations of the smoothing, deg and rpm.
    """

    launch: Array
    spin: Array
    launch_grid: Array
    spin_grid: Array
    bandwidth: tuple[float, float]

    @cached_property
    def _to_launch(self) -> Array:
        return _gauss(self.launch[:, None] - self.launch_grid, self.bandwidth[0])

    @cached_property
    def _to_spin(self) -> Array:
        return _gauss(self.spin[:, None] - self.spin_grid, self.bandwidth[1])

    def density(self, weights: Array) -> Array:
        """Give the density at the grid, shape (..., m, n), for weights of shape (..., golfers); no unit."""
        return np.asarray((weights[..., None, :] * self._to_launch.T) @ self._to_spin)

    def level(self, weights: Array) -> Array:
        """Give the least density inside the smallest region that holds four fifths of it, shape (...)."""
        return _level(self.density(weights))

    def mask(self, weights: Array) -> npt.NDArray[np.bool_]:
        """Mark the grid points in the support, shape (..., m, n)."""
        density = self.density(weights)
        return np.asarray(density >= _level(density)[..., None, None])


def _level(density: Array) -> Array:
    ranked = np.sort(density.reshape(*density.shape[:-2], -1), axis=-1)[..., ::-1]
    held = np.cumsum(ranked, axis=-1)
    last = np.argmax(held >= HELD_SHARE * held[..., -1:], axis=-1)
    return np.asarray(np.take_along_axis(ranked, last[..., None], axis=-1)[..., 0])


def make_support(launch: Array, spin: Array, weights: Array, launch_grid: Array, spin_grid: Array) -> Support:
    """Choose the smoothing for golfers' deliveries at one speed.

    Parameters
    ----------
    launch, spin, weights : ndarray, shape (golfers,)
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)

    Returns
    -------
    Support
        With Scott's bandwidths for two dimensions, spread times n to the power -1/6, n being the effective number
        of golfers (Scott, Multivariate Density Estimation (1992), equation 6.42; Kish's n). The spread is the
        smaller of standard deviation and scaled quartile range, so that a few faulty golfers don't widen it
        (Silverman, Density Estimation (1986), equation 3.30).
    """
    factor = scott_factor(weights)
    return Support(
        launch,
        spin,
        launch_grid,
        spin_grid,
        (
            max(factor * _spread(launch, weights), MIN_BANDWIDTH_LAUNCH_DEG),
            max(factor * _spread(spin, weights), MIN_BANDWIDTH_SPIN_RPM),
        ),
    )


def scott_factor(weights: Array) -> float:
    """Give Scott's ratio of bandwidth to spread for two dimensions."""
    return float(effective_number(weights) ** (-1 / 6))


def _spread(x: Array, weights: Array) -> float:
    mean = np.average(x, weights=weights)
    sd = float(np.sqrt(np.average((x - mean) ** 2, weights=weights)))
    lo, hi = np.quantile(x, [0.25, 0.75], weights=weights, method="inverted_cdf")
    return min(sd, float(hi - lo) / NORMAL_QUARTILE_RANGE)


def _gauss(distance: Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * (distance / sd) ** 2), dtype=float)
