from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to
from frontiers import AIR

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import chart_of
from pipeline.benchmark.efficient import Efficient, Population, map_at
from pipeline.benchmark.efficient_by_speed import errors_of, find_efficient, frontier_of
from pipeline.benchmark.window import Window
from pipeline.drives import Drives, typical_drives
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


def test_every_whole_mph_and_every_centre_that_golfers_reach_has_its_figure(world, model, population, roller):
    typical = typical_drives(world.drives, ["golfer"])
    refits = refit(model, world.drives, typical, draw_counts(80, 1, replicates=5))
    few = Population(
        *(part[(population.speed_mph > 86) & (population.speed_mph < 94)] for part in vars(population).values())
    )
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


def test_the_chart_holds_the_curve_and_the_maps_of_bands_that_golfers_reach(model, population):
    table = pl.DataFrame({"quarter": ["2026Q2", "2026Q3", "2026Q1"]})
    chart = chart_of("hill", table, model, population, EFFICIENT, BANDS)
    assert (chart.study, chart.quarter) == ("hill", "2026Q3")
    assert chart.speeds_mph.tolist() == [90.0, 90.5, 91.0]
    assert chart.efficient_carry_yd.tolist() == [220.0, 221.0, 222.5]
    assert (chart.efficient_lo90_yd.tolist(), chart.efficient_hi90_yd.tolist()) == ([218.0] * 3, [222.0] * 3)
    assert [one.band_mph for one in chart.bands] == [90.5]
    assert chart.map_of(100.0) is None
    at = map_at(model, population, 90.5, 5.0)
    np.testing.assert_array_equal(chart.map_of(90.5).expected_carry_yd, at.carry_yd)
    np.testing.assert_array_equal(chart.map_of(90.5).supported, at.supported)
    assert (chart.map_of(90.5).window, chart.map_of(90.5).efficient_carry_yd) == (WINDOW, 221.0)


def test_the_chart_of_nobody_has_no_quarter(model, population):
    chart = chart_of("hill", pl.DataFrame({"quarter": []}, schema={"quarter": pl.String}), model, population, {}, BANDS)
    assert (chart.quarter, len(chart.speeds_mph), chart.bands) == (None, 0, [])
