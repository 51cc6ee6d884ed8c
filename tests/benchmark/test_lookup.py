import numpy as np
import pytest
from fitting import candidate_named, fit_to, hold_out
from frontiers import AIR, frontier_at

from pipeline.bands import SpeedBands
from pipeline.benchmark.efficient import Population
from pipeline.benchmark.efficient_by_speed import find_efficient, frontier_of
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.lookup import look_up
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.drives import Drives, typical_drives
from pipeline.fit.held_out import interval_edges
from pipeline.fit.model import Delivery
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.survey import Survey
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.physics.turf import FIRMNESS

BALL = Ball(drag=0.9)
BANDS = SpeedBands((80.0, 90.0, 100.0), 5.0)
MIN_GOLFERS = 5


@pytest.fixture(scope="module")
def parts(world, roller):
    candidate = candidate_named("quadratic")
    held = hold_out(candidate, Survey.of(world.drives, 1))
    interval = {known: interval_edges(held.measured, p) for known, p in held.predicted.items()}
    model = fit_to(candidate, world.drives).model.with_interval(interval)
    typical = typical_drives(world.drives, ["golfer"])
    refits = refit(model, world.drives, typical, draw_counts(80, 1))
    efficient = find_efficient(model, refits, Population.from_typical(typical, 12), BANDS, MIN_GOLFERS, 5.0, roller)
    standard = Conditions(Air.of(15.0, 101325.0, 0.0), 0.0, FIRMNESS["normal"])
    place = Place(BALL, standard, standard)
    frontier = frontier_of(
        efficient,
        Drives.of(world.drives),
        5.0,
        study="a",
        air=AIR,
        turf="normal",
        model_file="model/model.json",
        tolerance_yd=5.0,
    )
    return model, frontier, place, efficient


def test_everything_known_is_the_model_itself(parts, world_carry):
    model, frontier, place, efficient = parts
    answer = look_up(model, frontier, place, 95.0, 13.0, 2800.0, 138.0)
    assert answer["supported"] is True
    assert answer["expected_carry_yd"] == pytest.approx(world_carry(138.0, 13.0, 2800.0), abs=1.0)
    assert answer["efficient_carry_yd"] == pytest.approx(efficient[95.0].carry_yd)
    assert answer["yards_available_yd"] == pytest.approx(answer["efficient_carry_yd"] - answer["expected_carry_yd"])
    assert answer["expected_lo90_yd"] < answer["expected_carry_yd"] < answer["expected_hi90_yd"]
    # Noise of 3 yd alone: the interval for one drive is 2 * 1.645 * 3 wide.
    assert answer["expected_hi90_yd"] - answer["expected_lo90_yd"] == pytest.approx(9.9, abs=1.5)


def test_knowing_less_widens_the_interval(parts):
    model, frontier, place, _ = parts

    def width(**known):
        answer = look_up(model, frontier, place, 95.0, **known)
        return answer["expected_hi90_yd"] - answer["expected_lo90_yd"]

    full = {"launch_deg": 13.5, "spin_rpm": 2600.0, "ball_speed_mph": 138.7}
    assert width(**full) < width(launch_deg=13.5, spin_rpm=2600.0) < width()


def test_half_a_mph_lies_between_its_neighbours(parts):
    model, frontier, place, efficient = parts
    answer = look_up(model, frontier, place, 90.5)
    assert answer["efficient_carry_yd"] == pytest.approx((efficient[90.0].carry_yd + efficient[91.0].carry_yd) / 2)
    assert answer["launch_window_deg"][0] < answer["launch_window_deg"][1]
    assert answer["spin_window_rpm"][0] < answer["spin_window_rpm"][1]


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"club_speed_mph": 140.0}, "No answer at 140 mph. This academy's drives run from 68 to 116 mph."),
        ({"club_speed_mph": 50.0}, "No answer at 50 mph. This academy's drives run from 68 to 116 mph."),
        ({"club_speed_mph": 95.0, "launch_deg": 30.0}, "hardly any drive near 95 mph"),
        ({"club_speed_mph": 95.0, "spin_rpm": 6500.0}, "hardly any drive near 95 mph"),
        ({"club_speed_mph": 95.0, "ball_speed_mph": 160.0}, "a ball speed of 160 mph is 1.68 times the club speed"),
    ],
)
def test_outside_the_data_no_number_is_given(parts, asked, why):
    answer = look_up(*parts[:3], **asked)
    assert answer["supported"] is False
    assert why in answer["note"]
    numbers = [value for key, value in answer.items() if key not in ("club_speed_mph", "supported", "note")]
    assert numbers == [None] * len(numbers)


def test_nobody_anywhere_is_told(parts):
    answer = look_up(parts[0], frontier_at([]), parts[2], 95.0)
    assert answer["supported"] is False
    assert answer["note"] == "No answer: this academy has too few golfers at any club speed for a benchmark."


def test_the_reach_holds_99_of_100_normal_drives(parts, world):
    near = world.drives.filter(np.abs(world.drives.get_column("club_speed_mph").to_numpy() - 90) < 5)
    inside = parts[1].holds(Delivery.of(near).at(90.0).struck(np.nan))
    assert inside.shape == (near.height,)
    assert np.mean(inside) == pytest.approx(0.99, abs=0.01)


def test_other_conditions_move_carry_by_the_difference_of_flights(parts):
    model, frontier, place, _ = parts
    thin = Conditions(Air.of(25.0, 84000.0, 0.0), 3.0, FIRMNESS["firm"])
    there = Place(BALL, place.standard, thin)
    asked = {"launch_deg": 13.5, "spin_rpm": 2600.0, "ball_speed_mph": 138.0}
    here = look_up(model, frontier, place, 95.0, **asked)
    away = look_up(model, frontier_in(frontier, model, there), there, 95.0, **asked)
    shot = Launch.straight(138.0 * 0.44704, 13.5, 2600.0)
    flown = [
        fly(shot, BALL, place.standard.air).carry_m[0] / 0.9144,
        fly(shot, BALL, thin.air, Wind(along_mps=3.0)).carry_m[0] / 0.9144,
    ]
    assert away["expected_carry_yd"] - here["expected_carry_yd"] == pytest.approx(flown[1] - flown[0])
    assert away["efficient_carry_yd"] > here["efficient_carry_yd"]
    run = here["expected_total_yd"] - here["expected_carry_yd"]
    assert away["expected_total_yd"] - away["expected_carry_yd"] > run + 3
    assert "conditions" in away["note"]
