"""The flight of the proving ground's worlds: their outside truth, apart from the pipeline's code and coefficient sets.

Four balls. None is one of the pipeline's coefficient sets: drag and lift are simple curves of our own near
what Bearman and Harvey measured (Aeronautical Quarterly 27 (1976) 112-122; second-hand: lift 0.08 to 0.25 and
drag 0.27 to 0.32 as the spin ratio goes from 0.02 to 0.3), with the drag of today's balls taken a quarter lower
(an assumption). Spin decays as Tavares, Shannon and Melvin measured (Science and Golf III (1999) 464-472;
second-hand).
"""

from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.ndimage import map_coordinates, spline_filter

Array = npt.NDArray[np.float64]

MASS_KG, RADIUS_M = 0.04593, 0.021335  # R&A and USGA, Equipment Rules, Part 4
YARD_M, MPH_MPS = 0.9144, 0.44704
STEP_S = 0.1  # within 0.01 yd of a step of 0.01 s (tested)


def _plain(_reynolds: Array, s: Array) -> tuple[Array, Array]:
    """Lift as Bearman and Harvey's; drag independent of speed."""
    return 0.200 + 0.10 * s + 1.5 * s * s, 0.055 + 1.1 * s - 1.5 * s * s


def _lively(reynolds: Array, s: Array) -> tuple[Array, Array]:
    """More lift, and a drag that falls with speed."""
    return 0.205 + 1.9 * s * s + 0.03 * (1.5e5 / np.maximum(reynolds, 5e4) - 1), 0.07 + 1.15 * s - 1.3 * s * s


def _steady(reynolds: Array, s: Array) -> tuple[Array, Array]:
    """Lift that grows with the root of the spin ratio, and a drag that grows a little with speed."""
    return 0.180 + 0.35 * s + 0.9 * s * s + 0.012 * (reynolds / 1e5 - 1.5), 0.40 * np.sqrt(s) + 0.015


def _curved(reynolds: Array, s: Array) -> tuple[Array, Array]:
    """Drag that halves from low to high speed, which no set of coefficients does; lift as the plain ball's."""
    return 0.180 + 0.22 / (
        1 + np.exp((reynolds - 0.9e5) / 1.5e4)
    ) + 0.10 * s + 1.5 * s * s, 0.055 + 1.1 * s - 1.5 * s * s


BALLS = {"plain": _plain, "lively": _lively, "steady": _steady, "curved": _curved}


def air(altitude_m: float, temp_c: float) -> tuple[float, float]:
    """Give density (kg/m^3) and kinematic viscosity (m^2/s) of dry air at ISA pressure."""
    kelvin = temp_c + 273.15
    density = 101325.0 * (1 - 2.25577e-5 * altitude_m) ** 5.25588 / (287.053 * kelvin)
    return density, 1.716e-5 * (kelvin / 273.15) ** 1.5 * 383.65 / (kelvin + 110.5) / density


def fly_yd(ball: str, speed_mph: Array, launch_deg: Array, spin_rpm: Array, density: float, viscosity: float) -> Array:
    """Fly straight drives in calm air, by Runge-Kutta of fourth order; carry in yd, one value a drive.

    Raises
    ------
    ValueError
        If a drive is not down after 15 s.
    """
    formula = BALLS[ball]
    push = density * np.pi * RADIUS_M**2 / 2 / MASS_KG

    def slope(state: Array) -> Array:
        _, _, vx, vy, omega = state
        v = np.hypot(vx, vy)
        drag, lift = formula(2 * RADIUS_M * v / viscosity, np.clip(RADIUS_M * omega / v, 0, 0.4))
        along, across = push * v * drag, push * v * lift
        slower = -2.5e-5 * v * omega / RADIUS_M
        return np.stack([vx, vy, -along * vx - across * vy, across * vx - along * vy - 9.80665, slower])

    v0, angle = speed_mph * MPH_MPS, np.radians(launch_deg)
    state = np.stack([0 * v0, 0 * v0, v0 * np.cos(angle), v0 * np.sin(angle), spin_rpm * np.pi / 30])
    landed = np.full(v0.shape, np.nan)
    for _ in range(int(15 / STEP_S)):
        k1 = slope(state)
        k2 = slope(state + STEP_S / 2 * k1)
        k3 = slope(state + STEP_S / 2 * k2)
        k4 = slope(state + STEP_S * k3)
        after = state + STEP_S / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        down = np.isnan(landed) & (after[1] <= 0)
        if down.any():
            # The path within the step is close to a parabola in time: Newton's steps from the chord find the ground.
            t = STEP_S * state[1, down] / (state[1, down] - after[1, down])
            curve = (after[3, down] - state[3, down]) / STEP_S
            for _ in range(3):
                height = state[1, down] + state[3, down] * t + curve * t * t / 2
                t -= height / (state[3, down] + curve * t)
            pull = (after[2, down] - state[2, down]) / STEP_S
            landed[down] = state[0, down] + state[2, down] * t + pull * t * t / 2
        state = after
        if not np.isnan(landed).any():
            return np.asarray(landed / YARD_M)
    raise ValueError("a drive is not down after 15 s")


# The grid of the interpolated flight: ball speed (mph), launch (deg), root of spin (rpm); evenly spaced.
LOW, HIGH, COUNT = np.array([55.0, 2.0, 22.0]), np.array([205.0, 34.0, 100.0]), np.array([56, 47, 49])


@cache
def _grid(ball: str, density: float, viscosity: float) -> Array:
    axes = [np.linspace(a, b, n) for a, b, n in zip(LOW, HIGH, COUNT, strict=True)]
    speed, launch, root = (x.ravel() for x in np.meshgrid(*axes, indexing="ij"))
    return np.asarray(spline_filter(fly_yd(ball, speed, launch, root**2, density, viscosity).reshape(COUNT)))


def carry_yd(
    ball: str,
    ball_speed_mph: npt.ArrayLike,
    launch_deg: npt.ArrayLike,
    spin_rpm: npt.ArrayLike,
    altitude_m: float = 0.0,
    temp_c: float = 15.0,
) -> Array:
    """Give true carry, yd, by cubic splines on a grid of flights; drives beyond its edges are held there.

    Parameters
    ----------
    ball : str
        A key of `BALLS`.
    ball_speed_mph, launch_deg, spin_rpm : array_like
        Broadcastable.
    altitude_m, temp_c : float
        The air of all the drives.

    Returns
    -------
    ndarray
        Of the broadcast shape. Within 0.05 yd of `fly_yd` (tested).
    """
    given = np.broadcast_arrays(*(np.asarray(x, float) for x in (ball_speed_mph, launch_deg, spin_rpm)))
    points = (given[0].ravel(), given[1].ravel(), np.sqrt(given[2].ravel()))
    at = [np.clip((x - a) / (b - a) * (n - 1), 0, n - 1) for x, a, b, n in zip(points, LOW, HIGH, COUNT, strict=True)]
    grid = _grid(ball, *air(altitude_m, temp_c))
    found = map_coordinates(grid, at, order=3, mode="mirror", prefilter=False)
    return np.asarray(found.reshape(given[0].shape))
