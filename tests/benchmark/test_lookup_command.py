"""`yardband lookup` as a coach types it."""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from frontiers import AIR, frontier_at, near_of, plain_model
from scipy.stats import norm

from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.frontier_part import part_about
from pipeline.benchmark.lookup import look_up
from pipeline.benchmark.lookup_command import Asked, find_results, place_of, read_results
from pipeline.benchmark.lookup_text import lookup_text
from pipeline.benchmark.reach import Reach
from pipeline.benchmark.typed_question import limits_near
from pipeline.cli import cli
from pipeline.edge.artefacts import write_artefact
from pipeline.errors import UserError
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.shown import IMPERIAL, METRIC
from pipeline.statistics.drive_spread import LEVELS, UsualDrives, UsualReaching

CONTRACT = {
    "club_speed_mph", "expected_carry_yd", "expected_lo90_yd", "expected_hi90_yd", "efficient_carry_yd",
    "efficient_total_yd", "launch_window_deg", "spin_window_rpm", "supported", "note",
}  # fmt: skip
CALIBRATION = Calibration("smits-smith-1994", 0.9, 1.0, None, None, [], 0, 0, None, None, "")
INTERVAL = {
    f"{ball}{launch}{spin}".strip("+"): (-0.04, 0.02)
    for ball in ("", "ball_speed+")
    for launch in ("", "launch+")
    for spin in ("", "spin")
}


def sample_model():
    """Carry = 215 yd at 130 mph of ball speed, 1.7 yd more a mph."""
    known = {name.strip("+") or "nothing": edges for name, edges in INTERVAL.items()}
    return replace(plain_model(), interval=known | INTERVAL, better_share=0.0)


def sample_frontier(**changed):
    """Drives from 80 to 110 mph but for a gap at 90, within 6 deg of 14 and 1500 rpm of 2800, struck 1.30 to 1.55."""
    speeds = np.array([*range(80, 90), *range(92, 111)], dtype=float)
    launch, spin = np.arange(8, 20.1, 0.25), np.arange(1300, 4301, 50.0)
    inside = ((launch[:, None] - 14) / 6) ** 2 + ((spin - 2800) / 1500) ** 2 <= 1
    plain = {
        "near": near_of(speeds, (14.0, 2800.0), np.array([6.0, 1500.0]) / np.sqrt(INSIDE), (1.30, 1.55)),
        "reach": Reach.of(launch, spin, [inside] * len(speeds), [np.zeros((13, 16))] * len(speeds)),
        "study": "Hill School",
        "launch_lo_deg": 12.5,
        "launch_hi_deg": 15.5,
        "spin_lo_rpm": 2400.0,
        "spin_hi_rpm": 3050.0,
    }
    return frontier_at(speeds, **(plain | changed))


@pytest.fixture(scope="module")
def results_with(tmp_path_factory):
    """Give a function that makes a study's results with a frontier that differs."""

    def made(**changed):
        folder = tmp_path_factory.mktemp("results") / "hill"
        for name in ("model", "flight"):
            (folder / name).mkdir(parents=True)
        frontier = changed.pop("frontier", None) or replace(sample_frontier(), **changed)
        write_artefact(folder / "model/frontier.json", frontier)
        fitted = FittedModel("hill", sample_model(), FittedOn(41, 2, ("2026Q2", "2026Q3")))
        write_artefact(folder / "model/model.json", fitted)
        write_artefact(folder / "flight/calibration.json", StudyFlight(CALIBRATION, None))
        return folder

    return made


@pytest.fixture(scope="module")
def results(results_with):
    return results_with()


def asked(results, *arguments):
    return CliRunner().invoke(cli, ["lookup", *(str(a) for a in arguments), "--results", str(results)])


def near_to(value, room):
    return value if isinstance(value, str | bool | None) else pytest.approx(value, abs=room)


def answered(results, *arguments):
    done = asked(results, *arguments, "--json")
    assert (done.exit_code, done.stderr) == (0, ""), done.output
    return json.loads(done.stdout)


