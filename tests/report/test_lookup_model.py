"""The model of the coach's page in real Chromium: its answers are the package's, in any air, wind and turf."""

import json
from pathlib import Path

import numpy as np
import pytest
from lookup_studies import LookupStudy, random_conditions, random_drive, random_wish

from pipeline.benchmark.run_and_conditions import run_yd
from pipeline.benchmark.typed_question import limits_near
from pipeline.coach.goals.goal_notes import goal_refusal, reached_yd
from pipeline.coach.goals.needed_speed import DistanceCurve
from pipeline.coach.goals.pace import Gain, quarters_needed
from pipeline.fit.model import Delivery
from pipeline.physics.air import Air
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.physics.turf import FIRMNESS
from pipeline.report.lookup.lookup_data import flight_data, surface_data
from pipeline.shown import IMPERIAL, Units

# Asked of each kind of study: at standard conditions, and in two others.
EACH = 28
STANDARD, ELSEWHERE = 1e-6, 0.1
STUDIES = ("flight", "splines", "own", "blind quadratic")
FIGURES_OF_LOOKUP = (
    *(f"{kind}_{name}_yd" for kind in ("expected", "efficient") for name in ("carry", "lo90", "hi90", "total")),
    *("yards_available_yd", "efficient_launch_deg", "efficient_spin_rpm", "efficient_ball_speed_mph"),
    *(f"{kind}_total_{end}_yd" for kind in ("expected", "efficient") for end in ("lo90", "hi90")),
    *("expected_descent_deg", "efficient_descent_deg", "best_total_descent_deg"),
    *("best_total_launch_deg", "best_total_spin_rpm", "best_total_carry_cost_yd", "best_total_gain_yd"),
)
ALIKE_IN_LOOKUP = ("launch_window_deg", "spin_window_rpm", "in_reach", "note")
WORDS_OF_GOAL = ("distance", "reach", "supported", "note")


@pytest.fixture(scope="module")
def studies(lookup_models):
    """Give a study of each kind: by flight, by a surface over ball speed, by one's own, by one without ball speeds."""
    return {name: LookupStudy.of(*lookup_models[name]) for name in STUDIES}


@pytest.fixture
def open_study(open_page, tmp_path):
    return lambda study: open_page(study.page(tmp_path / "lookup.html")).page


def farthest(right, found, names):
    """Give the largest difference of figures; what is known on one side alone is infinitely far."""
    pairs = [(right[name], found[name]) for name in names]
    assert all((a is None) == (b is None) for a, b in pairs), (right, found)
    return max((abs(a - b) for a, b in pairs if a is not None), default=0.0)


