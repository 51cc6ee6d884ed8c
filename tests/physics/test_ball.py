import numpy as np
import pytest

from pipeline.physics.ball import SETS, held

# Measured means of the example ball of US patent 6,186,002 B1 (2001), second-hand: Re/1e5, S, C_D, C_L.
EXAMPLE_BALL = [
    (0.81, 0.097, 0.223, 0.146),
    (0.81, 0.218, 0.305, 0.278),
    (1.23, 0.153, 0.256, 0.214),
    (1.25, 0.088, 0.226, 0.146),
    (1.61, 0.090, 0.234, 0.151),
    (2.00, 0.092, 0.241, 0.153),
    (1.98, 0.044, 0.231, 0.115),
]


@pytest.mark.parametrize(("re", "s", "drag", "lift"), EXAMPLE_BALL)
def test_the_example_balls_table(re, s, drag, lift):
    # The regression (R^2 0.985 and 0.995) runs within 0.007 of its own data.
    found_drag, found_lift = SETS["indoor-range-2001"].at(np.array([re * 1e5]), np.array([s]))
    assert found_drag[0] == pytest.approx(drag, abs=0.007)
    assert found_lift[0] == pytest.approx(lift, abs=0.007)


@pytest.mark.parametrize(("sixths", "sine"), [(0, 0.0), (1, 0.5), (2, np.sqrt(3) / 2), (3, 1.0), (1.5, np.sqrt(0.5))])
def test_smits_and_smiths_drag_rises_by_a_sine(sixths, sine):
    # Smits and Smith 1994 (second-hand): from 0.24 + 0.18 S at a Reynolds number of 90,000 a sine of amplitude 0.06
    # rises to its peak at 190,000. Sines of multiples of 30 and of 45 deg are known; the code sums a series.
    reynolds = np.array([9.0e4 + sixths / 6 * 2.0e5])
    for s in (0.08, 0.20):
        drag, _ = SETS["smits-smith-1994"].at(reynolds, np.array([s]))
        assert drag[0] - 0.18 * s == pytest.approx(0.24 + 0.06 * sine, abs=1e-9)


def test_smits_and_smiths_lift_grows_as_a_power_of_spin():
    # Second-hand: 0.54 S^0.4, whatever the speed. 0.1^0.4 is 0.3981 (tables of logarithms: 10^-0.4).
    _, lift = SETS["smits-smith-1994"].at(np.array([1.0e5, 2.0e5]), np.array([0.1, 0.2]))
    assert lift[0] == pytest.approx(0.54 * 0.39811, rel=1e-4)
    assert lift[1] / lift[0] == pytest.approx(1.31951, rel=1e-4)


# What the fits of Lyu et al. 2018 were made to, read off their figures 3b and 4a by another reader (third-hand): means
# of one ball's drag at 1500 to 2500 rpm, and of 13 balls' lift.
LYU_DRAG = [(9.9e4, 0.203), (1.24e5, 0.180), (1.46e5, 0.187), (1.68e5, 0.196)]
LYU_LIFT = [(0.045, 0.10), (0.075, 0.13), (0.105, 0.17), (0.185, 0.25), (0.32, 0.315)]


@pytest.mark.parametrize(("reynolds", "drag"), LYU_DRAG)
def test_lyus_drag_is_what_was_measured(reynolds, drag):
    assert SETS["lyu-2018"].at(np.array([reynolds]), np.array([0.1]))[0][0] == pytest.approx(drag, abs=0.012)


@pytest.mark.parametrize(("s", "lift"), LYU_LIFT)
def test_lyus_lift_is_what_was_measured(s, lift):
    # The fit is of one ball, the points of thirteen, which differ by 0.02 to 0.03.
    assert SETS["lyu-2018"].at(np.array([1.5e5]), np.array([s]))[1][0] == pytest.approx(lift, abs=0.025)


# Bearman and Harvey, Aeronautical Quarterly 27 (1976) 112, a conventional ball of the 1970s above a Reynolds number of
# 126,000 (third-hand, read off a redrawn figure): spin ratio, C_L, C_D.
OLDER_BALL = [(0.10, 0.144, 0.267), (0.15, 0.177, 0.283), (0.20, 0.211, 0.299)]


@pytest.mark.parametrize(("s", "lift", "drag"), OLDER_BALL)
def test_the_nineties_ball_lies_near_bearman_and_harveys(s, lift, drag):
    # Other balls, by other methods: later balls drag less, and their lift is much the same.
    found_drag, found_lift = SETS["indoor-range-2001"].at(np.array([1.6e5]), np.array([s]))
    assert found_lift[0] == pytest.approx(lift, abs=0.06)
    assert drag - 0.05 < found_drag[0] < drag + 0.01


@pytest.mark.parametrize("name", sorted(SETS))
def test_a_ball_without_spin_is_not_lifted_and_edges_hold(name):
    coefficients = SETS[name]
    re = np.array([1.5e5, 1.5e5, 1e4, 4e4, 1e6, 2e6])
    s = np.array([0.0, 1e-6, 0.1, 0.1, 0.1, 0.1])
    drag, lift = coefficients.at(re, s)
    assert lift[0] == 0
    assert 0 < lift[1] < 1e-4
    assert drag[2] == drag[3]
    assert drag[4] == drag[5]
    beyond = coefficients.at(np.array([1.5e5, 1.5e5]), np.array([0.6, 0.9]))
    assert beyond[0][0] == beyond[0][1]
    assert beyond[1][0] == beyond[1][1]


def test_holding_is_exact_inside_and_has_no_kink():
    x = np.linspace(-1, 3, 4001)
    y = held(x, 0.0, 1.0)
    inside = (x >= 0) & (x <= 1)
    np.testing.assert_array_equal(y[inside], x[inside])
    np.testing.assert_allclose(y[x < -0.21], -0.1)
    np.testing.assert_allclose(y[x > 1.21], 1.1)
    assert np.max(np.abs(np.diff(y, n=2))) < 1e-3 * (x[1] - x[0]) / 0.1  # slope changes by 1 over 0.2
