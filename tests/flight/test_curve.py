"""What side motion changes of carry, against direct flights and scipy's integrator."""

import numpy as np
import polars as pl
import pytest
from scipy.integrate import solve_ivp

from pipeline.flight.curve import CURVE_STEP_S, SIDE_COLUMNS, Sideways, side_motion
from pipeline.flight.standard import AirNodes, StudyTables, standard_flight, with_change
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, Wind, fly

YARD, MPH, RPM, GRAVITY = 0.9144, 0.44704, np.pi / 30, 9.80665
STANDARD = (15.0, 1013.25)
SEA_LEVEL = Air.of(15.0, 101325.0, 0.0)
BALL = Ball("smits-smith-1994", 0.9, 0.95)


@pytest.fixture(scope="module")
def drives(site):
    """Drives at 1500 m in a 3 m/s tail wind that start, bend and are blown to both sides."""
    made = site(BALL, 1500.0, 3.0, golfers=20, shots=5).with_row_index("row")
    rng = np.random.default_rng(3)
    spread = zip(SIDE_COLUMNS, (4.0, 15.0, 4.0), strict=True)
    return made.with_columns(pl.Series(name, rng.normal(0, sd, made.height)) for name, sd in spread)


@pytest.fixture(scope="module")
def tables(drives):
    air, _ = air_of_drives(drives, *STANDARD)
    return StudyTables.build(BALL, (float(SEA_LEVEL.density_kg_m3), float(SEA_LEVEL.viscosity_pa_s)), AirNodes.of(air))


def flight(drives, tables):
    return standard_flight(drives, tables, *STANDARD, ratio=1.45)


def shots_of(drives):
    speed, launch, spin = (drives[name].to_numpy() for name in ("ball_speed_mph", "launch_deg", "spin_rpm"))
    return speed * MPH, launch, spin


@pytest.mark.parametrize("said", ["no columns", "nulls"])
def test_logs_that_say_nothing_of_the_side_give_the_same_figures_to_the_last_bit(drives, tables, said):
    nulls = [pl.lit(None, pl.Float64).alias(name) for name in SIDE_COLUMNS]
    silent = drives.drop(SIDE_COLUMNS) if said == "no columns" else drives.with_columns(nulls)
    air, wind = air_of_drives(silent, *STANDARD)
    expected = tables.standard.carry_m(*shots_of(silent)) / YARD
    expected_change = expected - tables.carry_as_hit_m(shots_of(silent), air, wind) / YARD

    found = flight(silent, tables)

    np.testing.assert_array_equal(found.change_yd, expected_change)
    np.testing.assert_array_equal(found.flown_yd, expected)
    assert np.all(np.isnan(found.curve_yd))
    assert with_change(silent, tables, *STANDARD, ratio=1.45)["curve_yd"].null_count() == silent.height


def test_change_is_the_difference_of_two_direct_flights_with_all_that_is_known(drives, tables):
    side, axis, cross = (drives[name].to_numpy() for name in SIDE_COLUMNS)
    air, along = air_of_drives(drives, *STANDARD)
    there = fly(Launch.of(*shots_of(drives), side, axis), BALL, air, Wind(along, cross))
    here = fly(Launch.of(*shots_of(drives), 0.0, axis), BALL, SEA_LEVEL)
    level = fly(Launch.straight(*shots_of(drives)), BALL, SEA_LEVEL)

    found = flight(drives, tables)

    np.testing.assert_allclose(found.change_yd, (here.carry_m - there.carry_m) / YARD, atol=0.05)
    np.testing.assert_allclose(found.flown_yd, level.carry_m / YARD, atol=0.05)
    np.testing.assert_allclose(found.curve_yd, (level.carry_m - here.carry_m) / YARD, atol=0.002)
    # What that moves: a straight move would be off by yards.
    straight = flight(drives.drop(SIDE_COLUMNS), tables).change_yd
    assert np.abs(found.change_yd - straight).max() > 2


def test_side_motion_agrees_with_scipys_solve_ivp(drives):
    # Reference: scipy.integrate.solve_ivp, DOP853 at 1e-9, to 0.01 yd.
    few = drives.head(12)
    air, along = air_of_drives(few, *STANDARD)
    sideways = Sideways.of(few)
    change, curve = side_motion(shots_of(few), sideways, BALL, air, along, SEA_LEVEL)
    rows = zip(*shots_of(few), *sideways, along, air.density_kg_m3, air.kinematic_m2_s, strict=True)
    sea = (float(SEA_LEVEL.density_kg_m3), float(SEA_LEVEL.kinematic_m2_s))
    for row, one in enumerate(rows):
        speed, launch, spin, side, axis, cross, tail, density, viscosity = map(float, one)
        bent = scipys_carry(speed, launch, spin, side, axis, tail, cross, density, viscosity)
        bent -= scipys_carry(speed, launch, spin, 0.0, 0.0, tail, 0.0, density, viscosity)
        curved = scipys_carry(speed, launch, spin, 0.0, axis, 0.0, 0.0, *sea)
        curved -= scipys_carry(speed, launch, spin, 0.0, 0.0, 0.0, 0.0, *sea)
        assert curve[row] / YARD == pytest.approx(-curved / YARD, abs=0.01)
        assert change[row] / YARD == pytest.approx((curved - bent) / YARD, abs=0.01)


