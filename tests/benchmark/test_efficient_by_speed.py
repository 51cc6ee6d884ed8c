from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to
from frontiers import AIR, frontier_at
from matplotlib.path import Path

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import answered_outlines, chart_of, reachable_at
from pipeline.benchmark.efficient import LEAST_LAUNCH_DEG, LEAST_SPIN_RPM, Efficient, Population, Reachable, map_at
from pipeline.benchmark.efficient_by_speed import errors_of, find_efficient, frontier_of
from pipeline.benchmark.reach import NODE_EVERY
from pipeline.benchmark.window import Window
from pipeline.drives import Drives, typical_drives
from pipeline.fit.model import Delivery
from pipeline.fit.resampled import draw_counts, refit
from pipeline.statistics.intervals import t_reach

BANDS = SpeedBands((60.0, 90.5, 100.0), 5.0)
WINDOW, TOTAL_WINDOW = Window(12.0, 15.0, 2300.0, 2900.0), Window(11.0, 14.0, 2100.0, 2700.0)
BEST = Efficient(90.0, 220.0, 218.0, 222.0, 1.2, 13.5, 2600.0, WINDOW, 20.0, 245.0, 13.0, 2500.0, TOTAL_WINDOW)
EFFICIENT = {
    91.0: replace(BEST, speed_mph=91.0, carry_yd=222.5, window=None),
    90.5: replace(BEST, speed_mph=90.5, carry_yd=221.0),
    90.0: BEST,
}


@pytest.fixture(scope="module")
def model(world):
    return fit_to(candidate_named("quadratic"), world.drives).model


@pytest.fixture(scope="module")
def population(world):
    return Population.from_typical(typical_drives(world.drives, ["golfer"]), 12)


