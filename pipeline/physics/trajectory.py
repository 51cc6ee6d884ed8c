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
    """Balls that are flown together.

    Attributes
    ----------
    moving : ndarray, shape (3, n) or (4, n)
        Velocity, m/s, along x, z and, unless nothing acts sideways, y; then spin, rad/s.
    place : ndarray, shape (2, n) or (3, n)
        Of the ball, m, along the same axes. Forces don't depend on it.
    axis, turned : ndarray, shape (3, n)
        Spin axis: its parts along y, x and z, and those along z, y and x. `_slope` says why.
    wind : ndarray, shape (3, n) or (3, 1)
        Along x, z and y.
    scales : tuple of ndarray, of shape (n,) or scalar
        `Ball.scales`: what air and multipliers make of a ball's forces; scalars where they are the same for all.
    """

    ball: Ball
    moving: Array
    place: Array
    axis: Array
    turned: Array
    wind: Array
    scales: tuple[Array, Array, Array]

    @classmethod
    def start(cls, launch: Launch, rows: slice, ball: Ball, around: list[Array]) -> "_Block":
        rise, side, tilt = (np.radians(part[rows]) for part in (launch.launch_deg, launch.side_deg, launch.axis_deg))
        speed = launch.speed_mps[rows]
        flat = speed * np.cos(rise)
        # A level axis points to the right of the launch; backspin about it lifts. Its tilt lowers its right end.
        lower, rear = np.sin(tilt) * np.cos(rise), np.sin(tilt) * np.sin(rise)
        x = -np.sin(side) * np.cos(tilt) + rear * np.cos(side)
        y = -np.cos(side) * np.cos(tilt) - rear * np.sin(side)
        density, kinematic, along, cross, drag, lift = around
        planar = not (np.any(side) or np.any(tilt) or np.any(cross))
        velocity = [flat * np.cos(side), speed * np.sin(rise), *([] if planar else [-flat * np.sin(side)])]
        moving = np.stack([*velocity, launch.spin_rpm[rows] * RPM])
        wind = np.stack([np.atleast_1d(part) for part in np.broadcast_arrays(along, 0.0, -cross)])
        scales = ball.scales(density, kinematic, (drag, lift))
        place = np.zeros((len(velocity), len(speed)))
        return cls(ball, moving, place, np.stack([y, x, -lower]), np.stack([-lower, y, x]), wind, scales)

    @property
    def planar(self) -> bool:
        """Whether nothing acts sideways."""
        return len(self.place) == 2

    def keep(self, rows: npt.NDArray[np.intp]) -> "_Block":
        """Keep the balls of these places."""
        # In the plane nobody asks for the axis.
        names = ("moving", "place", *(() if self.planar else ("axis", "turned")))
        kept = {name: getattr(self, name).take(rows, axis=1) for name in names}
        wind = self.wind.take(rows, axis=1) if self.wind.shape[1] > 1 else self.wind
        per_speed, of_drag, of_lift = (part[rows] if np.ndim(part) else part for part in self.scales)
        return replace(self, wind=wind, scales=(per_speed, of_drag, of_lift), **kept)

    def slope(self, moving: Array) -> Array:
        """Give the time derivative of velocity and spin, of the same shape."""
        speed, out = self._slope_in_plane(moving) if self.planar else self._slope(moving)
        out[1] -= GRAVITY_MPS2
        np.multiply(speed, moving[-1], out=out[-1])
        out[-1] *= -2 * self.ball.spin_decay / self.ball.diameter_m
        return out

    def _slope(self, moving: Array) -> tuple[Array, Array]:
        """Give speed through the air, and the slope without weight and the loss of spin."""
        # x, z, y, x, z: of each axis, the next two are the other ones, as the cross product with the spin axis wants.
        through = np.empty((5, moving.shape[1]))
        np.subtract(moving[:3], self.wind, out=through[:3])
        through[3:] = through[:2]
        square = through[:3] * through[:3]
        speed = square[0]
        speed += square[2]
        speed += square[1]
        np.sqrt(speed, out=speed)
        drag, lift = self.ball.scaled_forces(speed, moving[3], self.scales)
        out = np.empty_like(moving)
        np.multiply(self.axis, through[1:4], out=out[:3])
        out[:3] -= self.turned * through[2:]
        out[:3] *= lift
        through[:3] *= drag
        out[:3] -= through[:3]
        return speed, out

    def _slope_in_plane(self, moving: Array) -> tuple[Array, Array]:
        """Give the same where nothing acts sideways, at half the cost."""
        ux, vz = moving[0] - self.wind[0], moving[1]
        speed = ux * ux
        speed += vz * vz
        np.sqrt(speed, out=speed)
        drag, lift = self.ball.scaled_forces(speed, moving[2], self.scales)
        out = np.empty_like(moving)
        np.multiply(lift, ux, out=out[1])
        ux *= drag
        lift *= vz
        drag *= vz
        out[1] -= drag
        ux += lift
        np.negative(ux, out=out[0])
        return speed, out


