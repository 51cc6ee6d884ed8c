"""Golfers and drives of a world, with the truth of each: what a golfer does on average, and what the readings say."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl
from directions import directions, side_readings, with_directions
from people import (
    CLUB_SD_MPH,
    MISHIT_DROP,
    MISHIT_LAUNCH_SD,
    MISHIT_SPIN_SD,
    SHOT_LAUNCH_SD,
    SHOT_SPIN_SD,
    STRIKE_SD,
    draw_own,
    draw_speeds,
    form_of_days,
)
from scipy.stats import norm, qmc
from true_curve import bend_yd, land_yd
from true_flight import Array, carry_yd
from true_impact import DEVICE_B_ATTACK_DEG, OTHER_LOFT_DEG, attack_of_swings, change_of_loft, swing
from worlds import World

IntArray = npt.NDArray[np.int64]
QUARTERS = ("2026Q1", "2026Q2")
QUARTER_DAYS = 88
CORRIDOR_YD = 30.0  # full width about the target line
# Readings.
CLUB_READ, BALL_READ, LAUNCH_READ_DEG, CARRY_READ = 0.005, 0.003, 0.25, 0.003
GUESSED_SPIN_RPM, GUESSED_SPIN_SD = 2700.0, 300.0


def draws_of_a_drive(
    normals: Array, mishit: Array, drop: Array, golfers: pl.DataFrame, form: Array | float = 0.0
) -> tuple[Array, ...]:
    """Turn standard draws into true club speed, ball speed, launch and spin.

    Parameters
    ----------
    normals : ndarray, shape (..., 6)
        Club speed, strike, launch, spin, a mishit's launch and spin.
    mishit, drop : ndarray, shape (...)
        Even on 0 to 1.
    golfers : DataFrame
        Columns broadcast against (...): the golfers' own values.
    form : ndarray, shape (..., 5), optional
        What the day adds, from `form_of_days`; none unless given.
    """
    day = np.moveaxis(np.broadcast_to(form, (*normals.shape[:-1], 5)), -1, 0)
    own = {name: golfers.get_column(name).to_numpy() for name in DRIVE}
    extra = normals.ndim - 2
    own = {name: values.reshape(values.shape + (1,) * extra) for name, values in own.items()}
    bad = mishit < own["mishit_share"]
    club = own["club_speed_mph"] + CLUB_SD_MPH * normals[..., 0] + day[0]
    lost = MISHIT_DROP[0] + (MISHIT_DROP[1] - MISHIT_DROP[0]) * drop
    ratio = own["speed_ratio"] + STRIKE_SD * normals[..., 1] - bad * lost + day[1]
    launch = own["launch_deg"] + SHOT_LAUNCH_SD * normals[..., 2] + bad * MISHIT_LAUNCH_SD * normals[..., 4] + day[2]
    spin = (
        own["spin_rpm"] * (1 + SHOT_SPIN_SD * normals[..., 3]) * np.exp(bad * MISHIT_SPIN_SD * normals[..., 5]) + day[3]
    )
    return club, club * ratio, np.clip(launch, 2.5, 33), np.clip(spin, 600, 9500)


DRIVE = ("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm", "mishit_share")


@dataclass(frozen=True)
class Academy:
    """A drawn academy.

    Attributes
    ----------
    world : World
    ball : str
        The world's true ball: a key of `true_flight.BALLS`.
    golfers : DataFrame
        One row per golfer and quarter: golfer (a name), quarter, kind, device, range_ball, shots, the columns
        of `DRIVE`, the centre of the golfer's sound drives, those of `true_impact.swing` and, where drives bend, of
        `directions.with_directions`.
    drives : DataFrame
        One row per drive: `row` of the golfer, the true drive (true_*), and the readings under standard names.
    """

    world: World
    ball: str
    golfers: pl.DataFrame
    drives: pl.DataFrame

    @cached_property
    def reference_share(self) -> float:
        """How much farther than true flight carry reads on the device and ball of most drives."""
        device, ball = self.drives.get_column("device"), self.drives.get_column("ball")
        on_b = (device == "unit-B").sum() > (device == "unit-A").sum()
        ranged = (ball == "range").sum() > (ball == "premium").sum()
        return (1 + on_b * self.world.device_b_share) * (1 + ranged * self.world.range_ball_share) - 1

    @cached_property
    def usual(self) -> pl.DataFrame:
        """True long-run figures per row of `golfers`, at sea level: the center of sound strikes' ratio, medians of
        launch and spin, and mean carry.

        By 2048 quasi-random drives (Sobol), each on a day of its own, the same for all golfers; carry on the scale of
        the reference, with what the golfer carries farther for good. Where drives bend, also mean carry if they didn't
        (mean_straight_yd) and, right of the target line, true_offline_mean_yd, true_offline_sd_yd and true_in_corridor.
        """
        drives = long_run(self, self.golfers, 2048, seed=7)
        usual = self.golfers.with_columns(
            usual_ratio=pl.col("speed_ratio"),
            usual_launch_deg=np.median(drives.launch_deg, axis=1),
            usual_spin_rpm=np.median(drives.spin_rpm, axis=1),
            mean_carry_yd=_mean(drives.carry_yd, self.golfers),
        )
        if drives.offline_yd is None:
            return usual
        beyond = 1 + self.golfers.get_column("beyond").to_numpy()[:, None]
        offline = drives.offline_yd * beyond
        return usual.with_columns(
            mean_straight_yd=_mean(drives.straight_yd, self.golfers),
            true_offline_mean_yd=offline.mean(axis=1),
            true_offline_sd_yd=offline.std(axis=1),
            true_in_corridor=(np.abs(offline) <= CORRIDOR_YD / 2).mean(axis=1),
        )


def _mean(carry: Array, golfers: pl.DataFrame) -> Array:
    return np.asarray(carry.mean(axis=1) * (1 + golfers.get_column("beyond").to_numpy()))


class LongRun(NamedTuple):
    """Drives that golfers might hit, each on a day of its own, in calm air at sea level; each shape (golfers, drives).

    Attributes
    ----------
    launch_deg, spin_rpm : ndarray
    carry_yd, straight_yd : ndarray
        On the scale of the reference, without what golfers carry farther for good; the second if no drive bent.
    offline_yd : ndarray or None
        Right of the target line, on the scale of true flight; None where no drive starts to a side or bends.
    """

    launch_deg: Array
    spin_rpm: Array
    carry_yd: Array
    straight_yd: Array
    offline_yd: Array | None


def long_run(academy: Academy, golfers: pl.DataFrame, count: int, seed: int) -> LongRun:
    """Draw quasi-random drives (Sobol), the same for all golfers."""
    points = qmc.Sobol(13, seed=seed).random(count)
    normals = norm.ppf(points[:, :6])[None]
    form = form_of_days(academy.world, norm.ppf(points[:, 8:]))[None]
    _, *drive = draws_of_a_drive(normals, points[None, :, 6], points[None, :, 7], golfers, form)
    straight, scale = carry_yd(academy.ball, *drive), 1 + academy.reference_share
    if not academy.world.curving:
        carry = straight * scale * (1 + form[..., 4])
        return LongRun(drive[1], drive[2], carry, carry, None)
    # Four numbers more for each drive, from a scramble of their own: the others stay as they are.
    more = norm.ppf(qmc.Sobol(17, seed=seed + 1).random(count)[:, 13:])
    mishit = points[None, :, 6] < golfers.get_column("mishit_share").to_numpy()[:, None]
    start, axis = directions(golfers, more[None, :, :2], mishit, more[None, :, 2:])
    carry, offline = bend_yd(academy.ball, tuple(drive), start, axis, straight) * (1 + form[..., 4])
    return LongRun(drive[1], drive[2], carry * scale, straight * scale * (1 + form[..., 4]), offline)


def draw_golfers(world: World, rng: np.random.Generator) -> pl.DataFrame:
    """Draw golfers, one row per golfer and quarter."""
    n = world.golfers
    speed = draw_speeds(world, rng)
    # Exactly the share of golfers is on the second device, so that the first is the reference in all worlds.
    place = rng.permutation(n)
    on_b = place < round(world.device_b * n)
    both = place >= n - round(world.overlap * n)
    own = draw_own(world, speed, on_b, rng)
    ranged = rng.uniform(size=n) < world.range_balls
    cured = rng.uniform(size=n) < world.cured
    frames = []
    for q, quarter in enumerate(QUARTERS):
        sound = cured & (q == 1)
        low, high = np.log(world.shots[0]), np.log(world.shots[1] + 1)
        frames.append(
            pl.DataFrame(
                {
                    "golfer": [f"Golfer {i:03d}" for i in range(n)],
                    "quarter": [quarter] * n,
                    "kind": np.where(sound, "sound", own.kind),
                    "device": np.select([on_b, both], ["unit-B", "both"], "unit-A"),
                    "range_ball": ranged,
                    "shots": np.exp(rng.uniform(low, high, n)).astype(int),
                    "club_speed_mph": speed + q * world.faster_mph,
                    **{name: np.where(sound, own.sound[name], own.faulty[name]) for name in own.sound},
                    "beyond": own.beyond,
                }
            )
        )
    return pl.concat(frames)


def days_of_drives(world: World, row: IntArray, rng: np.random.Generator) -> tuple[IntArray, IntArray]:
    """Draw the day of each drive.

    Parameters
    ----------
    row : ndarray of int, shape (drives,)
        Row of the golfer and quarter.

    Returns
    -------
    day : ndarray of int, shape (drives,)
        Day of the quarter.
    visit : ndarray of int, shape (drives,)
        A number of the golfer's day, from 0 to all golfers' days.
    """
    if world.days is None:
        day = rng.integers(0, QUARTER_DAYS, len(row))
    else:
        rows = int(row.max()) + 1
        order = rng.permuted(np.tile(np.arange(QUARTER_DAYS), (rows, 1)), axis=1)
        count = rng.integers(world.days[0], world.days[1] + 1, rows)
        day = order[row, rng.integers(0, count[row])]
    return day, np.unique(row * QUARTER_DAYS + day, return_inverse=True)[1]


def hit(
    world: World,
    ball: str,
    golfers: pl.DataFrame,
    rng: np.random.Generator,
    swings: np.random.Generator,
    sides: np.random.Generator,
) -> pl.DataFrame:
    """Hit every golfer's drives and read them; attack and loft are drawn by `swings`, what goes sideways by `sides`."""
    row = np.repeat(np.arange(golfers.height), golfers.get_column("shots").to_numpy())
    n, who = len(row), golfers[row]
    day, visit = days_of_drives(world, row, rng)
    form = form_of_days(world, rng.standard_normal((visit.max() + 1, 5)))[visit]
    luck = rng.standard_normal((n, 6))
    mishit, drop = rng.uniform(size=n), rng.uniform(size=n)
    club, ball_speed, launch, spin = draws_of_a_drive(luck, mishit, drop, who, form)
    attack, more, other = swing_drives(who, luck, swings)
    launch, spin, ball_speed = launch + more[:, 0], spin + more[:, 1], ball_speed + club * more[:, 2]
    device = who.get_column("device").to_numpy()
    on_b = np.where(device == "both", rng.integers(0, 2, visit.max() + 1)[visit] == 1, device == "unit-B")
    ranged = who.get_column("range_ball").to_numpy()
    beyond = (1 + who.get_column("beyond").to_numpy()) * (1 + form[:, 4])
    true = {
        "true_attack_deg": attack,
        "true_club_mph": club,
        "true_ball_mph": ball_speed,
        "true_launch_deg": launch,
        "true_spin_rpm": spin,
        # By the delivery alone, and with what the golfer and the day carry farther.
        "true_flight_yd": (sea_level := carry_yd(ball, ball_speed, launch, spin)),
        "true_carry_yd": sea_level * beyond,
    }
    flown = np.array(sea_level)
    high = on_b & (world.altitude_m > 0)
    if high.any():
        there = carry_yd(ball, ball_speed[high], launch[high], spin[high], world.altitude_m, world.temp_c)
        flown[high] = there
    to_side = {}
    if world.curving:
        bad = mishit < who.get_column("mishit_share").to_numpy()
        at = (day + QUARTER_DAYS * (who.get_column("quarter") == QUARTERS[1]).to_numpy(), visit)
        bent, flown, to_side = bend(world, (ball, ball_speed, launch, spin), who, bad, at, beyond, sides)
        true |= {"true_flight_yd": bent, "true_carry_yd": bent * beyond}
    biased = flown * beyond * (1 + on_b * world.device_b_share) * (1 + ranged * world.range_ball_share)
    second = rng.permutation(n) % 36000
    first = np.array([f"2026-{1 + 3 * QUARTERS.index(q):02d}-01" for q in who.get_column("quarter")], "datetime64[ms]")
    return pl.DataFrame(
        {
            "row": row,
            "golfer": who.get_column("golfer"),
            "struck_at": first + (1000 * (day * 86400 + 28800 + second)).astype("timedelta64[ms]"),
            "device": np.where(on_b, "unit-B", "unit-A"),
            "ball": np.where(ranged, "range", "premium"),
            **readings(world, true, biased, on_b, rng),
            "attack_deg": attack + on_b * DEVICE_B_ATTACK_DEG + world.attack_noise_deg * swings.standard_normal(n),
            "loft_deg": who.get_column("stated_loft_deg").to_numpy() + OTHER_LOFT_DEG * other,
            **true,
            **to_side,
        }
    ).with_columns(pl.col("ball_speed_mph").fill_nan(None))


