import numpy as np
import pytest
import true_flight
from true_flight import BALLS, air, carry_yd, fly_yd


@pytest.fixture
def drives():
    rng = np.random.default_rng(0)
    return rng.uniform(70, 185, 800), rng.uniform(4, 28, 800), rng.uniform(900, 7000, 800)


@pytest.mark.parametrize("ball", list(BALLS))
def test_the_grid_agrees_with_direct_flight(ball, drives):
    # 0.15 yd is a tenth of the bias that the proving ground looks for.
    assert np.abs(carry_yd(ball, *drives) - fly_yd(ball, *drives, *air(0.0, 15.0))).max() < 0.15


def test_a_shorter_step_changes_next_to_nothing(drives, monkeypatch):
    few = [x[:60] for x in drives]
    usual = fly_yd("lively", *few, *air(0.0, 15.0))
    monkeypatch.setattr(true_flight, "STEP_S", 0.01)
    assert np.abs(usual - fly_yd("lively", *few, *air(0.0, 15.0))).max() < 0.01


def test_without_air_the_ball_flies_a_parabola():
    # Closed form: v^2 sin(2 a) / g.
    carry = fly_yd("plain", np.array([100.0]), np.array([20.0]), np.array([2500.0]), 0.0, 1.5e-5)
    v = 100 * 0.44704
    assert carry[0] == pytest.approx(v * v * np.sin(np.radians(40)) / 9.80665 / 0.9144, rel=1e-4)


def test_thin_air_carries_farther():
    speed = np.array([140.0])
    high = carry_yd("plain", speed, np.array([12.0]), np.array([2600.0]), 1400.0, 22.0)
    assert 5 < (high - carry_yd("plain", speed, np.array([12.0]), np.array([2600.0])))[0] < 20


def test_air_is_that_of_the_standard_atmosphere():
    # ISO 2533: 1.225 kg/m^3 at sea level and 1.1117 at 1000 m (8.5 deg C); the latter from memory.
    assert air(0.0, 15.0)[0] == pytest.approx(1.225, rel=1e-4)
    assert air(1000.0, 8.5)[0] == pytest.approx(1.1117, rel=1e-3)
