"""Flight of many golf balls at once, in three dimensions with wind and a tilted spin axis (numpy alone).

Axes: x along the target line, y to the left, z up. Forces: weight, drag against the velocity through the air, lift
across it in the plane normal to the spin axis; the axis keeps its direction and spin decays. Integrated by the
classical Runge-Kutta method of fourth order; landing is found by interpolation inside the last step.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.statistics.arrays import Array

GRAVITY_MPS2 = 9.80665  # standard gravity (CGPM 1901); real ones differ by 0.3 % at most

# With this step carry is within 0.001 yd of a hundredth of it; see tests/flight/test_trajectory.py.
STEP_S = 0.1
MAX_S = 30.0
BLOCK = 16384  # shots that are flown together: enough to hide numpy's calls, few enough for a core's cache

LET_LIE = 0.06  # share of a block's balls that may have landed before they are taken out of it

LEVEL_M = 1e-12  # a ball this near to launch height has landed

RPM = np.pi / 30  # rad/s


@dataclass(frozen=True)
class Launch:
    """How balls leave the club; every attribute of shape (n,).

    Attributes
    ----------
    speed_mps, launch_deg, spin_rpm : ndarray
        Ball speed, vertical launch angle, total spin.
    side_deg : ndarray
        Horizontal launch angle, right of the target positive.
    axis_deg : ndarray
        Tilt of the spin axis about the ball's first direction, to which it is square: impact turns the ball about an
        axis in the face, and no drive spins like a rifle's bullet. Positive bends the flight to the right.
    """

    speed_mps: Array
    launch_deg: Array
    spin_rpm: Array
    side_deg: Array
    axis_deg: Array

    @classmethod
    def straight(cls, speed_mps: npt.ArrayLike, launch_deg: npt.ArrayLike, spin_rpm: npt.ArrayLike) -> "Launch":
        """Make launches along the target line with level spin axes; scalars and arrays broadcast."""
        return cls.of(speed_mps, launch_deg, spin_rpm, 0.0, 0.0)

    @classmethod
    def of(
        cls,
        speed_mps: npt.ArrayLike,
        launch_deg: npt.ArrayLike,
        spin_rpm: npt.ArrayLike,
        side_deg: npt.ArrayLike,
        axis_deg: npt.ArrayLike,
    ) -> "Launch":
        """Make launches; scalars and arrays broadcast."""
        parts = np.broadcast_arrays(speed_mps, launch_deg, spin_rpm, side_deg, axis_deg)
        return cls(*(np.atleast_1d(part).astype(float) for part in parts))

    def __len__(self) -> int:
        return len(self.speed_mps)


@dataclass(frozen=True)
class Wind:
    """Steady wind; `along_mps` positive is a tail wind, `cross_mps` positive blows from left to right."""

    along_mps: npt.ArrayLike = 0.0
    cross_mps: npt.ArrayLike = 0.0


@dataclass(frozen=True)
class Landing:
    """Where and how balls come down to launch height; every attribute of shape (n,).

    Attributes
    ----------
    carry_m : ndarray
        Horizontal distance from the tee.
    offline_m : ndarray
        Distance right of the target line.
    apex_m : ndarray
        Greatest height.
    time_s : ndarray
    speed_mps, descent_deg : ndarray
        Speed over the ground and angle below the horizontal at landing.
    spin_rpm : ndarray
    """

    carry_m: Array
    offline_m: Array
    apex_m: Array
    time_s: Array
    speed_mps: Array
    descent_deg: Array
    spin_rpm: Array


def fly(launch: Launch, ball: Ball, air: Air, wind: Wind | None = None, step_s: float = STEP_S) -> Landing:
    """Fly balls to their landing at launch height.

    Parameters
    ----------
    launch : Launch
    ball : Ball
    air : Air
        Density and viscosity, scalars or of shape (n,).
    wind : Wind, optional
        Scalars or of shape (n,); none means calm.
    step_s : float
        Step of the integration.

    Returns
    -------
    Landing
        A ball that does not rise, launched at or below the horizontal without lift to carry it, lands where it is.

    Raises
    ------
    ValueError
        If a speed is not above nil, or a ball is still in the air after `MAX_S`.

    References
    ----------
    Forces as in Penner, Am. J. Phys. 69 (2001) 563, doi 10.1119/1.1344164 (second-hand).
    """
    wind = wind or Wind()
    return _fly(launch, ball, (air.density_kg_m3, air.kinematic_m2_s, wind.along_mps, wind.cross_mps), step_s)


def fly_by_each(launch: Launch, balls: Sequence[Ball], air: Air, wind: Wind | None = None) -> list[Landing]:
    """Fly balls that differ in their multipliers alone, each over all launches; parameters and errors as for `fly`.

    Together they take half the time of one after the other where launches are few: numpy's calls then cost as much as
    their sums. Landings are those of `fly` but for the last digits.

    Raises
    ------
    ValueError
        If the balls differ in something else.
    """
    first, count = balls[0], len(balls)
    if any(ball.scaled(first.drag, first.lift) != first for ball in balls):
        raise ValueError("the balls must be alike but for their multipliers")
    wind = wind or Wind()
    around = (air.density_kg_m3, air.kinematic_m2_s, wind.along_mps, wind.cross_mps)
    n = len(launch)
    multipliers = (np.repeat([ball.drag for ball in balls], n), np.repeat([ball.lift for ball in balls], n))
    many = Launch(*(np.tile(part, count) for part in vars(launch).values()))
    given = [np.tile(np.broadcast_to(part, (n,)), count) if np.ndim(part) else part for part in around]
    landed = _fly(many, first, given, STEP_S, multipliers)
    columns = [part.reshape(count, n) for part in vars(landed).values()]
    return [Landing(*(column[place] for column in columns)) for place in range(count)]


def _fly(
    launch: Launch,
    ball: Ball,
    around: Sequence[npt.ArrayLike],
    step_s: float,
    multipliers: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
) -> Landing:
    """Fly balls in blocks; `around` is density, kinematic viscosity and wind along and across."""
    if np.any(launch.speed_mps <= 0):
        raise ValueError("ball speed must be above zero")
    n = len(launch)
    # What is the same for all shots stays a scalar: numpy is faster with it.
    parts = [
        part if part.ndim == 0 else np.broadcast_to(part, (n,))
        for part in (np.asarray(one, dtype=float) for one in (*around, *(multipliers or (ball.drag, ball.lift))))
    ]
    out = np.empty((len(fields(Landing)), n))
    for first in range(0, n, BLOCK):
        rows = slice(first, first + BLOCK)
        here = [part[rows] if part.ndim else part for part in parts]
        out[:, rows] = _fly_block(_Block.start(launch, rows, ball, here), step_s)
    return Landing(*out)


@dataclass
class _Block:
    """State of a block of balls: rows x, z, vx, vz, spin (rad/s) and, unless nothing acts sideways, y and vy.

    Air, wind and multipliers are of shape (n,), or scalars where they are the same for all.
    """

    ball: Ball
    state: Array
    axis: Array  # spin axis, shape (3, n)
    density: Array
    kinematic: Array
    wind_x: Array
    wind_y: Array
    drag: Array
    lift: Array
    planar: bool

    @classmethod
    def start(cls, launch: Launch, rows: slice, ball: Ball, around: list[Array]) -> "_Block":
        rise, side, tilt = (np.radians(part[rows]) for part in (launch.launch_deg, launch.side_deg, launch.axis_deg))
        speed = launch.speed_mps[rows]
        flat = speed * np.cos(rise)
        nil = np.zeros_like(speed)
        state = np.stack([nil, nil, flat * np.cos(side), speed * np.sin(rise), launch.spin_rpm[rows] * RPM])
        # A level axis points to the right of the launch; backspin about it lifts. Its tilt lowers its right end.
        lower, rear = np.sin(tilt) * np.cos(rise), np.sin(tilt) * np.sin(rise)
        axis = np.stack(
            [
                -np.sin(side) * np.cos(tilt) + rear * np.cos(side),
                -np.cos(side) * np.cos(tilt) - rear * np.sin(side),
                -lower,
            ]
        )
        density, kinematic, along, cross, drag, lift = around
        planar = not (np.any(side) or np.any(tilt) or np.any(cross))
        if not planar:
            state = np.vstack([state, nil, -flat * np.sin(side)])
        return cls(ball, state, axis, density, kinematic, along, -cross, drag, lift, planar)

    def keep(self, rows: npt.NDArray[np.intp]) -> "_Block":
        """Keep the balls of these places."""
        names = ("density", "kinematic", "wind_x", "wind_y", "drag", "lift")
        around = {name: part[rows] if (part := getattr(self, name)).ndim else part for name in names}
        # In the plane nobody asks for the axis.
        axis = self.axis if self.planar else self.axis.take(rows, axis=1)
        return replace(self, state=self.state.take(rows, axis=1), axis=axis, **around)

    def slope(self, state: Array) -> Array:
        """Give the time derivative of a state, of the same shape."""
        if self.planar:
            return self._slope_in_plane(state)
        _, _, vx, vz, spin, _, vy = state
        ux, uy = vx - self.wind_x, vy - self.wind_y
        speed = np.sqrt(ux * ux + uy * uy + vz * vz)
        drag, lift = self.ball.forces(speed, spin, self.density, self.kinematic, (self.drag, self.lift))
        ax, ay, az = self.axis
        out = np.empty_like(state)
        out[0], out[1], out[5] = vx, vz, vy
        out[2] = -drag * ux + lift * (ay * vz - az * uy)
        out[3] = -drag * vz + lift * (ax * uy - ay * ux) - GRAVITY_MPS2
        out[6] = -drag * uy + lift * (az * ux - ax * vz)
        out[4] = (-2 * self.ball.spin_decay / self.ball.diameter_m) * speed * spin
        return out

    def _slope_in_plane(self, state: Array) -> Array:
        """Give the same where nothing acts sideways, at half the cost."""
        _, _, vx, vz, spin = state
        ux = vx - self.wind_x
        speed = ux * ux
        speed += vz * vz
        np.sqrt(speed, out=speed)
        drag, lift = self.ball.forces(speed, spin, self.density, self.kinematic, (self.drag, self.lift))
        out = np.empty_like(state)
        out[:2] = state[2:4]
        np.multiply(drag, ux, out=out[2])
        np.multiply(lift, ux, out=out[3])
        drag *= vz
        lift *= vz
        out[2] += lift
        np.negative(out[2], out=out[2])
        out[3] -= drag
        out[3] -= GRAVITY_MPS2
        np.multiply(speed, spin, out=out[4])
        out[4] *= -2 * self.ball.spin_decay / self.ball.diameter_m
        return out


def _fly_block(block: _Block, step_s: float) -> Array:
    n = block.state.shape[1]
    place = np.arange(n)
    apex, started = np.zeros(n), np.zeros(n)
    # The last step of each ball: state before and after it, and the slopes there. All land together at the end.
    last = np.zeros((4, *block.state.shape))
    highest = np.zeros(n)
    slope = block.slope(block.state)
    flies = (block.state[3] > 0) | (slope[3] > 0)
    last[0], last[1], last[2] = block.state, block.state, slope
    air = np.flatnonzero(flies)
    block, place, apex, slope = block.keep(air), place[air], apex[air], slope.take(air, axis=1)
    down = np.zeros(place.size, dtype=bool)
    time = 0.0
    while place.size:
        if time > MAX_S:
            raise ValueError(f"{np.count_nonzero(~down)} balls are still in the air after {MAX_S:g} s")
        before = block.state
        after = _step(block, before, slope, step_s)
        new_slope = block.slope(after)
        apex = np.maximum(apex, _highest(before, after, slope, new_slope, step_s))
        landed = np.flatnonzero((after[1] <= 0) & ~down)
        if landed.size:
            here = place[landed]
            for index, part in enumerate((before, after, slope, new_slope)):
                last[index][:, here] = part.take(landed, axis=1)
            started[here], highest[here] = time, apex[landed]
            down[landed] = True
        block.state, slope = after, new_slope
        time += step_s
        # Balls that are down are sorted out by and by: that costs more than to carry a few of them along.
        if np.count_nonzero(down) > LET_LIE * place.size:
            air = np.flatnonzero(~down)
            block, place, apex, slope = block.keep(air), place[air], apex[air], slope.take(air, axis=1)
            down = np.zeros(place.size, dtype=bool)
    return np.where(flies, _touch_down(last, highest, started, step_s), _at_rest(last[0]))


def _step(block: _Block, state: Array, slope: Array, h: float) -> Array:
    """Take one classical fourth-order Runge-Kutta step."""
    place = slope * (h / 2)
    place += state
    second = block.slope(place)
    np.multiply(second, h / 2, out=place)
    place += state
    third = block.slope(place)
    np.multiply(third, h, out=place)
    place += state
    fourth = block.slope(place)
    second += third
    second *= 2
    second += slope
    second += fourth
    second *= h / 6
    second += state
    return second


def _hermite(before: Array, after: Array, slope: Array, new_slope: Array, u: Array, h: float) -> Array:
    """Interpolate inside a step by the cubic that has both ends' values and slopes; u is the share of the step."""
    v = 1 - u
    ends = before * (v * v * (1 + 2 * u)) + after * (u * u * (1 + 2 * v))
    return np.asarray(ends + h * u * v * (slope * v - new_slope * u))


