"""A run that is killed, out of room, locked out or met by another one ends plainly, and then goes on to the same bytes.

Kills, full disks and the like are tried on a small study; the long tests try more of them (`pytest -m long
tests/workflow/test_faults.py`).
"""

import contextlib
import errno
import json
import random
import shutil
import subprocess
import sys
import time

import duckdb
import psutil
import pytest
from faults import PART, Small, contents, half_made, kill_and_go_on, kill_group, mounted, run_to_the_end

from pipeline.edge.database import read_distinct, write_shots
from pipeline.edge.files import check_room, start_run, whole
from pipeline.ending import BAD_INPUT, OWN_FAULT, told
from pipeline.errors import UserError
from pipeline.tables.devices import Devices
from pipeline.tables.logs import Sources
from pipeline.tables.table_set import TableSet

NO_ROOM = "there is no room left to write"
FORKED = "pipeline.running.forked_steps"
FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.fixture(scope="module")
def undisturbed(root, tmp_path_factory):
    """A small study that ran without a fault, what it holds, and how long it took."""
    study = Small(root, tmp_path_factory.mktemp("undisturbed")).make()
    start = time.monotonic()
    run_to_the_end(study)
    return study, contents(study.results), time.monotonic() - start


@pytest.fixture
def small(root, tmp_path):
    return Small(root, tmp_path / "small").make()


@pytest.mark.long
def test_what_three_killed_runs_began_a_plain_one_ends(small, undisturbed):
    _, expected, length_s = undisturbed
    draws = random.Random(6)
    found = kill_and_go_on(small, expected, [draws.uniform(0.2, 0.5) * length_s for _ in range(3)])
    assert found
    assert max(found) > 0
    assert contents(small.results) == expected
    assert small.parts() == []


@pytest.mark.long
def test_what_sixty_killed_runs_began_plain_ones_end(root, tmp_path, undisturbed):
    _, expected, length_s = undisturbed
    draws = random.Random(60)
    found = []
    studies = 0
    while len(found) < 60:
        study = Small(root, tmp_path / str(studies)).make()
        moments_s = [draws.uniform(0, 0.5) * length_s for _ in range(min(6, 60 - len(found)))]
        found += kill_and_go_on(study, expected, moments_s, orphans=studies % 3 == 2)
        assert contents(study.results) == expected
        assert study.parts() == []
        shutil.rmtree(study.folder)
        studies += 1
    print(f"{len(found)} kills in {studies} studies of {length_s:.0f} s; files each found: {sorted(found)}")
    assert len(set(found)) > 5


@pytest.mark.long
def test_without_the_process_that_steps_are_forked_from_the_next_run_goes_on(small, undisturbed):
    _, expected, length_s = undisturbed
    with small.started() as process:
        time.sleep(0.4 * length_s)
        [forking] = [one for one in psutil.Process(process.pid).children() if FORKED in one.cmdline()]
        forking.kill()
        process.wait(10 * length_s)
    assert half_made(contents(small.results), expected) == []
    run_to_the_end(small)
    assert contents(small.results) == expected
    assert small.parts() == []


def starve(small, expected, first_kb, growth):
    """Run on a disk of `first_kb`, which grows after each failure; give how often it was full."""
    failures = 0
    size_kb = first_kb
    place = small.folder / "results"
    with mounted(place, "-t", "tmpfs", "-o", f"size={size_kb:.0f}k", "tmpfs"):
        while (done := small.run()).returncode != 0:
            failures += 1
            assert NO_ROOM in done.stderr
            assert "Traceback" not in done.stderr
            assert "a fault of its own" not in done.stderr
            assert half_made(contents(small.results), expected) == []
            assert small.parts() == []
            size_kb *= growth
            subprocess.run(["mount", "-o", f"remount,size={size_kb:.0f}k", str(place)], check=True)
        assert contents(small.results) == expected
    return failures