def bend(
    world: World,
    drive: tuple[str, Array, Array, Array],
    who: pl.DataFrame,
    mishit: npt.NDArray[np.bool_],
    at: tuple[IntArray, IntArray],
    beyond: Array,
    sides: np.random.Generator,
) -> tuple[Array, Array, dict[str, Array]]:
    """Give drives start, axis and their day's cross wind, at sea level.

    Parameters
    ----------
    drive : tuple
        Ball, ball speed, launch, spin.
    at : tuple of ndarray of int, shape (drives,)
        The day, counted over both quarters, and the golfer's visit.
    beyond : ndarray
        How much farther drives go than their deliveries say; as far to the side.

    Returns
    -------
    calm, flown : ndarray
        Carry without the wind and in it, yd.
    found : dict of ndarray
        True and read values to the side.
    """
    day, visit = at
    forms, wind = sides.standard_normal((visit.max() + 1, 2)), sides.uniform(*world.cross_mps, 2 * QUARTER_DAYS)
    start, axis = directions(who, sides.standard_normal((len(day), 2)), mishit, forms[visit])
    cross = wind[day]
    calm, still_yd = land_yd(drive[0], drive[1:], start, axis)
    flown, blown_yd = land_yd(drive[0], drive[1:], start, axis, cross) if cross.any() else (calm, still_yd)
    true = {"true_side_deg": start, "true_axis_deg": axis, "true_cross_mps": cross}
    true |= {"true_offline_yd": still_yd * beyond, "true_blown_yd": blown_yd * beyond}
    return calm, flown, true | side_readings(world, true, sides)


