"""Flight one ball at a time by scipy's general solver: what the study holds direct integration against.

Written apart from `trajectory` on purpose, in scalar arithmetic, which is Python's fastest way to fly a ball at a time.
Only the ball's constants and the coefficient sets' measured ranges are shared with the code under study.
"""

import math
from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp  # type: ignore[attr-defined, unused-ignore]

from pipeline.physics.air import Air
from pipeline.physics.ball import SETS, SOFT, Ball
from pipeline.physics.trajectory import GRAVITY_MPS2, MAX_S, RPM, Launch
from pipeline.statistics.arrays import Array

# Speed through the air (m/s) and spin (rad/s) to drag and lift, each as acceleration over speed, 1/s.
Forces = Callable[[float, float], tuple[float, float]]


def _indoor_range(reynolds: float, s: float) -> tuple[float, float]:
    re = reynolds * 1e-5
    return 0.2028 + (2.8466 * s - 0.2159) * s + 0.0165 * re, 0.0860 + (0.6463 + 1.4789 * s) * s - 0.0122 / (re * re)


def _smits_smith(reynolds: float, s: float) -> tuple[float, float]:
    return 0.24 + 0.18 * s + 0.06 * math.sin((reynolds - 90_000) * (math.pi / 200_000)), 0.54 * s**0.4


def _lyu(reynolds: float, s: float) -> tuple[float, float]:
    return (1.91e-11 * reynolds - 5.40e-6) * reynolds + 0.56, (1.99 - 3.25 * s) * s


FORMULAS = {"indoor-range-2001": _indoor_range, "smits-smith-1994": _smits_smith, "lyu-2018": _lyu}


def _held(x: float, lo: float, hi: float) -> float:
    """Hold a value beyond a range's ends as `ball.held` does."""
    if lo <= x <= hi:
        return x
    soft = SOFT * (hi - lo)
    if x < lo:
        d = min(lo - x, 2 * soft)
        return lo - d + d * d / (4 * soft)
    d = min(x - hi, 2 * soft)
    return hi + d - d * d / (4 * soft)


def scalar_forces(ball: Ball, density_kg_m3: float, kinematic_m2_s: float) -> Forces:
    """Make the function that gives drag and lift of one ball in one air.

    Parameters
    ----------
    ball : Ball
    density_kg_m3, kinematic_m2_s : float
        Of the air.

    Returns
    -------
    callable
        Takes speed through the air (m/s, above nil) and spin (rad/s); gives drag and lift as acceleration over
        speed, 1/s.
    """
    formula, ranges = FORMULAS[ball.coefficients], SETS[ball.coefficients]
    (re_lo, re_hi), (s_lo, s_hi) = ranges.reynolds, ranges.spin_ratio
    per_speed = ball.diameter_m / kinematic_m2_s
    radius = ball.diameter_m / 2
    scale = density_kg_m3 * math.pi * radius * radius / (2 * ball.mass_kg)
    drag_scale, lift_scale = ball.drag * scale, ball.lift * scale

    def forces(speed_mps: float, spin_rad_s: float) -> tuple[float, float]:
        s = spin_rad_s * radius / speed_mps
        ratio = _held(s, s_lo, s_hi)
        drag, lift = formula(_held(speed_mps * per_speed, re_lo, re_hi), ratio)
        if s < ratio:
            lift *= s / ratio
        return drag_scale * drag * speed_mps, lift_scale * lift * speed_mps

    return forces


def carry_by_solver(
    launch: Launch,
    ball: Ball,
    air: Air,
    along_mps: Array,
    cross_mps: Array,
    method: str,
    rtol: float,
) -> Array:
    """Fly balls one after another by `scipy.integrate.solve_ivp`, in three dimensions.

    Parameters
    ----------
    launch : Launch
    ball : Ball
    air : Air
        Scalars.
    along_mps, cross_mps : ndarray, shape (n,)
        Wind, as in `trajectory.Wind`.
    method : str
        A method of `solve_ivp`.
    rtol : float
        Relative tolerance, and the absolute one in m, m/s and rad/s.

    Returns
    -------
    ndarray, shape (n,)
        Carry, m.
    """
    forces = scalar_forces(ball, float(air.density_kg_m3), float(air.kinematic_m2_s))
    rows = zip(*vars(launch).values(), along_mps, cross_mps, strict=True)
    return np.array([_fly_one(forces, ball, tuple(map(float, row)), method, rtol) for row in rows])


