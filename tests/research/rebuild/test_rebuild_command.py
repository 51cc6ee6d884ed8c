"""The command on records and study folders, without running the workflow; tests/workflow/test_rebuild.py runs it."""

import json
import shutil
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli import cli
from pipeline.collect.key import fingerprint_of, read_key
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs, find_speed_logs, layouts_used
from pipeline.edge.made_by import all_packages, code_version
from pipeline.edge.result_files import digest_of
from pipeline.research.rebuild.rebuild_command import _compared, _why
from pipeline.research.rebuild.record import RunRecord

DEMO = Path(__file__).parents[3] / "data_demo"


@pytest.fixture
def record():
    folder, study = load_study(DEMO)
    logs, speed_logs = find_logs(folder, study), find_speed_logs(folder, study)

    def rows(found):
        return [{"source": one.source, "sha256": digest_of(folder / one.source)} for one in found]

    return RunRecord(
        folder=str(DEMO),
        config={},
        configuration=study.model_dump(mode="json", by_alias=True),
        layouts=layouts_used([*logs, *speed_logs]),
        inputs={},
        key=fingerprint_of(read_key(folder / study.privacy.key_file, study.study)),
        sources=rows(logs),
        speed_sources=rows(speed_logs),
        code=code_version(),
        versions=all_packages(),
        kept=[],
        model={"id": "k000000000001"},
        calibration={},
        made={},
    )


def run(tmp_path, record, *arguments):
    place = tmp_path / "results" / "run.json"
    place.parent.mkdir(exist_ok=True)
    place.write_text(json.dumps(asdict(record)), encoding="utf-8")
    return CliRunner().invoke(cli, ["rebuild", str(place), *arguments])


def test_a_check_of_a_study_as_it_was_has_nothing_to_say(tmp_path, record):
    done = run(tmp_path, record, "--check")

    assert done.exit_code == 0, done.output
    assert done.output.splitlines() == [f"{tmp_path}/results/run.json: every log, layout and key is as in the run."]


def test_changed_logs_and_keys_are_named_at_once_and_nothing_runs(tmp_path, record):
    study = tmp_path / "study"
    shutil.copytree(DEMO, study)
    log = study / "logs/bay_2026q1.csv"
    log.write_bytes(log.read_bytes()[:-20])
    (study / "logs/bay_2026q2.csv").unlink()
    key = study / "private/pseudonym.key"
    key.write_text(key.read_text(encoding="utf-8").splitlines()[0] + "\n" + "a" * 64 + "\n", encoding="utf-8")

    done = run(tmp_path, record, "--study", str(study))

    assert done.exit_code == 2
    assert done.output.splitlines() == [
        "logs/bay_2026q1.csv: has other content than in the run. Put back the file of then.",
        "logs/bay_2026q2.csv: isn't there any more. Put it back as it was.",
        "The key is another than in the run, so pseudonyms can't be the same. Put back the key of then.",
    ]


def test_a_layout_that_changed_and_a_log_that_came_are_seen(tmp_path, record):
    study = tmp_path / "study"
    shutil.copytree(DEMO, study)
    layout = study / "layouts/fell.yaml"
    shutil.copy(study / "logs/bay_2026q1.csv", study / "logs/bay_2026q4.csv")

    new = run(tmp_path, record, "--study", str(study), "--check")
    layout.write_text(layout.read_text(encoding="utf-8").replace("Europe/Vienna", "Europe/Paris"), encoding="utf-8")
    changed = run(tmp_path, record, "--study", str(study), "--check")

    assert new.output.splitlines()[0] == "New logs are left out: logs/bay_2026q4.csv."
    assert changed.exit_code == 2
    assert changed.output == "The layouts of the logs have changed. Put back the layout files of then.\n"


def test_other_versions_are_told_and_dont_stop_a_check(tmp_path, record):
    other = replace(record, versions=record.versions | {"polars": "1.0.0"}, code="commit 000000000000")

    done = run(tmp_path, other, "--check")

    assert done.exit_code == 0
    assert "The code is another: it was commit 000000000000, is" in done.output
    assert "Packages of the run have other versions now: polars 1.0.0 (now " in done.output


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"configuration": {}}'])
def test_what_is_no_record_is_refused_in_a_sentence(tmp_path, text):
    place = tmp_path / "run.json"
    place.write_text(text, encoding="utf-8")

    done = CliRunner().invoke(cli, ["rebuild", str(place)])

    assert done.exit_code == 2
    assert done.output.startswith(f"{place}: isn't the record of a run, or of one by an earlier version.")
    assert len(done.output.splitlines()) == 1


def test_missing_files_and_folders_are_one_sentence(tmp_path, record):
    nowhere = CliRunner().invoke(cli, ["rebuild", str(tmp_path / "run.json")])
    no_study = run(tmp_path, replace(record, folder="nowhere"))
    full = tmp_path / "full"
    full.mkdir()
    (full / "file").touch()
    not_empty = run(tmp_path, record, "--keep", str(full))

    assert nowhere.output == f"{tmp_path}/run.json: there is no such file; give the run.json of a study's results.\n"
    assert no_study.output == "nowhere: there is no such study folder; name it by --study.\n"
    assert not_empty.output == f"{full}: isn't empty; name a new folder after --keep.\n"
    assert {nowhere.exit_code, no_study.exit_code, not_empty.exit_code} == {2}


def test_new_files_are_compared_with_those_of_the_run(tmp_path, record):
    old, new = tmp_path / "old", tmp_path / "new"
    for folder in (old, new):
        folder.mkdir()
        for name in ("same.csv", "moved.csv", "lost.csv", "changed.csv"):
            (folder / name).write_text("golfer,lost_yd\na,1.0\nb,2.5\n", encoding="utf-8")
        (folder / "bytes.csv").write_text("golfer,lost_yd\na,1.0\n", encoding="utf-8")
    made = {path.name: digest_of(path) for path in old.iterdir()}
    (new / "moved.csv").write_text("golfer,lost_yd\na,1.0\nb,2.75\n", encoding="utf-8")
    (new / "lost.csv").unlink()
    (new / "changed.csv").write_text("golfer,lost_yd\na,7.0\nb,2.5\n", encoding="utf-8")
    (old / "changed.csv").write_text("by hand\n", encoding="utf-8")
    (new / "bytes.csv").write_text('"golfer","lost_yd"\na,1.0\n', encoding="utf-8")

    found = _compared(replace(record, made=made), old, new)

    assert {one.name: one.came for one in found.files} == {
        "same.csv": "same", "moved.csv": "other figures", "lost.csv": "missing", "changed.csv": "other",
        "bytes.csv": "same figures",
    }  # fmt: skip
    [moved] = [one for one in found.files if one.name == "moved.csv"]
    assert moved.largest == pytest.approx(0.25)


def test_a_run_that_fails_says_what_its_step_said(tmp_path):
    assert _why(tmp_path, "Building\nno fit\n") == "no fit"
    assert _why(tmp_path, "") == "it said nothing. Run the study itself to see why."
    logs = tmp_path / "logs" / "hill-school"
    logs.mkdir(parents=True)
    (logs / "load_shots.log").write_text("Loaded.\nDone.\n", encoding="utf-8")
    (logs / "fit_model.log").write_text("Fitting ...\nThe study has 3 usable drives.\n", encoding="utf-8")

    assert _why(tmp_path, "frames of the workflow") == "The study has 3 usable drives."
