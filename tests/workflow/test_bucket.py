"""Results in a bucket, as docs/cluster.md has it: the bytes of a run on one machine, and runs that go on from it.

The server of S3 runs here, on this machine's own address. Nothing is sent elsewhere.
"""

import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass

import pytest
from bucket_server import KEYS, Bucket, served_bucket
from faults import Small, contents

NAME, PREFIX = "hill-academy", "benchmarks/2026"
BESIDE = f"{PREFIX}/results/twin-valleys"
LOCAL = {"run.json", "summary.txt", "flight/calibration.json", "flight/tables.npz", "model/efficient.npz"}
LOCAL |= {"flight/grids.npz", "model/compared.npz", "collected/small/1-of-1.known.npz"}
LOCAL |= {f"model/{name}" for name in ("coefficients.csv", "frontier.json", "model.json", "scores.csv", "verdict.json")}
LIMIT_S = 900
NEWER = "bay_2026q3.csv"

pytestmark = pytest.mark.bench


def printed(root):
    """Give the options that docs/cluster.md prints for results in a bucket."""
    text = (root / "docs/cluster.md").read_text(encoding="utf-8").replace("\\\n", " ")
    [line] = re.findall(r"^\S*snakemake (.*--default-storage-provider s3.*)$", text, flags=re.MULTILINE)
    return line.replace("BUCKET/PREFIX", f"{NAME}/{PREFIX}").replace("study=STUDY", "study=study")


@dataclass(frozen=True)
class BucketStudy(Small):
    """A small study whose results go to a bucket."""

    bucket: Bucket

    def command(self):
        where = ["-s", str(self.root / "Snakefile"), "--directory", str(self.folder)]
        here = ["--storage-s3-endpoint-url", self.bucket.address]
        return [sys.executable, "-m", "snakemake", *where, *here, *shlex.split(printed(self.root))]

    def environment(self):
        return super().environment() | KEYS

    def found(self, folder):
        """Digest what is in the bucket and what is here, as `contents` does."""
        self.bucket.fetch(BESIDE, folder)
        return contents(folder), contents(self.results)


def add_log(study):
    """Give a study the next quarter's log."""
    header, *rows = (study.root / "data_demo/logs" / NEWER).read_text(encoding="utf-8").splitlines(keepends=True)
    (study.folder / "study/logs" / NEWER).write_text("".join([header, *rows[::4]]), encoding="utf-8")


def ran(study, *options):
    command = [*study.command(), *options]
    return subprocess.run(
        command, capture_output=True, text=True, env=study.environment(), check=False, timeout=LIMIT_S
    )


@pytest.fixture(scope="module")
def bucket():
    with served_bucket(NAME) as bucket:
        yield bucket


@pytest.fixture(scope="module")
def pair(root, bucket, tmp_path_factory):
    """The same study run here and into a bucket, under one key; gives both and what the run into the bucket said."""
    here = Small(root, tmp_path_factory.mktemp("here")).make()
    kept = BucketStudy(root, tmp_path_factory.mktemp("bucket"), bucket)
    shutil.copytree(here.folder / "study", kept.folder / "study")
    done = ran(here)
    assert done.returncode == 0, done.stderr
    done = ran(kept)
    assert done.returncode == 0, done.stderr
    return here, kept, done


@pytest.fixture(scope="module")
def again(pair):
    """What a second run said, with nothing changed."""
    return ran(pair[1])


@pytest.fixture(scope="module")
def after_a_log(pair, again):  # noqa: ARG001 - after it
    """What both runs said after a new log."""
    said = []
    for study in pair[:2]:
        add_log(study)
        said.append(ran(study))
        assert said[-1].returncode == 0, said[-1].stderr
    return said


def same(pair, folder):
    here, kept, _ = pair
    expected = contents(here.results)
    there, local = kept.found(folder)
    models = {name for name in local if name.startswith("model/kept/")}
    assert set(local) - {"flight/in_use/tables.npz"} == LOCAL | models
    assert len(models) >= 9
    assert {"shots.duckdb", "report/academy.html", "benchmarks/bands.csv"} <= set(there)
    assert set(there) | set(local) == set(expected)
    assert [name for name in expected if (there | local)[name] != expected[name]] == []


def test_the_bytes_are_those_of_a_run_on_one_machine(pair, tmp_path):
    same(pair, tmp_path)


def test_the_summary_is_shown_with_the_paths_of_such_a_run(pair):
    here, _, done = pair
    summary = (here.results / "summary.txt").read_text(encoding="utf-8")
    assert "Open results/twin-valleys/report/academy.html" in summary
    assert summary in done.stderr


def test_the_key_and_the_logs_stay_here(pair, again, bucket):  # noqa: ARG001 - before the new log
    names = bucket.names()
    assert f"{BESIDE}/benchmarks/bands.csv" in names
    assert [name for name in names if not name.startswith((f"{BESIDE}/", f"{PREFIX}/logs/"))] == []
    assert [name for name in names if name.endswith((".key", "study.yaml")) or "bay_" in name] == []


def test_no_result_is_left_in_the_copies(pair):
    storage = pair[1].folder / ".snakemake/storage"
    assert [path for path in storage.rglob("results/**/*") if path.is_file()] == []
    files = [path for path in storage.rglob("*") if path.is_file()]
    assert len(files) > 30  # what steps printed
    assert [path for path in files if path.stat().st_mode & 0o077] == []


def test_a_second_run_has_nothing_to_do(again):
    assert again.returncode == 0, again.stderr
    assert "Nothing to be done" in again.stdout + again.stderr


def test_a_new_log_is_compared_with_the_kept_model_and_the_bytes_are_the_same(pair, after_a_log, tmp_path):
    same(pair, tmp_path)
    for done in after_a_log:
        assert re.search(r"Compared the model k[0-9a-f]{12} with k[0-9a-f]{12}", done.stdout + done.stderr)


def test_a_pinned_model_is_found(pair, after_a_log, tmp_path):  # noqa: ARG001 - with two kept models
    for study in pair[:2]:
        oldest = sorted(
            (study.results / "model/kept").glob("k*"), key=lambda place: (place / "record.json").stat().st_mtime
        )[0]
        command = [sys.executable, "-m", "pipeline", "models", "study", "use", oldest.name]
        done = subprocess.run(
            command, cwd=study.folder, env=study.environment(), capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        done = ran(study)
        assert done.returncode == 0, done.stderr
    same(pair, tmp_path)


def test_a_failed_step_is_named_with_its_log(pair, after_a_log):  # noqa: ARG001 - at last
    study = pair[1]
    study.bucket.put(f"{BESIDE}/golfers/progress.csv", b"no,progress\n1,2\n")
    done = ran(study, "--forcerun", "write_report")
    assert done.returncode != 0
    logs = re.findall(r"See (\S+\.log) for what went wrong\.", done.stderr)
    [log] = [path for path in logs if path.endswith("write_report.log")]
    assert "valid Progress table" in (study.folder / log).read_text(encoding="utf-8")
