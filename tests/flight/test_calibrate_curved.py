"""Drives that curve, and a cross wind: neither is taken for drag or lift."""

import numpy as np
import polars as pl
import pytest

from pipeline.flight.calibrate import calibrate
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

STANDARD = (15.0, 1013.25)
SET = "indoor-range-2001"
TRUTH = Ball(SET, drag=0.92, lift=1.05)


def curving(drives, ball, cross_mps=0.0):
    """Let the drives of a site start and bend to the side: golfers with a shape of their own, drives about it."""
    rng = np.random.default_rng(12)
    golfer = drives.get_column("golfer").rank("dense").to_numpy().astype(int) - 1
    n = drives.height
    axis = rng.normal(0, 9, golfer.max() + 1)[golfer] + rng.normal(0, 9, n)
    side = rng.normal(0, 2, golfer.max() + 1)[golfer] - 0.15 * axis + rng.normal(0, 1.5, n)
    speed, launch, spin = (drives.get_column(name).to_numpy() for name in ("ball_speed_mph", "launch_deg", "spin_rpm"))
    bent = Launch.of(speed * MPS_PER_MPH, launch, spin, side, axis)
    carry = fly(bent, ball, Air.of(15.0, 101325.0, 0.0), Wind(0.0, cross_mps)).carry_m / METRES_PER_YARD
    return drives.with_columns(
        carry_measured_yd=carry * rng.normal(1, 0.01, n),
        launch_side_deg=side,
        spin_axis_deg=axis,
        wind_cross_mps=pl.lit(cross_mps),
    )


def errors_of(drives):
    found = calibrate(drives, SET, *STANDARD, seed=1)
    return found.drag - TRUTH.drag, found.lift - TRUTH.lift


@pytest.mark.parametrize("cross_mps", [0.0, 4.0])
def test_curves_and_cross_wind_dont_bias_drag_and_lift(site, cross_mps):
    drives = curving(site(TRUTH), TRUTH, cross_mps)

    drag, lift = errors_of(drives)
    drag_before, lift_before = errors_of(drives.drop(SIDE_COLUMNS))

    print(f"cross {cross_mps}: drag {drag_before:+.4f} -> {drag:+.4f}, lift {lift_before:+.4f} -> {lift:+.4f}")
    assert abs(drag) < 0.003
    assert abs(lift) < 0.006
    # Flown straight: +0.010 and -0.008 in calm air, -0.005 and -0.028 in the wind.
    before, after = (abs(one) + abs(other) for one, other in ((drag_before, lift_before), (drag, lift)))
    assert before > max(0.015, 5 * after)


def test_a_drive_of_unknown_axis_counts_as_straight_and_others_as_they_bend(site):
    drives = curving(site(TRUTH), TRUTH)
    half = pl.int_range(pl.len()) % 2 == 0
    unknown = drives.with_columns(pl.when(half).then(name).alias(name) for name in SIDE_COLUMNS)

    errors = [abs(errors_of(one)[0]) for one in (drives, unknown, drives.drop(SIDE_COLUMNS))]

    assert errors[0] < errors[1] < errors[2]


def test_logs_without_side_columns_give_the_same_calibration_to_the_last_digit(site):
    drives = site(TRUTH, golfers=20)
    unknown = drives.with_columns(pl.lit(None, pl.Float64).alias(name) for name in SIDE_COLUMNS)
    # A start to the side says nothing where neither axis nor cross wind is known.
    started = unknown.with_columns(launch_side_deg=pl.lit(3.0))

    plain, *others = (calibrate(one, SET, *STANDARD, seed=1) for one in (drives, unknown, started))

    assert others == [plain, plain]
