import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import date

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner
from goal_samples import sample_frontier, sample_golfers, sample_model
from rows import table_of
from scipy.stats import norm

from pipeline.benchmark.reach import Reach
from pipeline.cli import cli
from pipeline.coach.goals.pace import Gain, Pace, quarters_needed
from pipeline.coach.practice.outlook import Outlook
from pipeline.edge.artefacts import write_arrays, write_artefact
from pipeline.edge.files import write_csv
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import RPM, Launch, fly
from pipeline.physics.turf import NEIGHBORS, NORMAL, run_m
from pipeline.statistics.drive_spread import LEVELS, DriveSpread, UsualDrives, UsualReaching
from pipeline.tables.practice import Practice

GOLFER = "g0000000000000000"

GAIN = Gain.of(0.5, 0.1, 0.4, 20, 30)


def reach_of(speeds):
    """Make the reach of the sample's deliveries: those inside the ellipse of its drives."""
    launch, spin = np.arange(8, 20.1, 0.25), np.arange(1300, 4301, 50.0)
    inside = ((launch[:, None] - 14) / 6) ** 2 + ((spin - 2800) / 1500) ** 2 <= 1
    return Reach.of(launch, spin, [inside] * speeds, [np.zeros((13, 16))] * speeds)


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Make a study's results in closed form: see goal_samples."""
    folder = tmp_path_factory.mktemp("results") / "hill"
    for name in ("model", "flight", "golfers"):
        (folder / name).mkdir(parents=True)
    model = sample_model()
    calibration = Calibration("smits-smith-1994", 0.9, 1.0, None, None, [], 0, 0, None, None, "")
    frontier = sample_frontier()
    write_artefact(folder / "model/frontier.json", replace(frontier, reach=reach_of(len(frontier.speed_mph))))
    write_artefact(folder / "model/model.json", FittedModel("hill", model, FittedOn(41, 2, ("2026Q2", "2026Q3"))))
    write_artefact(folder / "flight/calibration.json", StudyFlight(calibration, None))
    np.savez(folder / "model/replicates.npz", coefficients=np.tile(model.coefficients, (3, 1)))
    golfers = sample_golfers(
        {"club_speed_mph": 90.0, "carry_yd": 205.0, "own_error_yd": 1.0, "quarter": "2026Q2"} | {"golfer": GOLFER},
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0, "shots": 15} | {"golfer": GOLFER},
        {"club_speed_mph": 92.0, "carry_yd": 210.0, "own_error_yd": 1.0, "shots": 5, "status": "not_assessed"}
        | {"note": "5 drives, an assessment needs 12"},
    )
    write_csv(folder / "golfers/golfers.csv", golfers)
    write_artefact(folder / "golfers/pace.json", Pace(GAIN))
    return folder


def asked(results, *arguments):
    return CliRunner().invoke(cli, ["goal", *(str(a) for a in arguments), "--results", str(results)])


def answered(results, *arguments):
    done = asked(results, *arguments, "--json")
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_a_drive_as_given_is_planned_in_carry(results):
    answer = answered(results, 250, "--carry", "--speed", 92, "--launch", 14, "--spin", 2800, "--ball-speed", 1.4 * 92)
    assert answer["present_yd"] == pytest.approx(217.6)
    # One drive in the model's interval: from 4 % under to 2 % over what is expected.
    assert (answer["present_lo90_yd"], answer["present_hi90_yd"]) == pytest.approx((0.96 * 217.6, 1.02 * 217.6))
    assert (answer["gap_yd"], answer["delivery_yd"], answer["speed_yd"]) == pytest.approx((32.4, 12.4, 20))
    assert answer["efficient_yd"] == pytest.approx(230)
    speeds = [answer[f"efficient_speed_{end}mph"] for end in ("", "lo90_", "hi90_")]
    assert speeds == pytest.approx([100, 99.6, 100.4])
    assert answer["present_speed_mph"] == pytest.approx(290 / 2.8)
    assert (answer["reach"], answer["supported"], answer["distance"]) == ("both", True, "carry")
    assert answer["note"] == "Today's distance is that of one drive: 9 in 10 land inside its interval."


