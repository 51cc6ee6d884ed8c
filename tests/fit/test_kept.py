import json
import shutil
from pathlib import Path

import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.drives import typical_drives
from pipeline.edge.artefacts import write_artefact
from pipeline.errors import UserError
from pipeline.fit.keep_model import form_of, read_fitted, read_kept
from pipeline.fit.kept import (
    DECISIONS,
    FILES,
    check_kept,
    check_pinned,
    choose_in_use,
    choose_kept,
    find_kept,
    keep,
    kept_files,
    model_id,
    model_in_use,
    package_versions,
    parent_files,
    read_decisions,
    record_of,
    versions_changed,
    write_decisions,
)
from pipeline.fit.lineage import Data, Decision, Decisions, Pin, Record
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.survey import Survey
from pipeline.fit.verdict import NEWEST, REFUSED, Choice, ModelVerdict
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


def test_a_kept_model_is_never_overwritten_but_for_its_verdict(kept, fit):
    Path(fit["card"]).write_text("another card", encoding="utf-8")
    before = (kept / FIRST / "record.json").stat().st_mtime_ns
    keep(kept, record(FIRST, 9, THIRD), fit)
    assert find_kept(kept)[0] == record(FIRST, 1)
    assert (kept / FIRST / "record.json").stat().st_mtime_ns == before
    judged = record(FIRST, 9, THIRD).model_copy(update={"verdict": "keep", "reasons": ["worse"]})
    keep(kept, judged, fit)
    assert find_kept(kept)[0] == record(FIRST, 1).model_copy(update={"verdict": "keep", "reasons": ["worse"]})
    assert (kept / FIRST / "card.md").read_text(encoding="utf-8") == "card\n"


def test_the_files_of_the_parent_are_those_of_the_newest_adopted_model(kept, fit):
    everything = sorted(kept_files(kept, THIRD).values())
    assert parent_files(kept, Decisions(), fit) == everything
    refused = Decisions(decided={THIRD: Decision(decision="refuse")})
    assert parent_files(kept, refused, fit) == sorted(kept_files(kept, FIRST).values())
    assert parent_files(kept / "none", Decisions(), fit) == []


def test_the_record_of_the_next_model_has_the_next_number_and_the_versions_of_today(kept):
    one = record(SECOND)
    judged = ModelVerdict(SECOND, THIRD, "keep", ("worse", "fewer"))
    found = record_of(judged, one.data, one.settings, find_kept(kept))
    now = {"number": 3, "parent": THIRD, "verdict": "keep", "reasons": ["worse", "fewer"]}
    assert found == Record(**dict(one) | now | {"versions": package_versions()})
    assert record_of(judged, one.data, one.settings, []).number == 1
    assert versions_changed(found) == {}


def test_decisions_are_read_as_they_were_written_and_are_no_model(kept):
    assert read_decisions(kept) == Decisions()
    decided = Decisions(decided={FIRST: Decision(decision="refuse", because="a bad bay")}, use=Pin(id=THIRD))
    write_decisions(kept, decided)
    assert read_decisions(kept) == decided
    assert [one.id for one in find_kept(kept)] == [FIRST, THIRD]
    assert json.loads((kept / DECISIONS).read_text(encoding="utf-8")) == {
        "decided": {FIRST: {"decision": "refuse", "because": "a bad bay"}},
        "use": {"id": THIRD, "because": None},
    }


@pytest.mark.parametrize("text", ["", "[]", '{"decided": {"k1": {"decision": "keep"}}}', '{"who": "me"}'])
def test_decisions_that_are_none_are_told(kept, text):
    (kept / DECISIONS).write_text(text, encoding="utf-8")
    with pytest.raises(UserError, match=r"decisions\.json: isn't what yardband models writes; put an earlier copy"):
        read_decisions(kept)


def test_a_pinned_model_must_be_there_and_speak_of_the_same_air(kept):
    check_pinned(kept, Decisions(), AIR)
    check_pinned(kept, Decisions(use=Pin(id=FIRST)), AIR)
    with pytest.raises(UserError, match=f"{SECOND}: the pinned model isn't kept any more; put its folder back"):
        check_pinned(kept, Decisions(use=Pin(id=SECOND)), AIR)
    with pytest.raises(UserError, match=f"{FIRST}: was fitted to .* or give yardband models STUDY use newest"):
        check_pinned(kept, Decisions(use=Pin(id=FIRST)), AIR | {"temp_c": 25.0})


def test_the_model_in_use_is_chosen_by_the_verdict_on_the_newest_fit(kept, tmp_path):
    verdict = str(tmp_path / "verdict.json")
    write_artefact(verdict, ModelVerdict(THIRD, FIRST, "adopt", ()))
    assert choose_in_use(kept, Decisions(), verdict, AIR) == Choice(THIRD, NEWEST, THIRD)
    refused = Decisions(decided={THIRD: Decision(decision="refuse", because="a bad bay")})
    assert choose_in_use(kept, refused, verdict, AIR) == Choice(FIRST, REFUSED, THIRD, "a bad bay")


def test_what_there_is_to_say_of_the_model_in_use_is_read(whole_fit, tmp_path):
    verdict = str(tmp_path / "verdict.json")
    write_artefact(verdict, ModelVerdict(THIRD, FIRST, "keep", ("worse",)))
    on = FittedOn(2400, 80, ("2026Q2", "2026Q3"))
    found = model_in_use({"id": FIRST, "why": "refused", "newest": THIRD}, whole_fit["model"], verdict)
    assert found.fitted_on == on
    assert (found.choice, found.verdict, found.held_against) == (Choice(FIRST, REFUSED, THIRD), "keep", FIRST)
    looked = model_in_use({"id": FIRST, "why": "asked"}, whole_fit["model"], "nowhere")
    assert (looked.choice.kept, looked.verdict) == (True, None)


def test_changed_and_new_packages_are_listed_with_both_versions():
    now = package_versions()
    then = {**now, "numpy": "1.0"}
    del then["scipy"]
    old = record(FIRST).model_copy(update={"versions": then})
    assert versions_changed(old) == {"numpy": ("1.0", now["numpy"]), "scipy": ("none", now["scipy"])}


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


def test_a_kept_fit_is_read_from_the_list_of_its_files(whole_fit, tmp_path):
    keep(tmp_path / "kept", record(SECOND), whole_fit)
    found = read_kept(sorted(kept_files(tmp_path / "kept", SECOND).values()))
    assert (found.id, found.golfers, found.air.temp_c) == (SECOND, 80, 15.0)


def test_the_form_of_a_fit_is_made_for_the_drives_at_hand(whole_fit, world):
    found = read_fitted(whole_fit, FIRST, AIR)
    form = form_of(found, Survey.of(world.drives, 1))
    assert (form.name, form.speed) == ("quadratic", "ball")


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
