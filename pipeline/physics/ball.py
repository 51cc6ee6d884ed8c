"""The ball: its size, how it loses spin, and named sets of published drag and lift coefficients (numpy alone).

A set says how C_D and C_L depend on Reynolds number and spin ratio S = r w / V. The sets disagree by 10 to 15 yd on
one drive, for they were measured on different balls: ball aerodynamics are data. A study therefore takes one set and
two multipliers, of drag and of lift, that are calibrated to its own shots.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.statistics.arrays import Array

# R&A and USGA, Equipment Rules, Part 4: mass at most 1.620 oz av., diameter at least 1.680 in. Balls are made to them.
MASS_KG = 0.04593
DIAMETER_M = 0.04267

# dw/dt = -c V w / r. Smits and Smith, Science and Golf II (1994) 340-347: 2.0e-5; Tavares, Shannon and Melvin,
# Science and Golf III (1999) 464-472: 2.5e-5. Both second-hand. The second takes 0.4 to 0.7 yd off a usual drive of 150
# mph of ball speed (1.9 yd with lyu-2018).
SPIN_DECAY = 2.0e-5

# Share of a range, beyond each of its ends, over which holding sets in, so that forces have no kink in their slope.
# Half or twice of it moves usual drives from 110 to 170 mph of ball speed by at most 0.4 yd with the two candidates of
# "best"; one of 170 mph with 1800 rpm by 1.4 yd, and one of 110 mph with 5500 rpm by 3.3 yd.
SOFT = 0.10


def held(x: Array, lo: float, hi: float) -> Array:
    """Hold values a little beyond the ends of a range, rounding the corners by parabolas.

    Parameters
    ----------
    x : ndarray
    lo, hi : float

    Returns
    -------
    ndarray
        x itself inside; from a fifth of the range beyond an end on, the value a tenth of the range beyond it.
    """
    soft = SOFT * (hi - lo)
    near = np.clip(x, lo - 2 * soft, hi + 2 * soft)
    beyond = np.clip(x, lo, hi)
    np.subtract(near, beyond, out=beyond)  # negative below the range
    # Each parabola leaves the held end and meets the straight line with its slope.
    bend = np.abs(beyond)
    bend *= beyond
    bend *= 1 / (4 * soft)
    near -= bend
    return np.asarray(near, dtype=float)


@dataclass(frozen=True)
class Coefficients:
    """A published set.

    Attributes
    ----------
    name : str
    source : str
    reynolds, spin_ratio : tuple of float
        The measured ranges; outside them coefficients are held at the nearest end, except that lift goes to nil in a
        straight line with the spin ratio below its range: a ball that doesn't spin isn't lifted.
    formula : callable
        Takes Reynolds number and spin ratio inside the ranges, gives C_D and C_L.
    """

    name: str
    source: str
    reynolds: tuple[float, float]
    spin_ratio: tuple[float, float]
    formula: Callable[[Array, Array], tuple[Array, Array]] = field(repr=False)

    def at(self, reynolds: Array, spin_ratio: Array) -> tuple[Array, Array]:
        """Give C_D and C_L, held outside the measured ranges; arrays of one shape."""
        lo, hi = self.spin_ratio
        ratio = held(spin_ratio, lo, hi)
        drag, lift = self.formula(held(reynolds, *self.reynolds), ratio)
        if lo > 0:
            # Below the range, where ratio is never below lo, lift falls to nil with the spin.
            low = np.flatnonzero(spin_ratio < lo)
            lift[low] *= spin_ratio[low] / ratio[low]
        return drag, lift


def _indoor_range(reynolds: Array, s: Array) -> tuple[Array, Array]:
    # C_D = 0.2028 + (2.8466 S - 0.2159) S + 0.0165 re and C_L = 0.0860 + (0.6463 + 1.4789 S) S - 0.0122 / re^2, with
    # few arrays.
    re = reynolds / 1e5
    drag, lift = 2.8466 * s, 1.4789 * s
    drag -= 0.2159
    drag *= s
    drag += 0.2028
    drag += 0.0165 * re
    lift += 0.6463
    lift *= s
    lift += 0.0860
    re *= re
    lift -= np.divide(0.0122, re, out=re)
    return drag, lift


# Taylor's series of sin(x) / x in powers of x^2. Up to x = 1.1, the held range's end, its error is below 5e-13.
_SINE = tuple((-1) ** k / math.factorial(2 * k + 1) for k in range(6, -1, -1))


def _smits_smith(reynolds: Array, s: Array) -> tuple[Array, Array]:
    # 0.24 + 0.18 S + 0.06 sin(a), a = pi (Re - 90,000) / 200,000. The sine alone was a third of a flight's cost;
    # as sin(a) = 1 - 2 sin^2(x) with x = (a - pi / 2) / 2 a short series does.
    x = reynolds - 190_000
    x *= np.pi / 400_000
    square = x * x
    series = square * _SINE[0]
    for term in _SINE[1:-1]:
        series += term
        series *= square
    series += _SINE[-1]
    series *= x
    series *= series
    series *= -0.12
    series += 0.30
    series += 0.18 * s
    return series, 0.54 * s**0.4


def _lyu(reynolds: Array, s: Array) -> tuple[Array, Array]:
    return (1.91e-11 * reynolds - 5.40e-6) * reynolds + 0.56, (1.99 - 3.25 * s) * s


SETS = {
    made.name: made
    for made in (
        Coefficients(
            "smits-smith-1994",
            "Smits and Smith, Science and Golf II (1994) 340-347, driver shots; second-hand",
            (70_000, 210_000),
            (0.08, 0.20),
            _smits_smith,
        ),
        Coefficients(
            "indoor-range-2001",
            "Indoor test range, example regression in US patent 6,186,002 B1 (2001), a ball of the late 1990s; "
            "second-hand",
            (81_000, 200_000),
            (0.044, 0.218),
            _indoor_range,
        ),
        Coefficients(
            "lyu-2018",
            "Lyu, Kensrud, Smith and Tosaya, Proceedings 2(6) (2018) 238, doi 10.3390/proceedings2060238, one ball's "
            "fits; second-hand",
            (75_000, 200_000),
            (0.04, 0.32),
            _lyu,
        ),
    )
}


@dataclass(frozen=True)
class Ball:
    """A ball in flight: a coefficient set with multipliers, mass, diameter, spin decay."""

    coefficients: str = "smits-smith-1994"
    drag: float = 1.0
    lift: float = 1.0
    mass_kg: float = MASS_KG
    diameter_m: float = DIAMETER_M
    spin_decay: float = SPIN_DECAY

    def scaled(self, drag: float, lift: float) -> "Ball":
        """Give the same ball with other multipliers."""
        return replace(self, drag=drag, lift=lift)

    def forces(
        self, speed_mps: Array, spin_rad_s: Array, density_kg_m3: Array, kinematic_m2_s: Array
    ) -> tuple[Array, Array]:
        """Give drag and lift as acceleration over speed, 1/s, so that times a velocity it is an acceleration.

        Parameters
        ----------
        speed_mps : ndarray
            Speed through the air, above nil.
        spin_rad_s : ndarray
        density_kg_m3, kinematic_m2_s : ndarray
            Of the air; of the same shape or scalars.

        Returns
        -------
        tuple of ndarray
        """
        return self.scaled_forces(speed_mps, spin_rad_s, self.scales(density_kg_m3, kinematic_m2_s))

    def scales(
        self,
        density_kg_m3: Array,
        kinematic_m2_s: Array,
        multipliers: tuple[Array | float, Array | float] | None = None,
    ) -> tuple[Array, Array, Array]:
        """Give what doesn't change in flight: Reynolds number over speed, and drag and lift over it and coefficients.

        Parameters
        ----------
        density_kg_m3, kinematic_m2_s : ndarray
            Of the air; of shape (n,) or scalars.
        multipliers : tuple of ndarray or float, optional
            Of drag and of lift, likewise; the ball's own if None.

        Returns
        -------
        tuple of ndarray
            s/m, 1/m, 1/m: in one air and of one ball numbers, not arrays.
        """
        of_drag, of_lift = (self.drag, self.lift) if multipliers is None else multipliers
        area = np.pi * self.diameter_m**2 / 4
        scale = density_kg_m3 * (area / (2 * self.mass_kg))
        return self.diameter_m / kinematic_m2_s, of_drag * scale, of_lift * scale

    def scaled_forces(
        self, speed_mps: Array, spin_rad_s: Array, scales: tuple[Array, Array, Array]
    ) -> tuple[Array, Array]:
        """Give the same as `forces`, of the air and multipliers that `scales` took."""
        per_speed, of_drag, of_lift = scales
        ratio = spin_rad_s * (self.diameter_m / 2)
        ratio /= speed_mps
        drag, lift = SETS[self.coefficients].at(speed_mps * per_speed, ratio)
        drag *= speed_mps * of_drag
        lift *= speed_mps * of_lift
        return drag, lift