def test_the_answer_comes_first_and_adds_up(results):
    done = asked(results, 97, "--launch", 13, "--spin", 3100, "--ball-speed", 140)
    assert (done.exit_code, done.stderr) == (0, "")
    # Carry 215 + 34 * (140 - 130) / 20 = 232 yd, 4 % less to 2 % more; efficient 2.6 * 97 - 16 = 236.2 yd.
    lines = done.stdout.splitlines()
    answer = answered(results, 97, "--launch", 13, "--spin", 3100, "--ball-speed", 140)
    total = answer["expected_total_yd"]
    drive, best = (
        [round(answer[f"{name}_total_{edge}90_yd"]) for edge in ("lo", "hi")] for name in ("expected", "efficient")
    )
    assert lines == [
        "Hill School: club speed 97 mph, launch 13 deg, spin 3100 rpm, ball speed 140 mph",
        "                       expected   efficient   available",
        "  carry                  232 yd      236 yd        4 yd",
        "  aim at           launch 12.5 to 15.5 deg, spin 2,400 to 3,050 rpm",
        f"  carry and roll         {total:.0f} yd      260 yd{260 - round(total):>9} yd",
        f"  9 drives in 10   223 to 237 yd of carry; {drive[0]} to {drive[1]} yd with roll",
        f"  90 % interval    235 to 238 yd for the efficient carry; {best[0]} to {best[1]} yd with roll",
    ]


FARTHER = (
    "With roll, a launch of 12.5 deg and spin of 2,300 rpm should go {} farther than the efficient drive, for {} carry."
)


@pytest.mark.parametrize(
    ("gain", "cost", "units", "said"),
    [
        (2.4, 1.6, IMPERIAL, FARTHER.format("2 yd", "2 yd less")),
        (1.0, 0.4, IMPERIAL, FARTHER.format("1 yd", "hardly any")),
        (2.4, 1.6, METRIC, FARTHER.format("2 m", "1 m less")),
        (0.99, 0.8, IMPERIAL, None),
    ],
)
def test_a_delivery_that_gives_a_yard_of_total_is_named(results, gain, cost, units, said):
    answer = answered(results, 97) | {"best_total_gain_yd": gain, "best_total_carry_cost_yd": cost}
    answer |= {"best_total_launch_deg": 12.4, "best_total_spin_rpm": 2312.0}
    lines = [line.strip() for line in lookup_text("Hill", answer, [], units, left_out=False).splitlines()]
    assert (lines[-1] == said) if said else not any(line.startswith("With roll") for line in lines)


def test_the_answer_in_json_has_the_keys_of_the_contract(results):
    answer = answered(results, 97)
    assert answer.keys() >= CONTRACT
    assert answer["supported"] is True
    assert answer["note"] == "Expected is for one drive: 9 in 10 land inside its interval."
    assert answer["launch_window_deg"] == [12.5, 15.5]


USUAL = UsualReaching(
    UsualDrives(norm.ppf(LEVELS), 0.04, 10.0, (0.01, -0.03), (0.01, 0.05)),
    UsualDrives(norm.ppf(LEVELS), 0.03, 10.0, (0.0, 0.0), (0.0, 0.0)),
)
GIVEN = (97, "--launch", 13, "--spin", 3100, "--ball-speed", 140)  # 232 yd of carry


@pytest.fixture(scope="module")
def with_usual(results_with):
    folder = results_with()
    (folder / "golfers").mkdir()
    write_artefact(folder / "golfers/usual_reaching.json", USUAL)
    return folder


def test_a_distance_brings_the_share_of_the_usual_golfers_drives_that_reach_it(with_usual):
    answer = answered(with_usual, *GIVEN, "--distance", 240, "--carry")
    center = 232 * 1.01
    sd = center * np.hypot(0.04, 0.01)
    assert answer["share_reaching"] == pytest.approx(norm.sf((240 - center) / sd), abs=2e-3)
    assert 0 < answer["share_reaching_lo90"] < answer["share_reaching"] < answer["share_reaching_hi90"] < 1
    # Nothing known but the speed: 97 mph struck by 1.46, 234.8 yd expected.
    expected = answered(with_usual, 97)["expected_carry_yd"]
    usual = answered(with_usual, 97, "--distance", 240, "--carry")
    center = expected * 0.97
    assert usual["share_reaching"] == pytest.approx(norm.sf((240 - center) / (center * np.hypot(0.04, 0.05))), abs=2e-3)


def test_without_carry_the_distance_has_roll_in_it_and_a_place_moves_it(with_usual):
    total = answered(with_usual, *GIVEN)["expected_total_yd"]
    for place in ((), ("--wind-mph", 10), ("--turf", "firm")):
        answer = answered(with_usual, *GIVEN, *place)
        there = answer["expected_total_yd"]
        # That interval's carry is the model's, from 4 % under to 2 % over what is expected; the rest is the turf's.
        edges = (
            ("lo", 0.04, there - answer["expected_total_lo90_yd"]),
            ("hi", 0.02, answer["expected_total_hi90_yd"] - there),
        )
        unsure = sum(np.sqrt(reach**2 - (share * 232) ** 2) for _, share, reach in edges) / (2 * 1.6449)
        assert 1.5 < unsure < 5
        sd = 0.03 * total
        share = answered(with_usual, *GIVEN, *place, "--distance", there + sd)["share_reaching"]
        assert share == pytest.approx(norm.sf(sd / np.hypot(sd, unsure)), abs=2e-3)


