"""What the turf leaves open of runs and totals: by hand, and on turfs drawn within what is assumed of them."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.benchmark import run_and_conditions
from pipeline.benchmark.run_and_conditions import Conditions, Place, run_interval_yd, run_yd, total_interval_yd
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import fly
from pipeline.physics.turf import FIRMNESS, NEIGHBORS, NORMAL, SOFT
from pipeline.statistics.intervals import Z90

STANDARD = Conditions(Air.of(15.0, 101325.0, 0.0), 0.0, NORMAL)
DRAWS = 20000
# Constants in steps from normal: softer and firmer ones go on along the last line.
FIRMER = np.array([-1.5, -1.0, 0.0, 1.0, 1.5])
ROLLING = np.array([0.275, 0.25, 0.20, 0.17, 0.155])


def place_on(turf):
    here = STANDARD if turf == "normal" else replace(STANDARD, turf=FIRMNESS[turf])
    return Place(Ball(drag=0.9), STANDARD, here)


def landing_of(ball_mph, launch_deg, spin_rpm, turf="normal"):
    return place_on(turf).change_and_landing(*(np.atleast_1d(float(x)) for x in (ball_mph, launch_deg, spin_rpm)))[1]


def drawn(turf, steps):
    """Give a turf whose tilt, restitution and rolling lie so many steps from normal."""
    tilt, rebound, rolling = steps
    slow = np.interp(rolling, FIRMER, ROLLING) - 0.03 * np.clip(rolling - 1.5, 0, None)
    slow += 0.05 * np.clip(-1.5 - rolling, 0, None)
    return replace(turf, tilt_deg=15.4 * (1 - 0.1 * tilt), restitution_scale=1 + 0.1 * rebound, rolling_g=5 / 7 * slow)


def run_on(landing, steps):
    return float(run_yd(landing.speed_mps, landing.descent_deg, landing.spin_rpm, drawn(NORMAL, steps))[0])


def runs_on_drawn(turf, landing, seed):
    """Give the run on turfs about a named one that lie within half a step of it nine times in ten."""
    middle = {"soft": -1.0, "normal": 0.0, "firm": 1.0}[turf]
    grid = middle + np.linspace(-1.5, 1.5, 121)
    steps = middle + 0.5 / Z90 * np.random.default_rng(seed).standard_normal(DRAWS)
    return np.interp(steps, grid, [run_on(landing, [step] * 3) for step in grid])


def test_the_edges_are_the_runs_on_both_neighbors():
    landing = landing_of(140.0, 13.0, 2600.0)
    at = landing.speed_mps, landing.descent_deg, landing.spin_rpm
    run, lo, hi = run_interval_yd(*at, SOFT)
    softer, firmer = NEIGHBORS[SOFT]
    assert run == run_yd(*at, SOFT)
    assert [*lo, *hi] == [*run_yd(*at, softer), *run_yd(*at, firmer)]
    assert lo < run < hi


def test_a_ball_that_runs_back_on_firmer_turf_keeps_an_interval_that_holds_its_run():
    # Steep, slow and with much backspin: a firmer turf gives the spin more to bite on.
    speed, descent, spin = (part.ravel() for part in np.meshgrid([15.0, 30.0, 40.0], [30.0, 45.0, 60.0], [2000, 4000]))
    for turf in FIRMNESS.values():
        run, lo, hi = run_interval_yd(speed, descent, spin, turf)
        assert np.all(lo <= run)
        assert np.all(run <= hi)
        assert np.all(lo >= 0)


@pytest.mark.parametrize("turf", FIRMNESS)
@pytest.mark.parametrize("shot", [(115.0, 15.0, 3000.0), (140.0, 13.0, 2600.0), (160.0, 11.0, 2300.0)])
def test_the_interval_holds_nine_of_ten_turfs_that_move_as_assumed(turf, shot):
    landing = landing_of(*shot, turf)
    _, lo, hi = (float(part[0]) for part in place_on(turf).run_interval_yd(landing))
    runs = runs_on_drawn(turf, landing, seed=3)
    # By construction nine in ten; a bounce more or less moves the edges a little.
    assert np.mean((runs >= lo) & (runs <= hi)) == pytest.approx(0.9, abs=0.03)


def test_the_interval_is_a_little_wide_where_each_constant_goes_its_own_way():
    landing = landing_of(140.0, 13.0, 2600.0)
    _, lo, hi = (float(part[0]) for part in place_on("normal").run_interval_yd(landing))
    steps = 0.5 / Z90 * np.random.default_rng(4).standard_normal((400, 3))
    runs = np.array([run_on(landing, row) for row in steps])
    assert 0.90 < np.mean((runs >= lo) & (runs <= hi)) < 0.98


@pytest.mark.parametrize("carry_sd", [1.0, 5.0])
def test_the_interval_of_a_total_holds_nine_of_ten(carry_sd):
    landing = landing_of(140.0, 13.0, 2600.0)
    run = tuple(float(part[0]) for part in place_on("normal").run_interval_yd(landing))
    carry = 230.0, 230.0 - Z90 * carry_sd, 230.0 + Z90 * carry_sd
    lo, hi = total_interval_yd(np.array(230.0 + run[0]), carry, run)
    runs = runs_on_drawn("normal", landing, seed=5)
    totals = 230.0 + carry_sd * np.random.default_rng(6).standard_normal(DRAWS) + runs
    assert 0.87 < np.mean((totals >= lo) & (totals <= hi)) < 0.93


def test_without_doubt_of_carry_a_total_has_that_of_its_run_alone():
    lo, hi = total_interval_yd(np.array(250.0), (230.0, 230.0, 230.0), (20.0, 16.0, 25.0))
    assert (lo, hi) == (246.0, 255.0)
    lo, hi = total_interval_yd(np.array(250.0), (230.0, 227.0, 242.0), (20.0, 16.0, 25.0))
    assert (lo, hi) == (245.0, 263.0)


def test_a_place_of_the_standard_air_adds_nothing_to_carry_and_firmer_turf_to_the_run():
    drives = [np.array([140.0]), np.array([13.0]), np.array([2600.0])]
    found = {turf: place_on(turf).change_and_run_yd(*drives) for turf in FIRMNESS}
    assert [float(change[0]) for change, _ in found.values()] == [0.0, 0.0, 0.0]
    assert found["soft"][1] < found["normal"][1] < found["firm"][1]


def test_drives_are_flown_once_for_all_turfs_and_the_standard_air(monkeypatch):
    flown = []

    def counting(shots, *around):
        flown.append(len(shots))
        return fly(shots, *around)

    monkeypatch.setattr(run_and_conditions, "fly", counting)
    drives = [np.array([141.0, 150.0]), np.array([13.0, 11.0]), np.array([2600.0, 2400.0])]
    found = [place_on(turf).change_and_landing(*drives)[1].carry_m for turf in FIRMNESS]
    assert flown == [2]
    assert all(np.array_equal(one, found[0]) for one in found)
    # Any other drive, ball, air or wind is another flight.
    drives[2] = drives[2] + 1.0
    others = [replace(STANDARD, wind_along_mps=3.0), replace(STANDARD, air=Air.of(25.0, 101325.0, 0.0)), STANDARD]
    carries = [one.landing(Ball(drag=drag), *drives).carry_m for one in others for drag in (0.9, 0.95)]
    assert flown == [2] * 7
    assert len({float(one[0]) for one in carries}) == 6
