"""A study that grows by a quarter: the new fit is compared with the kept one, and the old one stays usable."""

import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pytest

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.statistics.arrays import plain_values

TEXT = "model/comparison.md"
EVERY = 4  # of the demo's rows, one site and one band, so that the runs stay short
CONFIG = """
study: twin-valleys
logs: [{files: logs/bay_*.csv, site: bay, ball: premium, air: {altitude_m: 12, temp_c: 18}}]
bands: {centres: [90]}
flags: {min_shots: 6}
flight: {coefficients: smits-smith-1994}
"""


@dataclass(frozen=True)
class Told:
    """What a run left and said, copied before the next one."""

    text: str
    bands: pl.DataFrame
    kept: list[str]
    jobs: list[str]
    said: str


def thin(source, target, rename=0):
    """Copy every fourth row of a log; the first `rename` of them come from a device that is new to the study."""
    header, *rows = source.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = rows[::EVERY]
    renamed = [row.replace("unit-A", "unit-C") for row in kept[:rename]]
    target.write_text("".join([header, *renamed, *kept[rename:]]), encoding="utf-8")


@dataclass(frozen=True)
class Study:
    """A small study and the folder in which it runs."""

    root: Path
    folder: Path

    @property
    def results(self):
        return self.folder / "results/twin-valleys"

    def run(self, *arguments, model=None):
        command = [sys.executable, "-m", "snakemake", "--cores", "2", "-s", str(self.root / "Snakefile")]
        config = ["study=study", *([f"model={model}"] if model else [])]
        return subprocess.run(
            [*command, "--directory", str(self.folder), *arguments, "--config", *config],
            capture_output=True,
            text=True,
            env=os.environ | {"PYTHONPATH": str(self.root)},
            check=False,
            timeout=300,
        )

    def told(self, *arguments, model=None):
        done = self.run(*arguments, model=model)
        assert done.returncode == 0, done.stderr
        lines = [line for line in done.stderr.splitlines() if line.startswith("Finished jobid")]
        bands = pl.read_csv(self.results / "benchmarks/bands.csv", infer_schema_length=None)
        kept = sorted(path.name for path in (self.results / "model/kept").iterdir())
        jobs = [line.split("Rule: ")[1].rstrip(")") for line in lines]
        return Told((self.results / TEXT).read_text(encoding="utf-8"), bands, kept, jobs, done.stderr)


@pytest.fixture(scope="module")
def study(root, tmp_path_factory):
    folder = tmp_path_factory.mktemp("refit")
    (folder / "study/logs").mkdir(parents=True)
    (folder / "study/study.yaml").write_text(CONFIG, encoding="utf-8")
    shutil.copytree(root / "data_demo/private", folder / "study/private")
    for source in (root / "data_demo/logs").glob("bay_2026q[12].csv"):
        thin(source, folder / "study/logs" / source.name)
    return Study(root, folder)


@pytest.fixture(scope="module")
def first(study):
    return study.told(f"results/twin-valleys/{TEXT}")


@pytest.fixture(scope="module")
def grown(study, first):
    assert len(first.kept) == 1
    log = "logs/bay_2026q3.csv"
    thin(study.root / "data_demo" / log, study.folder / "study" / log, rename=100)
    return study.told(f"results/twin-valleys/{TEXT}")


@pytest.fixture(scope="module")
def judged(study, first, grown):
    """The grown study, judged by its first model."""
    assert grown.kept
    return study.told(model=first.kept[0])


def test_the_first_fit_is_adopted(study, first):
    (name,) = first.kept
    assert f"# Model {name} of the study twin-valleys" in first.text
    assert "This is the study's first model" in first.text
    record = json.loads((study.results / "model/kept" / name / "record.json").read_text(encoding="utf-8"))
    assert (record["number"], record["parent"], record["verdict"]) == (1, None, "first")
    assert record["data"]["quarters"] == ["2026Q1", "2026Q2"]
    assert record["settings"]["seed"] == 1