def test_the_share_is_told_below_the_answer(with_usual):
    done = asked(with_usual, *GIVEN, "--distance", 240, "--carry")
    plain = asked(with_usual, *GIVEN)
    lines = done.stdout.splitlines()
    assert lines[:-2] == plain.stdout.splitlines()
    assert lines[-2] == "  reach 240 yd     28 % of drives; 90 % interval: 6 % to 57 %"
    assert lines[-1].startswith("  The share counts carry, of drives of new days, mishits and all, if they scatter as")
    assert "reach 219.5 m " in asked(with_usual, 156, "--distance", 219.5, "--metric").stdout


def test_without_a_distance_or_an_answer_the_shares_are_null(with_usual, results_with):
    keys = ("share_reaching", "share_reaching_lo90", "share_reaching_hi90")
    assert [answered(with_usual, 97)[key] for key in keys] == [None] * 3
    beyond = json.loads(asked(with_usual, 130, "--distance", 240, "--json").stdout)
    assert ([beyond[key] for key in keys], beyond["supported"]) == ([None] * 3, False)
    folder = results_with()
    (folder / "golfers").mkdir()
    write_artefact(folder / "golfers/usual_reaching.json", UsualReaching(None, None))
    assert answered(folder, 97, "--distance", 240)["share_reaching"] is None
    assert "we can't say how many reach that distance" in asked(folder, 97, "--distance", 240).stdout


def test_a_distance_that_is_none_is_refused_in_a_sentence(with_usual, results):
    for typed in ("far", "0", "900"):
        done = asked(with_usual, 97, "--distance", typed)
        assert (done.exit_code, done.stdout) == (2, "")
        assert "Distance: give a number from 1 to 500 yd." in done.stderr
    done = asked(results, 97, "--distance", 240)
    assert (done.exit_code, "usual_reaching.json: the file is missing" in done.stderr) == (2, True)


@pytest.mark.parametrize("typed", ["97.5", "97,5", " 97,5 ", "+97.5"])
def test_a_point_and_a_comma_are_one(results, typed):
    assert answered(results, typed) == answered(results, "97.5")


@pytest.mark.parametrize("typed", ["2.650", "2,650", "2 650", "2650", "2650.0", "2\u00a0650"])
def test_thousands_of_spin_may_be_parted(results, typed):
    assert answered(results, 97, "--spin", typed) == answered(results, 97, "--spin", "2650")
    assert "spin 2650 rpm" in asked(results, 97, "--spin", typed).stdout


SPEED = "Club speed: give a number from 80 to 110 mph."
REFUSED = [
    (("nan",), SPEED),
    (("inf",), SPEED),
    (("",), SPEED),
    (("fast",), SPEED),
    (("1e2",), SPEED),
    (("0x61",), SPEED),
    (("-97",), SPEED),
    (("-inf",), SPEED),
    (("79.9",), SPEED),
    ((110.5,), SPEED),
    ((97, "--metric"), "Club speed: give a number from 129 to 177 km/h."),
    ((90.5,), "No answer at 90.5 mph: too few golfers here have about that club speed."),
    ((145.6, "--metric"), "No answer at 145.6 km/h: too few golfers here have about that club speed."),
    ((97, "--launch", 21), "Launch: give a number from 8.0 to 20.0 deg."),
    ((97, "--launch", "high"), "Launch: give a number from 8.0 to 20.0 deg."),
    ((97, "--spin", 900), "Spin: give a number from 1,300 to 4,300 rpm."),
    ((97, "--spin", "2.65"), "Spin: give a number from 1,300 to 4,300 rpm."),
    ((97, "--ball-speed", 164), "Ball speed: give a number from 127 to 150 mph."),
    ((156, "--metric", "--ball-speed", 150), "Ball speed: give a number from 203 to 241 km/h."),
    (
        (97, "--launch", 19, "--spin", 4200),
        "No answer: hardly any drive near 97 mph launches at 19.0 deg with 4,200 rpm of spin. "
        "Usual are 13.5 deg and 2,650 rpm.",
    ),
    ((97, "--altitude-m", 9000), "Altitude: give a number from -500 to 5,000 m."),
    ((97, "--altitude-m", "high"), "Altitude: give a number from -500 to 5,000 m."),
    ((97, "--pressure-hpa", 29.92), "Pressure: give a number from 500 to 1,100 hPa."),
    ((97, "--temp-c", 77), "Temperature: give a number from -30 to 55 deg C."),
    ((97, "--wind-mph", "-56"), "Wind: give a number from -55 to 55 mph."),
    ((156, "--metric", "--wind-mph", 91), "Wind: give a number from -90 to 90 km/h."),
    ((97, "--turf", "wet"), "Turf: give soft, normal or firm."),
    (
        (97, "--altitude-m", 100, "--pressure-hpa", 1000),
        "Give altitude or pressure, not both: either one sets the air.",
    ),
]