def _fly_one(forces: Forces, ball: Ball, shot: tuple[float, ...], method: str, rtol: float) -> float:
    speed, launch, spin, side, tilt, along, cross = shot
    rise, yaw, bank = math.radians(launch), math.radians(side), math.radians(tilt)
    flat = speed * math.cos(rise)
    # Across is to the right here, so that no sign is shared with `trajectory`.
    start = [0.0, 0.0, 0.0, flat * math.cos(yaw), flat * math.sin(yaw), speed * math.sin(rise), spin * RPM]
    # Velocity through the air, turned a quarter about the axis (forward, right, up).
    a, b, c = -math.sin(yaw) * math.cos(bank), math.cos(yaw) * math.cos(bank), -math.sin(bank)
    decay = ball.spin_decay / (ball.diameter_m / 2)

    def slope(_: float, state: Array) -> list[float]:
        _x, _y, _z, vx, vy, vz, w = state.tolist()
        ux, uy = vx - along, vy - cross
        v = math.sqrt(ux * ux + uy * uy + vz * vz)
        drag, lift = forces(v, w)
        # (forward, right, up) is left-handed: the cross product's sign is the other one.
        return [
            vx,
            vy,
            vz,
            -drag * ux - lift * (b * vz - c * uy),
            -drag * uy - lift * (c * ux - a * vz),
            -drag * vz - lift * (a * uy - b * ux) - GRAVITY_MPS2,
            -decay * v * w,
        ]

    end = _land(slope, start, 2, method, rtol)
    return math.hypot(end[0], end[1])


def calm_carry_by_solver(launch: Launch, ball: Ball, air: Air, method: str, rtol: float) -> Array:
    """Fly straight shots in calm air one after another, in their plane: the loop that speed is compared with.

    Parameters
    ----------
    launch : Launch
        Its side and axis are not looked at.
    ball, air, method, rtol
        As for `carry_by_solver`.

    Returns
    -------
    ndarray, shape (n,)
        Carry, m.
    """
    forces = scalar_forces(ball, float(air.density_kg_m3), float(air.kinematic_m2_s))
    decay = ball.spin_decay / (ball.diameter_m / 2)

    def slope(_: float, state: Array) -> list[float]:
        # Plain floats: arithmetic on numpy's own scalars is several times slower.
        _x, _z, vx, vz, w = state.tolist()
        v = math.sqrt(vx * vx + vz * vz)
        drag, lift = forces(v, w)
        return [vx, vz, -drag * vx - lift * vz, lift * vx - drag * vz - GRAVITY_MPS2, -decay * v * w]

    return np.array([_land(slope, start, 1, method, rtol)[0] for start in _planar_starts(launch)])


def calm_carry_by_array_solver(launch: Launch, ball: Ball, air: Air, method: str, rtol: float) -> Array:
    """Do the same around `Ball.forces`, as one would who has only that: numpy's calls on arrays of one ball.

    Parameters and result are those of `calm_carry_by_solver`.
    """
    decay = ball.spin_decay / (ball.diameter_m / 2)

    def slope(_: float, state: Array) -> Array:
        _x, _z, vx, vz, w = state[:, np.newaxis]
        v = np.sqrt(vx * vx + vz * vz)
        drag, lift = ball.forces(v, w, air.density_kg_m3, air.kinematic_m2_s)
        ax, az = -drag * vx - lift * vz, lift * vx - drag * vz - GRAVITY_MPS2
        return np.concatenate([vx, vz, ax, az, -decay * v * w])

    return np.array([_land(slope, start, 1, method, rtol)[0] for start in _planar_starts(launch)])


def _planar_starts(launch: Launch) -> list[list[float]]:
    rise, nil = np.radians(launch.launch_deg), np.zeros(len(launch))
    flat, up = launch.speed_mps * np.cos(rise), launch.speed_mps * np.sin(rise)
    starts: list[list[float]] = np.stack([nil, nil, flat, up, launch.spin_rpm * RPM], axis=1).tolist()
    return starts


def _land(
    slope: Callable[..., list[float] | Array], start: list[float], height: int, method: str, rtol: float
) -> Array:
    """Give the state where the height, at its index in the state, passes nil downwards."""

    def ground(_: float, state: Array) -> float:
        return float(state[height])

    ground.terminal, ground.direction = True, -1  # type: ignore[attr-defined]
    done = solve_ivp(slope, (0.0, MAX_S), start, method=method, rtol=rtol, atol=rtol, events=ground)
    return np.asarray(done.y_events[0][0], dtype=np.float64)
