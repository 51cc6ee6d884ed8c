"""A study that grows by a quarter: the new fit is compared with the kept one, and the old one stays usable."""

import hashlib
import json
import os
import re
from dataclasses import dataclass
from pathlib import Path

import forked
import polars as pl
import pytest

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.statistics.arrays import plain_values

pytestmark = pytest.mark.bench

TEXT = "model/comparison.md"
SUMMARY = "summary.txt"
APART = {"by-model", "trials"}
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


def stamps(folder):
    """Give the bytes' digest and the time of each file of the study's own results."""
    files = [path for path in folder.rglob("*") if path.is_file() and not APART & set(path.parts)]
    return {path: (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns) for path in files}


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

    def target(self, name):
        return f"results/twin-valleys/{name}"

    def run(self, *arguments, **config):
        command = ["-m", "snakemake", "--cores", "2", "-s", str(self.root / "Snakefile")]
        given = ["study=study", *(f"{name}={value}" for name, value in config.items())]
        return self._done([*command, "--directory", str(self.folder), *arguments, "--config", *given])

    def models(self, *arguments):
        return self._done(["-m", "pipeline", "models", "study", *arguments])

    def _done(self, command):
        return forked.run(command, self.folder, os.environ | {"PYTHONPATH": str(self.root)}, timeout_s=300)

    def told(self, *arguments, place=".", **config):
        done = self.run(*arguments, **config)
        assert done.returncode == 0, done.stderr
        lines = [line for line in done.stderr.splitlines() if line.startswith("Finished jobid")]
        bands = pl.read_csv(self.results / place / "benchmarks/bands.csv", infer_schema_length=None)
        kept = sorted(path.name for path in (self.results / "model/kept").iterdir() if path.is_dir())
        jobs = [line.split("Rule: ")[1].rstrip(")") for line in lines]
        return Told((self.results / TEXT).read_text(encoding="utf-8"), bands, kept, jobs, done.stderr)


@pytest.fixture(scope="module")
def study(root, keyed, tmp_path_factory):
    folder = tmp_path_factory.mktemp("refit")
    (folder / "study/logs").mkdir(parents=True)
    (folder / "study/study.yaml").write_text(CONFIG, encoding="utf-8")
    keyed(folder / "study")
    for source in (root / "data_demo/logs").glob("bay_2026q[12].csv"):
        thin(source, folder / "study/logs" / source.name)
    return Study(root, folder)


@pytest.fixture(scope="module")
def first(study):
    return study.told(study.target(TEXT))


@pytest.fixture(scope="module")
def grown(study, first):
    assert len(first.kept) == 1
    log = "logs/bay_2026q3.csv"
    thin(study.root / "data_demo" / log, study.folder / "study" / log, rename=100)
    return study.told(study.target(TEXT))


@pytest.fixture(scope="module")
def judged(study, first, grown):
    """A look at the grown study by its first model, and what the study's own results were before and after."""
    assert grown.kept
    before = stamps(study.results)
    (name,) = first.kept
    told = study.told(model=name, place=f"by-model/{name}")
    return told, before, stamps(study.results)


@pytest.fixture(scope="module")
def by_model(study, first):
    return study.results / "by-model" / first.kept[0]


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
    look = judged[0]
    assert not {"fit_model", "calibrate_flight", "keep_model", "collect_logs"} & set(look.jobs)
    assert {"standardise_shots", "build_bands", "assess_golfers", "write_report"} <= set(look.jobs)
    # The quarters of the first run read as they did then; by the newest fit they don't.
    quarters = pl.col("quarter") != "2026Q3"
    assert first.bands.height == 2
    # Their intervals may move a little: how far the surface's form and devices' readings may be off follows from the
    # drives as they are now.
    ends = ["efficient_lo90_yd", "efficient_hi90_yd"]
    assert look.bands.filter(quarters).drop(ends).equals(first.bands.drop(ends))
    for end in ends:
        moved = look.bands.filter(quarters)[end] - first.bands[end]
        assert moved.abs().max() < 0.1
    assert not grown.bands.filter(quarters).equals(first.bands)
    assert look.bands.filter(~quarters).height == grown.bands.filter(~quarters).height > 0


def test_a_look_leaves_the_studys_own_results_alone(judged):
    _, before, after = judged
    assert len(before) > 30
    assert after == before


