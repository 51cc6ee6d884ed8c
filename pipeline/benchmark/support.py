"""Which deliveries golfers of about a club speed really produce (numpy alone).

The support at a speed is the smallest region of launch and spin that holds four fifths of the smoothed density of
golfers' typical deliveries (a highest-density region: Hyndman, Am. Stat. 50 (1996) 120, doi
10.1080/00031305.1996.10474359), weighted by how near their speed is.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from pipeline.fit.surface import Array

# Golfers with a fault stand alone, far from the others; a region that held each of them would also reach out from the
# crowd to where nobody is.
HELD_SHARE = 0.80

NORMAL_QUARTILE_RANGE = 1.349  # of a normal distribution with standard deviation 1

# Narrowest smoothing, so that a handful of like deliveries still makes an area: about the reading errors.
MIN_BANDWIDTH_LAUNCH_DEG = 0.3
MIN_BANDWIDTH_SPIN_RPM = 80.0


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
    launch: Array, spin: Array, weights: Array, launch_grid: Array, spin_grid: Array
) -> npt.NDArray[np.bool_]:
    """Mark the support of each replicate, whose golfers, weights and so smoothing are its own.

    Parameters
    ----------
    launch, spin, weights : ndarray, shape (replicates, golfers)
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)

    Returns
    -------
    ndarray of bool, shape (replicates, m, n)
    """
    masks = np.zeros((len(weights), len(launch_grid), len(spin_grid)), dtype=bool)
    for mask, l, p, w in zip(masks, launch, spin, weights, strict=True):
        drawn = w > 0
        if np.count_nonzero(drawn) > 1:
            mask[:] = make_support(l[drawn], p[drawn], w[drawn], launch_grid, spin_grid).mask(w[drawn])
    return masks


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
    factor = effective_number(weights) ** (-1 / 6)
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


def _spread(x: Array, weights: Array) -> float:
    mean = np.average(x, weights=weights)
    sd = float(np.sqrt(np.average((x - mean) ** 2, weights=weights)))
    lo, hi = np.quantile(x, [0.25, 0.75], weights=weights, method="inverted_cdf")
    return min(sd, float(hi - lo) / NORMAL_QUARTILE_RANGE)


def _gauss(distance: Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * (distance / sd) ** 2), dtype=float)
