"""Golfers who swing by planted slopes, a carry model with a best launch and spin, a frontier that reaches there."""

import numpy as np
import polars as pl
from frontiers import frontier_at, near_of

from pipeline.coach.delivery.impact_slopes import slopes_by_impact
from pipeline.coach.delivery.loft_change import DeliveryMoves, MovedCarry
from pipeline.coach.delivery.slopes import DeliveryModel, DeliverySlope
from pipeline.fit.model import CarryModel
from pipeline.fit.surface import Axis, Surface
from pipeline.fit.usual_delivery import Line, UsualDelivery
from pipeline.flight.offsets import Offsets

BEST_LAUNCH_DEG, BEST_SPIN_RPM = 14.0, 2500.0
TERMS = ((0, 0, 0), (1, 0, 0), (0, 2, 0), (0, 0, 2))


# What 1 deg of attack and of loft do: a face that follows the attack by 0.6, at 100 mph.
BY_ATTACK, BY_LOFT = np.array([0.68, -84.0, 0.0028]), np.array([0.80, 210.0, -0.007])


def swings(golfers=40, drives=60, noise_deg=0.8, own=0.3, lofts=(0.0,), seed=1):
    """Golfers at 100 mph who swing by the planted slopes; those who hit more upwards launch lower."""
    rng = np.random.default_rng(seed)
    base = rng.normal(0, 1.5, golfers)
    who = np.repeat(np.arange(golfers), drives)
    n = len(who)
    swing, loft = rng.normal(0, 1.0, n), np.array(lofts)[np.arange(n) % len(lofts)]
    moved = swing[:, None] * BY_ATTACK + loft[:, None] * BY_LOFT + own * rng.normal(0, (1.0, 100.0, 0.01), (n, 3))
    club = np.full(n, 100.0)
    return pl.DataFrame(
        {
            "golfer": [f"g{k:016x}" for k in who],
            "quarter": "2026Q3",
            "device": "unit-A",
            "club_speed_mph": club,
            "ball_speed_mph": club * (1.46 + moved[:, 2]),
            "launch_deg": 14 - 1.2 * base[who] + moved[:, 0],
            "spin_rpm": 2600 + moved[:, 1],
            "attack_deg": 1 + base[who] + swing + rng.normal(0, noise_deg, n),
            "loft_deg": 10.5 + loft,
            "spin_measured": True,
        }
    )


def usual(drives):
    return drives.group_by("golfer", "quarter").agg(pl.col("club_speed_mph", "ball_speed_mph").median())


def model(speed="ball"):
    """1.6 yd per mph of ball speed, less the squares of 0.5 launch and 0.01 spin beside the best."""
    axes = (
        Axis(0.0, 1.0),
        Axis(BEST_LAUNCH_DEG, 1.0, degree=2),
        Axis(BEST_SPIN_RPM, 1000.0, degree=2),
    )
    per_mph = 1.6 if speed == "ball" else 1.6 * 1.46
    surface = Surface("quadratic", speed, axes, TERMS)
    usual = UsualDelivery(Line(100.0, 1.46, 0.0), None, Line(100.0, 14.0, 0.0), Line(100.0, 2600.0, 0.0))
    return CarryModel(surface, np.array([0.0, per_mph, -0.25, -10.0]), Offsets({}, ()), np.zeros(0), usual, {})


def expected(ball_mph, launch_deg, spin_rpm):
    """Give the model's carry, yd."""
    return 1.6 * ball_mph - 0.25 * (launch_deg - BEST_LAUNCH_DEG) ** 2 - 10.0 * ((spin_rpm - BEST_SPIN_RPM) / 1000) ** 2


def frontier(launch_sd=5.0, spin_sd=1000.0):
    """Reach from 90 to 110 mph, drives about the best launch and spin."""
    speeds = np.arange(90.0, 111.0)
    near = near_of(speeds, (BEST_LAUNCH_DEG, BEST_SPIN_RPM), (launch_sd, spin_sd), (1.35, 1.53))
    return frontier_at(speeds, near=near)


def carry(speed="ball", std_error=(0.0, 0.0, 0.0, 0.0), **reach):
    """Give the carry model with independent doubt of its terms."""
    return MovedCarry(model(speed), np.diag(np.square(std_error)), frontier(**reach))


def moves(loft_slope=None, attack_error=(0.0, 0.0, 0.0), loft_error=(0.0, 0.0, 0.0)):
    """Give slopes: on attack 0.7 deg, -60 rpm and 0.002, on loft by impact or as given."""
    nil = np.zeros((3, 3))
    slope = np.array([0.7, -60.0, 0.002])
    attack = DeliverySlope(slope, slope, np.diag(np.square(attack_error)), nil, 1.0, 50, 3000, None)
    known = np.full(3, np.nan) if loft_slope is None else np.array(loft_slope, dtype=float)
    loft = DeliverySlope(known, known, np.diag(np.square(loft_error)), nil, 1.0, 20, 1000, None)
    return DeliveryMoves(DeliveryModel(attack, loft, slopes_by_impact(100.0, 0.0, 13.0), loft_slope is not None, 100.0))
