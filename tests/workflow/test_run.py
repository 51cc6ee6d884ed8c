"""`yardband run` with the real workflow, on a copy of a finished run of the demo."""

import fcntl
import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.bench
ROOT = Path(__file__).parents[2]
NOTHING = "Nothing has changed since the last run, so nothing was done again.\n"


def yardband(folder, *arguments):
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        check=False,
        timeout=600,
    )


def test_it_goes_on_where_the_snakemake_line_ended_and_tells_results_in_three_lines(copied):
    _, folder = copied

    again = yardband(folder, "run", "study", "--cores", "2")
    (folder / "results/twin-valleys/report/lookup.html").unlink()
    one_more = yardband(folder, "run", "study")

    assert (again.returncode, one_more.returncode) == (0, 0), again.stderr + one_more.stderr
    assert again.stderr.endswith(NOTHING)
    assert again.stdout == one_more.stdout
    flagged, better, where = again.stdout.splitlines()
    assert flagged.startswith("2026Q3: 78 of 82 golfers assessed")
    assert better.startswith("Progress: 77 golfers")
    assert where.startswith("Open results/twin-valleys/report/academy.html, or type: yardband open study.")
    assert (folder / "results/twin-valleys/report/lookup.html").is_file()
    assert "Write the coach's page" in one_more.stderr
    log = folder / "logs/twin-valleys/run.log"
    assert "Finished jobid" in log.read_text(encoding="utf-8")
    assert log.stat().st_mode & 0o777 == 0o600
    opened = yardband(folder, "open", "study")
    assert opened.stdout.strip() == str(folder / "results/twin-valleys/report/academy.html")


def test_a_failing_step_ends_in_its_sentence_without_frames_around_it(copied):
    study, folder = copied
    for log in (study / "logs").glob("*.csv"):
        log.write_text(log.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")

    run = yardband(folder, "run", "study")

    told = [line for line in run.stderr.splitlines() if " % done, " not in line]
    log = told[-1].removeprefix("See ").removesuffix(".")
    assert run.returncode == 2
    assert run.stdout == ""
    assert log.startswith("logs/twin-valleys/")
    assert told[:-1] == [line for line in (folder / log).read_text("utf-8").splitlines() if line in told]
    assert len(told) >= 2
    assert not {"RuleException:", "WorkflowError:"} & set(told)


def test_a_study_that_is_not_there_and_one_at_work_are_told_before_anything_starts(copied):
    _, folder = copied
    lock = folder / ".snakemake/yardband/twin-valleys.lock"

    nowhere = yardband(folder, "run", "nowhere")
    with lock.open("rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        at_work = yardband(folder, "run", "study")

    assert (nowhere.returncode, at_work.returncode) == (2, 2)
    assert nowhere.stderr.startswith("nowhere/study.yaml: there is no such file")
    assert at_work.stderr.startswith("results/twin-valleys: a run is at work on this study; wait until it has ended")
    assert not (folder / "logs/twin-valleys/run.log").exists()


@pytest.mark.parametrize("choice", [["--trial", "x y"], ["--model", "k0000000"], ["--trial", "a", "--model", "b"]])
def test_choices_are_checked_as_the_snakemake_line_checks_them(copied, choice):
    _, folder = copied

    run = yardband(folder, "run", "study", *choice)

    assert run.returncode == 2
    assert len(run.stderr.splitlines()) == 1