def _highest(before: Array, after: Array, slope: Array, new_slope: Array, h: float) -> Array:
    """Give the height where the vertical speed passes through nil, else the higher end."""
    # Only the one step in which a ball stops rising is worth the interpolation.
    higher: Array = np.maximum(before[1], after[1])
    turns = np.flatnonzero((before[3] > 0) & (after[3] <= 0))
    if turns.size:
        u = before[3, turns] / (before[3, turns] - after[3, turns])
        higher[turns] = _hermite(before[1, turns], after[1, turns], slope[1, turns], new_slope[1, turns], u, h)
    return higher


def _touch_down(last: Array, apex: Array, started: Array, h: float) -> Array:
    """Find where height is nil inside the step by regula falsi (Illinois), and the state there.

    `last` is the last step: the state before and after it, the slopes before and after it.
    """
    before, after, slope, new_slope = last
    lo, hi = np.zeros(before.shape[1]), np.ones(before.shape[1])
    # The cubic of `_hermite` for the height, by powers of u.
    rise, first, then = after[1] - before[1], h * slope[1], h * new_slope[1]
    square, cube = 3 * rise - 2 * first - then, first + then - 2 * rise
    # A ball that lands in its first step starts at nil height: with u taken out, only where it comes down is nil.
    from_tee = (before[1] <= 0) & (first > 0)
    f_lo = np.maximum(np.where(from_tee, first, before[1]), np.finfo(float).tiny)
    f_hi = np.minimum(after[1], -np.finfo(float).tiny)
    was_above = np.zeros(len(lo), dtype=bool)
    u = hi
    for turn in range(20):
        u = (lo * f_hi - hi * f_lo) / (f_hi - f_lo)
        beyond = first + u * (square + u * cube)
        height = np.where(from_tee, beyond, before[1] + u * beyond)
        if np.all(np.abs(height) < LEVEL_M):
            break
        above = height > 0
        # An end that stays twice counts half, else it would stay for ever.
        again = (above == was_above) if turn else np.zeros_like(above)
        f_hi = np.where(above, np.where(again, f_hi / 2, f_hi), np.minimum(height, -np.finfo(float).tiny))
        f_lo = np.where(above, height, np.where(again, f_lo / 2, f_lo))
        lo, hi, was_above = np.where(above, u, lo), np.where(above, hi, u), above
    x, _, vx, vz, spin, *sideways = _hermite(before, after, slope, new_slope, u, h)
    y, vy = sideways if sideways else (np.zeros_like(x), np.zeros_like(x))
    flat = np.hypot(vx, vy)
    return np.stack(
        [
            np.hypot(x, y),
            -y,
            apex,
            started + u * h,
            np.hypot(flat, vz),
            np.degrees(np.arctan2(-vz, flat)),
            spin / RPM,
        ]
    )


def _at_rest(state: Array) -> Array:
    """Give the landing of balls that never leave the ground."""
    nil = np.zeros(state.shape[1])
    _, _, vx, vz, spin, *sideways = state
    flat = np.hypot(vx, sideways[1]) if sideways else vx
    descent = np.degrees(np.arctan2(-vz, flat))
    return np.stack([nil, nil, nil, nil, np.hypot(flat, vz), descent, spin / RPM])
