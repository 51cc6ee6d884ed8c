import json
import shutil
from pathlib import Path

import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.benchmark.keep_model import read_fitted
from pipeline.drives import typical_drives
from pipeline.edge.artefacts import write_artefact
from pipeline.errors import UserError
from pipeline.fit.kept import (
    FILES,
    Data,
    Record,
    check_kept,
    choose_kept,
    find_kept,
    find_parent,
    keep,
    kept_files,
    lost_parent,
    model_id,
    package_versions,
    record_of,
    versions_changed,
)
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.ball import Ball

AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
FIRST, SECOND, THIRD = (f"k00000000000{digit}" for digit in "123")


def record(name, number=1, parent=None):
    data = Data(fingerprint="f" * 64, quarters=["2026Q1"], drives=600, golfers=20)
    settings = {"air": AIR, "coefficients": "best", "seed": 1}
    versions = {"numpy": "2.4"}
    return Record(
        id=name, number=number, parent=parent, verdict="adopt", data=data, settings=settings, versions=versions
    )


@pytest.fixture
def fit(tmp_path):
    folder = tmp_path / "fit"
    folder.mkdir()
    for name, file in FILES.items():
        (folder / file).write_text(f"{name}\n", encoding="utf-8")
    return {name: str(folder / file) for name, file in FILES.items()}


@pytest.fixture
def kept(tmp_path, fit):
    folder = tmp_path / "kept"
    # Written in an order that is neither that of the ids nor of the numbers.
    keep(folder, record(THIRD, 2, FIRST), fit)
    keep(folder, record(FIRST, 1), fit)
    return folder


def test_the_same_fit_has_the_same_id_and_another_one_another(fit, tmp_path):
    name = model_id(fit)
    elsewhere = {key: shutil.copy(path, tmp_path / f"copied-{key}") for key, path in fit.items()}
    assert model_id(elsewhere) == name
    for changed in ("model", "coefficients", "scores", "calibration"):
        (tmp_path / "changed").write_text("other", encoding="utf-8")
        assert model_id({**fit, changed: str(tmp_path / "changed")}) != name
    assert name[0] == "k"
    assert len(name) == 13


def test_a_kept_model_is_whole_and_reads_as_it_was(kept, fit):
    assert [one.id for one in find_kept(kept)] == [FIRST, THIRD]
    assert find_kept(kept)[1] == record(THIRD, 2, FIRST)
    for name, path in kept_files(kept, FIRST).items():
        if name != "record":
            assert Path(path).read_bytes() == Path(fit[name]).read_bytes()
    assert {path.name for path in kept.iterdir()} == {FIRST, THIRD}


def test_a_model_that_can_not_be_kept_whole_is_not_kept_at_all(kept, fit, tmp_path):
    with pytest.raises(FileNotFoundError):
        keep(kept, record(SECOND, 3, THIRD), {**fit, "replicates": str(tmp_path / "nowhere")})
    assert {path.name for path in kept.iterdir()} == {FIRST, THIRD}


def test_a_kept_model_is_never_overwritten(kept, fit):
    keep(kept, record(FIRST, 9, THIRD), fit)
    assert find_kept(kept)[0] == record(FIRST, 1)


def test_a_new_fit_is_held_against_the_newest_and_a_kept_one_against_its_parent(kept, tmp_path):
    assert find_parent(kept, SECOND) == THIRD
    assert find_parent(kept, THIRD) == FIRST
    assert find_parent(kept, FIRST) is None
    assert find_parent(tmp_path / "none", FIRST) is None
    shutil.rmtree(kept / FIRST)
    assert find_parent(kept, THIRD) is None


def test_the_record_of_the_next_model_has_the_next_number_and_the_versions_of_today(kept):
    one = record(SECOND)
    found = record_of(SECOND, THIRD, "adopt", one.data, one.settings, find_kept(kept))
    assert found == Record(**dict(one) | {"number": 3, "parent": THIRD, "versions": package_versions()})
    assert record_of(SECOND, None, "first", one.data, one.settings, []).number == 1
    assert versions_changed(found) == {}


def test_changed_and_new_packages_are_listed_with_both_versions():
    now = package_versions()
    then = {**now, "numpy": "1.0"}
    del then["scipy"]
    old = record(FIRST).model_copy(update={"versions": then})
    assert versions_changed(old) == {"numpy": ("1.0", now["numpy"]), "scipy": ("none", now["scipy"])}