def test_without_carry_the_distance_has_the_run_in_it(results):
    given = (262, "--speed", 92, "--launch", 14, "--spin", 2800, "--ball-speed", 1.4 * 92)
    answer = answered(results, *given)
    landing = fly(Launch.straight(1.4 * 92 * 0.44704, 14.0, 2800.0), Ball(drag=0.9), Air.of(15.0, 101325.0, 0.0))
    run = run_m(landing.speed_mps, landing.descent_deg, landing.spin_rpm * RPM, NORMAL)[0] / 0.9144
    assert 10 < run < 40
    assert answer["present_yd"] == pytest.approx(217.6 + run)
    assert answer["efficient_yd"] == pytest.approx(255)
    assert answer["gap_yd"] == pytest.approx(262 - 217.6 - run)
    assert answer["delivery_yd"] + answer["speed_yd"] == pytest.approx(answer["gap_yd"], abs=1e-9)
    assert answer["efficient_speed_mph"] == pytest.approx(94.8)
    assert 94.8 < answer["present_speed_mph"] < answered(results, 262, "--carry", *given[1:])["present_speed_mph"]
    assert answer["note"].endswith(
        "Roll is calculated, not measured. The interval allows for turf half a step softer or firmer."
    )


def test_the_runs_doubt_widens_a_goal_in_total(results):
    given = ("--speed", 92, "--launch", 14, "--spin", 2800, "--ball-speed", 1.4 * 92)
    carry, total = answered(results, 240, "--carry", *given), answered(results, 262, *given)
    landing = fly(Launch.straight(1.4 * 92 * 0.44704, 14.0, 2800.0), Ball(drag=0.9), Air.of(15.0, 101325.0, 0.0))
    at = landing.speed_mps, landing.descent_deg, landing.spin_rpm * RPM
    run, softer, firmer = (run_m(*at, turf)[0] / 0.9144 for turf in (NORMAL, *NEIGHBORS[NORMAL]))
    below, above = np.hypot(0.04 * 217.6, run - softer), np.hypot(0.02 * 217.6, firmer - run)
    edges = total["present_yd"] - below, total["present_yd"] + above
    assert (total["present_lo90_yd"], total["present_hi90_yd"]) == pytest.approx(edges)
    assert (total["gap_lo90_yd"], total["gap_hi90_yd"]) == pytest.approx((262 - edges[1], 262 - edges[0]))
    for name in ("efficient_speed", "present_speed"):
        widths = [one[f"{name}_hi90_mph"] - one[f"{name}_lo90_mph"] for one in (carry, total)]
        assert widths[1] > widths[0] + 0.3
    # Carry's doubt alone: 1 yd to either side at 2.5 yd a mph; the turf adds 3 to 6 yd.
    assert total["efficient_speed_lo90_mph"] < total["efficient_speed_mph"] - 1.2
    # What the delivery can give is as well known as in carry: an efficient drive runs on the same turf.
    below = carry["delivery_yd"] - carry["delivery_lo90_yd"]
    assert total["delivery_yd"] - total["delivery_lo90_yd"] == pytest.approx(below, abs=1e-9)


SHARES = ("share_reaching", "share_reaching_lo90", "share_reaching_hi90", "share_efficient", "share_at_goal_speed")


@pytest.fixture(scope="module")
def with_drives(results, tmp_path_factory):
    """The same results with drives of the golfer: carry 212 yd in the middle, carry and roll 230 yd, 10 yd about it."""
    folder = tmp_path_factory.mktemp("with_drives") / "hill"
    shutil.copytree(results, folder)
    spreads = {
        kind: DriveSpread(
            center + 10 * norm.ppf(LEVELS)[None, :], np.array([center]), np.array([3.0]), np.array([60.0])
        )
        for kind, center in (("carry", 212.0), ("total", 230.0))
    }
    arrays = {f"{kind}_{name}": values for kind, one in spreads.items() for name, values in vars(one).items()}
    np.savez(folder / "golfers/reaching.npz", golfer=np.array([GOLFER]), club_speed_mph=np.array([92.0]), **arrays)
    usual = UsualDrives(norm.ppf(LEVELS), 0.04, 10.0, (0.0, 0.0), (0.0, 0.0))
    write_artefact(folder / "golfers/usual_reaching.json", UsualReaching(usual, usual))
    return folder


