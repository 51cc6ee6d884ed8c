import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.benchmark.flown_grid import FlownGrid, cubic_weights, nodes
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.turf import FIRMNESS

STANDARD = Conditions(Air.of(15.0, 101325.0, 0.0), 0.0, FIRMNESS["normal"])
BALL = Ball("smits-smith-1994", 0.93, 1.04)
# Air and wind, m/s, of places as far from standard as anybody asks for: about 25 m/s is 55 mph.
PLACES = {
    "tail": Conditions(STANDARD.air, 13.4, FIRMNESS["normal"]),
    "head": Conditions(STANDARD.air, -13.4, FIRMNESS["soft"]),
    "gale": Conditions(STANDARD.air, 24.6, FIRMNESS["firm"]),
    "against a gale": Conditions(STANDARD.air, -24.6, FIRMNESS["normal"]),
    "high and hot": Conditions(Air.of(35.0, 74000.0, 0.2), 0.0, FIRMNESS["firm"]),
    "low and cold": Conditions(Air.of(-10.0, 104000.0, 0.0), 5.0, FIRMNESS["soft"]),
}


@pytest.mark.parametrize("coefficients", ["smits-smith-1994", "indoor-range-2001"])
@pytest.mark.parametrize("name", PLACES)
def test_what_lies_between_the_flown_nodes_is_nearly_flown(name, coefficients):
    place = Place(Ball(coefficients, 0.93, 1.04), STANDARD, PLACES[name])
    rng = np.random.default_rng(5)
    launch, spin = np.sort(rng.uniform(9.0, 20.0, 40)), np.sort(rng.uniform(1800.0, 4200.0, 40))
    flown = FlownGrid.of(place, np.array([95.0, 178.0]), launch, spin)
    worst = np.zeros(2)
    for ball in (96.3, 131.7, 176.9):
        change, landing = flown.on_grid(ball, launch, spin)
        drives = [part.ravel() for part in np.meshgrid(launch, spin, indexing="ij")]
        true_change, run = place.change_and_run_yd(np.full(1600, ball), *drives)
        worst = np.maximum(worst, np.abs(change.ravel() - true_change).max())
        # Roll jumps by a bounce more or less, so that only its middle is compared.
        assert np.median(np.abs(flown.run_yd(landing).ravel() - run)) < 0.1
    assert worst.max() < 0.1


def test_a_cubic_is_followed_exactly():
    grid = np.arange(8.0) * 2 + 3

    def cubic(x):
        return 0.3 * x**3 - 2 * x**2 + x - 5

    values = np.linspace(3.0, 17.0, 29)
    np.testing.assert_allclose(cubic_weights(grid, values) @ cubic(grid), cubic(values))


@given(st.lists(st.floats(-20, 60), min_size=1, max_size=5), st.sampled_from([0.5, 1.0, 8.0]))
def test_nodes_reach_beyond_the_values_on_both_sides(values, step):
    found = nodes(np.array(values), step, -90.0)
    assert len(found) >= 4
    np.testing.assert_allclose(np.diff(found), step)
    assert found[1] <= min(values)
    assert found[-2] >= max(values)
    np.testing.assert_allclose(found / step, np.round(found / step))


def test_no_node_is_below_what_flies():
    found = nodes(np.array([60.0, 700.0]), 150.0, 50.0)
    assert found[0] == 150.0
