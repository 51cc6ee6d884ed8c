import json
import subprocess
import sys

import numpy as np
import pytest
from click.testing import CliRunner
from goal_samples import sample_frontier, sample_golfers, sample_model

from pipeline.cli import cli
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.files import write_csv
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import RPM, Launch, fly
from pipeline.physics.turf import NORMAL, run_m

GOLFER = "g0000000000000000"


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Make a study's results in closed form: see goal_samples."""
    folder = tmp_path_factory.mktemp("results") / "hill"
    for name in ("benchmarks", "model", "flight", "golfers"):
        (folder / name).mkdir(parents=True)
    model = sample_model()
    calibration = Calibration("smits-smith-1994", 0.9, 1.0, None, None, [], 0, 0, None, None, "")
    write_artefact(folder / "benchmarks/frontier.json", sample_frontier())
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
    assert answer["note"] == "today's yards are those of one drive; 9 in 10 fall inside the interval"


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
    assert "doesn't cover its error" in answer["note"]


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
    assert faster["note"] == "at 96 mph with the delivery of 2026Q3"


def test_with_speed_alone_only_the_efficient_delivery_is_told(results):
    answer = answered(results, 250, "--carry", "--speed", 92)
    assert answer["efficient_yd"] == pytest.approx(230)
    assert answer["efficient_speed_mph"] == pytest.approx(100)
    unknown = ("present_yd", "gap_yd", "delivery_yd", "speed_yd", "present_speed_mph", "reach")
    assert [answer[name] for name in unknown] == [None] * len(unknown)
    text = asked(results, 250, "--carry", "--speed", 92).stdout
    assert "An efficient delivery at 92.0 mph goes 230 yd, 20 yd short." in text
    assert "8.0 mph more than today" in text


def test_a_goal_beyond_the_data_gets_no_number_and_the_reason(results):
    answer = answered(results, 290, "--carry", "--golfer", GOLFER)
    assert (answer["supported"], answer["reach"]) == (False, "beyond_data")
    assert (answer["efficient_speed_mph"], answer["present_speed_mph"]) == (None, None)
    assert "out of reach here: the data end at 110 mph, where an efficient drive goes 275 yd" in answer["note"]
    low = answered(results, 150, "--carry", "--speed", 92)
    assert low["note"] == "the data don't show the club speed for it: they begin at 80 mph"


def test_a_drive_that_nobody_hits_is_not_planned(results):
    answer = answered(results, 250, "--carry", "--speed", 92, "--launch", 30)
    assert answer["present_yd"] is None
    assert answer["note"].startswith("No answer: hardly any drive near 92 mph launches at 30.0 deg with")


def test_a_golfer_who_is_not_assessed_is_told_so(results):
    answer = answered(results, 250, "--carry", "--golfer", "g0000000000000002")
    assert answer["present_yd"] is None
    assert answer["note"] == "not assessed in 2026Q3: 5 drives, an assessment needs 12"


def test_the_table_is_plain(results):
    assert asked(results, 250, "--carry", "--golfer", GOLFER).stdout.splitlines() == [
        f"hill: goal 250 yd of carry, {GOLFER}, 2026Q3, club speed 92.0 mph",
        "  today                210 yd   90 % interval: 208 to 212 yd",
        "  efficient today      230 yd   90 % interval: 229 to 231 yd",
        "  gap to the goal       40 yd   90 % interval: 38 to 42 yd",
        "    by delivery         20 yd   90 % interval: 18 to 22 yd",
        "    by speed            20 yd   90 % interval: 19 to 21 yd",
        "  speed, efficient   100.0 mph  90 % interval: 99.6 to 100.4 mph; 8.0 mph more than today",
        "  speed, as now      106.7 mph  90 % interval: 106.0 to 107.5 mph; 14.7 mph more than today",
        "  Delivery can give 20 yd of the gap at today's club speed; the other 20 yd take 8.0 mph more.",
    ]


@pytest.mark.parametrize(
    ("distance", "sentence"),
    [
        (205, "The mean drive already goes the distance, with 5 yd to spare."),
        (228, "An efficient delivery goes the distance at today's club speed."),
    ],
)
def test_the_sentence_says_what_it_takes(results, distance, sentence):
    assert sentence in asked(results, distance, "--carry", "--golfer", GOLFER).stdout


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("--golfer", "Jo Doe"), "golfers.csv: has no golfer with this pseudonym; copy one from its first column."),
        (("--golfer", GOLFER, "--launch", 12), "--golfer brings a delivery of its own; leave out --launch, --spin and"),
        (("--launch", 12), "a delivery needs its club speed; give --speed too."),
    ],
)
def test_what_doesnt_go_together_is_one_sentence(results, arguments, why):
    done = asked(results, 250, *arguments)
    assert done.exit_code == 2
    assert why in done.stderr
    assert done.stderr.count("\n") == 1
    assert "Jo Doe" not in done.output


def test_results_that_cant_be_read_are_told(tmp_path):
    assert "holds no benchmarks" in asked(tmp_path, 250).stderr
    (tmp_path / "benchmarks").mkdir()
    (tmp_path / "benchmarks/frontier.json").write_text("{}")
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