def test_a_golfers_own_drives_say_how_often_the_goal_is_reached(with_drives):
    answer = answered(with_drives, 220, "--carry", "--golfer", GOLFER)
    assert answer["share_reaching"] == pytest.approx(norm.sf(8 / np.hypot(10, 3)), abs=2e-3)
    assert answer["share_reaching_lo90"] < answer["share_reaching"] < answer["share_reaching_hi90"]
    # Efficient is 230 yd at 92 mph, give or take 1 yd, and 220 yd at 88 mph; the scatter grows as distance does.
    sd = np.hypot(10 * 230 / 212, 1 / 1.645)
    assert answer["share_efficient"] == pytest.approx(norm.cdf(10 / sd), abs=2e-3)
    assert answer["share_at_goal_speed"] == pytest.approx(0.5, abs=2e-3)
    tenths = [answer[f"{number}_of_ten_yd"] for number in ("nine", "five", "one")]
    assert tenths == pytest.approx(212 - 1.2816 * np.hypot(10, 3) * np.array([1, 0, -1]), abs=0.1)


def test_roll_place_and_another_speed_move_a_golfers_drives(with_drives):
    of = ("--golfer", GOLFER)
    total = answered(with_drives, 255, *of)
    # Besides the drives' scatter and their center's error there is what the turf leaves open of the run.
    landing = fly(Launch.straight(1.45 * 92 * 0.44704, 14.0, 2800.0), Ball(drag=0.9), Air.of(15.0, 101325.0, 0.0))
    runs = [
        run_m(landing.speed_mps, landing.descent_deg, landing.spin_rpm * RPM, turf)[0] for turf in NEIGHBORS[NORMAL]
    ]
    unsure = (runs[1] - runs[0]) / 0.9144 / (2 * 1.6449)
    assert 1.5 < unsure < 4
    assert total["share_reaching"] == pytest.approx(norm.sf(25 / np.hypot(np.hypot(10, 3), unsure)), abs=2e-3)
    for more in (("--wind-mph", 8), ("--turf", "firm"), ("--altitude-m", 1500)):
        there = answered(with_drives, 255, *more, *of)
        by = there["present_yd"] - total["present_yd"]
        assert by > 3
        assert there["five_of_ten_yd"] == pytest.approx(230 + by, abs=0.05)
    faster = answered(with_drives, 240, "--carry", "--speed", 96, *of)
    assert faster["five_of_ten_yd"] == pytest.approx(212 * faster["present_yd"] / 210, abs=0.05)


def test_without_a_golfer_the_drives_scatter_as_they_usually_do(with_drives):
    given = ("--carry", "--speed", 92, "--launch", 14, "--spin", 2800, "--ball-speed", 1.4 * 92)
    answer = answered(with_drives, 217.6 * 1.04, *given)
    assert answer["share_reaching"] == pytest.approx(norm.sf(1), abs=2e-3)
    assert [answered(with_drives, 250, "--carry", "--speed", 92)[name] for name in SHARES] == [None] * 5


@pytest.fixture(scope="module")
def practicing(results, tmp_path_factory):
    """The same results with a golfer who gains 0.4 mph a week with a ball, from 92 mph at the last session."""
    folder = tmp_path_factory.mktemp("practicing") / "hill"
    shutil.copytree(results, folder)
    (folder / "practice").mkdir()
    row = {"golfer": GOLFER, "last_on": date(2026, 9, 1), "trend": "gaining", "speed_now_mph": 92.0, "with_ball": True}
    write_csv(folder / "practice/practice.csv", table_of(Practice, pl.DataFrame([row])))
    line = (-10.0, 26.0, 88.0, 0.04, 0.4, 0.0004, 0.0, 40.0, 0.0)
    arrays = Outlook(np.array([GOLFER]), *(np.array([one]) for one in line), np.array([False]), np.array([False]))
    write_arrays(folder / "practice/outlook.npz", arrays._asdict())
    return folder


