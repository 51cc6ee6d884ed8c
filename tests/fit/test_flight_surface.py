import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.fit.candidates import candidates_for
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.natural_splines import MANY
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, fly

AIR = Air.of(15.0, 101325.0, 0.0)
BALL = Ball("indoor-range-2001", 0.92)


def flown_yd(speed, launch, spin, ball=BALL):
    return fly(Launch.straight(np.asarray(speed) * 0.44704, launch, spin), ball, AIR).carry_m / 0.9144


@pytest.fixture(scope="module")
def inputs():
    rng = np.random.default_rng(3)
    return rng.uniform(95, 175, 800), rng.uniform(5, 22, 800), rng.uniform(1300, 5200, 800)


@pytest.fixture(scope="module")
def surface(inputs):
    return FlightMaker.of(BALL, AIR, inputs)(inputs)


def test_the_splines_follow_flight(surface, inputs):
    error = surface.base(*inputs) - flown_yd(*inputs)
    assert np.sqrt(np.mean(error**2)) < 0.05
    assert np.max(np.abs(error)) < 0.4


def test_the_slopes_are_those_of_flight(surface, inputs):
    design = surface.design(*inputs)
    more_drag = flown_yd(*inputs, BALL.scaled(0.92 * 1.01, 1.0)) - flown_yd(*inputs)
    more_lift = flown_yd(*inputs, BALL.scaled(0.92, 1.01)) - flown_yd(*inputs)
    np.testing.assert_allclose(design[:, 0] * 0.01, more_drag, atol=0.08)
    np.testing.assert_allclose(design[:, 1] * 0.01, more_lift, atol=0.12)


def test_grid_equals_design_point_by_point(surface):
    coefficients = np.random.default_rng(2).normal(size=(2, surface.size))
    launch, spin = np.array([9.0, 12.0, 17.0]), np.array([2000.0, 3500.0])
    grid = surface.on_grid(coefficients, [120.0, 150.0], launch, spin)
    l, p = (part.ravel() for part in np.meshgrid(launch, spin, indexing="ij"))
    for k, speed in enumerate((120.0, 150.0)):
        x = (np.full(6, speed), l, p)
        np.testing.assert_allclose(grid[k].ravel(), surface.base(*x) + surface.design(*x) @ coefficients[k], rtol=1e-9)
    alone = surface.on_grid(coefficients[0], 120.0, launch, spin)
    np.testing.assert_allclose(alone, grid[0], rtol=1e-12)


@pytest.mark.parametrize("count", [800, 3 * MANY])
def test_carry_by_coefficients_is_what_the_design_gives_within_the_knots_and_beyond(surface, count):
    rng = np.random.default_rng(6)
    coefficients = rng.normal(size=surface.size) / 100
    x = rng.uniform(80, 190, count), rng.uniform(1, 27, count), rng.uniform(500, 6500, count)
    beyond = [(part < axis.centre + axis.scale * axis.knots[0]) for part, axis in zip(x, surface.axes, strict=True)]
    assert 0.05 < np.mean(np.any(beyond, axis=0)) < 0.5
    expected = surface.base(*x) + surface.design(*x) @ coefficients
    np.testing.assert_allclose(surface.carry_by(coefficients, *x), expected, rtol=0, atol=1e-9)


def test_a_ball_with_other_multipliers_is_found_by_the_fit(inputs):
    # The maker has the wrong multipliers; the fit's first two terms must make up for it.
    speed, launch, spin = inputs
    truth = BALL.scaled(0.95, 1.03)
    drives = pl.DataFrame(
        {
            "golfer": [f"g{i % 40:016x}" for i in range(800)],
            "quarter": "2026Q3",
            "device": "unit-A",
            "ball": "premium",
            "club_speed_mph": speed / 1.46,
            "ball_speed_mph": speed,
            "launch_deg": launch,
            "spin_rpm": spin,
            "carry_standard_yd": flown_yd(speed, launch, spin, truth) + np.random.default_rng(1).normal(0, 0.5, 800),
            "flown_yd": flown_yd(speed, launch, spin),
            "spin_measured": True,
        }
    )
    candidate = candidate_named("flight", flight=FlightMaker.of(BALL, AIR, inputs))
    fitted = fit_to(candidate, drives)
    assert fitted.labels[:2] == ("drag_multiplier", "lift_multiplier")
    error = fitted.model.carry(speed, launch, spin) - flown_yd(speed, launch, spin, truth)
    assert np.sqrt(np.mean(error**2)) < 0.25
    # Relative changes: 0.95 / 0.92 - 1 and 1.03 - 1.
    assert fitted.fit.coefficients[0] == pytest.approx(0.95 / 0.92 - 1, abs=0.02)
    assert fitted.fit.coefficients[1] == pytest.approx(0.03, abs=0.02)


def test_flight_competes_only_with_ball_speed(inputs):
    maker = FlightMaker.of(BALL, AIR, inputs)
    line, *richer = (c.name for c in candidates_for("ball"))
    assert [c.name for c in candidates_for("ball", maker)] == [line, "flight", *richer]
    assert "flight" not in {c.name for c in candidates_for("club", maker)}
