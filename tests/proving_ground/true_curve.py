"""Flight of the proving ground's drives that start to a side, bend or meet a cross wind: in three dimensions.

The balls and the air are those of `true_flight`; the forces are written out once more, with the axes ahead, up and to
the right. None of it is the pipeline's.
"""

from functools import cache

import numpy as np
import numpy.typing as npt
import true_flight
from scipy.ndimage import map_coordinates, spline_filter
from true_flight import BALLS, MASS_KG, MPH_MPS, RADIUS_M, YARD_M, Array, air

GRAVITY_MPS2 = np.array([0.0, -9.80665, 0.0])


def land_yd(
    ball: str,
    drive: tuple[npt.ArrayLike, ...],
    side_deg: npt.ArrayLike = 0.0,
    axis_deg: npt.ArrayLike = 0.0,
    cross_mps: npt.ArrayLike = 0.0,
    density: float | None = None,
    viscosity: float | None = None,
) -> tuple[Array, Array]:
    """Fly drives by Runge-Kutta of fourth order; sea level and 15 deg C unless another air is given.

    Parameters
    ----------
    ball : str
        A key of `BALLS`.
    drive : tuple of array_like
        Ball speed (mph), launch (deg), spin (rpm); broadcastable, with those that follow, to shape (n,).
    side_deg, axis_deg : array_like
        Horizontal start and tilt of the spin axis; to the right is positive.
    cross_mps : array_like
        Steady wind from left to right.

    Returns
    -------
    carry_yd, offline_yd : ndarray, shape (n,)
        Distance from the tee, and right of the target line.

    Raises
    ------
    ValueError
        If a drive is not down after 15 s.
    """
    usual = air(0.0, 15.0)
    density, viscosity = density if density is not None else usual[0], viscosity or usual[1]
    speed, launch, spin, side, axis, cross = (
        np.asarray(x, float) for x in np.broadcast_arrays(*map(np.atleast_1d, (*drive, side_deg, axis_deg, cross_mps)))
    )
    rise, turn, tilt = (np.radians(x) for x in (launch, side, axis))
    push = density * np.pi * RADIUS_M**2 / 2 / MASS_KG
    wind = np.stack([0 * cross, 0 * cross, cross])
    # Backspin is about the axis to the right of the start; what bends to the right has its right end lowered.
    back = np.sin(tilt) * np.sin(rise)
    about = np.stack(
        [
            -np.cos(tilt) * np.sin(turn) + back * np.cos(turn),
            -np.sin(tilt) * np.cos(rise),
            np.cos(tilt) * np.cos(turn) + back * np.sin(turn),
        ]
    )
    away = np.stack([np.cos(rise) * np.cos(turn), np.sin(rise), np.cos(rise) * np.sin(turn)]) * speed * MPH_MPS
    formula, h = BALLS[ball], true_flight.STEP_S

    def slope(state: Array) -> Array:
        v, omega = state[3:6], state[6]
        u = v - wind
        through = np.sqrt((u**2).sum(axis=0))
        drag, lift = formula(2 * RADIUS_M * through / viscosity, np.clip(RADIUS_M * omega / through, 0, 0.4))
        (ax, ay, az), (ux, uy, uz) = about, u
        lifted = np.stack([ay * uz - az * uy, az * ux - ax * uz, ax * uy - ay * ux])
        pulled = push * through * (lift * lifted - drag * u) + GRAVITY_MPS2[:, None]
        return np.concatenate([v, pulled, [-2.5e-5 * through * omega / RADIUS_M]])

    state = np.concatenate([0 * away, away, [spin * np.pi / 30]])
    at = np.full((2, len(speed)), np.nan)
    for _ in range(int(15 / h)):
        k1 = slope(state)
        k2 = slope(state + h / 2 * k1)
        k3 = slope(state + h / 2 * k2)
        k4 = slope(state + h * k3)
        after = state + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        down = np.isnan(at[0]) & (after[1] <= 0)
        if down.any():
            one, other = state[:, down], after[:, down]
            # Within a step the path is close to a parabola in time, along each axis.
            bend = (other[3:6] - one[3:6]) / h
            t = h * one[1] / (one[1] - other[1])
            for _ in range(3):
                t -= (one[1] + one[4] * t + bend[1] * t * t / 2) / (one[4] + bend[1] * t)
            at[:, down] = (one[:3] + one[3:6] * t + bend * t * t / 2)[[0, 2]]
        state = after
        if not np.isnan(at).any():
            return np.hypot(*at) / YARD_M, at[1] / YARD_M
    raise ValueError("a drive is not down after 15 s")


# The grid of what bends: ball speed (mph), launch (deg), root of spin (rpm), spin axis (deg); evenly spaced.
LOW, HIGH = np.array([55.0, 2.0, 22.0, -60.0]), np.array([205.0, 34.0, 100.0, 60.0])
COUNT = np.array([22, 17, 18, 25])


@cache
def _grids(ball: str) -> tuple[Array, Array]:
    speed, launch, root, axis = (np.linspace(a, b, n) for a, b, n in zip(LOW, HIGH, COUNT, strict=True))
    straight, *turned = (
        land_yd(ball, tuple(x.ravel() for x in np.meshgrid(speed, launch, root**2, indexing="ij")), axis_deg=tilt)
        for tilt in axis[axis >= 0]
    )
    # A drive that bends to the left is the mirror image of one that bends to the right (tested).
    less = [straight[0] - carry for carry, _ in turned]
    drift = [offline for _, offline in turned]
    found = ([*less[::-1], 0 * less[0], *less], [*(-x for x in drift[::-1]), 0 * drift[0], *drift])
    return tuple(spline_filter(np.stack(x, axis=-1).reshape(COUNT)) for x in found)  # type: ignore[return-value]


def bend_yd(ball: str, drive: tuple[Array, ...], side_deg: Array, axis_deg: Array, carry_yd: Array) -> Array:
    """Give where drives come down in calm air at sea level, by splines: carry and offline, yd, shape (2, ...).

    Parameters are those of `land_yd`, of one shape, and `carry_yd` of the same drives flown straight. What bends is
    held at the grid's edges. Within 0.03 yd of `land_yd` in the mean over
    drives of all kinds, and 1 yd for every one (tested).
    """
    points = (drive[0], drive[1], np.sqrt(drive[2]), axis_deg)
    at = [
        np.clip((x.ravel() - a) / (b - a) * (n - 1), 0, n - 1)
        for x, a, b, n in zip(points, LOW, HIGH, COUNT, strict=True)
    ]
    less, drift = (
        map_coordinates(grid, at, order=3, mode="mirror", prefilter=False).reshape(axis_deg.shape)
        for grid in _grids(ball)
    )
    carry = carry_yd - less
    # Start to a side turns the whole flight about the tee.
    along, turn = np.sqrt(np.maximum(carry**2 - drift**2, 0)), np.radians(side_deg)
    return np.stack([carry, along * np.sin(turn) + drift * np.cos(turn)])
