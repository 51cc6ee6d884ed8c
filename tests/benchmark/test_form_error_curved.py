"""Other coefficient sets on drives that bend: the ball that flew them is found, whatever bends and blows."""

import numpy as np
import polars as pl
import pytest
from test_form_error import AT, HERE, OURS, STANDARD, drives_of, fitted

from pipeline.benchmark.form_error import form_error
from pipeline.drives import straightened
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import SETS
from pipeline.physics.trajectory import Launch, Wind, fly

PLACE = sorted(SETS).index(OURS.coefficients)


def bending_study(altitude_m):
    """Give a study's drives as a ball of our own set flies them: they bend, on device B in thin air and cross wind."""
    drives = drives_of(n=600, altitude_m=altitude_m)
    rng = np.random.default_rng(4)
    side, axis = rng.normal(0, 3, drives.height), rng.normal(4, 12, drives.height)
    cross = np.where(drives.get_column("device") == "B", 4.0, 0.0)
    columns = ("ball_speed_mph", "launch_deg", "spin_rpm")
    speed, launch, spin = (drives.get_column(name).to_numpy() for name in columns)
    there = air_of_drives(drives, STANDARD["temp_c"], STANDARD["pressure_hpa"])[0]

    def carry(side_deg, axis_deg, air, wind=None):
        return fly(Launch.of(speed * 0.44704, launch, spin, side_deg, axis_deg), OURS, air, wind).carry_m / 0.9144

    standard = carry(0.0, axis, HERE)
    return drives.with_columns(
        carry_measured_yd=carry(side, axis, there, Wind(0.0, cross)), carry_standard_yd=standard,
        curve_yd=carry(0.0, 0.0, HERE) - standard, launch_side_deg=side, spin_axis_deg=axis, wind_cross_mps=cross,
    )  # fmt: skip


@pytest.fixture(scope="module")
def found():
    study = bending_study(1400.0)
    model = fitted(straightened(study))
    return [form_error(model, sample, AT, STANDARD) for sample in (study, study.drop(SIDE_COLUMNS))]


def test_moves_by_the_set_that_flew_the_drives_are_right_though_they_bend(found):
    bent, straight = found
    print(f"moved share {straight.moved_share:.3f} -> {bent.moved_share:.3f}")
    # What remains is the other sets' part.
    assert bent.moved_share < 0.75 * straight.moved_share
    assert bent.weights[PLACE] > straight.weights[PLACE]
    assert bent.weights.argmax() == PLACE


def test_drives_that_are_not_known_to_bend_give_the_same_to_the_last_digit():
    study = bending_study(1400.0).drop("curve_yd", *SIDE_COLUMNS)
    unknown = study.with_columns(pl.lit(None, pl.Float64).alias(name) for name in ("curve_yd", *SIDE_COLUMNS))
    model = fitted(study)

    one, other = (form_error(model, sample, AT, STANDARD) for sample in (study, unknown))

    assert np.array_equal(one.carry_yd, other.carry_yd)
    assert np.array_equal(one.weights, other.weights)
    assert one.moved_share == other.moved_share
