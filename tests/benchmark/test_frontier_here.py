"""What is efficient somewhere else: the promises of lookups in random air, wind and turf."""

from dataclasses import replace

import numpy as np
import pytest
from fitting import candidate_named, fit_to
from frontiers import AIR, frontier_at, plain_model
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.bands import SpeedBands
from pipeline.benchmark.efficient import Population
from pipeline.benchmark.efficient_by_speed import find_efficient, frontier_of
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.lookup import look_up
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.drives import Drives, typical_drives
from pipeline.fit.model import Delivery
from pipeline.fit.resampled import draw_counts, refit
from pipeline.physics.air import Air, pressure_at
from pipeline.physics.ball import Ball
from pipeline.physics.turf import FIRMNESS
from pipeline.units import MPS_PER_MPH

BALL = Ball("smits-smith-1994", 0.93, 1.04)
STANDARD = Conditions(Air.of(15.0, 101325.0, 0.0), 0.0, FIRMNESS["normal"])


@pytest.fixture(scope="module")
def study(world, roller):
    model = fit_to(candidate_named("quadratic"), world.drives).model
    model = model.with_interval({"nothing": (-0.1, 0.05), "launch+spin": (-0.08, 0.04)}
                                | dict.fromkeys(["ball_speed+launch+spin"], (-0.03, 0.03)))  # fmt: skip
    typical = typical_drives(world.drives, ["golfer"])
    refits = refit(model, world.drives, typical, draw_counts(typical.height, 1, 40))
    population = Population.from_typical(typical, 12)
    bands = SpeedBands((90.0,), 5.0)
    efficient = find_efficient(model, refits, population, bands, 5, 5.0, roller)
    where = {"study": "hill", "air": AIR, "turf": "normal", "model_file": "m", "tolerance_yd": 5.0}
    return model, frontier_of(efficient, Drives.of(world.drives), 5.0, **where, moved_share=0.05)


def place_with(altitude_m=0.0, temp_c=15.0, wind_mph=0.0, turf="normal"):
    air = Air.of(np.array(temp_c), np.asarray(pressure_at(np.array(altitude_m))), np.array(0.0))
    return Place(BALL, STANDARD, Conditions(air, wind_mph * MPS_PER_MPH, FIRMNESS[turf]))


places = st.builds(
    place_with, st.floats(0, 3000), st.floats(-10, 40), st.floats(-55, 55), st.sampled_from(["soft", "normal", "firm"])
)


def better_ball(model, speed):
    return float(speed * model.ratio(model.usual_at(np.array(speed)), "better"))


@settings(max_examples=4, deadline=None)
@given(places, st.integers(0, 2**31))
def test_the_promises_of_a_lookup_hold_in_any_conditions(study, place, seed):
    see_promises_held(study, place, seed)


@pytest.mark.bench
@settings(max_examples=12, deadline=None)
@given(places, st.integers(0, 2**31))
def test_the_promises_of_a_lookup_hold_in_many_more_conditions(study, place, seed):
    see_promises_held(study, place, seed)


def see_promises_held(study, place, seed):
    model, standard = study
    here, rng = frontier_in(standard, model, place), np.random.default_rng(seed)
    for _ in range(5):
        speed = float(rng.uniform(here.speed_mph[0], here.speed_mph[-1]))
        middle = here.near.mean[here.nearest(speed)]
        launch, spin = (float(m + rng.normal(0, s)) for m, s in zip(middle, (1.5, 300.0), strict=True))
        for ball in (None, better_ball(model, speed)):
            answer = look_up(model, here, place, speed, launch, spin, ball)
            if not answer["supported"]:
                continue
            assert answer["expected_total_yd"] >= answer["expected_carry_yd"]
            assert answer["efficient_total_yd"] >= answer["efficient_carry_yd"]
            if answer["in_reach"]:
                # The world of this test makes carry a plane, whose steepest cell bends by less than this.
                assert answer["expected_carry_yd"] <= answer["efficient_carry_yd"] + 0.02
                assert answer["expected_total_yd"] <= answer["efficient_total_yd"] + 0.75  # a bounce more or less
        window = here.window_at(speed)
        if window is not None:
            for launch in (window.launch_lo_deg, window.launch_hi_deg):
                for spin in (window.spin_lo_rpm, window.spin_hi_rpm):
                    corner = look_up(model, here, place, speed, launch, spin, better_ball(model, speed))
                    assert corner["in_reach"]
                    assert corner["efficient_carry_yd"] - corner["expected_carry_yd"] <= 5.0