def test_a_refit_is_held_against_the_kept_model(study, first, grown):
    (old,) = first.kept
    verdict = json.loads((study.results / "model/verdict.json").read_text(encoding="utf-8"))
    # Both are the same simulated golfers' drives: the new fit is no worse and rests on more golfers.
    assert (verdict["parent"], verdict["verdict"]) == (old, "adopt")
    assert grown.kept == sorted([old, verdict["id"]])
    assert f"compared with {old}" in grown.text
    assert re.search(r"The old model has no term for device unit-C \(\d+ drives\)", grown.text)
    record = json.loads((study.results / "model/kept" / verdict["id"] / "record.json").read_text(encoding="utf-8"))
    assert (record["number"], record["parent"]) == (2, old)
    assert record["data"]["quarters"] == ["2026Q1", "2026Q2", "2026Q3"]


def test_the_kept_model_rebuilds_the_benchmarks_without_a_fit(first, grown, judged):
    assert not {"fit_model", "calibrate_flight", "keep_model"} & set(judged.jobs)
    assert {"standardise_shots", "build_bands", "assess_golfers", "write_report"} <= set(judged.jobs)
    # The quarters of the first run read as they did then; by the newest fit they don't.
    quarters = pl.col("quarter") != "2026Q3"
    assert first.bands.height == 2
    # Their intervals may move a little: how far the surface's form and devices' readings may be off follows from the
    # drives as they are now.
    ends = ["efficient_lo90_yd", "efficient_hi90_yd"]
    assert judged.bands.filter(quarters).drop(ends).equals(first.bands.drop(ends))
    for end in ends:
        moved = judged.bands.filter(quarters)[end] - first.bands[end]
        assert moved.abs().max() < 0.1
    assert not grown.bands.filter(quarters).equals(first.bands)
    assert judged.bands.filter(~quarters).height == grown.bands.filter(~quarters).height > 0


def test_the_run_says_which_model_it_judged_by(study, first, judged):
    (old,) = first.kept
    run = json.loads((study.results / "run.json").read_text(encoding="utf-8"))["model"]
    assert (run["id"], run["kept"]) == (old, True)
    assert run["file"] == f"results/twin-valleys/model/kept/{old}/model.json"
    summary = (study.results / "summary.txt").read_text(encoding="utf-8")
    assert f"  {old}, a kept model: " in summary
    assert "golfers, 2026Q1, 2026Q2.\n" in summary
    lacking = r"It has no term for device unit-C \(\d+ drives\) and takes it for its own reference device\."
    assert re.search(lacking, summary)
    assert re.search(lacking, judged.said)
    page = (study.results / "report/academy.html").read_text(encoding="utf-8")
    assert "quarters 2026Q1, 2026Q2" in page


@pytest.mark.usefixtures("judged")
def test_a_lookup_reads_the_kept_model_and_its_flight(study, first):
    kept = study.results / "model/kept" / first.kept[0]
    found = read_results(study.results, Asked())
    model, place = found.model, found.place
    assert plain_values(model) == json.loads((kept / "model.json").read_text(encoding="utf-8"))["model"]
    calibration = json.loads((kept / "calibration.json").read_text(encoding="utf-8"))["calibration"]
    assert place.ball.drag == calibration["drag"]


@pytest.mark.usefixtures("judged")
def test_a_second_run_by_the_kept_model_does_nothing(study, first):
    assert "Nothing to be done" in study.run(model=first.kept[0]).stderr


def test_an_unknown_model_is_refused_with_those_that_exist(study, grown):
    done = study.run(model="k123")
    assert done.returncode != 0
    assert "model=k123: " in done.stderr
    assert "holds no model of this id; there are " in done.stderr
    assert all(name in done.stderr for name in grown.kept)
    assert "Traceback" not in done.stderr


@pytest.mark.usefixtures("judged")
def test_going_back_and_forcing_the_comparison_changes_nothing(study, grown):
    again = study.told(f"results/twin-valleys/{TEXT}", "--forcerun", "keep_model")
    assert "keep_model" in again.jobs
    assert (again.text, again.kept) == (grown.text, grown.kept)
    assert again.bands.equals(grown.bands)
    assert "Nothing to be done" in study.run(f"results/twin-valleys/{TEXT}").stderr
