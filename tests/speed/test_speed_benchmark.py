"""The benchmark's own parts on a tiny study: what is planted, the plain way against truth, measuring, the tables."""

import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import plain_way
import polars as pl
import pytest
from limits import draw_drives
from make_study import (
    LAUNCH_DEG,
    LAUNCH_SLOPE,
    OF_A_FAULT,
    OFFSET_B_YD,
    RATIO,
    SPIN_RPM,
    SPIN_SLOPE,
    Size,
    carry_yd,
    make_study,
    make_table,
)
from measure import name_of, run_measured
from speed_table import Measure, judged, line, merged

from pipeline.collect.collect_logs import collect
from pipeline.collect.key import read_key
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs
from pipeline.drives import FIT_COLUMNS
from pipeline.physics.air_of_drives import AIR_COLUMNS

SIZE = Size(drives=6000, golfers=120, logs=3)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    make_study(SIZE, folder)
    return folder


@pytest.fixture(scope="module")
def planted(study):
    return json.loads((study / "planted.json").read_text())


@pytest.fixture(scope="module")
def plain(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("plain")
    return plain_way.do_it(study, out, resamples=5), out


def test_a_study_has_its_rows_and_golfers_in_several_logs(study, planted):
    logs = [pl.read_csv(path, infer_schema=False).with_columns(log=pl.lit(path.name)) for path in study.glob("logs/*")]
    rows = pl.concat(logs)
    spread = rows.group_by("golfer").agg(pl.col("log").n_unique())["log"]
    assert rows.height == SIZE.drives == planted["accepted"] + planted["rejected"] + planted["duplicates"]
    assert rows["golfer"].n_unique() == planted["golfers"] == SIZE.golfers
    assert spread.min() >= 2
    assert 10 <= planted["rejected"] <= 60  # 30 expected, by a binomial draw


def test_the_same_seed_gives_the_same_bytes_and_another_does_not(study, tmp_path):
    for seed in (1, 2):
        make_study(SIZE, tmp_path / str(seed), seed)
    files = sorted(path.relative_to(study) for path in study.rglob("*") if path.is_file())
    assert len(files) == SIZE.logs + 4
    assert all((study / file).read_bytes() == (tmp_path / "1" / file).read_bytes() for file in files)
    assert (study / "logs/a_0000.csv").read_bytes() != (tmp_path / "2/logs/a_0000.csv").read_bytes()


def test_a_study_of_one_log_is_one_of_one_bay(tmp_path):
    told = make_study(Size(drives=300, golfers=20, logs=1), tmp_path)
    (log,) = find_logs(*load_study(tmp_path))
    assert log.source == "logs/a_0000.csv"
    assert told["rows"] == 300


def test_the_pipeline_rejects_what_was_planted(study, planted):
    place, described = load_study(study)
    key = read_key(place / described.privacy.key_file, described.study)
    pieces = []
    for log in find_logs(place, described):
        collect(place / log.source, log, key, pieces.append)
    rules = pl.concat([piece.rejected for piece in pieces])["rule"].value_counts()
    assert dict(rules.iter_rows()) == {rule: count for rule, count in planted["rules"].items() if count}
    assert sum(piece.accepted.height for piece in pieces) == planted["accepted"] + planted["duplicates"]


def test_the_drives_of_the_limits_are_those_that_the_fit_takes():
    drives = draw_drives(301)
    assert drives.height == 301
    assert {*FIT_COLUMNS, *AIR_COLUMNS} <= set(drives.columns)


def test_the_plain_way_keeps_each_drive_once(plain, planted):
    told, _ = plain
    assert (told["rows"], told["drives"]) == (planted["rows"], planted["accepted"])


def test_the_plain_way_finds_the_true_carry_and_offset(study):
    drives = plain_way.scaled(plain_way.clean(plain_way.read_logs(study)))
    model = plain_way.fit(drives)
    grid = pd.DataFrame(
        {"ball_speed_mph": [115.0, 132, 146], "launch_deg": [15.0, 14, 12.5], "spin_rpm": [2900.0, 2600, 2500]}
    )
    ball, launch, spin = (grid[name].to_numpy() for name in grid)
    true_a = carry_yd(make_table("a"), ball, launch, spin)
    true_b = carry_yd(make_table("b"), ball, launch, spin) + OFFSET_B_YD
    found = model.predict(plain_way.scaled(grid.assign(device="unit-A")))
    assert np.abs(found - true_a).max() < 1.5  # a surface of second order is as close as that to flight
    assert model.params["C(device)[T.unit-B]"] == pytest.approx(np.mean(true_b - true_a), abs=0.5)


@pytest.mark.parametrize("fault", ["contact", "launch", "spin"])
def test_the_plain_way_finds_what_a_fault_costs(plain, study, fault):
    _, out = plain
    truth = pd.read_csv(study / "truth.csv").set_index("golfer")
    golfers = pd.read_csv(out / "golfers.csv").dropna(subset="lost_yd")
    lost = golfers.groupby(golfers["golfer"].map(truth["kind"]))["lost_yd"].mean()
    speed = golfers["golfer"].map(truth["club_speed_mph"])[golfers["golfer"].map(truth["kind"]) == fault].to_numpy()
    launch, spin = LAUNCH_DEG + LAUNCH_SLOPE * (speed - 90), SPIN_RPM + SPIN_SLOPE * (speed - 90)
    amount = {name: OF_A_FAULT[name] * (name == fault) for name in OF_A_FAULT}
    sound = carry_yd(make_table("a"), speed * RATIO, launch, spin)
    faulty = carry_yd(
        make_table("a"), speed * (RATIO + amount["contact"]), launch + amount["launch"], spin + amount["spin"]
    )
    # Nine golfers of each fault, who differ by about 5 yd besides.
    assert lost[fault] - lost["sound"] == pytest.approx(np.mean(sound - faulty), abs=4)
    assert np.mean(sound - faulty) > 8


def test_the_plain_way_flags_losers_and_knows_its_error(plain):
    told, out = plain
    golfers, bands = pd.read_csv(out / "golfers.csv"), pd.read_csv(out / "bands.csv")
    flagged = golfers[golfers["flagged"]]
    assert len(flagged) == told["flagged"] >= 20
    assert flagged["lost_lo90_yd"].min() > 10 > golfers["lost_yd"].median()
    assert flagged["shots"].min() >= 12
    assert bands[bands["golfers"] >= 15]["std_error_yd"].between(0.01, 5).all()
    assert bands["golfers"].sum() <= len(golfers)
    assert bands[["carry_p25_yd", "carry_p50_yd", "carry_p75_yd", "carry_p90_yd"]].diff(axis=1).min().min() >= 0


def test_measuring_sees_a_child_with_its_time_and_memory(tmp_path):
    child = (
        "held = bytearray(80_000_000); import time; end = time.process_time() + 0.9\nwhile time.process_time() < end: 0"
    )
    parent = (
        f"import subprocess, sys; subprocess.run([sys.executable, '-c', {child!r}, '-m', 'pipeline.step', 'it', ''])"
    )
    used = run_measured([sys.executable, "-c", parent], tmp_path)
    (one,) = used.of("it")
    assert 80 < one.peak_mb == used.largest_mb < 200
    assert used.peak_mb > one.peak_mb
    assert used.cpu_s > 0.9
    # It is looked at every 0.2 s, so its end is not seen; on a busy machine it is looked at less often.
    assert 0.3 < one.cpu_s < used.cpu_s
    assert used.wall_s > one.ended_s - one.begun_s > 0.2


def test_a_failing_command_is_told(tmp_path):
    with pytest.raises(RuntimeError, match=r"status 3:\nno good"):
        run_measured([sys.executable, "-c", "print('no good'); raise SystemExit(3)"], tmp_path)


def test_processes_are_named_by_step_or_program():
    assert name_of(["/some/python", "-m", "pipeline.step", "fit_model", "{}", ""]) == "fit_model"
    assert name_of(["/some/python", "-m", "snakemake", "--cores", "2"]) == "snakemake"
    assert name_of(["/bin/bash", "-c", "python -m pipeline.step fit_model {}"]) == "bash"
    forking = ["/some/python", "-m", "pipeline.running.forked_steps", "5", "pipeline.collect.collect_logs"]
    for step in ("assess_straightness", "fit_model"):  # also those that it learnt of later
        assert name_of(forking, listed=step[:15]) == step
    assert name_of(forking, listed="second_process") == "second_process"
    assert name_of(forking, listed="python") == "forked_steps"


def test_a_target_holds_for_its_size_alone():
    measure = Measure("growth", "whole run", "s", "most", 600, 10_000_000)
    assert [measure.verdict(*one) for one in ((600, 10_000_000), (601, 10_000_000), (601, 1000))] == [
        "met",
        "MISSED",
        "",
    ]


def test_parts_measured_earlier_stay(tmp_path):
    path = Path(tmp_path / "speed.csv")
    judged([line("lookup_s", 0.9), line("unchanged_wall", 7.0, 1000)]).write_csv(path)
    table = merged(judged([line("lookup_s", 0.4)]), path, "part")
    found = {row["measure"]: (row["value"], row["verdict"]) for row in table.iter_rows(named=True)}
    assert found == {"lookup_s": (0.4, "met"), "unchanged_wall": (7.0, "met")}
