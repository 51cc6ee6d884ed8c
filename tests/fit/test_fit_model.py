"""Each choice of a study changes of a fit's files what it should, and nothing else."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.configuration.study import Model
from pipeline.drives import Drives
from pipeline.edge.artefacts import read_artefact, write_artefact
from pipeline.fit import fit_model
from pipeline.fit.model import FittedModel
from pipeline.flight.calibrate import Calibration, StudyFlight

FILES = {
    "model": "model.json", "coefficients": "coefficients.csv", "scores": "scores.csv",
    "typical": "typical.parquet", "replicates": "replicates.npz", "held_out": "held_out.parquet",
}  # fmt: skip
AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
MOST_PASSES = 19  # over the drives, of a fit of two candidates; a large study pays seconds for each
MOST_READINGS = 6  # of the file, where drives are few enough to be kept
PLAIN = {"candidates": ["line", "quadratic"], "folds": 5, "replicates": 50}


@pytest.fixture(scope="module")
def fit(world_maker, tmp_path_factory):
    """Fit the drives of 40 golfers by some choices, once each; give the folder."""
    root, made = tmp_path_factory.mktemp("fits"), {}
    keys = {"source": pl.lit("a.csv"), "row": pl.int_range(1, pl.len() + 1), "curve_yd": pl.lit(None, pl.Float64)}
    world_maker(golfers=40).drives.with_columns(**keys).write_parquet(root / "drives.parquet")
    flight = Calibration("smits-smith-1994", 0.95, 1.0, None, None, [], 0, 0, None, None, "")
    write_artefact(root / "calibration.json", StudyFlight(flight, 1.46))

    def fitted(strike=0.75, **choices):
        key = json.dumps([strike, choices])
        if key not in made:
            made[key] = folder = root / str(len(made))
            folder.mkdir()
            fit_model.run(
                drives=str(root / "drives.parquet"),
                **{name: str(folder / file) for name, file in FILES.items()},
                calibration=str(root / "calibration.json"),
                study="hill",
                seed=1,
                air=AIR,
                choices=Model(**PLAIN | choices).model_dump(mode="json"),
                strike=strike,
                own=[],
            )
        return made[key]

    return fitted


def changed(one: Path, other: Path):
    return {name for name, file in FILES.items() if (one / file).read_bytes() != (other / file).read_bytes()}


def arrays_changed(one, other):
    with np.load(one / "replicates.npz") as a, np.load(other / "replicates.npz") as b:
        return {name for name in a.files if a[name].shape != b[name].shape or not np.array_equal(a[name], b[name])}


def test_folds_change_what_is_held_out_alone(fit):
    other = fit(folds=8)
    assert pl.read_parquet(other / "held_out.parquet")["fold"].n_unique() == 8
    one, another = (read_artefact(folder / "model.json", FittedModel).model for folder in (fit(), other))
    assert one.interval != another.interval
    # Sums over folds have other last digits.
    np.testing.assert_allclose(another.coefficients, one.coefficients, rtol=1e-9)
    assert one.usual == another.usual
    assert not changed(fit(), other) & {"typical"}
    assert (
        pl.read_csv(other / "scores.csv")["rmse_yd"].to_list() != pl.read_csv(fit() / "scores.csv")["rmse_yd"].to_list()
    )


def test_replicates_change_the_refits_and_what_rests_on_them(fit):
    other = fit(replicates=60)
    assert changed(fit(), other) <= {"replicates", "model", "coefficients"}
    assert "replicates" in changed(fit(), other)
    with np.load(fit() / "replicates.npz") as few, np.load(other / "replicates.npz") as many:
        assert (len(few["counts"]), len(many["counts"])) == (50, 60)
        np.testing.assert_array_equal(many["coefficients"][:50], few["coefficients"])


def test_the_strike_changes_the_efficient_ratio_alone(fit):
    other = fit(strike=0.9)
    assert changed(fit(), other) == {"model", "replicates"}
    assert arrays_changed(fit(), other) == {"better_ratio"}
    before, after = (json.loads((folder / "model.json").read_text())["model"] for folder in (fit(), other))
    assert {name for name in before if before[name] != after[name]} == {"usual"}
    usual = before["usual"], after["usual"]
    assert {name for name in usual[0] if usual[0][name] != usual[1][name]} == {"better_ratio", "strike"}


def test_a_forced_model_is_written_and_the_contests_is_told(fit, capsys):
    other = fit(choose="line")
    assert read_artefact(other / "model.json", FittedModel).model.surface.name == "line"
    assert read_artefact(fit() / "model.json", FittedModel).model.surface.name == "quadratic"
    scores = [pl.read_csv(folder / "scores.csv") for folder in (fit(), other)]
    assert scores[0].drop("chosen", "note").equals(scores[1].drop("chosen", "note"))
    assert scores[1].filter("chosen")["note"].to_list() == [
        "over club speed; named by the study; the contest would have chosen quadratic"
    ]
    said = capsys.readouterr().out
    assert "40 golfers: used line, as study.yaml says (the contest would have chosen quadratic), " in said


def test_candidates_that_are_not_named_do_not_compete(fit, capsys):
    other = fit(candidates=["quadratic"])
    assert pl.read_csv(other / "scores.csv")["model"].to_list() == ["quadratic"]
    assert "Fitting line" not in capsys.readouterr().out
    # The model is the same that wins against the line.
    assert changed(fit(), other) == {"coefficients", "scores"}


def test_a_study_that_says_nothing_has_the_defaults():
    assert Model().model_dump(mode="json") == {
        "candidates": ["line", "flight", "quadratic", "splines"], "formulas": {}, "own": [], "choose": None,
        "regressors": [], "folds": 10, "replicates": 200,
    }  # fmt: skip


@pytest.mark.parametrize(("most_kept", "most_passes"), [(0, MOST_PASSES), (fit_model.MOST_KEPT, MOST_READINGS)])
def test_a_fit_reads_its_drives_no_more_often_than_it_did(fit, monkeypatch, most_kept, most_passes):
    passes, opened = [], fit_model.open_drives

    def counting(*given, **also):
        drives = opened(*given, **also)

        def read():
            passes.append(1)
            return drives.read()

        return Drives(read)

    monkeypatch.setattr(fit_model, "open_drives", counting)
    monkeypatch.setattr(fit_model, "MOST_KEPT", most_kept)
    fit(replicates=51 + (most_kept > 0))  # of no other test, so it is made here
    assert 0 < len(passes) <= most_passes
