"""How efficient drives land, and what most total gives and costs: against flights one by one, on every turf."""

from dataclasses import replace

import numpy as np
import pytest
from fitting import candidate_named, fit_to
from frontiers import AIR, frontier_at, plain_model

from pipeline.bands import SpeedBands
from pipeline.benchmark.efficient import Population
from pipeline.benchmark.efficient_by_speed import find_efficient, frontier_of
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.landing import EfficientLandings
from pipeline.benchmark.lookup import UNANSWERED, look_up
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.drives import Drives, typical_drives
from pipeline.fit.resampled import draw_counts, refit
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import RPM, Launch, fly
from pipeline.physics.turf import FIRMNESS, NEIGHBORS, run_m

BALL = Ball(drag=0.9)  # that of the fixture `roller`
STANDARD = Conditions(Air.of(15.0, 101325.0, 0.0), 0.0, FIRMNESS["normal"])
A_BOUNCE_YD = 0.75  # a bounce more or less, between flights and flights looked up in a table


def place_on(turf):
    return Place(BALL, STANDARD, STANDARD if turf == "normal" else replace(STANDARD, turf=FIRMNESS[turf]))


@pytest.fixture(scope="module")
def study(world, roller):
    model = fit_to(candidate_named("quadratic"), world.drives).model
    model = model.with_interval({"nothing": (-0.1, 0.05), "launch+spin": (-0.08, 0.04)}
                                | dict.fromkeys(["ball_speed+launch+spin"], (-0.03, 0.03)))  # fmt: skip
    typical = typical_drives(world.drives, ["golfer"])
    refits = refit(model, world.drives, typical, draw_counts(typical.height, 1, 40))
    efficient = find_efficient(model, refits, Population.from_typical(typical, 12), SpeedBands((90.0,), 5.0), 5, 5.0,
                               roller)  # fmt: skip
    where = {"study": "hill", "air": AIR, "turf": "normal", "model_file": "m", "tolerance_yd": 5.0}
    return model, frontier_of(efficient, Drives.of(world.drives), 5.0, **where, moved_share=0.05)


@pytest.fixture(scope="module")
def turfs(study):
    model, standard = study
    there = {turf: frontier_in(standard, model, place_on(turf)) for turf in FIRMNESS}
    return {turf: (found, EfficientLandings.of(found, model, place_on(turf))) for turf, found in there.items()}


def landed(ball_mph, launch_deg, spin_rpm):
    shot = Launch.straight(np.array([ball_mph * 0.44704]), np.array([launch_deg]), np.array([spin_rpm]))
    return fly(shot, BALL, STANDARD.air)


def run_of(landing, turf):
    run = run_m(landing.speed_mps, landing.descent_deg, landing.spin_rpm * RPM, turf)
    return max(float(run[0]) / 0.9144, 0.0)


@pytest.mark.parametrize("turf", FIRMNESS)
def test_an_efficient_drive_lands_and_runs_as_it_does_flown_alone(study, turfs, turf):
    model, _ = study
    frontier, landings = turfs[turf]
    place = int(np.searchsorted(frontier.speed_mph, 90.0))
    ball = 90.0 * float(model.ratio(model.usual_at(np.array(90.0)), "better"))
    for kind, descent in (("", landings.descent_deg), ("total_", landings.best_descent_deg)):
        launch, spin = (float(getattr(frontier, f"{kind}{name}")[place]) for name in ("launch_deg", "spin_rpm"))
        landing = landed(ball, launch, spin)
        assert descent[place] == pytest.approx(float(landing.descent_deg[0]), abs=1e-9)
        run, softer, firmer = (run_of(landing, one) for one in (FIRMNESS[turf], *NEIGHBORS[FIRMNESS[turf]]))
        below, above = (
            np.hypot(reach, edge)
            for reach, edge in (
                (frontier.carry_yd[place] - frontier.lo90_yd[place], run - softer),
                (frontier.hi90_yd[place] - frontier.carry_yd[place], firmer - run),
            )
        )
        total = "best_total" if kind else "total"
        found = [float(getattr(landings, f"{total}_{end}yd")[place]) for end in ("", "lo90_", "hi90_")]
        assert [found[0] - found[1], found[2] - found[0]] == pytest.approx([below, above], abs=1e-9)
        if not kind:
            edges = [float(getattr(landings, f"run_{end}yd")[place]) for end in ("", "lo90_", "hi90_")]
            assert edges == pytest.approx([run, softer, firmer], abs=1e-9)
            assert found[0] == pytest.approx(frontier.carry_yd[place] + run, abs=1e-9)
        else:
            assert found[0] == pytest.approx(landings.best_carry_yd[place] + run, abs=A_BOUNCE_YD)


def test_firmer_turf_runs_farther_and_leaves_more_open(turfs):
    soft, normal, firm = (turfs[turf][1] for turf in ("soft", "normal", "firm"))
    for softer, firmer in ((soft, normal), (normal, firm)):
        assert np.all(firmer.run_yd > softer.run_yd)
        assert np.all(firmer.best_total_yd > softer.best_total_yd)
        assert np.all(firmer.run_hi90_yd - firmer.run_lo90_yd > softer.run_hi90_yd - softer.run_lo90_yd)


