"""What a change redoes, what a refused log does, and that a run's bytes don't depend on cores or on time."""

import hashlib
import os
import re
import shutil
import subprocess
import sys

import polars as pl
import pytest
from faults import contents, without_place


def jobs(stderr):
    """Names of the jobs that ran, from Snakemake's own log."""
    lines = [line for line in stderr.splitlines() if line.startswith("Finished jobid")]
    return sorted(line.split("Rule: ")[1].rstrip(")") for line in lines)


# Snakemake that counts what it starts to look again later, for which a process waits at its end.
COUNTING = """
import sys, threading
from snakemake.cli import main
started = []
class Counted(threading.Timer):
    def __init__(self, *given):
        started.append(given)
        super().__init__(*given)
threading.Timer = Counted
try:
    main(sys.argv[1:])
finally:
    print("timers:", len(started))
"""

AFTER_A_LOG = [
    "advise_delivery", "all", "assess_golfers", "assess_landing", "assess_practice", "assess_progress",
    "assess_straightness", "build_bands", "calibrate_flight", "collect_logs", "compare_devices",
    "compare_models", "draw_figures", "draw_maps", "fit_model", "keep_model", "load_shots", "plan_goals",
    "plan_practice", "standardise_shots", "summarise_run", "write_card", "write_database", "write_diagnostics",
    "write_intervals", "write_lookup", "write_methods", "write_report", "write_workbook",
]  # fmt: skip


def digests(folder):
    """Digest every file but the database, whose pages DuckDB lays out as it likes; of run.json what isn't a place."""
    files = [p for p in folder.rglob("*") if p.is_file() and p.suffix != ".duckdb"]
    return {p.relative_to(folder).as_posix(): hashlib.sha256(without_place(p)).hexdigest() for p in files}


def planned(done):
    """Names of the jobs that a dry run would run."""
    return sorted(set(re.findall(r"^(\w+) +1$", done.stdout, flags=re.MULTILINE)))


def test_a_changed_log_redoes_only_what_depends_on_it(copied, snakemake):
    study, folder = copied
    log = study / "logs/bay_2026q3.csv"
    text = log.read_text(encoding="utf-8")
    log.write_text(text + text.splitlines()[1].replace("2026-07", "2026-08") + "\n", encoding="utf-8")
    assert planned(snakemake(folder, "--dry-run", study="study")) == AFTER_A_LOG


@pytest.mark.parametrize("time_s", [1_600_000_000, 1_700_000_000], ids=["older", "the same"])
def test_a_restored_log_is_collected_again_whatever_its_time(copied, snakemake, time_s):
    study, folder = copied
    log = study / "logs/bay_2026q3.csv"
    lines = log.read_text(encoding="utf-8").splitlines(keepends=True)
    log.write_text("".join(lines[:-40]), encoding="utf-8")
    os.utime(log, (time_s, time_s))
    assert planned(snakemake(folder, "--dry-run", study="study")) == AFTER_A_LOG


def test_a_restored_key_makes_every_pseudonym_again(copied, snakemake):
    study, folder = copied
    key = study / "private/pseudonym.key"
    mark, digits = key.read_text(encoding="utf-8").splitlines()
    key.write_text(f"{mark}\n{digits[::-1]}\n", encoding="utf-8")
    os.utime(key, (1_600_000_000, 1_600_000_000))
    assert planned(snakemake(folder, "--dry-run", study="study")) == sorted([*AFTER_A_LOG, "collect_swings"])


def test_what_nothing_touched_is_not_made_again(copied, snakemake):
    _, folder = copied
    assert planned(snakemake(folder, "--dry-run", study="study")) == []


