"""Small studies to be killed, starved of disk and locked out, and what their results must be afterwards."""

import contextlib
import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import duckdb
import pytest
from keys import own_key

EVERY = 4  # of the demo's rows, one site and one band, so that the runs stay short
CONFIG = """
study: twin-valleys
logs: [{files: logs/bay_*.csv, site: bay, ball: premium, air: {altitude_m: 12, temp_c: 18}}]
bands: {centres: [90]}
flags: {min_shots: 6}
flight: {coefficients: smits-smith-1994}
"""
PART = ".part-"
LIMIT_S = 300


@dataclass(frozen=True)
class Small:
    """A small study in a folder of its own, run there by the real workflow."""

    root: Path
    folder: Path

    @property
    def results(self):
        return self.folder / "results/twin-valleys"

    @property
    def lock(self):
        return self.folder / ".snakemake/yardband/twin-valleys.lock"

    def make(self):
        (self.folder / "study/logs").mkdir(parents=True)
        (self.folder / "study/study.yaml").write_text(CONFIG, encoding="utf-8")
        own_key(self.folder / "study")  # the results of all such studies shall be the same
        for source in sorted((self.root / "data_demo/logs").glob("bay_2026q[12].csv")):
            header, *rows = source.read_text(encoding="utf-8").splitlines(keepends=True)
            target = self.folder / "study/logs" / source.name
            target.write_text("".join([header, *rows[::EVERY]]), encoding="utf-8")
        return self

    def command(self):
        where = ["-s", str(self.root / "Snakefile"), "--directory", str(self.folder)]
        return [sys.executable, "-m", "snakemake", "--cores", "2", *where, "--config", "study=study"]

    def run(self):
        """Run to the end, plainly."""
        return subprocess.run(
            self.command(), capture_output=True, text=True, env=self.environment(), check=False, timeout=LIMIT_S
        )

    def environment(self):
        return os.environ | {"PYTHONPATH": str(self.root)}

    @contextlib.contextmanager
    def started(self):
        """Start a run in a process group of its own; whatever is left of the group is killed in the end."""
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        with subprocess.Popen(self.command(), env=self.environment(), start_new_session=True, **quiet) as process:
            try:
                yield process
            finally:
                kill_group(process)

    def parts(self):
        return [path for path in self.folder.rglob("*") if PART in path.name]


def kill_group(process):
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)


def without_place(path):
    """Read a file; of run.json without where the study folder was."""
    if path.name != "run.json":
        return path.read_bytes()
    told = json.loads(path.read_text(encoding="utf-8"))
    assert told.pop("folder")
    return json.dumps(told, sort_keys=True).encode()


def contents(results):
    """Digest every finished file; of a database its tables, since DuckDB lays out pages as it likes."""
    files = [path for path in sorted(results.rglob("*")) if path.is_file() and PART not in str(path)]
    return {
        path.relative_to(results).as_posix(): rows_of(path) if path.suffix == ".duckdb" else digest(without_place(path))
        for path in files
    }


def digest(content):
    return hashlib.sha256(content).hexdigest()


def rows_of(database):
    with duckdb.connect(str(database), read_only=True) as connection:
        names = sorted(name for (name,) in connection.sql("SELECT table_name FROM duckdb_tables()").fetchall())
        return {name: digest(connection.sql(f'FROM "{name}" ORDER BY ALL').pl().write_csv().encode()) for name in names}


def half_made(found, expected):
    """List finished files that are not what an undisturbed run makes."""
    return [name for name, content in found.items() if expected.get(name) != content]


def kill_and_go_on(study, expected, moments_s, *, orphans=False):
    """Start a study and kill it at each of the moments, then run it to the end; give how many files each kill found.

    With `orphans`, the last kill ends Snakemake alone, so that its steps live on beside the last run.
    """
    found = []
    for number, moment_s in enumerate(moments_s, 1):
        with study.started() as process:
            try:
                process.wait(moment_s)
            except subprocess.TimeoutExpired:
                alone = orphans and number == len(moments_s)
                if alone:
                    process.kill()
                else:
                    kill_group(process)
                process.wait()
                made = contents(study.results)
                assert half_made(made, expected) == []
                found.append(len(made))
                if alone:
                    run_to_the_end(study)
            else:
                assert process.returncode == 0
                break
    run_to_the_end(study)
    return found


def run_to_the_end(study):
    done = study.run()
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr


@contextlib.contextmanager
def mounted(place, *arguments):
    """Mount at `place` while the block runs; the test is skipped where mounting isn't allowed."""
    place.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(["mount", *arguments, str(place)], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip("mounting needs the rights of root, which this run of the tests lacks")
    try:
        yield
    finally:
        for _ in range(20):
            if subprocess.run(["umount", str(place)], capture_output=True, check=False).returncode == 0:
                break
            time.sleep(0.5)
        else:
            raise OSError(f"{place} stays mounted")