def _fly_block(block: _Block, step_s: float) -> Array:
    n = block.moving.shape[1]
    number = np.arange(n)
    apex, started = np.zeros(n), np.zeros(n)
    # The last step of each ball: movement and place before and after it, and the slopes there. All land together at
    # the end.
    moved = np.zeros((4, *block.moving.shape))
    placed = np.zeros((2, *block.place.shape))
    highest = np.zeros(n)
    slope = block.slope(block.moving)
    flies = (block.moving[1] > 0) | (slope[1] > 0)
    moved[0], moved[1], moved[2] = block.moving, block.moving, slope
    air = np.flatnonzero(flies)
    block, number, apex, slope = block.keep(air), number[air], apex[air], slope.take(air, axis=1)
    down = np.zeros(number.size, dtype=bool)
    time = 0.0
    while number.size:
        if time > MAX_S:
            raise ValueError(f"{np.count_nonzero(~down)} balls are still in the air after {MAX_S:g} s")
        before, from_place = block.moving, block.place
        after, place = _step(block, slope, step_s)
        new_slope = block.slope(after)
        apex = np.maximum(apex, _highest(from_place[1], place[1], before[1], after[1], step_s))
        landed = np.flatnonzero((place[1] <= 0) & ~down)
        if landed.size:
            here = number[landed]
            for index, part in enumerate((before, after, slope, new_slope)):
                moved[index][:, here] = part.take(landed, axis=1)
            for index, part in enumerate((from_place, place)):
                placed[index][:, here] = part.take(landed, axis=1)
            started[here], highest[here] = time, apex[landed]
            down[landed] = True
        block.moving, block.place, slope = after, place, new_slope
        time += step_s
        # Balls that are down are sorted out by and by: that costs more than to carry a few of them along.
        if np.count_nonzero(down) > LET_LIE * number.size:
            air = np.flatnonzero(~down)
            block, number, apex, slope = block.keep(air), number[air], apex[air], slope.take(air, axis=1)
            down = np.zeros(number.size, dtype=bool)
    return np.where(flies, _touch_down(moved, placed, highest, started, step_s), _at_rest(moved[0]))


def _step(block: _Block, slope: Array, h: float) -> tuple[Array, Array]:
    """Take one classical fourth-order Runge-Kutta step; give movement and place after it."""
    moving, axes = block.moving, len(block.place)
    middle = slope * (h / 2)
    middle += moving
    second = block.slope(middle)
    again = second * (h / 2)
    again += moving
    third = block.slope(again)
    end = third * h
    end += moving
    fourth = block.slope(end)
    # Places enter no force, so that they need no stages of their own: the stages' velocities are their slopes.
    place = middle[:axes]
    for total, next_one, first, last, start in (
        (second, third, slope, fourth, moving),
        (place, again[:axes], moving[:axes], end[:axes], block.place),
    ):
        total += next_one
        total *= 2
        total += first
        total += last
        total *= h / 6
        total += start
    return second, place


def _hermite(before: Array, after: Array, slope: Array, new_slope: Array, u: Array, h: float) -> Array:
    """Interpolate inside a step by the cubic that has both ends' values and slopes; u is the share of the step."""
    v = 1 - u
    ends = before * (v * v * (1 + 2 * u)) + after * (u * u * (1 + 2 * v))
    return np.asarray(ends + h * u * v * (slope * v - new_slope * u))


def _highest(height: Array, after: Array, rise: Array, rise_after: Array, h: float) -> Array:
    """Give the height where the vertical speed passes through nil, else the higher end."""
    # Only the one step in which a ball stops rising is worth the interpolation.
    higher: Array = np.maximum(height, after)
    turns = np.flatnonzero((rise > 0) & (rise_after <= 0))
    if turns.size:
        v, w = rise[turns], rise_after[turns]
        higher[turns] = _hermite(height[turns], after[turns], v, w, v / (v - w), h)
    return higher


def _touch_down(moved: Array, placed: Array, apex: Array, started: Array, h: float) -> Array:
    """Find where height is nil inside the step by regula falsi (Illinois), and the state there.

    `moved` is the last step's movement before and after it, and the slopes there; `placed` the places.
    """
    axes = placed.shape[1]
    # Places before movement; velocity is the slope of place.
    before, after = (np.vstack(parts) for parts in zip(placed, moved[:2], strict=True))
    slope, new_slope = (np.vstack([here[:axes], there]) for here, there in zip(moved[:2], moved[2:], strict=True))
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
    *state, spin = _hermite(before, after, slope, new_slope, u, h)
    (x, _, *y), (vx, vz, *vy) = state[:axes], state[axes:]
    flat = np.hypot(vx, vy[0]) if vy else np.abs(vx)
    return np.stack(
        [
            np.hypot(x, y[0]) if y else np.abs(x),
            -y[0] if y else np.zeros_like(x),
            apex,
            started + u * h,
            np.hypot(flat, vz),
            np.degrees(np.arctan2(-vz, flat)),
            spin / RPM,
        ]
    )


def _at_rest(moving: Array) -> Array:
    """Give the landing of balls that never leave the ground."""
    nil = np.zeros(moving.shape[1])
    vx, vz, *vy, spin = moving
    flat = np.hypot(vx, vy[0]) if vy else vx
    descent = np.degrees(np.arctan2(-vz, flat))
    return np.stack([nil, nil, nil, nil, np.hypot(flat, vz), descent, spin / RPM])
