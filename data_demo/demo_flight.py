"""Flight of the demo study's drives: an independent simulator, the outside truth of the demo.

Drag and lift are the example regression of US patent 6,186,002 B1 (2001; second-hand), spin decays as measured by Smits
and Smith (1994; second-hand). The pipeline's own flight uses another set by default, and no code is shared with it.
"""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

MASS_KG, DIAMETER_M = 0.04593, 0.04267  # R&A and USGA, Equipment Rules, Part 4
DRAG, LIFT = 0.92, 1.0  # the patent's ball is of the late 1990s; modern balls drag a little less
SPIN_DECAY = 2.0e-5  # Smits and Smith (1994), second-hand
STEP_S = 0.02
YARD_M, MPH_MPS = 0.9144, 0.44704


def air(altitude_m: float, temp_c: float) -> tuple[float, float]:
    """Give density in kg/m^3 and kinematic viscosity in m^2/s of dry air: ISA pressure, Sutherland viscosity."""
    kelvin = temp_c + 273.15
    pressure_pa = 101325.0 * (1 - 0.0065 * altitude_m / 288.15) ** 5.25588
    density = pressure_pa / (287.053 * kelvin)
    return density, 1.716e-5 * (kelvin / 273.15) ** 1.5 * (273.15 + 110.4) / (kelvin + 110.4) / density


def coefficients(reynolds: Array, spin_ratio: Array) -> tuple[Array, Array]:
    """Give drag and lift coefficient of the patent's regression, held at the edges of what was measured."""
    x, s = np.clip(reynolds / 1e5, 0.8, 2.0), np.clip(spin_ratio, 0.0, 0.30)
    return 0.2028 + 2.8466 * s * s + 0.0165 * x - 0.2159 * s, 0.0860 + 0.6463 * s - 0.0122 / (x * x) + 1.4789 * s * s


def carry_yd(
    ball_speed_mph: npt.ArrayLike,
    launch_deg: npt.ArrayLike,
    spin_rpm: npt.ArrayLike,
    altitude_m: float = 0.0,
    temp_c: float = 15.0,
    drag: float = DRAG,
    lift: float = LIFT,
) -> Array:
    """Fly straight drives to launch height and give their carry in yd; see `land_yd`."""
    return land_yd(ball_speed_mph, launch_deg, spin_rpm, 0.0, 0.0, altitude_m, temp_c, drag, lift)[0]


def land_yd(
    ball_speed_mph: npt.ArrayLike,
    launch_deg: npt.ArrayLike,
    spin_rpm: npt.ArrayLike,
    side_deg: npt.ArrayLike,
    axis_deg: npt.ArrayLike,
    altitude_m: float = 0.0,
    temp_c: float = 15.0,
    drag: float = DRAG,
    lift: float = LIFT,
) -> tuple[Array, Array]:
    """Fly drives in calm air, by Runge-Kutta of fourth order, to launch height.

    Parameters
    ----------
    ball_speed_mph, launch_deg, spin_rpm : array_like
        Launch of each drive, of one shape or broadcastable; launch above 0 deg.
    side_deg : array_like
        Horizontal angle at which it starts, right of the target positive.
    axis_deg : array_like
        Tilt of the spin axis about the ball's first direction, to which the axis is square; positive bends to the
        right.
    altitude_m, temp_c : float
        The air of all the drives, m and deg C.
    drag, lift : float
        Multipliers of the two coefficients; 0 and 0 give the parabola of empty space.

    Returns
    -------
    carry : ndarray
        Straight distance on the ground from the tee to the landing in yd, of the broadcast shape.
    offline : ndarray
        Distance of the landing from the target line in yd, to the right positive.

    Raises
    ------
    ValueError
        If a drive is not down after 20 s.

    Notes
    -----
    The lift pushes along axis x velocity and the axis keeps its direction: a tilted axis turns the lift aside.
    """
    given = (ball_speed_mph, launch_deg, spin_rpm, side_deg, axis_deg)
    speed, launch, spin, side, tilt = np.broadcast_arrays(*(np.asarray(x, float) for x in given))
    density, viscosity = air(altitude_m, temp_c)
    push = density * np.pi * DIAMETER_M**2 / 8 / MASS_KG
    radius = DIAMETER_M / 2
    v0, angle, t = speed.ravel() * MPH_MPS, np.radians(launch.ravel()), np.radians(tilt.ravel())
    # Axes: along the start direction, up, right of it. Calm air is the same all round, so the side comes in at the end.
    wx, wy, wz = np.sin(t) * np.sin(angle), -np.sin(t) * np.cos(angle), np.cos(t)

    def slope(state: Array) -> Array:
        _, _, _, vx, vy, vz, omega = state
        v = np.sqrt(vx * vx + vy * vy + vz * vz)
        cd, cl = coefficients(v * DIAMETER_M / viscosity, radius * omega / v)
        along, across = push * v * drag * cd, push * v * lift * cl
        return np.stack(
            [
                vx,
                vy,
                vz,
                -along * vx + across * (wy * vz - wz * vy),
                across * (wz * vx - wx * vz) - along * vy - 9.80665,
                across * (wx * vy - wy * vx) - along * vz,
                -SPIN_DECAY * v * omega / radius,
            ]
        )

    nil = 0 * v0
    state = np.stack([nil, nil, nil, v0 * np.cos(angle), v0 * np.sin(angle), nil, spin.ravel() * np.pi / 30])
    ahead, right = np.full(v0.shape, np.nan), np.full(v0.shape, np.nan)
    for _ in range(int(20 / STEP_S)):
        a = slope(state)
        b = slope(state + STEP_S / 2 * a)
        c = slope(state + STEP_S / 2 * b)
        later = state + STEP_S / 6 * (a + 2 * b + 2 * c + slope(state + STEP_S * c))
        down = np.isnan(ahead) & (later[1] <= 0)
        share = state[1] / np.where(down, state[1] - later[1], 1.0)
        ahead = np.where(down, state[0] + share * (later[0] - state[0]), ahead)
        right = np.where(down, state[2] + share * (later[2] - state[2]), right)
        state = later
        if not np.isnan(ahead).any():
            turn = np.radians(side.ravel())
            offline = ahead * np.sin(turn) + right * np.cos(turn)
            carry = np.hypot(ahead, right)
            return (carry / YARD_M).reshape(speed.shape), (offline / YARD_M).reshape(speed.shape)
    raise ValueError("a drive is still in the air after 20 s")
