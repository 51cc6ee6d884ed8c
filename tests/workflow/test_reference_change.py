"""A study whose second quarter is mostly hit on another device: comparison.md says it, in words and numbers."""

import json
import os
import re

import forked
import numpy as np
import polars as pl
import pytest

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.published import BenchmarkRules, Publisher, published_at
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.fit.model import FittedModel
from pipeline.fit.resampled import ResampledFits
from pipeline.flight.standard import StudyTables
from pipeline.physics.turf import FIRMNESS

pytestmark = pytest.mark.bench

EVERY = 4  # of the demo's rows, one site and two bands, so that the runs stay short
READS = 0.98  # of carry, on unit-C
CONFIG = """
study: twin-valleys
logs: [{files: logs/bay_*.csv, site: bay, ball: premium, air: {altitude_m: 12, temp_c: 18}}]
bands: {centres: [85, 95]}
flags: {min_shots: 6}
flight: {coefficients: smits-smith-1994}
"""


def thin(source, target, on_c):
    """Copy every fourth row of a log, of which a share is read by unit-C, which reads carry 2 % short."""
    rows = pl.read_csv(source, infer_schema_length=None).gather_every(EVERY)
    other = (pl.int_range(pl.len()) % 10) < 10 * on_c
    read = [pl.when(other).then((pl.col(c) * READS).round(1)).otherwise(c).alias(c) for c in ("carry_yd", "total_yd")]
    rows.with_columns(*read, pl.when(other).then(pl.lit("unit-C")).otherwise("device").alias("device")).write_csv(
        target
    )


class Study:
    """A small study and the folder in which it runs."""

    def __init__(self, root, folder):
        self.root, self.folder, self.results = root, folder, folder / "results/twin-valleys"

    def call(self, *command):
        environment = os.environ | {"PYTHONPATH": str(self.root)}
        done = forked.run(["-m", *command], self.folder, environment, timeout_s=300)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def run(self):
        wanted = [f"results/twin-valleys/{name}" for name in ("model/comparison.md", "golfers/golfers.csv")]
        workflow = ("snakemake", "--cores", "2", "-s", str(self.root / "Snakefile"))
        self.call(*workflow, *wanted, "--config", "study=study")
        bands = pl.read_csv(self.results / "benchmarks/bands.csv", infer_schema_length=None)
        # In full: bands.csv, which may be published, has whole yards.
        full = read_artefact(self.results / "model/frontier.json", Frontier).at(
            "carry_yd", bands["band_mph"].to_numpy()
        )
        bands = bands.with_columns(pl.Series("efficient_carry_yd", full).fill_nan(None))
        golfers = pl.read_csv(self.results / "golfers/golfers.csv", infer_schema_length=None)
        return (self.results / "model/comparison.md").read_text(encoding="utf-8"), bands, golfers

    def kept(self):
        found = [json.loads(path.read_text(encoding="utf-8")) for path in self.results.glob("model/kept/*/record.json")]
        return sorted(found, key=lambda record: record["number"])


@pytest.fixture(scope="module")
def study(root, keyed, tmp_path_factory):
    folder = tmp_path_factory.mktemp("devices")
    (folder / "study/logs").mkdir(parents=True)
    (folder / "study/study.yaml").write_text(CONFIG, encoding="utf-8")
    keyed(folder / "study")
    return Study(root, folder)


@pytest.fixture(scope="module")
def first(study):
    thin(study.root / "data_demo/logs/bay_2026q1.csv", study.folder / "study/logs/bay_2026q1.csv", on_c=0.2)
    return study.run()


@pytest.fixture(scope="module")
def second(study, first):
    assert "This is the study's first model" in first[0]
    thin(study.root / "data_demo/logs/bay_2026q2.csv", study.folder / "study/logs/bay_2026q2.csv", on_c=0.9)
    return study.run()


def cells(text, heading):
    """Give the cells of the first table below a heading, by row."""
    lines = text.split(heading)[1].split("\n\n")
    table = next(block for block in lines if block.lstrip().startswith("| club speed"))
    return [[cell.strip() for cell in line.strip("| ").split(" | ")] for line in table.strip().splitlines()[2:]]