def test_a_run_ends_with_its_last_job(copied, root):
    _, folder = copied
    where = ["-s", str(root / "Snakefile"), "--directory", str(folder), "--workflow-profile"]
    end = [str(root / "profiles/default"), "--config", "study=study"]
    arguments = ["--cores", "1", "--force", "write_workbook", *where, *end]
    environment = os.environ | {"PYTHONPATH": str(root)}
    done = subprocess.run(
        [sys.executable, "-c", COUNTING, *arguments], env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert jobs(done.stderr) == ["write_workbook"]
    assert done.stdout.splitlines()[-1] == "timers: 0"


@pytest.mark.bench  # a whole run
def test_a_bad_log_stops_nothing_and_changes_no_figure(copied, snakemake):
    study, folder = copied
    before = digests(folder / "results/twin-valleys")
    (study / "logs/bay_broken.csv").write_bytes(b"")
    run = snakemake(folder, study="study")
    assert run.returncode == 0, run.stderr
    assert jobs(run.stderr) == AFTER_A_LOG
    assert "refused: logs/bay_broken.csv: " in run.stderr
    sources = pl.read_csv(folder / "results/twin-valleys/sources.csv")
    assert sources.filter(source="logs/bay_broken.csv").select("status", "rows").row(0) == ("refused", 0)
    after = digests(folder / "results/twin-valleys")
    same = ["golfers/golfers.csv", "benchmarks/bands.csv", "model/coefficients.csv", "figures/losses.svg"]
    assert [after[name] for name in same] == [before[name] for name in same]


@pytest.mark.bench  # a third run of the demo
def test_one_core_and_another_day_give_the_same_bytes(demo, aged):
    assert digests(aged.results) == digests(demo.results)


def test_a_touched_threshold_does_not_fit_again(copied, snakemake):
    study, folder = copied
    config = study / "study.yaml"
    config.write_text(config.read_text(encoding="utf-8") + "flags: {lost_yd: 14}\n", encoding="utf-8")
    found = planned(snakemake(folder, "--dry-run", study="study"))
    assert not {"fit_model", "build_bands"} & set(found)
    assert "assess_golfers" in found


def test_a_touched_log_is_collected_again_with_the_small_logs_beside_it(copied, snakemake):
    study, folder = copied
    (study / "logs/fell_2026q2.csv").touch()
    planned = snakemake(folder, "--dry-run", study="study")
    told = [line.split(": ")[1] for line in planned.stdout.splitlines() if "Collect " in line]
    assert told == ["Collect 6 small logs"]


COLLECTED = "logs/twin-valleys/collect_logs/small/1-of-1.log"


@pytest.fixture(scope="module")
def first_collected(tmp_path_factory, snakemake, root, keyed):
    """The demo's logs but for one, collected and loaded."""
    folder = tmp_path_factory.mktemp("collected")
    shutil.copytree(root / "data_demo", folder / "study")
    keyed(folder / "study")
    (folder / "study/logs/bay_2026q3.csv").unlink()
    assert snakemake(folder, "load_shots", study="study").returncode == 0
    return folder


def test_only_logs_that_changed_are_read_and_nobody_can_tell(first_collected, tmp_path, snakemake, root):
    again, fresh = tmp_path / "again", tmp_path / "fresh"
    shutil.copytree(first_collected, again)
    logs = again / "study/logs"
    shutil.copy(root / "data_demo/logs/bay_2026q3.csv", logs)
    lines = (logs / "fell_2026q1.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (logs / "fell_2026q1.csv").write_text("".join(lines[:-20]), encoding="utf-8")
    (logs / "bay_2026q1.csv").unlink()
    shutil.copytree(again / "study", fresh / "study")

    for folder in (again, fresh):
        run = snakemake(folder, "load_shots", study="study")
        assert run.returncode == 0, run.stderr
        assert jobs(run.stderr) == ["collect_logs", "load_shots"]

    said, from_nothing = ((folder / COLLECTED).read_text(encoding="utf-8").splitlines() for folder in (again, fresh))
    assert said == ["Read 2 of 5 logs; the others haven't changed.", *from_nothing]
    assert contents(again / "results") == contents(fresh / "results")


def test_a_study_without_a_key_is_refused_politely(copied, snakemake):
    study, folder = copied
    shutil.rmtree(folder / "results")
    (study / "private/pseudonym.key").unlink()
    run = snakemake(folder, study="study")
    assert run.returncode != 0
    assert "yardband key" in run.stderr
    assert "Traceback" not in run.stderr
    assert not (folder / "results").exists()


@pytest.mark.bench
def test_the_databases_hold_the_same_rows_on_one_core_and_on_two(demo, aged):
    one, two = (contents(run.results) for run in (aged, demo))
    assert set(one["shots.duckdb"]) == {
        "shots", "rejects", "sources", "devices", "golfers", "bands", "held_out", "straightness", "straightness_bands",
    }  # fmt: skip
    assert one == two