def test_a_practicing_golfer_is_told_when_the_goals_speed_is_due(practicing, results):
    answer = answered(practicing, 250, "--carry", "--golfer", GOLFER)
    assert answer["efficient_speed_mph"] == pytest.approx(100)
    assert answer["speed_due_on"] == "2027-01-19"  # 8 mph at 0.4 a week: 20 weeks
    assert "2026-09-01" < answer["speed_due_lo90_on"] < answer["speed_due_on"]
    said = asked(practicing, 250, "--carry", "--golfer", GOLFER).stdout.splitlines()[-1]
    assert said == (
        "  If the gain of speed practice goes on, 100 mph is due about 2027-01-19, and hardly before "
        f"{answer['speed_due_lo90_on']}. It may level off: then later or never."
    )
    # Another golfer, no golfer, a speed that is reached, one too far off, results of a study without speed logs.
    others = [
        answered(practicing, 250, "--carry", "--golfer", "g0000000000000002"),
        answered(practicing, 250, "--carry", "--speed", 92),
        answered(practicing, 225, "--carry", "--golfer", GOLFER),
        answered(practicing, 270, "--carry", "--golfer", GOLFER),
        answered(results, 250, "--carry", "--golfer", GOLFER),
    ]
    assert [(one["speed_due_on"], one["speed_due_lo90_on"]) for one in others] == [(None, None)] * 5


def test_shares_are_told_in_rows_below_the_figures(with_drives):
    lines = asked(with_drives, 220, "--carry", "--golfer", GOLFER).stdout.splitlines()
    assert lines[-5:-1] == [
        "  reach it today    22 % of drives; 90 % interval: 8 % to 40 %",
        "    efficient       82 % of drives",
        "    at its speed    50 % of drives",
        "  9, 5, 1 of 10 go  199, 212, 225 yd",
    ]
    assert lines[-1].startswith("  The shares are of drives of new days, mishits and all.")


def test_results_without_drives_have_null_shares(results):
    answer = answered(results, 220, "--carry", "--golfer", GOLFER)
    assert [answer[name] for name in (*SHARES, "nine_of_ten_yd")] == [None] * 6
    assert "reach it" not in asked(results, 220, "--carry", "--golfer", GOLFER).stdout


def test_a_golfers_newest_quarter_brings_the_shortfall_and_its_interval(results):
    answer = answered(results, 250, "--carry", "--golfer", GOLFER)
    assert (answer["golfer"], answer["quarter"], answer["club_speed_mph"]) == (GOLFER, "2026Q3", 92)
    assert answer["present_yd"] == pytest.approx(210)
    half = 1.7613 * np.hypot(1.0, 0.5)  # Student's, 14 degrees of freedom
    assert answer["present_hi90_yd"] - 210 == pytest.approx(half, rel=1e-4)
    assert answer["present_speed_mph"] == pytest.approx(290 / (2.8 - 7.6 / 92))
    faster = answered(results, 250, "--carry", "--golfer", GOLFER, "--speed", 96)
    assert faster["present_yd"] == pytest.approx((2.8 - 7.6 / 92) * 96 - 40)
    assert faster["present_hi90_yd"] - faster["present_yd"] == pytest.approx(half * 96 / 92, rel=1e-4)
    assert faster["present_speed_mph"] == pytest.approx(answer["present_speed_mph"])
    assert faster["note"] == "Shown at 96 mph, with the delivery of 2026Q3."


