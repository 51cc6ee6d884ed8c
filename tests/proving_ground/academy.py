"""Golfers and drives of a world, with the truth of each: what a golfer does on average, and what the readings say."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl
from scipy.stats import norm, qmc
from true_flight import Array, carry_yd
from true_impact import DEVICE_B_ATTACK_DEG, OTHER_LOFT_DEG, attack_of_swings, change_of_loft, swing
from worlds import World

QUARTERS = ("2026Q1", "2026Q2")
FAULTS = ("contact", "launch", "spin", "consistency")

# What golfers are like at 90 mph of club speed, how it changes with speed, and how much they differ.
RATIO, RATIO_SLOPE, RATIO_SD = 1.465, 0.0002, 0.012
LAUNCH_DEG, LAUNCH_SLOPE, LAUNCH_SD = 14.5, -0.05, 1.2
SPIN_RPM, SPIN_SLOPE, SPIN_SD = 2600.0, -8.0, 260.0
# What a fault changes: mean and standard deviation over golfers.
CONTACT, CONTACT_SD = -0.12, 0.01
LOW_LAUNCH_DEG, LOW_LAUNCH_SD = -7.0, 0.8
EXTRA_SPIN_RPM, EXTRA_SPIN_SD = 2300.0, 250.0
FAULTY_MISHITS = 0.38
# Drive to drive.
CLUB_SD_MPH, STRIKE_SD, SHOT_LAUNCH_SD, SHOT_SPIN_SD = 1.2, 0.012, 1.1, 0.07
MISHIT_DROP, MISHIT_LAUNCH_SD, MISHIT_SPIN_SD = (0.05, 0.20), 2.0, 0.15
# Readings.
CLUB_READ, BALL_READ, LAUNCH_READ_DEG, CARRY_READ = 0.005, 0.003, 0.25, 0.003
GUESSED_SPIN_RPM, GUESSED_SPIN_SD = 2700.0, 300.0


def draws_of_a_drive(normals: Array, mishit: Array, drop: Array, golfers: pl.DataFrame) -> tuple[Array, ...]:
    """Turn standard draws into true club speed, ball speed, launch and spin.

    Parameters
    ----------
    normals : ndarray, shape (..., 6)
        Club speed, strike, launch, spin, a mishit's launch and spin.
    mishit, drop : ndarray, shape (...)
        Even on 0 to 1.
    golfers : DataFrame
        Columns broadcast against (...): the golfers' own values.
    """
    own = {name: golfers.get_column(name).to_numpy() for name in DRIVE}
    extra = normals.ndim - 2
    own = {name: values.reshape(values.shape + (1,) * extra) for name, values in own.items()}
    bad = mishit < own["mishit_share"]
    club = own["club_speed_mph"] + CLUB_SD_MPH * normals[..., 0]
    lost = MISHIT_DROP[0] + (MISHIT_DROP[1] - MISHIT_DROP[0]) * drop
    ratio = own["speed_ratio"] + STRIKE_SD * normals[..., 1] - bad * lost
    launch = own["launch_deg"] + SHOT_LAUNCH_SD * normals[..., 2] + bad * MISHIT_LAUNCH_SD * normals[..., 4]
    spin = own["spin_rpm"] * (1 + SHOT_SPIN_SD * normals[..., 3]) * np.exp(bad * MISHIT_SPIN_SD * normals[..., 5])
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
        of `DRIVE`, the centre of the golfer's sound drives, and those of `true_impact.swing`.
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
        """True long-run figures per row of `golfers`: medians of ratio, launch, spin and mean carry, at sea level.

        By 1024 quasi-random drives (Sobol), the same for all golfers; carry on the scale of the reference.
        """
        points = qmc.Sobol(8, seed=7).random(1024)
        normals = norm.ppf(points[:, :6])[None]
        club, ball, launch, spin = draws_of_a_drive(normals, points[None, :, 6], points[None, :, 7], self.golfers)
        carry = carry_yd(self.ball, ball, launch, spin) * (1 + self.reference_share)
        return self.golfers.with_columns(
            usual_ratio=np.median(ball / club, axis=1),
            usual_launch_deg=np.median(launch, axis=1),
            usual_spin_rpm=np.median(spin, axis=1),
            mean_carry_yd=carry.mean(axis=1),
        )


def draw_golfers(world: World, rng: np.random.Generator) -> pl.DataFrame:
    """Draw golfers, one row per golfer and quarter."""
    n = world.golfers
    speed = np.clip(rng.normal(*world.speed_mph, n), world.speed_mph[0] - 22, world.speed_mph[0] + 22)
    kind = np.where(rng.uniform(size=n) < world.faulty, np.array(FAULTS)[rng.integers(0, 4, n)], "sound")
    sound = {
        "speed_ratio": RATIO + RATIO_SLOPE * (speed - 90) + RATIO_SD * rng.standard_normal(n),
        "launch_deg": LAUNCH_DEG + LAUNCH_SLOPE * (speed - 90) + LAUNCH_SD * rng.standard_normal(n),
        "spin_rpm": SPIN_RPM + SPIN_SLOPE * (speed - 90) + SPIN_SD * rng.standard_normal(n),
        "mishit_share": rng.uniform(*world.mishits, n),
    }
    fault = {
        "speed_ratio": CONTACT + CONTACT_SD * rng.standard_normal(n),
        "launch_deg": LOW_LAUNCH_DEG + LOW_LAUNCH_SD * rng.standard_normal(n),
        "spin_rpm": EXTRA_SPIN_RPM + EXTRA_SPIN_SD * rng.standard_normal(n),
        "mishit_share": FAULTY_MISHITS - sound["mishit_share"],
    }
    device = np.where(rng.uniform(size=n) < world.device_b, "unit-B", "unit-A")
    ranged = rng.uniform(size=n) < world.range_balls
    cured = rng.uniform(size=n) < world.cured
    frames = []
    for q, quarter in enumerate(QUARTERS):
        now = np.where(cured & (q == 1), "sound", kind)
        planted = {
            name: sound[name] + np.where(now == cause, fault[name], 0.0)
            for name, cause in zip(sound, FAULTS, strict=True)
        }
        low, high = np.log(world.shots[0]), np.log(world.shots[1] + 1)
        frames.append(
            pl.DataFrame(
                {
                    "golfer": [f"Golfer {i:03d}" for i in range(n)],
                    "quarter": [quarter] * n,
                    "kind": now,
                    "device": device,
                    "range_ball": ranged,
                    "shots": np.exp(rng.uniform(low, high, n)).astype(int),
                    "club_speed_mph": speed + q * world.faster_mph,
                    **planted,
                }
            )
        )
    return pl.concat(frames)


def hit(
    world: World, ball: str, golfers: pl.DataFrame, rng: np.random.Generator, swings: np.random.Generator
) -> pl.DataFrame:
    """Hit every golfer's drives and read them; attack and loft are drawn by `swings`."""
    row = np.repeat(np.arange(golfers.height), golfers.get_column("shots").to_numpy())
    n, who = len(row), golfers[row]
    luck = rng.standard_normal((n, 6))
    club, ball_speed, launch, spin = draws_of_a_drive(luck, rng.uniform(size=n), rng.uniform(size=n), who)
    usual_spin = who.get_column("spin_rpm").to_numpy()
    spread = np.stack([np.full(n, SHOT_LAUNCH_SD), SHOT_SPIN_SD * usual_spin, np.full(n, STRIKE_SD)], axis=1)
    attack = attack_of_swings(who, luck[:, [2, 3, 1]], spread, swings)
    other = who.get_column("swaps").to_numpy() & (np.arange(n) % 2 == 1)
    if other.any():
        more = change_of_loft(who, OTHER_LOFT_DEG * other)
        launch, spin, ball_speed = launch + more[:, 0], spin + more[:, 1], ball_speed + club * more[:, 2]
    on_b = (who.get_column("device") == "unit-B").to_numpy()
    ranged = who.get_column("range_ball").to_numpy()
    high = on_b & (world.altitude_m > 0)
    flown = carry_yd(ball, ball_speed, launch, spin)
    if high.any():
        there = carry_yd(ball, ball_speed[high], launch[high], spin[high], world.altitude_m, world.temp_c)
        flown[high] = there
    biased = flown * (1 + on_b * world.device_b_share) * (1 + ranged * world.range_ball_share)
    read = rng.standard_normal((n, 7))
    guessed = on_b & (rng.uniform(size=n) < world.guessed_spin)
    spin_read = np.where(
        guessed, GUESSED_SPIN_RPM + GUESSED_SPIN_SD * read[:, 5], spin * (1 + world.spin_noise * read[:, 3])
    )
    day, second = rng.integers(0, 88, n), rng.permutation(n) % 36000
    first = np.array([f"2026-{1 + 3 * QUARTERS.index(q):02d}-01" for q in who.get_column("quarter")], "datetime64[ms]")
    return pl.DataFrame(
        {
            "row": row,
            "golfer": who.get_column("golfer"),
            "struck_at": first + (1000 * (day * 86400 + 28800 + second)).astype("timedelta64[ms]"),
            "device": who.get_column("device"),
            "ball": np.where(ranged, "range", "premium"),
            "club_speed_mph": club * (1 + CLUB_READ * read[:, 0]),
            "ball_speed_mph": ball_speed * (1 + BALL_READ * read[:, 1]),
            "launch_deg": launch + LAUNCH_READ_DEG * read[:, 2],
            "spin_rpm": np.clip(spin_read, 400, 9900),
            "carry_yd": biased * (1 + world.scatter * read[:, 4]) * (1 + CARRY_READ * read[:, 6]),
            "spin_measured": ~guessed,
            "attack_deg": attack + on_b * DEVICE_B_ATTACK_DEG + world.attack_noise_deg * swings.standard_normal(n),
            "loft_deg": who.get_column("stated_loft_deg").to_numpy() + OTHER_LOFT_DEG * other,
            "true_attack_deg": attack,
            "true_club_mph": club,
            "true_ball_mph": ball_speed,
            "true_launch_deg": launch,
            "true_spin_rpm": spin,
            "true_carry_yd": carry_yd(ball, ball_speed, launch, spin),
        }
    )


def make_academy(world: World, ball: str, seed: int) -> Academy:
    """Draw an academy."""
    rng, swings = np.random.default_rng(seed), np.random.default_rng([seed, 8])
    golfers = swing(world, draw_golfers(world, rng), swings)
    return Academy(world, ball, golfers, hit(world, ball, golfers, rng, swings))