@pytest.mark.parametrize("name", STUDIES)
@pytest.mark.parametrize("seed", [17, pytest.param(18, marks=pytest.mark.bench)])
def test_random_questions_agree_with_the_package(open_study, studies, name, seed, record_property):
    study, random = studies[name], np.random.default_rng(seed)
    page = open_study(study)
    answered, reached, apart = 0, 0, {True: 0.0, False: 0.0}
    for conditions in ({}, random_conditions(random), random_conditions(random)):
        here = study.at(conditions)
        asked = [random_drive(random) for _ in range(EACH // 2)]
        wishes = [random_wish(random) for _ in range(EACH - EACH // 2)]
        script = """([asked, wishes, here]) => [
          asked.map((one) => lookUp(DATA, one, here)), wishes.map((one) => planGoal(DATA, one, here)),
        ]"""
        lookups, plans = page.evaluate(script, [asked, wishes, conditions])
        for one, found in zip(asked, lookups, strict=True):
            right = here.look_up(one)
            assert found["supported"] == right["supported"], (one, conditions, right["note"], found["reason"])
            if not right["supported"]:
                assert found["reason"] == right["note"]  # one sentence, from one place
                continue
            answered += 1
            apart[not conditions] = max(apart[not conditions], farthest(right, found, FIGURES_OF_LOOKUP))
            assert {key: found[key] for key in ALIKE_IN_LOOKUP} == {key: right[key] for key in ALIKE_IN_LOOKUP}, one
        for wish, found in zip(wishes, plans, strict=True):
            right = here.plan(wish)
            assert set(found) == set(right) | {"golfer", "quarter"}
            assert {key: found[key] for key in WORDS_OF_GOAL} == {key: right[key] for key in WORDS_OF_GOAL}, wish
            names = set(right).difference(WORDS_OF_GOAL)
            apart[not conditions] = max(apart[not conditions], farthest(right, found, names))
            reached += right["present_speed_mph"] is not None
    record_property("apart", apart)
    assert apart[True] < STANDARD
    assert apart[False] < ELSEWHERE
    assert answered > EACH / 2
    assert reached > EACH / 8


@pytest.mark.parametrize("name", ["own", "splines"])
def test_the_surface_is_the_packages_on_the_grid_and_beyond(open_study, studies, lookup_models, name):
    model, _ = lookup_models[name]
    random = np.random.default_rng(4)
    refits = model.coefficients * random.normal(1, 1e-3, (30, len(model.coefficients)))
    written = surface_data(model.surface, model.coefficients, refits)
    drives = random.uniform(75, 190, 80), random.uniform(2, 26, 80), random.uniform(900, 5000, 80)
    launches, spins = np.array([2.0, 9.0, 14.5, 26.0]), np.array([900.0, 2500.0, 5000.0])
    script = """([given, drives, [launches, spins]]) => {
      const surface = preparedSurface(given);
      return [
        drives.map((drive) => surfaceCarry(surface, ...drive)),
        drives.map((drive) => [...surfaceDesign(surface, ...drive)]),
        drives.map(([speed]) => [...surfaceOnGrid(surface, speed, launches, spins)]),
      ];
    }"""
    asked = [written, np.stack(drives, -1).tolist(), [launches.tolist(), spins.tolist()]]
    carry, design, grid = open_study(studies["blind quadratic"]).evaluate(script, asked)
    assert np.array(carry) == pytest.approx(model.carry(*drives), abs=1e-6)
    # A term counts times its coefficient, and so do the digits that it is written with.
    yards = model.surface.design(*drives) * model.coefficients
    assert np.array(design) * model.coefficients == pytest.approx(yards, abs=1e-6)
    on_grid = [model.surface.on_grid(model.coefficients, speed, launches, spins).ravel() for speed in drives[0]]
    assert np.array(grid) == pytest.approx(np.array(on_grid), abs=1e-6)


@pytest.mark.parametrize("coefficients", list(SETS))
def test_flight_and_run_are_the_packages_for_every_set_air_wind_and_turf(open_study, studies, coefficients):
    page, random = open_study(studies["flight"]), np.random.default_rng(8)
    ball = Ball(coefficients, 0.95, 1.07)
    speed, launch, spin = random.uniform(60, 190, 150), random.uniform(2, 32, 150), random.uniform(250, 8000, 150)
    wind = random.uniform(-18, 18, 150)
    launch[0] = -5  # this one never leaves the ground
    for given, turf in zip([(15, 101325, 0), (38, 70000, 0.9), (-5, 103000, 0.3)], FIRMNESS.values(), strict=True):
        air = Air.of(*(np.array(float(part)) for part in given))
        landed = fly(Launch.straight(speed * 0.44704, launch, spin), ball, air, Wind(along_mps=wind))
        run = run_yd(landed.speed_mps, landed.descent_deg, landed.spin_rpm, turf)
        script = """([flight, turf, given, shots]) => shots.map(
          ([speed, launch, spin, wind_mps]) => carryAndRun(
            flight, { ...airOf(...given), wind_mps }, turf, speed, launch, spin))"""
        shots = np.stack([speed, launch, spin, wind], -1).tolist()
        found = page.evaluate(script, [flight_data(ball), vars(turf), given, shots])
        assert np.array(found) == pytest.approx(np.stack([landed.carry_m / 0.9144, run], -1), abs=1e-6)


def test_times_are_the_packages(open_study, studies):
    page, random = open_study(studies["flight"]), np.random.default_rng(2)
    gains = [None, Gain.of(0.8, 0.2, 0.9, 60, 140), Gain.of(0.1, 0.4, 0.9, 60, 140), Gain.of(-2.0, 0.4, 0.9, 60, 140)]
    for gain in gains:
        step = np.append(random.normal(2, 3, 40), np.nan)
        lo, hi = step - random.uniform(0, 2, 41), step + random.uniform(0, 2, 41)
        lo[::7], hi[::5] = np.nan, np.nan
        right = np.stack(quarters_needed(step, gain, lo, hi), axis=1)
        known = [[None if np.isnan(x) else float(x) for x in row] for row in zip(step, lo, hi, strict=True)]
        script = """([gain, steps]) => steps.map(
          (step) => quartersNeeded(gain, step.map((x) => x ?? NaN)).map(orNull))"""
        found = page.evaluate(script, [None if gain is None else vars(gain), known])
        assert np.array(found, dtype=float) == pytest.approx(right, abs=1e-9, nan_ok=True)


def test_refusals_are_the_commands_in_any_units(open_study, studies):
    study, units = studies["flight"], Units("metres", "m/s")
    page, here = open_study(study), study.at({})
    told_units = {
        "distance": {"text": "m", "each": units.yd_each},
        "speed": {"text": "m/s", "each": units.mph_each, "decimals": units.speed_decimals},
    }
    drive = {"club": 97.0, "ball": None, "launch": 14.0, "spin": 2650.0}
    refused = [{"club": 60.0}, {"club": 90.6}, {"launch": 30.25}, {"spin": 6512.5}, {"ball": 165.0}]
    for changed in refused:
        asked = drive | changed
        typed = Delivery(*(np.array(np.nan if x is None else x) for x in (asked["club"], (asked["ball"] or np.nan) / 97,
                                                                          asked["launch"], asked["spin"])))  # fmt: skip
        right = here.frontier.refusal(typed, study.model.usual_at(typed.club_speed_mph))
        for given, page_units in ((IMPERIAL, None), (units, told_units)):
            script = "([asked, units]) => lookUp(DATA, asked, null, units ?? undefined).reason"
            assert page.evaluate(script, [asked, page_units]) == right.sentence(given)
    wish = {"goal_yd": 900.0, "distance": "carry"}
    note = page.evaluate("([wish, units]) => planGoal(DATA, wish, null, units).note", [wish, told_units])
    assert note == goal_refusal(DistanceCurve.of_carry(here.frontier), {"supported": False}, units)
    limits = page.evaluate("limitsOf(DATA, 'goal', null, { distance: 'carry', conditions: null })")
    assert limits == pytest.approx(reached_yd(DistanceCurve.of_carry(here.frontier)), abs=1e-6)


def test_typed_numbers_are_the_packages(open_study, studies):
    page = open_study(studies["flight"])
    cases = json.loads((Path(__file__).parent / "typed_numbers.json").read_text(encoding="utf-8"))["numbers"]
    asked = [[case["text"], "spin" if case["thousands"] else "club"] for case in cases]
    found = page.evaluate("(asked) => asked.map(([text, field]) => readNumber(text, field))", asked)
    assert dict(zip(map(tuple, asked), found, strict=True)) == {
        tuple(one): case["value"] for one, case in zip(asked, cases, strict=True)
    }


def test_limits_are_those_of_drives_near(open_study, studies):
    study = studies["flight"]
    page = open_study(study)
    fields = ["ball", "launch", "spin"]
    for club in (70.0, 83.3, 97.0, 112.0):
        right = limits_near(study.frontier, club)
        found = page.evaluate("([fields, club]) => fields.map((field) => limitsOf(DATA, field, club))", [fields, club])
        names = ("ball_speed", "launch", "spin")
        assert np.array(found) == pytest.approx(np.array([right[name] for name in names]), abs=1e-9)
    assert page.evaluate("limitsOf(DATA, 'club')") == [70, 112]
    assert page.evaluate("limitsOf(DATA, 'launch', 90.5)") is None
    assert page.evaluate("limitsOf(DATA, 'wind_mph')") == pytest.approx([-55.92, 55.92], abs=0.01)


def test_a_study_without_benchmarks_says_so_to_every_question(open_study, lookup_models):
    study = LookupStudy.of(*lookup_models["flight"], speeds=[])
    page, here = open_study(study), study.at({})
    drive = {"club": 97, "ball": None, "launch": None, "spin": None}
    wish = {"goal_yd": 240, "distance": "total", **drive, "launch": 13}
    for conditions in ({}, {"wind_mph": 12}):
        script = "([drive, wish, here]) => [lookUp(DATA, drive, here), planGoal(DATA, wish, here)]"
        found, plan = page.evaluate(script, [drive, wish, conditions])
        assert found == {"supported": False, "reason": here.look_up(drive)["note"]}
        assert plan["supported"] is False
        assert here.look_up(drive)["note"] in plan["note"]
    assert page.evaluate("[limitsOf(DATA, 'club'), regionAt(DATA, 97), workAhead(DATA, null, 5)]") == [None, None, True]


@pytest.mark.parametrize("seed", [1, 2])
def test_no_answer_breaks_its_promise_in_any_air(open_study, studies, seed):
    study, random = studies["flight"], np.random.default_rng(seed)
    page, tolerance = open_study(study), study.frontier.tolerance_yd
    for _ in range(3):
        conditions = random_conditions(random)
        found = page.evaluate(PROMISES, [conditions, random.uniform(0, 1, (500, 4)).tolist()])
        assert len(found["drives"]) > 60
        for carry, total, efficient, farthest_yd in found["drives"]:
            assert carry <= efficient + BEND_YD, conditions
            assert total >= carry
            assert farthest_yd >= efficient
        corners = np.array(found["corners"])
        assert len(corners) > 100
        assert np.all(corners[:, 0] >= corners[:, 1] - tolerance), conditions


# Efficient carry is a straight line between grid speeds and its deliveries lie on a grid: a drive between them may go
# this much farther.
BEND_YD = 0.1

# Drives inside reach, struck no better than the better quarter strike, and the corners of windows when struck so.
PROMISES = """([here, drawn]) => {
  const { model, speeds, reach } = prepared(DATA);
  const drives = [], corners = [];
  drawn.forEach(([a, b, c, d]) => {
    const club = Math.round(10 * (speeds[0] + a * (speeds[speeds.length - 1] - speeds[0]))) / 10;
    const along = (grid, share) => grid[0] + share * (grid[grid.length - 1] - grid[0]);
    const [launch, spin] = [along(reach.launches, b), along(reach.spins, c)];
    const found = lookUp(DATA, { club, launch, spin, ball: club * betterRatio(model, club) * (1 - 0.1 * d * d) }, here);
    if (found.supported && found.in_reach) {
      drives.push(["expected", "efficient"].flatMap((kind) => [found[`${kind}_carry_yd`], found[`${kind}_total_yd`]]));
    }
    const usual = lookUp(DATA, { club, ball: null, launch: null, spin: null }, here);
    (usual.launch_window_deg ?? []).forEach((launch) => usual.spin_window_rpm.forEach((spin) => {
      const corner = lookUp(DATA, { club, launch, spin, ball: club * betterRatio(model, club) }, here);
      corners.push([corner.expected_carry_yd, corner.efficient_carry_yd]);
    }));
  });
  return { drives, corners };
}"""
