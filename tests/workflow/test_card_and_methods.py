"""The demo's card and methods text say what its tables and files say."""

import json
import re

import numpy as np
import polars as pl
import pytest
from by_hand import Splined, carry_by_hand, fly_itself

from pipeline.edge.artefacts import read_artefact
from pipeline.fit.model import FittedModel
from pipeline.shown import by_error


@pytest.fixture(scope="module")
def model(demo):
    return demo.results / "model"


@pytest.fixture(scope="module")
def verdict(model):
    return json.loads((model / "verdict.json").read_text(encoding="utf-8"))


def read(path):
    return pl.read_csv(path, infer_schema_length=None)


def test_carry_can_be_calculated_from_the_card_and_the_coefficients(model):
    card, rows = ((model / name).read_text(encoding="utf-8") for name in ("card.md", "coefficients.csv"))
    fitted = read_artefact(model / "model.json", FittedModel).model
    splined = Splined(card)
    for drive in ((105.0, 16.0, 3200.0), (132.7, 14.8, 2938.0), (165.0, 11.0, 2300.0)):
        expected = float(fitted.carry(*(np.array([value]) for value in drive))[0])
        assert carry_by_hand(card, rows, drive, flown=splined) == pytest.approx(expected, abs=0.01)
        # Each drive flown itself: the card says how far that is from the model's splines.
        most = float(re.search(r"and to (\S+) yd at the worst of them", card).group(1))
        assert carry_by_hand(card, rows, drive, flown=fly_itself) == pytest.approx(expected, abs=most)
        assert most < 1.5
    drive, expected = re.search(r"A drive of (.*?), is expected to carry (\S+) yd", card).groups()
    numbers = [float(one) for one in re.findall(r"[\d.]+(?= mph| deg| rpm)", drive)]
    assert carry_by_hand(card, rows, numbers, flown=splined) == pytest.approx(float(expected), abs=0.01)


def test_card_and_methods_name_the_fit(model, verdict):
    assert f"\nModel {verdict['id']}. Carry in yards" in (model / "card.md").read_text(encoding="utf-8")
    assert f"The fit {verdict['id']} used" in (model / "methods.md").read_text(encoding="utf-8")
    kept = model / "kept" / verdict["id"] / "card.md"
    assert kept.read_bytes() == (model / "card.md").read_bytes()


def test_the_methods_text_has_the_numbers_of_the_run(model, demo):
    text = (model / "methods.md").read_text(encoding="utf-8")
    sources, golfers = read(demo.results / "sources.csv"), read(demo.results / "golfers/golfers.csv")
    newest = golfers.filter(pl.col("quarter") == golfers["quarter"].max())
    run = json.loads((demo.results / "run.json").read_text(encoding="utf-8"))
    scores = {row["model"]: row for row in read(model / "scores.csv").to_dicts()}
    flight = run["calibration"]["calibration"]
    said = [
        f"{sources['accepted'].sum():,} drives of {golfers['golfer'].n_unique()} golfers were analyzed",
        f"Of {sources['rows'].sum():,} rows, {sources['rejected'].sum()} were rejected",
        f"; {sources['duplicates'].sum()} were duplicates.",
        f"of {newest.height} golfers could be assessed; {newest['flagged'].sum()} were flagged.",
        f"drag {by_error(flight['drag'], flight['drag_std_error'])} ± ",
        f"lift {by_error(flight['lift'], flight['lift_std_error'])} ± ",
        f"({run['code']})",
        f"polars {run['versions']['polars']}",
    ]
    said += [f"{name} {by_error(row['rmse_yd'], row['rmse_std_error_yd'])} ± " for name, row in scores.items()]
    # bands.csv, which may be published, has whole yards.
    for row in read(demo.results / "benchmarks/bands.csv").filter(quarter="2026Q3").to_dicts():
        [[carry, low, high]] = re.findall(rf"([\d.]+) \(([\d.]+) to ([\d.]+)\) at {row['band_mph']:g} mph", text)
        assert float(carry) == pytest.approx(row["efficient_carry_yd"], abs=0.551)
        assert float(low) == pytest.approx(row["efficient_lo90_yd"], abs=0.551)
        assert float(high) == pytest.approx(row["efficient_hi90_yd"], abs=0.551)
    assert [one for one in said if one not in text] == []