def test_the_best_delivery_struck_better_carries_what_is_efficient(study):
    model, standard = study
    place = place_with(900.0, 28.0, -18.0)
    here = frontier_in(standard, model, place)
    for speed in here.speed_mph[::6]:
        best = look_up(model, here, place, float(speed))
        names = ("efficient_launch_deg", "efficient_spin_rpm", "efficient_ball_speed_mph")
        again = look_up(model, here, place, float(speed), *(best[name] for name in names))
        assert again["expected_carry_yd"] == pytest.approx(best["efficient_carry_yd"], abs=1e-9)


def test_the_best_is_that_of_every_reachable_delivery_flown(study):
    model, standard = study
    place = place_with(wind_mph=-30.0)
    here = frontier_in(standard, model, place)
    index = len(here.speed_mph) // 2
    speed, mask = float(here.speed_mph[index]), here.reach.masks[index]
    launch, spin = (part[mask] for part in np.meshgrid(here.reach.launch_deg, here.reach.spin_rpm, indexing="ij"))
    drives = Delivery(np.full_like(launch, speed), np.full_like(launch, np.nan), launch, spin)
    change, run = place.change_and_run_yd(np.full_like(launch, better_ball(model, speed)), launch, spin)
    carry = model.expected(drives, "better") + change
    assert here.carry_yd[index] == pytest.approx(carry.max(), abs=0.05)
    assert here.total_yd[index] == pytest.approx((carry + run).max(), abs=0.6)
    # Into the wind less spin is better than in calm air.
    assert here.spin_rpm[index] <= standard.spin_rpm[index]


def test_an_air_like_the_standard_one_changes_nothing(study):
    model, standard = study
    here = frontier_in(standard, model, place_with())
    np.testing.assert_allclose(here.carry_yd, standard.carry_yd, atol=1e-9)
    np.testing.assert_allclose(here.hi90_yd, standard.hi90_yd, atol=1e-9)
    np.testing.assert_array_equal(here.launch_deg, standard.launch_deg)
    assert frontier_in(standard, model, Place(BALL, STANDARD, STANDARD)) is standard


def test_the_farther_from_standard_the_wider_the_interval(study):
    model, standard = study
    near, far = (frontier_in(standard, model, place_with(wind_mph=wind)) for wind in (-5.0, -25.0))
    widths = [one.hi90_yd - one.lo90_yd for one in (standard, near, far)]
    assert (widths[0] < widths[1]).all()
    assert (widths[1] + 0.5 < widths[2]).all()
    # The standard error of a move of m yards is 0.05 m, independent of the rest.
    moved = far.carry_yd - at_standard(model, far)
    reach = np.hypot((standard.hi90_yd - standard.carry_yd), 1.6448536269514722 * 0.05 * moved)
    np.testing.assert_allclose(far.hi90_yd - far.carry_yd, reach, rtol=1e-9)


def at_standard(model, here):
    """Give what a place's best deliveries carry at standard conditions, struck better."""
    best = Delivery(here.speed_mph, np.full_like(here.speed_mph, np.nan), here.launch_deg, here.spin_rpm)
    return model.expected(best, "better")


def test_a_windows_promise_counts_what_is_not_sure(study):
    model, standard = study
    place = place_with(wind_mph=10.0)
    doubtful = replace(standard, reach=replace(standard.reach, doubt_yd=standard.reach.doubt_yd + 2.0))
    plain, cautious = (frontier_in(one, model, place) for one in (standard, doubtful))

    def area(one):
        return np.nan_to_num((one.launch_hi_deg - one.launch_lo_deg) * (one.spin_hi_rpm - one.spin_lo_rpm))

    assert (area(cautious) <= area(plain)).all()
    assert area(cautious).sum() < 0.8 * area(plain).sum()


def test_without_benchmarks_there_is_nothing_to_fly():
    empty = frontier_at([])
    assert frontier_in(empty, plain_model(), place_with(wind_mph=20.0)) is empty