def test_with_speed_alone_only_the_efficient_delivery_is_told(results):
    answer = answered(results, 250, "--carry", "--speed", 92)
    assert answer["efficient_yd"] == pytest.approx(230)
    assert answer["efficient_speed_mph"] == pytest.approx(100)
    unknown = ("present_yd", "gap_yd", "delivery_yd", "speed_yd", "present_speed_mph", "reach")
    assert [answer[name] for name in unknown] == [None] * len(unknown)
    text = asked(results, 250, "--carry", "--speed", 92).stdout
    assert "An efficient delivery at 92 mph goes 230 yd, 20 yd short." in text
    assert "8 mph more than today" in text
    assert text.endswith("  For today's delivery, give launch, spin and ball speed, or a golfer.\n")


@pytest.mark.parametrize("distance", [290, 150])
def test_a_goal_beyond_the_data_gets_no_club_speed_and_the_range(results, distance):
    done = asked(results, distance, "--carry", "--golfer", GOLFER, "--json")
    answer = json.loads(done.stdout)
    assert done.exit_code == 2
    assert done.stderr == "Distance: give a number from 200 to 275 yd.\n"
    assert (answer["supported"], answer["note"]) == (False, done.stderr.strip())
    assert (answer["efficient_speed_mph"], answer["efficient_speed_lo90_mph"]) == (None, None)
    plain = asked(results, distance, "--carry", "--golfer", GOLFER)
    assert (plain.exit_code, plain.stdout, plain.stderr) == (2, "", done.stderr)


def test_the_range_of_distances_is_that_of_the_place_and_of_roll(results):
    refused = [asked(results, 900, *more).stderr for more in ((), ("--wind-mph", -20), ("--metric",))]
    assert refused[0] == "Distance: give a number from 225 to 300 yd.\n"
    assert refused[1] != refused[0]
    assert refused[2] == "Distance: give a number from 206 to 274 m.\n"


def test_a_drive_out_of_range_is_refused_before_anything_is_planned(results):
    done = asked(results, 250, "--carry", "--speed", 92, "--launch", 30, "--json")
    answer = json.loads(done.stdout)
    assert (done.exit_code, done.stderr) == (2, "Launch: give a number from 8.0 to 20.0 deg.\n")
    assert (answer["goal_yd"], answer["club_speed_mph"], answer["supported"]) == (250, 92, False)
    assert answer["note"] == done.stderr.strip()
    figures = [value for name, value in answer.items() if name.endswith(("_yd", "_mph")) and name != "goal_yd"]
    assert figures[0] == 92
    assert figures[1:] == [None] * (len(figures) - 1)


def test_a_drive_that_nobody_hits_is_not_planned(results):
    # Inside the range of launch and of spin, but not with both.
    answer = answered(results, 250, "--carry", "--speed", 92, "--launch", 19.5, "--spin", 4200)
    assert answer["present_yd"] is None
    assert answer["efficient_speed_mph"] == pytest.approx(100)
    assert answer["note"] == "No figures for today's delivery: hardly any drive near 92 mph is like it."


def test_a_golfer_who_is_not_assessed_is_told_so(results):
    answer = answered(results, 250, "--carry", "--golfer", "g0000000000000002")
    assert answer["present_yd"] is None
    assert answer["note"] == "This golfer wasn't assessed in 2026Q3: 5 drives, an assessment needs 12."


def test_the_table_is_plain(results):
    assert asked(results, 250, "--carry", "--golfer", GOLFER).stdout.splitlines() == [
        f"hill: goal 250 yd of carry, {GOLFER} in 2026Q3, club speed 92 mph",
        "  A better delivery can give 20 yd at today's club speed. The rest, 20 yd, takes 8 mph more.",
        "  speed, efficient    100 mph   8 mph more than today; 90 % interval: 100 to 100 mph",
        "  speed, as now       107 mph   15 mph more than today; 90 % interval: 106 to 107 mph",
        "  today                210 yd   90 % interval: 208 to 212 yd",
        "  efficient today      230 yd   90 % interval: 229 to 231 yd",
        "  gap to the goal       40 yd   90 % interval: 38 to 42 yd",
        "    by delivery         20 yd   90 % interval: 18 to 22 yd",
        "    by speed            20 yd   90 % interval: 19 to 21 yd",
        "  time, usual pace  16 quarters   90 % interval: 12 to 25 quarters",
    ]