@pytest.mark.parametrize("turf", FIRMNESS)
def test_most_total_is_no_less_than_the_efficient_drives_and_costs_carry(turfs, turf):
    frontier, landings = turfs[turf]
    assert np.all(landings.best_total_yd >= landings.total_yd - A_BOUNCE_YD)
    assert np.all(landings.total_gain_yd >= 0)
    assert np.all(landings.carry_cost_yd >= 0)
    assert np.all(landings.best_carry_yd <= frontier.carry_yd)
    assert landings.carry_cost_yd == pytest.approx(frontier.carry_yd - landings.best_carry_yd, abs=1e-9)
    # What a lower landing brings in total comes out of its longer run.
    lower = landings.total_gain_yd > A_BOUNCE_YD
    assert np.all(landings.best_descent_deg[lower] < landings.descent_deg[lower])


def test_the_firmer_the_turf_the_lower_and_hotter_is_best(turfs):
    soft, firm = turfs["soft"][1], turfs["firm"][1]
    assert np.all(firm.best_descent_deg <= soft.best_descent_deg + 0.5)
    assert firm.best_descent_deg.mean() < soft.best_descent_deg.mean() - 0.5
    assert firm.best_spin_rpm.mean() < soft.best_spin_rpm.mean()
    assert firm.carry_cost_yd.mean() > soft.carry_cost_yd.mean()


def test_a_lower_hotter_landing_runs_farther():
    high, low = landed(140.0, 17.0, 2900.0), landed(140.0, 12.0, 2300.0)
    assert low.descent_deg < high.descent_deg
    along = [float(one.speed_mps[0] * np.cos(np.radians(one.descent_deg[0]))) for one in (high, low)]
    assert along[1] > along[0] + 1
    for turf in FIRMNESS.values():
        assert run_of(low, turf) > run_of(high, turf) + 3


@pytest.mark.parametrize("turf", FIRMNESS)
def test_a_lookup_tells_the_same(study, turfs, turf):
    model, _ = study
    frontier, landings = turfs[turf]
    answer = look_up(model, frontier, place_on(turf), 90.0, 14.0, 2700.0, 132.0)
    at = {name: float(frontier.at(values, 90.0)) for name, values in vars(landings).items()}
    assert answer["efficient_total_yd"] == at["best_total_yd"]
    assert answer["efficient_total_lo90_yd"] == at["best_total_lo90_yd"]
    assert answer["efficient_total_hi90_yd"] == at["best_total_hi90_yd"]
    assert answer["efficient_descent_deg"] == at["descent_deg"]
    found = [
        answer[f"best_total_{name}"] for name in ("launch_deg", "spin_rpm", "descent_deg", "carry_cost_yd", "gain_yd")
    ]
    assert found == [at[name] for name in ("best_launch_deg", "best_spin_rpm", "best_descent_deg", "carry_cost_yd",
                                           "total_gain_yd")]  # fmt: skip
    landing = landed(132.0, 14.0, 2700.0)
    run, softer, firmer = (run_of(landing, one) for one in (FIRMNESS[turf], *NEIGHBORS[FIRMNESS[turf]]))
    carry = answer["expected_carry_yd"]
    assert answer["expected_descent_deg"] == pytest.approx(float(landing.descent_deg[0]))
    assert answer["expected_total_yd"] == pytest.approx(carry + run)
    # The interval of one drive: 3 % of carry to either side.
    lo, hi = (
        carry + run + side * np.hypot(0.03 * carry, edge) for side, edge in ((-1, run - softer), (1, firmer - run))
    )
    assert (answer["expected_total_lo90_yd"], answer["expected_total_hi90_yd"]) == pytest.approx((lo, hi))


def test_a_head_wind_brings_the_efficient_drive_down_steeper(study):
    model, standard = study
    windy = Place(BALL, STANDARD, replace(STANDARD, wind_along_mps=-8.0))
    there = frontier_in(standard, model, windy)
    calm, wind = EfficientLandings.of(standard, model, place_on("normal")), EfficientLandings.of(there, model, windy)
    assert np.all(wind.descent_deg > calm.descent_deg)
    assert np.all(wind.total_gain_yd >= 0)
    assert np.all(wind.carry_cost_yd >= 0)


def test_no_benchmarks_have_no_landings_and_no_answer_has_null():
    landings = EfficientLandings.of(frontier_at([]), plain_model(), place_on("normal"))
    assert {len(values) for values in vars(landings).values()} == {0}
    answer = look_up(plain_model(), frontier_at([]), place_on("normal"), 90.0)
    assert {name: answer[name] for name in UNANSWERED if name not in ("supported", "note")} == {
        name: None for name in UNANSWERED if name not in ("supported", "note")
    }