def test_the_look_says_which_model_it_judged_by(first, judged, by_model):
    (old,) = first.kept
    run = json.loads((by_model / "run.json").read_text(encoding="utf-8"))["model"]
    assert (run["id"], run["kept"], run["why"], run["newest"]) == (old, True, "asked", None)
    assert run["file"] == f"results/twin-valleys/model/kept/{old}/model.json"
    assert run["drives"] == f"results/twin-valleys/by-model/{old}/collected/drives.parquet"
    summary = (by_model / "summary.txt").read_text(encoding="utf-8")
    assert f"  {old}, a kept model, named for this look: " in summary
    assert "golfers, 2026Q1, 2026Q2.\n" in summary
    lacking = r"It has no term for device unit-C \(\d+ drives\) and takes it for its own reference device\."
    assert re.search(lacking, summary)
    assert re.search(lacking, judged[0].said)
    page = (by_model / "report/academy.html").read_text(encoding="utf-8")
    assert f"In use: {old}, a kept model, named for this look" in page
    assert "quarters 2026Q1, 2026Q2" in page


@pytest.mark.usefixtures("judged")
def test_a_lookup_reads_the_kept_model_and_its_flight(study, first, by_model):
    kept = study.results / "model/kept" / first.kept[0]
    found = read_results(by_model, Asked())
    model, place = found.model, found.place
    assert plain_values(model) == json.loads((kept / "model.json").read_text(encoding="utf-8"))["model"]
    calibration = json.loads((kept / "calibration.json").read_text(encoding="utf-8"))["calibration"]
    assert place.ball.drag == calibration["drag"]


@pytest.mark.usefixtures("judged")
def test_a_second_look_by_the_kept_model_does_nothing(study, first):
    assert "Nothing to be done" in study.run(model=first.kept[0]).stderr


def test_an_unknown_model_is_refused_with_those_that_exist(study, grown):
    done = study.run(model="k123")
    assert done.returncode != 0
    assert "model=k123: " in done.stderr
    assert "holds no model of this id; there are " in done.stderr
    assert all(name in done.stderr for name in grown.kept)
    assert "Traceback" not in done.stderr


def test_a_model_and_a_trial_together_are_refused(study, first):
    done = study.run(model=first.kept[0], trial="few")
    assert done.returncode != 0
    assert "a trial makes a fit of its own; leave one of the two out" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.usefixtures("judged")
def test_after_a_look_and_forcing_the_verdict_nothing_has_changed(study, grown):
    assert "Nothing to be done" in study.run(study.target(TEXT)).stderr
    again = study.told(study.target(TEXT), "--forcerun", "keep_model")
    assert "keep_model" in again.jobs
    assert (again.text, again.kept) == (grown.text, grown.kept)
    assert again.bands.equals(grown.bands)
    assert "Nothing to be done" in study.run(study.target(TEXT)).stderr


def test_the_kept_models_grids_and_efficient_carry_are_those_of_the_runs_before(study, first, grown):
    def said():
        return (study.folder / "logs/twin-valleys/compare_models.log").read_text(encoding="utf-8")

    (old,) = first.kept
    (new,) = set(grown.kept) - {old}
    taken = f"Efficient carry by {old} is taken from the last comparison."
    assert taken in said()
    assert f"Efficient carry by {new} is taken from this run." in said()
    for name in ("flight/grids.npz", "model/compared.npz"):
        (study.results / name).unlink()
    again = study.told(study.target(TEXT), "--forcerun", "keep_model", "compare_models")
    assert {"keep_model", "compare_models"} <= set(again.jobs)
    assert taken not in said()
    assert again.text == grown.text


# --- a fit that is refused, and what people decide: the tests below stand in the order in which they run


@pytest.fixture(scope="module")
def trial(study, grown):
    """A fit of the newest quarter alone, as a trial: no other study has its logs away."""
    assert grown.kept
    own = {path: stamp for path, stamp in stamps(study.results).items() if "small" not in path.parts}
    away = study.folder / "away"
    away.mkdir()
    for quarter in "12":
        (study.folder / f"study/logs/bay_2026q{quarter}.csv").rename(away / f"bay_2026q{quarter}.csv")
    done = study.run(study.target("trials/one/model/scores.csv"), trial="one")
    assert done.returncode == 0, done.stderr
    return own, stamps(study.results)


@pytest.fixture(scope="module")
def refused(study, grown, trial):
    """The study with its newest quarter alone, which has fewer golfers than the model before."""
    assert trial
    told = study.told(study.target(SUMMARY), study.target(TEXT))
    (name,) = set(told.kept) - set(grown.kept)
    return name, told