@pytest.mark.long
def test_a_full_disk_is_told_and_the_run_goes_on_when_there_is_room(small, undisturbed):
    assert starve(small, undisturbed[1], 1000, 30) == 1


@pytest.mark.long
def test_a_disk_that_fills_again_and_again(small, undisturbed):
    failures = starve(small, undisturbed[1], 150, 1.3)
    print(f"the disk was full {failures} times")
    assert failures >= 10


def fill(path):
    with path.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(bytes(4096))


def test_a_disk_that_leaves_snakemake_no_room_is_told_before_the_run(root, tmp_path):
    with mounted(tmp_path / "disk", "-t", "tmpfs", "-o", "size=1200k", "tmpfs"):
        study = Small(root, tmp_path / "disk/small").make()
        fill(study.folder / "ballast")
        done = study.run()
        assert done.returncode != 0
        assert f"results/twin-valleys: {NO_ROOM} on its disk; make room and start again." in done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.long
def test_a_database_on_a_full_disk_is_refused_whole(tmp_path, small, undisturbed):
    # DuckDB alone would close without a word, and leave the rows in a second file.
    collected = undisturbed[0].results / "collected"
    paths = {kind: sorted(map(str, collected.rglob(f"*.{kind}.*"))) for kind in ("shots", "rejects", "receipts")}
    disk = tmp_path / "disk"
    with mounted(disk, "-t", "tmpfs", "-o", "size=400k", "tmpfs"):
        files = {"shots": paths["shots"], "rejects": paths["rejects"], "receipts": paths["receipts"]}
        files |= {"database": str(disk / "a.duckdb"), "rejects_csv": str(disk / "r"), "sources_csv": str(disk / "s")}
        done = subprocess.run(
            [sys.executable, "-m", "pipeline.step", "load_shots", json.dumps(files)],
            capture_output=True,
            text=True,
            env=small.environment(),
            check=False,
        )
        assert done.returncode == BAD_INPUT
        assert done.stderr.startswith(f"{disk / 'a.duckdb'}: {NO_ROOM}")
        assert not [path for path in disk.iterdir() if path.name.startswith((PART, "a.duckdb"))]


@pytest.mark.long
def test_the_database_for_queries_on_a_full_disk_is_refused_whole(tmp_path, undisturbed):
    disk, collected = tmp_path / "disk", undisturbed[0].results / "collected"
    loaded = collected / "loaded.duckdb"
    added = read_distinct(loaded, ("device", "ball")).with_columns(added_share=0.0)
    told = TableSet({one: one.create_empty() for one in (Sources, Devices)})
    with mounted(disk, "-t", "tmpfs", "-o", "size=400k", "tmpfs"):
        with pytest.raises(UserError, match=NO_ROOM):
            write_shots(loaded, collected / "drives.parquet", added, told, disk / "a.duckdb")
        assert list(disk.iterdir()) == []


@pytest.mark.long
def test_results_that_are_read_only_are_told_and_kept(root, tmp_path, undisturbed):
    before, expected, _ = undisturbed
    study = Small(root, tmp_path / "copy")
    shutil.copytree(before.folder, study.folder)
    (study.results / "summary.txt").unlink()
    place = study.folder / "results"
    with mounted(place, "--bind", str(place)):
        subprocess.run(["mount", "-o", "remount,ro,bind", str(place)], check=True)
        done = study.run()
    assert done.returncode != 0
    assert "results/twin-valleys: can't be written; make results/twin-valleys writable and start again." in done.stderr
    assert "Traceback" not in done.stderr
    assert contents(study.results) == {name: one for name, one in expected.items() if name != "summary.txt"}
    run_to_the_end(study)
    assert contents(study.results) == expected