def scipys_carry(speed, launch, spin, side, axis, tail, cross, density, kinematic):
    """Fly one ball; forward, left and up, apart from the code under test."""
    rise, yaw, tilt = np.radians([launch, side, axis])
    forward = np.array([np.cos(yaw), -np.sin(yaw), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    right = np.cross(forward, up)
    first = np.cos(rise) * forward + np.sin(rise) * up
    spins_about = np.cos(tilt) * right + np.sin(tilt) * np.cross(first, right)
    start = speed * first
    radius, area = BALL.diameter_m / 2, np.pi * BALL.diameter_m**2 / 4

    def slope(_, state):
        through = state[3:6] - [tail, -cross, 0.0]
        v = np.linalg.norm(through)
        drag, lift = SETS[BALL.coefficients].at(
            np.array([v * 2 * radius / kinematic]), np.array([state[6] * radius / v])
        )
        push = 0.5 * density * area * v / BALL.mass_kg
        force = push * (BALL.lift * lift[0] * np.cross(spins_about, through) - BALL.drag * drag[0] * through)
        return [*state[3:6], *(force - GRAVITY * up), -BALL.spin_decay * v * state[6] / radius]

    def ground(_, state):
        return state[2]

    ground.terminal, ground.direction = True, -1
    done = solve_ivp(slope, (0, 30), [0, 0, 1e-9, *start, spin * RPM], "DOP853", events=ground, rtol=1e-9, atol=1e-9)
    return float(np.hypot(*done.y_events[0][0][:2]))


def test_left_costs_what_right_does(drives, tables):
    mirrored = drives.with_columns(-pl.col(SIDE_COLUMNS))
    for one, other in zip(flight(drives, tables), flight(mirrored, tables), strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)


def test_a_curved_drive_in_standard_air_stays_where_it_is_and_knows_its_cost(site, tables):
    calm = site(BALL, golfers=5, shots=4).with_columns(
        launch_side_deg=pl.lit(3.0), spin_axis_deg=pl.lit(-12.0), wind_cross_mps=pl.lit(None, pl.Float64)
    )
    at_sea = StudyTables(tables.standard, AirNodes.of(air_of_drives(calm, *STANDARD)[0]), [tables.standard])
    found = flight(calm, at_sea)
    np.testing.assert_allclose(found.change_yd, 0.0, atol=1e-9)
    assert np.all(found.curve_yd > 0.2)


def test_what_is_known_decides_what_counts(drives, tables):
    def only(*names):
        others = [pl.lit(None, pl.Float64).alias(name) for name in SIDE_COLUMNS if name not in names]
        return flight(drives.with_columns(others), tables)

    silent, side, cross = only(), only("launch_side_deg"), only("launch_side_deg", "wind_cross_mps")
    np.testing.assert_array_equal(side.change_yd, silent.change_yd)
    # A cross wind without an axis moves carry, and nothing is known of the curve.
    assert np.abs(cross.change_yd - silent.change_yd).max() > 0.5
    assert np.all(np.isnan(cross.curve_yd))
    # An axis that is level costs nothing, and is known.
    level = flight(drives.drop(SIDE_COLUMNS).with_columns(spin_axis_deg=pl.lit(0.0)), tables)
    np.testing.assert_array_equal(level.change_yd, silent.change_yd)
    np.testing.assert_array_equal(level.curve_yd, 0.0)


@pytest.mark.parametrize("name", sorted(SETS))
def test_the_step_is_short_enough(name, drives):
    air, along = air_of_drives(drives, *STANDARD)
    launch = Launch.of(*shots_of(drives), *(drives[one].to_numpy() for one in SIDE_COLUMNS[:2]))
    wind = Wind(along, drives["wind_cross_mps"].to_numpy())

    def bent(step):
        level = Launch.straight(*shots_of(drives))
        return [
            fly(one, Ball(name), air, blown, step_s=step).carry_m
            for one, blown in ((launch, wind), (level, Wind(along)))
        ]

    coarse, fine = (np.subtract(*bent(step)) for step in (CURVE_STEP_S, CURVE_STEP_S / 10))
    assert np.max(np.abs(coarse - fine)) / YARD < 0.0005
