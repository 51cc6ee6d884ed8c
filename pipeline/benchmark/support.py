"""Which deliveries golfers of about a club speed really produce (numpy alone).

The support at a speed is where the smoothed density of golfers' typical deliveries, weighted by how near their
speed is, reaches at least what all but the most unusual fifth of those golfers have around them.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from pipeline.fit.surface import Array

# Golfers with a fault stand alone, far from the others; a level that let each of them in would also draw the
# edge of the crowd out to where nobody is.
UNUSUAL_SHARE = 0.20

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


@dataclass(frozen=True)
class Support:
    """Density of deliveries over a launch and spin grid at one speed, for any weights of the golfers.

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

    @cached_property
    def _to_golfers(self) -> Array:
        launch = _gauss(self.launch[:, None] - self.launch, self.bandwidth[0])
        return launch * _gauss(self.spin[:, None] - self.spin, self.bandwidth[1])

    def density(self, weights: Array) -> Array:
        """Give the density at the grid, shape (..., m, n), for weights of shape (..., golfers); no unit."""
        return np.asarray((weights[..., None, :] * self._to_launch.T) @ self._to_spin)

    def level(self, weights: Array) -> Array:
        """Give the density that all but the most unusual fifth of the golfers (by weight) reach, shape (...)."""
        here = weights @ self._to_golfers
        order = np.argsort(here, axis=-1, kind="stable")
        ranked = np.take_along_axis(here, order, axis=-1)
        share = np.cumsum(np.take_along_axis(weights, order, axis=-1), axis=-1)
        first = np.argmax(share > UNUSUAL_SHARE * share[..., -1:], axis=-1)
        return np.asarray(np.take_along_axis(ranked, first[..., None], axis=-1)[..., 0])

    def mask(self, weights: Array) -> npt.NDArray[np.bool_]:
        """Mark the grid points in the support, shape (..., m, n)."""
        return np.asarray(self.density(weights) >= self.level(weights)[..., None, None])


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
    effective = float(weights.sum() ** 2 / np.sum(weights**2))
    factor = effective ** (-1 / 6)
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