def swing_drives(
    who: pl.DataFrame, luck: Array, swings: np.random.Generator
) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """Draw attack, and what another loft adds in launch, spin and ratio, shape (drives, 3), to the drives with it."""
    n = who.height
    usual_spin = who.get_column("spin_rpm").to_numpy()
    spread = np.stack([np.full(n, SHOT_LAUNCH_SD), SHOT_SPIN_SD * usual_spin, np.full(n, STRIKE_SD)], axis=1)
    attack = attack_of_swings(who, luck[:, [2, 3, 1]], spread, swings)
    other = who.get_column("swaps").to_numpy() & (np.arange(n) % 2 == 1)
    more = change_of_loft(who, OTHER_LOFT_DEG * other) if other.any() else np.zeros((n, 3))
    return attack, more, other


def readings(
    world: World,
    true: dict[str, Array],
    biased_yd: Array,
    on_b: npt.NDArray[np.bool_],
    rng: np.random.Generator,
) -> dict[str, npt.NDArray[np.generic]]:
    """Read drives with their devices' errors; `biased_yd` is carry as the device and ball make it."""
    n = len(on_b)
    read = rng.standard_normal((n, 7))
    guessed = on_b & (rng.uniform(size=n) < world.guessed_spin)
    guess = GUESSED_SPIN_RPM + GUESSED_SPIN_SD * read[:, 5]
    spin = np.where(guessed, guess, true["true_spin_rpm"] * (1 + world.spin_noise * read[:, 3]))
    ball_speed = true["true_ball_mph"] * (1 + on_b * world.device_b_ball) * (1 + BALL_READ * read[:, 1])
    return {
        "club_speed_mph": true["true_club_mph"] * (1 + on_b * world.device_b_club) * (1 + CLUB_READ * read[:, 0]),
        "ball_speed_mph": ball_speed if world.device_b_ball_speed else np.where(on_b, np.nan, ball_speed),
        "launch_deg": true["true_launch_deg"] + LAUNCH_READ_DEG * read[:, 2],
        "spin_rpm": np.clip(spin, 400, 9900),
        "carry_yd": biased_yd * (1 + world.scatter * read[:, 4]) * (1 + CARRY_READ * read[:, 6]),
        "spin_measured": ~guessed,
    }


def make_academy(world: World, ball: str, seed: int) -> Academy:
    """Draw an academy."""
    rng, swings = np.random.default_rng(seed), np.random.default_rng([seed, 8])
    sides = np.random.default_rng([seed, 20])
    golfers = with_directions(world, swing(world, draw_golfers(world, rng), swings), sides)
    return Academy(world, ball, golfers, hit(world, ball, golfers, rng, swings, sides))