def test_a_second_run_on_a_study_at_work_is_refused(small):
    with small.started() as first:
        deadline = time.monotonic() + 120
        while not small.lock.exists() and time.monotonic() < deadline:
            time.sleep(0.1)
        second = small.run()
        assert first.poll() is None
    assert second.returncode != 0
    sentence = "results/twin-valleys: another run is at work on this study; wait until it has ended, then start again."
    assert sentence in second.stderr
    assert "Traceback" not in second.stderr
    assert "Finished jobid" not in second.stderr


HOLDER = """
import sys, time
from pathlib import Path
from pipeline.edge.files import start_run, whole
start_run(Path("results"), Path("lock"))
with whole(Path("results/a.csv")) as part:
    part.write_text("half of it")
    print("ready", flush=True)
    time.sleep(20)
"""


def test_a_killed_write_leaves_no_file_and_no_lock(small, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    results, lock = tmp_path / "results", tmp_path / "lock"
    command = [sys.executable, "-c", HOLDER]
    with subprocess.Popen(command, stdout=subprocess.PIPE, env=small.environment(), start_new_session=True) as holder:
        assert holder.stdout.readline() == b"ready\n"
        with pytest.raises(UserError, match="another run is at work on this study"):
            start_run(results, lock)
        assert [path.name[: len(PART)] for path in results.iterdir()] == [PART]
        kill_group(holder)
    start_run(results, lock)
    assert list(results.iterdir()) == []


def test_what_a_killed_run_left_is_cleared_and_nothing_else(tmp_path):
    results = tmp_path / "results"
    for name in ("model/kept/.part-1/k1/model.json", "model/kept/k1/model.json", ".part-2.duckdb.wal", "a.csv"):
        (results / name).parent.mkdir(parents=True, exist_ok=True)
        (results / name).write_text("x", encoding="utf-8")
    start_run(results, tmp_path / "locks/one")
    left = sorted(path.relative_to(results).as_posix() for path in results.rglob("*"))
    assert left == ["a.csv", "model", "model/kept", "model/kept/k1", "model/kept/k1/model.json"]


def test_a_failed_write_keeps_the_old_file_and_removes_what_lies_beside_the_new(tmp_path):
    path = tmp_path / "a.duckdb"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(ZeroDivisionError):
        write_half(path)
    assert [(one.name, one.read_text(encoding="utf-8")) for one in tmp_path.iterdir()] == [("a.duckdb", "old")]


def write_half(path):
    with whole(path) as part:
        part.write_text("new", encoding="utf-8")
        part.with_name(part.name + ".wal").write_text("more", encoding="utf-8")
        raise ZeroDivisionError


def caused_by(cause):
    outer = ValueError("of a library")
    outer.__cause__ = cause
    return outer


@pytest.mark.parametrize("error", [FULL, caused_by(FULL), duckdb.IOException("x.tmp: No space left on device")])
def test_no_room_is_told_as_such_whoever_says_it(tmp_path, capsys, error):
    with told("in the step s") as outcome, whole(tmp_path / "a.csv"):
        raise error
    assert outcome.status == BAD_INPUT
    assert capsys.readouterr().err.startswith(f"{tmp_path / 'a.csv'}: {NO_ROOM}")

    with told("in the step s") as outcome:
        raise error
    assert outcome.status == BAD_INPUT
    assert capsys.readouterr().err.startswith(f"In the step s: {NO_ROOM}")


def test_other_errors_stay_faults_of_our_own(tmp_path, capsys):
    with told("in the step s") as outcome, whole(tmp_path / "a.csv"):
        raise OSError(errno.EIO, "a disk that fails")
    assert outcome.status == OWN_FAULT
    assert "fault of its own in the step s (OSError)" in capsys.readouterr().err


def test_a_place_with_room_passes_and_a_full_one_does_not(tmp_path):
    check_room(tmp_path / "not/yet/there")
    with mounted(tmp_path / "disk", "-t", "tmpfs", "-o", "size=100k", "tmpfs"), pytest.raises(UserError, match=NO_ROOM):
        check_room(tmp_path / "disk/results")
