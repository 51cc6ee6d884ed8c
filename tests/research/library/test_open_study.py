import json
import shutil
import subprocess
import sys
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from frontiers import AIR

import pipeline
from pipeline.drives import typical_drives
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.files import write_parquet
from pipeline.errors import UserError
from pipeline.fit.kept import FILES, Record, keep
from pipeline.fit.model import Delivery, FittedModel, FittedOn
from pipeline.research.library.study import open_study
from pipeline.tables.logs import StudiedDrives


@pytest.fixture
def study(small_study):
    return open_study(small_study[0])


@pytest.fixture
def copy(small_study, tmp_path):
    return shutil.copytree(small_study[0], tmp_path / "copy")


def straight(training):
    slope = training["carry_reference_yd"].sum() / training["ball_speed_mph"].sum()
    return lambda held: slope * held["ball_speed_mph"]


def test_the_package_offers_the_library_and_loads_it_when_asked():
    code = (
        "import sys, pipeline; assert not {'polars', 'numpy', 'pydantic'} & set(sys.modules), sorted(sys.modules); "
        "assert set(pipeline.__all__) <= set(dir(pipeline)); "
        "from pipeline import Study, StudyModel, UserError, carry_in_air, open_study; print(open_study.__module__)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "pipeline.research.library.study\n"
    with pytest.raises(AttributeError, match="module 'pipeline' has no attribute 'open_studies'"):
        pipeline.open_studies  # noqa: B018


def test_a_study_says_what_it_is(study):
    assert repr(study) == "<Study hill-school: model k000000000abc of 2,100 drives of 80 golfers, 2026Q3>"
    assert study.settings["seed"] == 1


def test_drives_have_keys_readings_and_carry_in_every_sense(study, small_study):
    drives = study.drives()
    assert drives.columns == [*StudiedDrives.column_names(), "sand"]
    assert drives.height == 2400
    assert drives.select("source", "row").is_unique().all()
    assert drives["golfer"].dtype == pl.String
    assert drives["golfer"].is_sorted()
    assert drives["carry_measured_yd"].to_list() == (drives["carry_standard_yd"] + 1.0).to_list()
    model = small_study[1].model
    np.testing.assert_allclose(drives["carry_reference_yd"], model.reference_carry(drives), rtol=1e-14)
    on_b = drives["device"] == "unit-B"
    assert (drives["carry_standard_yd"] / drives["carry_reference_yd"]).filter(on_b).mean() == pytest.approx(
        1.03, abs=0.003
    )
    assert drives["curve_yd"].drop_nulls().unique().to_list() == [4.5]
    ratio = drives["ball_speed_mph"] / drives["club_speed_mph"]
    assert drives["speed_ratio"].equals(ratio, null_equal=True)


def test_drives_can_be_read_lazily(study):
    count = study.scan().filter(pl.col("device") == "unit-B").select(pl.len()).collect().item()
    assert count == study.drives().filter(pl.col("device") == "unit-B").height > 100


def test_predictions_held_out_have_the_keys_of_drives_and_folds_are_by_golfer(study):
    held, drives = study.held_out(), study.drives()
    assert held.height == drives["ball_speed_mph"].is_not_null().sum() == 2100
    joined = drives.join(held, on=["source", "row", "golfer"], validate="1:1")
    assert joined.height == held.height
    folds = study.folds()
    assert (folds.height, folds["golfer"].n_unique(), folds["fold"].n_unique()) == (80, 80, 10)


def test_the_model_predicts_as_the_fit(study, small_study):
    drives = study.drives().drop_nulls("ball_speed_mph")
    found = study.model.predict(drives)
    model = small_study[1].model
    np.testing.assert_allclose(found["expected_yd"], model.expected(Delivery.of(drives)), rtol=1e-12)
    assert set(found["known"]) == {"ball_speed+launch+spin"}
    inside = ((found["carry_reference_yd"] >= found["lo_yd"]) & (found["carry_reference_yd"] <= found["hi_yd"])).mean()
    assert inside == pytest.approx(0.9, abs=0.02)


@pytest.mark.parametrize("known", [{}, {"ball_speed_mph": [135.0], "launch_deg": [14.0], "spin_rpm": [2600.0]}])
def test_intervals_of_the_models_own_level_follow_from_golfers_held_out_too(study, known):
    drive = {"club_speed_mph": [92.0]} | known
    own, near, wide = (study.model.predict(drive, level).row(0, named=True) for level in (0.9, 0.9 + 1e-12, 0.99))
    assert (own["lo_yd"], own["hi_yd"]) == pytest.approx((near["lo_yd"], near["hi_yd"]), rel=1e-9)
    assert wide["lo_yd"] < own["lo_yd"] < own["expected_yd"] < own["hi_yd"] < wide["hi_yd"]


def test_the_models_own_predictions_held_out_are_scored_as_in_the_contest(study, small_study):
    chosen = small_study[1].scores.filter("chosen").row(0, named=True)
    own, model = study.score(straight).to_dicts()
    for name in ("rmse_yd", "rmse_std_error_yd", "mae_yd", "bias_yd"):
        assert model[name] == pytest.approx(chosen[name], rel=1e-12)
    assert own["difference_yd"] == pytest.approx(own["rmse_yd"] - model["rmse_yd"])
    assert own["difference_yd"] > 4 * own["difference_std_error_yd"] > 0
    some = study.score(straight, among=pl.col("attack_deg").is_not_null())
    assert some["drives"].to_list() == [study.drives().drop_nulls(["attack_deg", "ball_speed_mph"]).height] * 2


def test_other_results_are_those_of_their_files(study, small_study):
    assert study.bands()["band_mph"].to_list() == [90.0]
    assert study.golfers().height == 1
    assert study.straightness()["status"].to_list() == ["not_assessed"]
    assert study.straightness_bands()["band_mph"].to_list() == [100.0]
    assert study.sources()["source"].to_list() == ["logs/a.csv"]
    assert study.coefficients().equals(pl.DataFrame(small_study[1].coefficients))
    assert study.frontier.speed_mph[0] == 75.0
    assert study.kept().is_empty()
    with pytest.raises(UserError, match=r"k1: .*model/kept holds no model of this id; none is kept yet\."):
        study.kept_model("k1")


def test_flight_is_by_the_studys_ball_in_its_standard_air(study):
    assert (study.ball.coefficients, study.ball.drag, study.ball.lift) == ("lyu-2018", 0.95, 1.02)
    drive = (150, 12, 2500)
    assert study.carry_in_air(*drive) == pipeline.carry_in_air(*drive, ball=study.ball, temp_c=20)
    high = study.carry_in_air(*drive, altitude_m=1500)
    assert high == pipeline.carry_in_air(*drive, ball=study.ball, temp_c=20, altitude_m=1500)
    assert study.carry_in_air(*drive, ball="lyu-2018") == pipeline.carry_in_air(*drive, ball="lyu-2018", temp_c=20)


def keep_model(copy, fitted, name, number):
    """Keep a model as a run does."""
    fit = copy / "fit"
    write_artefact(fit / "model.json", FittedModel("hill-school", fitted, FittedOn(600 * number, 80, ("2026Q3",))))
    drives = pl.read_parquet(copy / "collected/drives.parquet")
    write_parquet(fit / "typical.parquet", typical_drives(drives, ["golfer"]))
    for file in (copy / "flight/calibration.json", copy / "model/coefficients.csv"):
        shutil.copy(file, fit)
    for file in ("scores.csv", "card.md", "replicates.npz", "calibrations.csv"):
        (fit / file).write_text("", encoding="utf-8")
    record = {
        "id": name, "number": number, "parent": None, "verdict": "adopt", "settings": {"air": AIR}, "versions": {},
        "data": {"fingerprint": "f", "quarters": ["2026Q3"], "drives": 600 * number, "golfers": 80},
    }  # fmt: skip
    keep(copy / "model/kept", Record.model_validate(record), {one: str(fit / file) for one, file in FILES.items()})


def test_kept_models_are_listed_predict_and_are_compared(copy, small_study):
    old, new = "k00000000000b", "k000000000abc"
    fitted = small_study[1].model
    longer = replace(fitted, coefficients=fitted.coefficients + np.eye(len(fitted.coefficients))[0] * 2.5)
    keep_model(copy, longer, new, 2)
    keep_model(copy, fitted, old, 1)
    study = open_study(copy)

    listed = study.kept().select("id", "number", "drives", "quarters", "in_use").rows()
    assert listed == [(old, 1, 600, "2026Q3", False), (new, 2, 1200, "2026Q3", True)]
    drive = {"club_speed_mph": [95.0], "launch_deg": [14.0]}
    before, after = (study.kept_model(one).predict(drive).row(0, named=True) for one in (old, new))
    assert before == study.model.predict(drive).row(0, named=True)
    assert after["expected_yd"] - before["expected_yd"] == pytest.approx(2.5)
    moved = study.compare(old, new).filter(drive="usual")
    assert moved["speed_mph"].to_list() == study.frontier.speed_mph.tolist()
    assert moved["moved_yd"].to_list() == pytest.approx([2.5] * moved.height)


# --- what can't be opened


def test_a_folder_that_is_not_there_or_no_results_is_told(tmp_path):
    with pytest.raises(UserError, match=r"nowhere: there is no such folder; give a study's folder below results/\."):
        open_study(tmp_path / "nowhere")
    with pytest.raises(UserError, match=r"holds no run\.json, so it isn't the results of a finished run"):
        open_study(tmp_path)


@pytest.mark.parametrize("file", ["run.json", "model/frontier.json", "collected/drives.parquet", "model/model.json"])
def test_a_missing_file_is_told(copy, file):
    (copy / file).unlink()
    with pytest.raises(UserError, match=file):
        open_study(copy)


def test_results_of_another_version_are_told(copy):
    held = pl.read_parquet(copy / "model/held_out.parquet")
    held.drop("source", "row").write_parquet(copy / "model/held_out.parquet")
    with pytest.raises(UserError, match=r"held_out\.parquet: was written by another version of Yardband"):
        open_study(copy).folds()
    model = json.loads((copy / "model/model.json").read_text(encoding="utf-8"))
    del model["model"]["usual"]
    (copy / "model/model.json").write_text(json.dumps(model), encoding="utf-8")
    with pytest.raises(UserError, match=r"model\.json: isn't what the workflow writes there \(at model\.usual\)"):
        open_study(copy)
    (copy / "run.json").write_text("[]", encoding="utf-8")
    with pytest.raises(
        UserError, match=r"run\.json: was written by another version of Yardband; run snakemake again\."
    ):
        open_study(copy)


def test_a_model_without_predictions_held_out_says_so(copy):
    (copy / "model/held_out.parquet").unlink()
    study = open_study(copy)
    assert study.model.predict({"club_speed_mph": [90]})["lo_yd"].null_count() == 0
    with pytest.raises(UserError, match=r"held_out\.parquet: is missing; a kept model comes without it"):
        study.folds()