def test_the_text_says_which_device_and_how_much(second):
    text = second[0]
    assert "**The reference device changed from unit-A to unit-C**, where most drives now come from." in text
    share, lo, hi = (
        float(one)
        for one in re.search(
            r"Carry on unit-C against unit-A: (\S+) % \(90 % interval (\S+) to (\S+) %\), by the old model's own", text
        ).groups()
    )
    assert lo <= -2.0 <= hi
    assert abs(share + 2.0) < 1
    assert "**Readings are now compared with those of unit-C**, before with those of unit-A." in text
    assert "By itself, the change of reference device moves efficient carry by -" in text


def test_old_and_new_figures_are_those_that_were_published(first, second):
    efficient = [
        dict(table.select("band_mph", "efficient_carry_yd").unique().iter_rows()) for table in (first[1], second[1])
    ]
    rows = cells(second[0], "## Published figures")
    assert [row[0] for row in rows] == ["85 mph", "95 mph"]
    for speed, old, here, new, moved, by_reference, *others in rows:
        was, now = (figures[float(speed.split()[0])] for figures in efficient)
        assert abs(float(old) - was) <= 0.05 + 1e-9
        assert abs(float(new) - now) <= 0.05 + 1e-9
        parts = [float(by_reference), *(float(other.split(" ")[0]) for other in others)]
        assert round(sum(parts), 1) == float(moved) == pytest.approx(float(new) - float(old))
        assert float(here) - float(old) == pytest.approx(float(by_reference))
        assert float(by_reference) == pytest.approx(-0.02 * float(old), abs=2.0)


def test_a_kept_models_figures_are_recalculated_to_a_hundredth_of_a_yard(study, first, second):
    # After the second run, whose drives, flight and devices are others.
    assert second[0]
    record = study.kept()[0]
    place = study.results / "model/kept" / record["id"]
    found = Publisher(
        read_artefact(place / "model.json", FittedModel).model,
        ResampledFits(**read_arrays(place / "replicates.npz")),
        pl.read_parquet(place / "typical.parquet"),
        BenchmarkRules.of(record["settings"]),
    )
    roller = Roller(
        StudyTables.from_arrays(read_arrays(study.results / "flight/tables.npz")).standard, FIRMNESS["normal"]
    )
    again = published_at(found, np.array([85.0, 95.0]), roller)
    for name, column in (
        ("carry_yd", "efficient_carry_yd"),
        ("launch_lo_deg", "launch_lo_deg"),
        ("spin_hi_rpm", "spin_hi_rpm"),
    ):
        then = first[1].sort("band_mph").get_column(column).to_numpy()
        np.testing.assert_allclose(again.get_column(name).to_numpy(), then, atol=0.01)


def test_flags_by_the_new_model_are_those_of_the_run(study, second):
    text, _, golfers = second
    newest = golfers.filter(pl.col("quarter") == pl.col("quarter").max())
    verdict = json.loads((study.results / "model/verdict.json").read_text(encoding="utf-8"))
    assert verdict["verdict"] == "adopt"
    both, new_alone = re.search(r"(\d+) are flagged by both, .* alone, (\d+) by the new one alone\.", text).groups()
    assert int(both) + int(new_alone) == newest.filter(status="flagged").height
    assert f"golfers of {newest.item(0, 'quarter')} whom both models assess" in text


def test_two_kept_models_are_compared_in_the_same_words(study, second):
    old, new = (record["id"] for record in study.kept())
    told = study.call("pipeline", "models", "study", "compare", old, new)
    first, _, answer, *_ = told.splitlines()
    assert first == f"# Model {new} of the study twin-valleys, compared with {old}"
    assert answer.startswith(
        f"By the rule, the new model {new} would be adopted. Of what is published, efficient carry"
    )
    for heading in ("## Published figures", "## Golfers"):
        mine, run = (text.split(heading)[1].split("\n## ")[0] for text in (told, second[0]))
        assert mine == run
    back = study.call("pipeline", "models", "study", "compare", new, old)
    assert "**The reference device changed from unit-C to unit-A**" in back
    shares = [float(re.search(r"against unit-.: (\S+) %", text).group(1)) for text in (second[0], back)]
    assert shares[0] < 0 < shares[1]