def test_a_kept_fit_whose_parent_is_gone_still_names_it(kept):
    records = find_kept(kept)
    assert lost_parent(records, THIRD) == FIRST
    assert lost_parent(records, FIRST) is None
    assert lost_parent(records, SECOND) is None


def test_a_named_model_is_found(kept):
    assert choose_kept(kept, FIRST, AIR) == kept_files(kept, FIRST)


def test_an_unknown_id_names_those_that_exist(kept, tmp_path):
    with pytest.raises(UserError, match=rf"model=k1: .*kept holds no model of this id; there are {FIRST}, {THIRD}\."):
        choose_kept(kept, "k1", AIR)
    with pytest.raises(UserError, match="none is kept yet; run snakemake without model= first"):
        choose_kept(tmp_path / "none", FIRST, AIR)


def test_a_model_of_other_standard_conditions_is_refused(kept):
    with pytest.raises(UserError, match=r"conditions of 15 deg C, .* the study now has 25 deg C, .* set the key air"):
        choose_kept(kept, FIRST, AIR | {"temp_c": 25.0})


def test_a_damaged_kept_model_is_told(kept):
    (kept / FIRST / "record.json").write_text(json.dumps({"id": FIRST}), encoding="utf-8")
    with pytest.raises(UserError, match=r"record\.json: isn't the record of a kept model"):
        find_kept(kept)
    (kept / FIRST / "card.md").unlink()
    with pytest.raises(UserError, match=r"the kept model lacks card\.md; put the file back or remove"):
        find_kept(kept)


def test_a_fit_that_is_no_model_is_reported(fit):
    with pytest.raises(UserError, match=r"model\.json: can't be read as JSON; delete it and run the workflow again\.$"):
        read_fitted(fit, FIRST, AIR)


@pytest.fixture
def whole_fit(fit, world):
    found = fit_to(candidate_named("quadratic"), world.drives)
    write_artefact(fit["model"], FittedModel("hill", found.model, FittedOn(2400, 80, ("2026Q2", "2026Q3"))))
    calibration = Calibration("lyu-2018", 0.95, 1.02, None, None, [], 0, 0, None, None, "")
    write_artefact(fit["calibration"], StudyFlight(calibration, 1.46))
    terms = pl.DataFrame({"model": ["line", "quadratic", "quadratic"], "term": ["a", "b", "c"]})
    terms.write_csv(fit["coefficients"])
    typical_drives(world.drives, ["golfer"]).write_parquet(fit["typical"])
    return fit


def test_a_fit_is_read_with_the_terms_of_its_own_surface(whole_fit):
    found = read_fitted(whole_fit, FIRST, AIR)
    assert found.terms.get_column("term").to_list() == ["b", "c"]
    assert (found.quarters, found.golfers, found.drives) == (("2026Q2", "2026Q3"), 80, 2400)
    assert (found.calibration.ball, found.speed_ratio) == (Ball("lyu-2018", 0.95, 1.02), 1.46)
    assert found.typical.height == 80


@pytest.mark.parametrize("broken", ["coefficients", "typical"])
def test_a_fit_whose_tables_are_broken_is_reported(whole_fit, broken):
    Path(whole_fit[broken]).write_text("nothing\n", encoding="utf-8")
    with pytest.raises(UserError, match="the model can't be read; remove the folder and run snakemake again"):
        read_fitted(whole_fit, FIRST, AIR)


def test_kept_models_of_another_version_are_named_with_what_to_do(whole_fit, tmp_path):
    folder = tmp_path / "kept"
    for number, name in enumerate((FIRST, SECOND, THIRD), start=1):
        keep(folder, record(name, number), whole_fit)
    check_kept(folder)
    for name in (FIRST, THIRD):
        model = folder / name / "model.json"
        text = model.read_text(encoding="utf-8")
        # Earlier versions kept yards here, under a name of their own.
        model.write_text(text.replace('"offset_share"', '"offset_yd"'), encoding="utf-8")
        assert model.read_text(encoding="utf-8") != text
    with pytest.raises(UserError) as caught:
        check_kept(folder)
    assert str(caught.value) == (
        f"{folder}: this version of Yardband can't use {FIRST}, {THIRD} (kept by another version, or damaged); "
        "remove what is named and run again."
    )


def test_no_kept_model_is_fine(tmp_path):
    check_kept(tmp_path / "none")
