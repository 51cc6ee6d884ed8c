"""What golfers of a world are like: the centers of their drives, their faults, and how their days and drives vary."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from true_flight import Array
from worlds import World

# What golfers are like at 90 mph of club speed, how it changes with speed, and how much they differ.
RATIO, RATIO_SLOPE, RATIO_SD = 1.465, 0.0002, 0.012
LAUNCH_DEG, LAUNCH_SLOPE, LAUNCH_SD = 14.5, -0.05, 1.2
SPIN_RPM, SPIN_SLOPE, SPIN_SD = 2600.0, -8.0, 260.0
# What curved trends add at 66 mph, growing with the square of the way from 80 mph down: ratio, launch, spin.
CURVES, CURVES_AT_MPH, CURVES_FROM_MPH = (-0.0125, 0.8, -250.0), 66.0, 80.0
# What a fault changes: mean and standard deviation over golfers.
CONTACT, CONTACT_SD = -0.12, 0.01
LOW_LAUNCH_DEG, LOW_LAUNCH_SD = -7.0, 0.8
EXTRA_SPIN_RPM, EXTRA_SPIN_SD = 2300.0, 250.0
# Drive to drive.
CLUB_SD_MPH, STRIKE_SD, SHOT_LAUNCH_SD, SHOT_SPIN_SD = 1.2, 0.012, 1.1, 0.07
MISHIT_DROP, MISHIT_LAUNCH_SD, MISHIT_SPIN_SD = (0.05, 0.20), 2.0, 0.15
# Day to day. Per yard of form at 91 mph, where 0.01 of ratio is worth 2.1 yd and a degree of launch 2 to 3.4 yd: 0.6 of
# it by ratio, 0.45 by launch, 0.65 beyond what readings explain, little by spin (measured in test_people.py).
DAY_CLUB_MPH = 1.0
DAY_RATIO, DAY_LAUNCH_DEG, DAY_SPIN_RPM, DAY_BEYOND = 0.0029, 0.16, 45.0, 0.0032


class Own(NamedTuple):
    """Golfers' own values, each shape (golfers,): the centers of their sound drives, and what else is theirs.

    Attributes
    ----------
    kind : ndarray of str
        The planted fault, or sound.
    sound, faulty : dict of ndarray
        speed_ratio, launch_deg, spin_rpm and mishit_share: as they'd be without the fault, and as they are.
    beyond : ndarray
        How much farther than their deliveries say they carry, a share.
    """

    kind: npt.NDArray[np.str_]
    sound: dict[str, Array]
    faulty: dict[str, Array]
    beyond: Array


def spread_at(world: World, speed_mph: Array) -> Array:
    """Give the factor of golfers' spread at club speeds; 1 at 90 mph."""
    return np.asarray(world.spread_falls ** ((90.0 - speed_mph) / 40.0))


def usual_at(world: World, speed_mph: Array) -> tuple[Array, Array, Array]:
    """Give the usual ratio, launch and spin of sound golfers at club speeds."""
    over = speed_mph - 90.0
    below = np.clip(CURVES_FROM_MPH - speed_mph, 0, None) / (CURVES_FROM_MPH - CURVES_AT_MPH)
    bend = world.curved * below**2
    return (
        RATIO + RATIO_SLOPE * over + CURVES[0] * bend,
        LAUNCH_DEG + LAUNCH_SLOPE * over + CURVES[1] * bend,
        SPIN_RPM + SPIN_SLOPE * over + CURVES[2] * bend,
    )


def draw_own(world: World, speed_mph: Array, on_b: npt.NDArray[np.bool_], rng: np.random.Generator) -> Own:
    """Draw golfers' own values at their club speeds; `on_b` marks those of the second device's site."""
    n = len(speed_mph)
    kind = np.where(
        rng.uniform(size=n) < world.faulty, np.array(world.faults)[rng.integers(0, len(world.faults), n)], "sound"
    )
    normal = rng.standard_normal((7, n))
    launch_luck = normal[1]
    spin_luck = world.correlation * normal[1] + np.sqrt(1 - world.correlation**2) * normal[2]
    school = world.schools * (rng.integers(0, 2, n) - 0.5)
    spread = spread_at(world, speed_mph) * np.where(on_b, world.site_b_spread, 1.0)
    ratio, launch, spin = usual_at(world, speed_mph)
    sound = {
        "speed_ratio": ratio + world.site_b_ratio * on_b + RATIO_SD * spread * normal[0],
        "launch_deg": launch + LAUNCH_SD * spread * (launch_luck + school),
        "spin_rpm": spin + SPIN_SD * spread * (spin_luck - school),
        "mishit_share": rng.uniform(*world.mishits, n),
    }
    changed = {
        "speed_ratio": sound["speed_ratio"] + CONTACT + CONTACT_SD * normal[3],
        "launch_deg": sound["launch_deg"] + LOW_LAUNCH_DEG + LOW_LAUNCH_SD * normal[4],
        "spin_rpm": sound["spin_rpm"] + EXTRA_SPIN_RPM + EXTRA_SPIN_SD * normal[5],
        "mishit_share": rng.uniform(*world.faulty_mishits, n),
    }
    causes = dict(zip(sound, ("contact", "launch", "spin", "consistency"), strict=True))
    faulty = {name: np.where(kind == cause, changed[name], sound[name]) for name, cause in causes.items()}
    return Own(kind, sound, faulty, world.lasting * normal[6])


def draw_speeds(world: World, rng: np.random.Generator) -> Array:
    """Draw golfers' club speeds, mph."""
    if world.even_mph is not None:
        return rng.uniform(*world.even_mph, world.golfers)
    mean = world.speed_mph[0]
    return np.clip(rng.normal(*world.speed_mph, world.golfers), mean - 22, mean + 22)


def form_of_days(world: World, normals: Array) -> Array:
    """Turn standard draws into what days add: club speed (mph), ratio, launch (deg), spin (rpm), share of carry.

    Parameters
    ----------
    normals : ndarray, shape (..., 5)

    Returns
    -------
    ndarray, shape (..., 5)
    """
    per_yd = np.array([DAY_RATIO, DAY_LAUNCH_DEG, DAY_SPIN_RPM, DAY_BEYOND])
    return np.asarray(normals * np.concatenate([[DAY_CLUB_MPH * (world.form_yd > 0)], world.form_yd * per_yd]))