@pytest.mark.parametrize(("arguments", "sentence"), REFUSED, ids=lambda value: str(value)[:30])
def test_what_gets_no_figure_is_one_sentence_and_status_2(results, arguments, sentence):
    done = asked(results, *arguments)
    assert (done.exit_code, done.stdout, done.stderr) == (2, "", f"{sentence}\n")


@pytest.mark.parametrize("arguments", [(130,), (90.5,), (97, "--launch", 21), (97, "--launch", 19, "--spin", 4200)])
def test_an_answer_without_figures_is_still_json(results, arguments):
    done = asked(results, *arguments, "--json")
    answer = json.loads(done.stdout)
    assert (done.exit_code, done.stderr) == (2, f"{answer['note']}\n")
    assert (answer["supported"], answer["club_speed_mph"]) == (False, arguments[0])
    figures = [answer[name] for name in answer if name not in ("club_speed_mph", "supported", "note")]
    assert figures == [None] * len(figures)


def test_without_benchmarks_every_speed_is_told_so(results_with):
    empty = results_with(frontier=frontier_at([]))
    for typed in ("97", "nan"):
        done = asked(empty, typed, "--wind-mph", 10)
        sentence = "No answer: this academy has too few golfers at any club speed for a benchmark.\n"
        assert (done.exit_code, done.stdout, done.stderr) == (2, "", sentence)


def test_without_a_window_the_best_delivery_is_told(results_with):
    folder = results_with(launch_lo_deg=np.full(29, np.nan))
    text = asked(folder, 97).stdout
    assert "  aim at           launch 14.0 deg, spin 2,600 rpm\n" in text
    assert text.splitlines()[-2:] == [
        "  What you left out is set to what is typical at that speed.",
        "  No window at this speed: too few drives to promise one.",
    ]
    assert "No window at this speed" in answered(folder, 97)["note"]


def test_conditions_are_named_and_flown(results):
    given = ("--pressure-hpa", "1.000", "--temp-c", "\u22125", "--wind-mph", -10, "--turf", "Firm")
    assert asked(results, 97, *given).stdout.startswith(
        "Hill School: club speed 97 mph, pressure 1000 hPa, -5 deg C, head wind 10 mph, firm turf\n"
    )
    answer, calm = answered(results, 97, *given), answered(results, 97)
    assert answer["expected_carry_yd"] < calm["expected_carry_yd"] - 10
    assert answer["note"].endswith("All figures are for the conditions you gave.")
    assert "tail wind 10 mph" in asked(results, 97, "--wind-mph", 10).stdout
    assert "no wind" in asked(results, 97, "--wind-mph", 0).stdout


def test_pressure_at_an_altitude_is_that_of_the_standard_atmosphere(results):
    high = answered(results, 97, "--altitude-m", "1,500")
    same = answered(results, 97, "--pressure-hpa", 845.56)  # ISO 2533 at 1500 m
    assert high["expected_carry_yd"] == pytest.approx(same["expected_carry_yd"], abs=0.01)


def test_metric_answers_agree_with_those_in_yards(results):
    random = np.random.default_rng(18)
    for _ in range(6):
        mph, spin = float(random.uniform(92, 110)), float(random.uniform(2000, 3500))
        ball, wind = mph * float(random.uniform(1.35, 1.5)), float(random.uniform(-40, 40))
        place = ("--altitude-m", round(float(random.uniform(0, 2000)))) if random.integers(2) else ()
        yards = (mph, "--ball-speed", ball, "--wind-mph", wind, "--spin", spin, "--yards", *place)
        metric = (mph * 1.609344, "--ball-speed", ball * 1.609344, "--wind-mph", wind * 1.609344, "--spin", spin)
        one, other = answered(results, *yards), answered(results, *metric, "--metric", *place)
        assert one["supported"] is True
        assert one.keys() == other.keys()
        for name, value in one.items():
            assert other[name] == near_to(value, 1e-6), name
        carry = asked(results, *metric, "--metric", *place).stdout.splitlines()[2].split()
        shown = [int(np.floor(one[f"{kind}_carry_yd"] * 0.9144 + 0.5)) for kind in ("expected", "efficient")]
        assert carry[1::2] == [str(figure) for figure in (*shown, shown[1] - shown[0])]
        assert carry[2::2] == ["m", "m", "m"]