def test_the_table_in_metric_units_is_typed_in_them_too(results):
    given = ("--metric", "--carry", "--speed", "148,1", "--launch", 14, "--spin", "2.800", "--ball-speed", "207.3")
    text = asked(results, "228,6", *given).stdout.splitlines()
    assert text[0] == (
        "hill: goal 228.6 m of carry, club speed 148.1 km/h, launch 14 deg, spin 2800 rpm, ball speed 207.3 km/h"
    )
    assert text[1].endswith("The rest, 18 m, takes 12.9 km/h more.")
    assert text[2] == "  speed, efficient   161 km/h   12.9 km/h more than today; 90 % interval: 160 to 162 km/h"
    assert not any(unit in " ".join(text) for unit in ("yd", "mph"))
    answer = answered(results, "228,6", *given)
    assert (answer["goal_yd"], answer["efficient_speed_mph"]) == pytest.approx((250, 100), abs=0.001)


@pytest.mark.parametrize(
    ("distance", "sentence"),
    [
        (205, "Today's drives already go the distance, with 5 yd to spare."),
        (210, "Today's drives already go the distance."),
        (228, "An efficient delivery goes the distance at today's club speed."),
    ],
)
def test_the_sentence_says_what_it_takes(results, distance, sentence):
    assert asked(results, distance, "--carry", "--golfer", GOLFER).stdout.splitlines()[1] == f"  {sentence}"


def test_a_goal_alone_says_what_it_takes(results):
    text = asked(results, 250, "--carry").stdout
    assert text.splitlines()[1] == "  It takes a club speed of 100 mph with an efficient delivery."


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("--golfer", "Jo Doe"), "No golfer here has that code: copy a pseudonym from golfers.csv, or its beginning."),
        (("--golfer", " "), "No golfer here has that code: copy a pseudonym from golfers.csv, or its beginning."),
        (
            ("--golfer", "g"),
            "That beginning fits 2 golfers: g0000000000000000, g0000000000000002; ",
        ),
        (
            ("--golfer", GOLFER, "--launch", 12),
            "Give a golfer or a delivery, not both: leave out launch, ",
        ),
        (("--launch", 12), "A delivery needs its club speed: give that too."),
        (("--speed", "fast"), "Club speed: give a number from 80 to 110 mph."),
        (("--speed", 92, "--spin", "1e3"), "Spin: give a number from 1,300 to 4,300 rpm."),
        (("--speed", 92, "--ball-speed", "nan"), "Ball speed: give a number from 120 to 142 mph."),
        (("--temp-c", "warm"), "Temperature: give a number from -30 to 55 deg C."),
        (("--altitude-m", 100, "--pressure-hpa", 990), "Give altitude or pressure, not both: either one sets the air."),
        (("--turf", "wet"), "Turf: give soft, normal or firm."),
    ],
)
def test_what_cant_be_used_is_one_sentence(results, arguments, why):
    done = asked(results, 250, *arguments)
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith(why)
    assert done.stderr.count("\n") == 1
    assert "Jo Doe" not in done.output


@pytest.mark.parametrize("typed", ["", "nan", "-250", "two hundred", "2e2"])
def test_a_distance_that_is_none_is_refused_with_the_range(results, typed):
    done = asked(results, typed, "--carry", "--json")
    assert done.exit_code == 2
    assert done.stderr == "Distance: give a number from 200 to 275 yd.\n"


@pytest.mark.parametrize("code", [GOLFER, GOLFER.upper(), f" {GOLFER} ", f"{GOLFER}*+"])
def test_a_golfer_is_found_by_any_way_to_write_the_code(results, code):
    assert answered(results, 250, "--carry", "--golfer", code)["golfer"] == GOLFER


