"""The target `sensitivity` on the demo: what isn't changed comes out as published."""

import shutil
from dataclasses import replace

import polars as pl
import pytest

from pipeline.benchmark.frontier import Frontier
from pipeline.edge.artefacts import read_artefact

pytestmark = pytest.mark.bench


@pytest.fixture(scope="module")
def asked(demo, snakemake, tmp_path_factory):
    """A copy of the demo's run, the target asked for there."""
    folder = tmp_path_factory.mktemp("asked") / "run"
    shutil.copytree(demo.folder, folder)
    run = snakemake(folder, "sensitivity")
    assert run.returncode == 0, run.stderr
    return replace(demo, folder=folder)


@pytest.fixture(scope="module")
def table(asked):
    return pl.read_csv(asked.results / "model/sensitivity.csv")


def test_the_base_is_the_published_study(demo, table):
    base = table.filter((pl.col("kind") == "base") & pl.col("band_mph").is_not_null())
    bands = pl.read_csv(demo.results / "benchmarks/bands.csv")
    bands = bands.filter(pl.col("quarter") == pl.col("quarter").max()).sort("band_mph")
    # bands.csv, which may be published, has whole yards; the frontier has them in full.
    frontier = read_artefact(demo.results / "model/frontier.json", Frontier)
    carry, low, high = (frontier.at(name, bands["band_mph"].to_numpy()) for name in ("carry_yd", "lo90_yd", "hi90_yd"))
    assert base["efficient_carry_yd"].to_list() == pytest.approx(carry, abs=1e-6)
    assert bands["efficient_carry_yd"].to_list() == pytest.approx(carry, abs=0.5 + 1e-6)
    for edge in ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm"):
        assert base[edge].to_list() == bands[edge].to_list()
    assert base["reach_yd"].to_list() == pytest.approx((high - low) / 2, abs=1e-9)
    whole = table.filter((pl.col("kind") == "base") & pl.col("band_mph").is_null()).row(0, named=True)
    assert whole["flagged"] == pl.read_csv(demo.results / "golfers/flagged.csv").height
    assert whole["drives"] == 9435


def test_every_choice_of_the_demo_is_tried(table):
    tried = dict(table.group_by("choice").agg(pl.col("scenario").n_unique()).iter_rows())
    alternatives = {"flight": 3, "device": 2, "quarter": 3, "candidate": 3, "least drives": 1, "curved drives": 1}
    assert tried == {"base": 1, **alternatives, "deliveries": 3, "strike": 2}
    assert table.filter(pl.col("move_yd").is_null() & pl.col("band_mph").is_not_null()).is_empty()


def test_the_page_is_there(asked):
    page = (asked.results / "model/sensitivity.html").read_text(encoding="utf-8")
    assert page.count("<h2>") == 5
    assert page.count("<img") == 3