def test_the_studys_units_are_the_commands_unless_others_are_asked_for(results_with):
    metres = results_with(units="metres")
    assert asked(metres, 156).stdout.startswith("Hill School: club speed 156 km/h\n")
    assert answered(metres, 156.1)["club_speed_mph"] == pytest.approx(97, abs=0.01)
    assert asked(metres, 97, "--yards").stdout.startswith("Hill School: club speed 97 mph\n")
    assert asked(metres, 97).stderr == "Club speed: give a number from 129 to 177 km/h.\n"


@pytest.mark.parametrize("wind", [0.0, -12.0])
def test_the_part_of_a_frontier_about_a_speed_says_the_same(results, wind):
    whole = read_results(results, Asked())
    place = place_of(CALIBRATION, AIR, "normal", Asked(wind_mph=wind) if wind else Asked())
    flown = frontier_in(whole.frontier, whole.model, place)
    random = np.random.default_rng(3)
    for speed in (80.0, 110.0, 97.0, 89.4, *random.uniform(80, 110, 12)):
        if not whole.frontier.reaches(speed):
            assert part_about(whole.frontier, speed) is whole.frontier
            continue
        part = part_about(whole.frontier, speed)
        assert len(part.speed_mph) <= 2
        drive = (speed, float(random.uniform(9, 19)), float(random.uniform(1500, 4200)))
        some = look_up(whole.model, frontier_in(part, whole.model, place), place, *drive)
        every = look_up(whole.model, flown, place, *drive)
        assert some.keys() == every.keys()
        for name, value in every.items():
            assert some[name] == near_to(value, 1e-9), (speed, name)


def test_limits_are_those_of_drives_near_the_speed():
    frontier = sample_frontier()
    limits = limits_near(frontier, 100.0)
    assert limits["launch"] == pytest.approx((8, 20))
    assert limits["spin"] == pytest.approx((1300, 4300))
    assert limits["ball_speed"] == pytest.approx((130, 155))
    unknown = replace(frontier, near=near_of(frontier.speed_mph, ratio=(np.nan, np.nan)))
    assert limits_near(unknown, 100.0)["ball_speed"] is None


def test_a_delivery_that_golfers_reach_beyond_the_ellipse_is_within_the_limits():
    frontier = sample_frontier()
    wide = replace(frontier, near=near_of(frontier.speed_mph, (14.0, 2800.0), (1.0, 100.0)))
    assert limits_near(wide, 100.0)["launch"] == pytest.approx((8, 20))
    assert limits_near(wide, 100.0)["spin"] == pytest.approx((1300, 4300))


def test_the_command_leaves_slow_packages_alone(results):
    code = (
        "import sys; from pipeline.cli import cli\n"
        f"cli(['lookup', '97', '--wind-mph', '5', '--results', r'{results}'], standalone_mode=False)\n"
        "slow = ('dataframely', 'duckdb', 'statsmodels', 'scipy', 'matplotlib', 'pipeline.tables.golfers')\n"
        "print([name for name in slow if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_looks_and_trials_are_found_by_their_folder_alone(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    own, look, trial = (tmp_path / "results/hill" / place for place in (".", "by-model/k1", "trials/few"))
    for age, folder in enumerate((own, look, trial)):
        (folder / "model").mkdir(parents=True)
        (folder / "model/frontier.json").write_text("{}", encoding="utf-8")
        os.utime(folder / "model/frontier.json", (age, age))
    assert find_results(None) == Path("results/hill")
    assert find_results(trial) == trial


def test_results_of_an_earlier_version_are_told(results_with, tmp_path, monkeypatch):
    # Earlier versions wrote the frontier among what may be published.
    folder = results_with()
    (folder / "benchmarks").mkdir()
    (folder / "model/frontier.json").rename(folder / "benchmarks/frontier.json")
    said = r"its results are of an earlier version of Yardband; run the workflow again\.$"
    with pytest.raises(UserError, match=said):
        find_results(folder)
    (tmp_path / "elsewhere/results").mkdir(parents=True)
    shutil.copytree(folder, tmp_path / "elsewhere/results/hill")
    monkeypatch.chdir(tmp_path / "elsewhere")
    with pytest.raises(UserError, match=said):
        find_results(None)