def test_a_goal_in_other_air_is_flown_there(results):
    given = (250, "--carry", "--speed", 92, "--launch", 14, "--spin", 2800, "--ball-speed", 1.4 * 92)
    calm, wind = answered(results, *given), answered(results, *given, "--wind-mph", -15)
    assert wind["present_yd"] < calm["present_yd"] - 10
    assert wind["gap_yd"] > calm["gap_yd"] + 10


def test_results_that_cant_be_read_are_told(tmp_path):
    assert "holds no benchmarks" in asked(tmp_path, 250).stderr
    (tmp_path / "model").mkdir()
    (tmp_path / "model/frontier.json").write_text("{}")
    done = asked(tmp_path, 250)
    assert (done.exit_code, done.stderr.count("\n")) == (2, 1)
    assert "frontier.json: isn't what the workflow writes there (at study); delete it and run the workflow again." in (
        done.stderr
    )


def test_the_command_leaves_slow_packages_alone(results):
    # A coach waits for the answer: tables' schemas, statistics and drawing would each take as long again.
    code = (
        "import sys; from pipeline.cli import cli\n"
        f"cli(['goal', '250', '--golfer', '{GOLFER}', '--results', r'{results}'], standalone_mode=False)\n"
        "slow = ('dataframely', 'duckdb', 'statsmodels', 'scipy.stats', 'matplotlib')\n"
        "print([name for name in slow if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_metric_goals_agree_with_those_in_yards(results):
    random = np.random.default_rng(9)
    for _ in range(4):
        goal, mph, wind = (float(random.uniform(*ends)) for ends in ((240, 270), (85, 108), (-8, 8)))
        ball, launch, spin = mph * float(random.uniform(1.35, 1.5)), float(random.uniform(12, 16)), "2.800"
        delivery, k = ("--launch", launch, "--spin", spin, "--carry"), 1.609344
        yards = (goal, "--speed", mph, "--ball-speed", ball, "--wind-mph", wind, *delivery)
        metric = (goal * 0.9144, "--speed", mph * k, "--ball-speed", ball * k, "--wind-mph", wind * k, *delivery)
        one, other = answered(results, *yards), answered(results, *metric, "--metric")
        assert one["present_yd"] is not None
        assert one.keys() == other.keys()
        for name, value in one.items():
            same = value if isinstance(value, str | bool | None) else pytest.approx(value, rel=1e-6, abs=1e-6)
            assert other[name] == same, name
        text = asked(results, *metric, "--metric").stdout
        shown = {name: int(figure) for name, figure in re.findall(r"^ +(\D+?) +(-?\d+) m ", text, flags=re.MULTILINE)}
        if "by speed" in shown:
            assert shown["by delivery"] + shown["by speed"] == shown["gap to the goal"]
        assert shown["gap to the goal"] == int(np.floor(goal * 0.9144 + 0.5)) - shown["today"]


def test_the_time_is_that_of_the_usual_pace(results):
    answer = answered(results, 250, "--carry", "--speed", 92, "--launch", 14, "--spin", 2800, "--ball-speed", 1.4 * 92)
    step, lo, hi = (answer[f"efficient_speed_{end}mph"] - 92 for end in ("", "lo90_", "hi90_"))
    time = quarters_needed(step, GAIN, lo, hi)
    found = [answer[name] for name in ("quarters", "quarters_lo90", "quarters_hi90")]
    assert found == pytest.approx([float(part) for part in time])
    assert found[0] == pytest.approx(step / 0.5)
    said = asked(
        results, 250, "--carry", "--speed", 92, "--launch", 14, "--spin", 2800, "--ball-speed", 1.4 * 92
    ).stdout
    assert (
        f"time, usual pace  {found[0]:.0f} quarters   90 % interval: {found[1]:.0f} to {found[2]:.0f} quarters" in said
    )
    enough = answered(results, 205, "--carry", "--golfer", GOLFER)
    assert enough["quarters"] in (0.0, None)
