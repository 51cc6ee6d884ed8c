"""Speed of flight, with room for a busy machine; `snakemake flight_study` measures it properly."""

import numpy as np
import polars as pl
import pytest
from flight_study import (
    TOLERANCES,
    matching_tolerance,
    random_launches,
    speed,
    standard_air,
    table_differences_yd,
    timed_in_turns,
)
from flight_study_text import report, targets, verdict
from one_ball_solver import calm_carry_by_solver, carry_by_solver, scalar_forces

from pipeline.physics.ball import SETS, Ball
from pipeline.physics.flight_table import FlightTable
from pipeline.physics.trajectory import Launch

NAMES = sorted(SETS)


@pytest.fixture(scope="module")
def figures():
    return speed(Ball(), looped=60, direct_shots=20_000, table_shots=100_000, repeats=3)


def figure(figures, quantity):
    return figures.row(by_predicate=pl.col("quantity") == quantity, named=True)["figure"]


def test_the_table_looks_up_hundreds_of_thousands_a_second(figures):
    # The study finds millions; a third of a million still tells a loop in Python from a table.
    assert figure(figures, "table_carry_calm") > 300_000
    assert figure(figures, "table_landing_state_in_wind") > 100_000


def test_direct_integration_is_far_faster_than_a_loop_over_solve_ivp(figures):
    assert figure(figures, "solver_loop_over_direct") > 60
    # The loop is written well: it beats the one around arrays of one ball, about five times in the study.
    assert figure(figures, "array_solver_loop") > 2 * figure(figures, "solver_loop")
    # And it is as accurate as what it is compared with, to the fineness of the tolerances.
    ratio = figure(figures, "solver_loop_worst_error") / figure(figures, "direct_worst_error")
    assert 1 / 3 < ratio < 3


def test_the_tolerance_matches_direct_integration():
    launches = random_launches(30, np.random.default_rng(3))
    match = matching_tolerance(launches, Ball(), standard_air())
    true_m = calm_carry_by_solver(launches, Ball(), standard_air(), "DOP853", 1e-11)
    solved_m = calm_carry_by_solver(launches, Ball(), standard_air(), "RK45", match.rtol)
    assert match.rtol in TOLERANCES
    assert np.max(np.abs(solved_m - true_m)) / 0.9144 == pytest.approx(match.error_yd, rel=0.01)
    assert match.error_yd == pytest.approx(match.direct_error_yd, rel=0.6)


@pytest.mark.parametrize("name", NAMES)
def test_scalar_forces_are_those_of_the_ball(name):
    rng = np.random.default_rng(1)
    speed_mps, spin_rad_s = rng.uniform(5, 95, 500), rng.uniform(0, 900, 500)
    air, ball = standard_air(), Ball(name, drag=0.9, lift=1.1)
    forces = scalar_forces(ball, float(air.density_kg_m3), float(air.kinematic_m2_s))
    found = np.array([forces(v, w) for v, w in zip(speed_mps.tolist(), spin_rad_s.tolist(), strict=True)])
    expected = ball.forces(speed_mps, spin_rad_s, air.density_kg_m3, air.kinematic_m2_s)
    np.testing.assert_allclose(found.T, expected, rtol=1e-10)


def test_the_solver_in_three_dimensions_agrees_with_the_planar_one_and_feels_wind():
    launches, air, nil = random_launches(5, np.random.default_rng(2)), standard_air(), np.zeros(5)
    planar = calm_carry_by_solver(launches, Ball(), air, "DOP853", 1e-9)
    np.testing.assert_allclose(carry_by_solver(launches, Ball(), air, nil, nil, "DOP853", 1e-9), planar, atol=1e-5)
    turned = Launch(*list(vars(launches).values())[:3], nil + 90.0, nil)
    # A tail wind for a ball that flies to the right is one that blows to the right.
    blown = carry_by_solver(turned, Ball(), air, nil, nil + 5.0, "DOP853", 1e-9)
    np.testing.assert_allclose(blown, carry_by_solver(launches, Ball(), air, nil + 5.0, nil, "DOP853", 1e-9), atol=1e-5)
    assert np.min(np.abs(blown - planar)) > 0.1


def test_shots_that_leave_the_table_are_not_counted():
    table = FlightTable.build(Ball(), 1.225, 1.79e-5)
    launches = Launch.straight([60.0, 22.0], 12.0, 2600.0)
    # With the wind behind it, the slow ball is slower through the air than the table's domain.
    differences = table_differences_yd(table, launches, np.array([8.0, 8.0]))
    assert differences.shape == (1,)
    assert 0 < differences[0] < 0.02


def test_a_miss_is_told_as_a_miss(figures):
    assert verdict(0.03, 0.02, at_most=True) == verdict(299.0, 300.0, at_most=False) == "**missed**"
    assert verdict(0.01, 0.02, at_most=True) == verdict(301.0, 300.0, at_most=False) == "met"
    exact = pl.DataFrame(
        {
            "coefficients": ["a", "b"] * 4,
            "comparison": [c for c in ("table_calm", "table_wind", "solver", "step") for _ in range(2)],
            "shots": [10] * 8,
            "worst_yd": [0.001, 0.05, 0.001, 0.01, 0.001, 0.01, 0.001, 0.01],
            "p99_yd": [0.001] * 8,
        }
    )
    told = targets(exact, figures)
    assert told[0][2:] == ("0.05000 yd", "**missed**")
    assert told[1][2:] == ("0.01000 yd", "met")
    text = report(exact, figures, {"cores": "7"}, 0.1)
    assert "cores 7" in text
    assert text.count("**missed**") == sum(row[3] == "**missed**" for row in told)


def test_times_are_taken_in_turns():
    calls = []
    spent = timed_in_turns({"a": lambda: calls.append("a"), "b": lambda: calls.append("b")}, repeats=3)
    assert calls == ["a", "b"] * 4
    assert spent["a"].shape == spent["b"].shape == (3,)
    assert all(np.all(times > 0) for times in spent.values())