@pytest.fixture(scope="module")
def mapped(world, model, population):
    """Give a frontier over three speeds, some of whose reachable deliveries lie beyond the drives' ellipse."""
    at = map_at(model, population, 90.5, 5.0)
    mask = at.supported | ((at.launch_deg[:, None] > at.launch_deg[-9]) & (np.abs(at.spin_rpm - 2600) < 260))
    nodes = tuple((length - 1) // NODE_EVERY + 1 for length in mask.shape)
    reachable = Reachable(at.launch_deg, at.spin_rpm, mask, np.zeros(nodes))
    efficient = {speed: replace(one, reachable=reachable) for speed, one in EFFICIENT.items()}
    where = {"study": "hill", "air": AIR, "turf": "firm", "model_file": "model/model.json", "tolerance_yd": 5.0}
    return frontier_of(efficient, Drives.of(world.drives), 5.0, **where)


def test_every_whole_mph_and_every_centre_that_golfers_reach_has_its_figure(world, model, population, roller):
    typical = typical_drives(world.drives, ["golfer"])
    refits = refit(model, world.drives, typical, draw_counts(80, 1, replicates=5))
    near = (population.speed_mph > 86) & (population.speed_mph < 94)
    few = replace(population, **{name: part[near] for name, part in vars(population).items() if name != "deliveries"})
    found = find_efficient(model, refits, few, BANDS, 5, 5.0, roller)
    lo, hi = np.floor(few.speed_mph.min()), np.ceil(few.speed_mph.max())
    assert list(found) == sorted([*np.arange(lo, hi + 1), 90.5])
    assert [one.speed_mph for one in found.values()] == list(found)
    nobody = Population(np.array([], dtype=np.int64), np.array([]), np.array([]), np.array([]))
    assert find_efficient(model, refits, nobody, BANDS, 5, 5.0, roller) == {}


def test_the_frontier_holds_what_is_efficient_by_rising_speed(world):
    frontier = frontier_of(
        EFFICIENT,
        Drives.of(world.drives),
        5.0,
        study="hill",
        air=AIR,
        turf="firm",
        model_file="model/model.json",
        tolerance_yd=5.0,
    )
    assert (frontier.study, frontier.air, frontier.turf, frontier.model_file) == (
        "hill",
        AIR,
        "firm",
        "model/model.json",
    )
    assert frontier.speed_mph.tolist() == [90.0, 90.5, 91.0]
    assert frontier.carry_yd.tolist() == [220.0, 221.0, 222.5]
    assert frontier.total_yd.tolist() == [245.0] * 3
    assert frontier.window_at(90.25) == WINDOW
    assert frontier.window_at(90.75) is None
    np.testing.assert_array_equal(frontier.spin_hi_rpm, [2900.0, 2900.0, np.nan])
    np.testing.assert_array_equal(frontier.total_spin_hi_rpm, [2700.0] * 3)
    assert frontier.near.mean.shape == (3, 2)


def test_the_errors_of_speeds_are_draws_with_the_frontiers_standard_errors(world, model, population, roller):
    typical = typical_drives(world.drives, ["golfer"])
    refits = refit(model, world.drives, typical, draw_counts(80, 1, replicates=60))
    found = find_efficient(model, refits, population, SpeedBands((75.0, 90.0, 91.0), 5.0), 5, 5.0, roller)
    arrays = errors_of(found, 60)
    frontier = frontier_of(
        found,
        Drives.of(world.drives),
        5.0,
        study="hill",
        air=AIR,
        turf="firm",
        model_file="model/model.json",
        tolerance_yd=5.0,
    )
    np.testing.assert_array_equal(arrays["speed_mph"], frontier.speed_mph)
    assert arrays["error_yd"].shape == (60, len(frontier.speed_mph))
    np.testing.assert_allclose(arrays["error_yd"].std(axis=0), frontier.std_error_yd, rtol=1e-9)
    np.testing.assert_allclose(arrays["error_yd"].mean(axis=0), 0, atol=1e-9)
    # Half a 90 % interval is Student's t times the standard error, and neighbors share their error.
    reach = t_reach(frontier.freedom) * frontier.std_error_yd
    np.testing.assert_allclose(frontier.hi90_yd - frontier.carry_yd, reach, rtol=1e-9)
    together = np.corrcoef(arrays["error_yd"].T)
    assert together[10, 11] > 0.9
    assert together[5, 40] < together[10, 11] - 0.2


def test_without_benchmarks_there_are_no_errors():
    arrays = errors_of({}, 7)
    assert (arrays["speed_mph"].shape, arrays["error_yd"].shape) == ((0,), (7, 0))


def test_a_study_without_benchmarks_has_a_frontier_without_speeds(world):
    frontier = frontier_of(
        {}, Drives.of(world.drives), 5.0, study="a", air=AIR, turf="firm", model_file="m", tolerance_yd=5.0
    )
    assert len(frontier.speed_mph) == len(frontier.carry_yd) == len(frontier.near.mean) == 0
    assert not frontier.reaches(90.0)


def test_the_chart_holds_the_curve_and_the_maps_of_bands_that_golfers_reach(model, mapped):
    table = pl.DataFrame({"quarter": ["2026Q2", "2026Q3", "2026Q1"]})
    chart = chart_of(table, model, mapped, BANDS)
    assert (chart.study, chart.quarter) == ("hill", "2026Q3")
    assert chart.speeds_mph.tolist() == [90.0, 90.5, 91.0]
    assert chart.efficient_carry_yd.tolist() == [220.0, 221.0, 222.5]
    assert (chart.efficient_lo90_yd.tolist(), chart.efficient_hi90_yd.tolist()) == ([218.0] * 3, [222.0] * 3)
    assert [one.band_mph for one in chart.bands] == [90.5]
    assert chart.map_of(100.0) is None
    made = chart.map_of(90.5)
    carry = model.better_on_grid(90.5, made.launch_deg, made.spin_rpm)
    np.testing.assert_allclose(made.expected_carry_yd, carry, atol=0.0051)
    grid = Delivery(np.array(90.5), np.array(np.nan), mapped.reach.launch_deg[:, None], mapped.reach.spin_rpm)
    assert made.reachable.sum() == reachable_at(mapped, 90.5).sum() >= mapped.reachable(grid).sum() > 20
    assert (made.window, made.efficient_carry_yd) == (WINDOW, 221.0)
    assert (made.best_launch_deg, made.best_spin_rpm) == (13.5, 2600.0)


@pytest.mark.parametrize("speed", [90.0, 90.5, 90.8])
def test_a_map_is_drawn_just_where_the_lookup_answers(mapped, speed):
    outlines = answered_outlines(mapped, speed)
    assert len(outlines) > 1  # golfers reach a little beyond the ellipse of the drives
    corners = np.concatenate(outlines)
    lo, hi = corners.min(axis=0), corners.max(axis=0)
    room = 0.2 * (hi - lo)
    places = np.random.default_rng(1).uniform(lo - room, hi + room, (8000, 2))
    answers = mapped.holds(Delivery(np.full(8000, speed), np.full(8000, np.nan), *places.T))
    assert 1600 < answers.sum() < 6400
    drawn = Path.make_compound_path(*(Path(np.concatenate([one, one[:1]])) for one in outlines)).contains_points(places)
    assert not drawn[~answers].any()
    # A polygon of 90 corners in an ellipse leaves 0.08 % of it out.
    assert np.mean(drawn[answers]) > 0.99
    outside = answers & ~Path(np.concatenate([outlines[0], outlines[0][:1]])).contains_points(places)
    assert drawn[outside].sum() > 20


def test_the_grid_of_a_map_holds_all_that_is_answered(model, mapped):
    (band,) = chart_of(pl.DataFrame({"quarter": ["2026Q3"]}), model, mapped, BANDS).bands
    corners = np.concatenate(band.answered)
    assert band.launch_deg[-1] > corners[:, 0].max()
    assert band.spin_rpm[-1] > corners[:, 1].max()
    assert band.launch_deg[0] <= max(corners[:, 0].min(), LEAST_LAUNCH_DEG)
    assert band.spin_rpm[0] <= max(corners[:, 1].min(), LEAST_SPIN_RPM)


def test_the_chart_of_nobody_has_no_quarter(model):
    nobody = pl.DataFrame({"quarter": []}, schema={"quarter": pl.String})
    chart = chart_of(nobody, model, frontier_at([]), BANDS)
    assert (chart.quarter, len(chart.speeds_mph), chart.bands) == (None, 0, [])