@pytest.mark.bench
def test_a_trial_enters_no_lineage(study, grown, trial):
    before, after = trial
    assert {path: after[path] for path in before} == before
    folder = study.results / "trials/one"
    assert (folder / "model/scores.csv").is_file()
    assert sorted(path.name for path in (study.results / "model/kept").iterdir()) == grown.kept
    assert not {path.name for path in folder.rglob("*")} & {"verdict.json", "comparison.md", "kept"}


@pytest.mark.bench
def test_a_refused_fit_is_kept_but_the_model_before_it_stays_in_use(study, grown, refused):
    name, told = refused
    used = json.loads((study.results / "model/verdict.json").read_text(encoding="utf-8"))["parent"]
    record = json.loads((study.results / "model/kept" / name / "record.json").read_text(encoding="utf-8"))
    assert (record["number"], record["parent"], record["verdict"]) == (3, used, "keep")
    assert "the new model rests on" in record["reasons"][1]
    assert f"**Keep the old model {used}**" in told.text
    # Its quarter reads as it did by the same model when the other quarters were there.
    ends = ["efficient_lo90_yd", "efficient_hi90_yd"]
    assert told.bands.drop(ends).equals(grown.bands.filter(quarter="2026Q3").drop(ends))
    summary = (study.results / SUMMARY).read_text(encoding="utf-8")
    assert f"  {used}, the newest adopted model: " in summary
    assert f"The newest fit, {name}, isn't used: it is refused by the comparison; see model/comparison.md." in summary
    run = json.loads((study.results / "run.json").read_text(encoding="utf-8"))["model"]
    assert (run["id"], run["why"], run["newest"], run["verdict"]) == (used, "refused", name, "keep")
    assert run["drives"] == "results/twin-valleys/collected/in_use/drives.parquet"
    assert f"In use: {used}, the newest adopted model" in (study.results / "report/academy.html").read_text("utf-8")
    assert "Nothing to be done" in study.run(study.target(SUMMARY), study.target(TEXT)).stderr


@pytest.mark.bench
def test_a_kept_model_moves_drives_by_its_own_calibration(study, refused):
    assert refused
    own, in_use = (pl.read_parquet(study.results / "collected" / place / "drives.parquet") for place in (".", "in_use"))
    assert own["carry_measured_yd"].equals(in_use["carry_measured_yd"])
    assert not own["carry_standard_yd"].equals(in_use["carry_standard_yd"])
    newest = json.loads((study.results / "flight/calibration.json").read_text(encoding="utf-8"))
    assert own["flown_yd"].null_count() == in_use["flown_yd"].null_count()
    assert newest["calibration"]


@pytest.mark.bench
def test_a_person_adopts_the_refused_fit_and_nothing_is_fitted_again(study, refused):
    name, _ = refused
    done = study.models("adopt", name[:6], "--because", "the bays were closed")
    assert done.stdout == (
        f"{name}: adopted. Run snakemake again: golfers will be measured with {name}, the newest fit.\n"
    )
    told = study.told(study.target(SUMMARY))
    assert {"build_bands", "assess_golfers", "write_report"} <= set(told.jobs)
    again = {"fit_model", "keep_model", "calibrate_flight", "standardise_shots", "standardise_shots_in_use"}
    assert not again & set(told.jobs)
    assert f"  {name}, the newest fit: " in (study.results / SUMMARY).read_text(encoding="utf-8")


@pytest.mark.bench
def test_a_pinned_model_is_used_whatever_the_newest_fit(study, first, refused):
    assert refused
    (old,) = first.kept
    done = study.models("use", old, "--because", "one yardstick a year")
    assert done.stdout.startswith(f"{old}: pinned. Run snakemake again: golfers will be measured with {old}, which is")
    planned = study.run("-n", study.target(SUMMARY)).stdout
    jobs = set(re.findall(r"^(\w+) +1$", planned, flags=re.MULTILINE))
    assert {"standardise_shots_in_use", "build_bands", "summarise_run"} <= jobs
    assert not {"fit_model", "keep_model", "standardise_shots"} & jobs
    listed = json.loads(study.models("list", "--json").stdout)
    assert [(one["number"], one["pinned"], one["in_use"], one["next"]) for one in listed] == [
        (1, True, False, True),
        (2, False, False, False),
        (3, False, True, False),
    ]
    assert study.models("use", "newest").returncode == 0
    assert "Nothing to be done" in study.run(study.target(SUMMARY)).stderr
