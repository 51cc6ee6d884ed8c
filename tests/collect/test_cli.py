import os
import subprocess
import sys

import pytest
from click.testing import CliRunner
from collect_samples import ROW, changed, csv_text, key_file, written

from pipeline.cli import cli
from pipeline.collect.pseudonym import pseudonym

KEY = bytes.fromhex("0f" * 32)


@pytest.fixture
def study(tmp_path):
    """Make a study with one good log and a key."""
    folder = tmp_path / "hill"
    written(folder / "study.yaml", "study: hill-school\nlogs:\n  - {files: logs/*.csv, device: unit-A}\n")
    written(folder / "logs" / "a.csv", csv_text(ROW, changed(golfer="Bo, Jr").replace("Bo, Jr", '"Bo, Jr"')))
    (folder / "private").mkdir()
    key_file(folder / "private")
    return folder


def yardband(*arguments):
    return CliRunner().invoke(cli, [str(argument) for argument in arguments])


def everything_under(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_check_of_a_sound_study(study):
    before = everything_under(study)

    result = yardband("check", study)

    assert result.exit_code == 0
    assert result.stderr == ""
    assert result.stdout == (
        "logs/a.csv: 2 rows read, 2 accepted, 0 rejected.\nhill-school: no problem found; logs that can be used: 1.\n"
    )
    assert everything_under(study) == before


def test_check_tells_rejected_rows_but_they_are_no_problem(study):
    written(
        study / "logs" / "a.csv", csv_text(ROW, changed(carry_yd="x"), changed(carry_yd="y"), changed(spin_rpm="1"))
    )

    result = yardband("check", study)

    assert result.exit_code == 0
    assert result.stdout.splitlines()[:3] == [
        "logs/a.csv: 4 rows read, 1 accepted, 3 rejected.",
        "  2 x not_a_number in carry_yd",
        "  1 x too_low in spin_rpm",
    ]


def test_check_tells_every_problem_at_once(study):
    written(study / "study.yaml", (
        "study: hill-school\nlogs:\n  - {files: logs/*.csv}\n  - {files: more/*.csv}\n"
        "  - {files: far/*.csv, layout: far.yaml}\n"
    ))  # fmt: skip
    written(study / "far.yaml", "delimeter: ';'\ncolumns: {golfer: {from: Name}}\n")
    written(study / "far" / "x.csv", "Name\n")
    written(study / "logs" / "b.csv", "")
    (study / "private" / "pseudonym.key").unlink()

    result = yardband("check", study)

    assert result.exit_code == 2
    assert result.stderr.splitlines() == [
        f"{study}/study.yaml: logs[1].files: no file matches 'more/*.csv' in {study}; correct the pattern "
        "or add the logs.",
        f"{study}/far.yaml: line 1: unknown key 'delimeter' (did you mean 'delimiter'?); valid here: delimiter, "
        "decimal, thousands, encoding, sheet, skip_rows, skip_after_header, join, rows, timezone, columns.",
        f"{study}/private/pseudonym.key: there is no key file; make one with: yardband key STUDY",
        f"{study}/logs/b.csv: can't be used, the file is empty; export it again.",
    ]
    assert result.stdout == "logs/a.csv: 2 rows read, 2 accepted, 0 rejected.\n"


def test_check_of_a_wrong_configuration(study):
    written(study / "study.yaml", "study: hill-school\nlogs: [{files: logs/*.csv}]\nsede: 2\n")

    result = yardband("check", study)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(
        f"{study}/study.yaml: line 3: unknown key 'sede' (did you mean 'seed'?); valid here: study,"
    )


def test_key_is_made_once(study):
    path = study / "private" / "pseudonym.key"
    path.unlink()
    path.parent.rmdir()

    first, second = yardband("key", study), yardband("key", study)

    assert first.exit_code == 0
    assert first.stdout.startswith(f"{path}: created. Keep a copy in a safe place")
    assert path.stat().st_mode & 0o777 == 0o600
    assert (second.exit_code, second.stdout) == (2, "")
    assert second.stderr == (
        f"{path}: there is already a key, and it stays: a new one would change every pseudonym. "
        "To replace it, add --rotate.\n"
    )


def test_rotating_the_key_tells_what_breaks(study):
    path = study / "private" / "pseudonym.key"
    before = path.read_bytes()

    result = yardband("key", study, "--rotate")

    assert result.exit_code == 0
    assert result.stdout.startswith(f"{path}: a new key is in place; the old one is pseudonym.key.old-1 beside it.\n")
    said = ("don't match the new ones", "run the study again", "write it again with yardband names", "Kept models")
    for told in said:
        assert told in " ".join(result.stdout.split())
    assert path.with_name("pseudonym.key.old-1").read_bytes() == before
    assert path.read_bytes() != before


def test_names_are_no_formulas_and_hold_no_control_characters(study):
    rows = [changed(golfer=name) for name in ("=1+1", "-Ann", "@Bo", "\uff1dC", "D\u202ed", "E\u00a0e")]
    written(study / "logs" / "a.csv", csv_text(*rows))

    yardband("names", study)

    lines = (study / "private" / "names.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert sorted(line.split(",")[1] for line in lines) == ["'-Ann", "'=1+1", "'@Bo", "'\uff1dC", "D d", "E e"]


def test_names_lists_each_golfer_once_by_the_first_spelling(study):
    written(study / "logs" / "b.csv", csv_text(changed(golfer="ANN OAK"), changed(golfer=""), changed(golfer="12.0")))
    written(study / "logs" / "c.csv", "")

    result = yardband("names", study)

    path = study / "private" / "names.csv"
    expected = sorted((pseudonym(n, KEY, "golfer"), f'"{n}"' if "," in n else n) for n in ("Ann Oak", "Bo, Jr", "12"))
    assert result.exit_code == 0
    assert result.stdout.startswith(f"{path}: 3 golfers.")
    lines = [f"{p},{n}".replace(",12", ",12.0") for p, n in expected]
    assert path.read_text(encoding="utf-8").splitlines() == ["golfer,name", *lines]
    assert path.stat().st_mode & 0o777 == 0o600
    assert [p.name for p in path.parent.iterdir() if p.name.startswith(".")] == []


def test_names_refuses_a_place_inside_results(study):
    written(study / "study.yaml", (
        "study: hill-school\nlogs: [{files: logs/*.csv}]\nprivacy: {key_file: results/pseudonym.key}\n"
    ))  # fmt: skip
    (study / "results").mkdir()
    key_file(study / "results")

    result = yardband("names", study)

    assert result.exit_code == 2
    assert result.stderr == (
        f"{study}/results/names.csv: the list of names would lie inside a results folder; set privacy.key_file to a "
        "place outside, such as private/pseudonym.key.\n"
    )
    assert not (study / "results" / "names.csv").exists()


def test_names_needs_the_key(study):
    (study / "private" / "pseudonym.key").chmod(0o644)

    result = yardband("names", study)

    assert result.exit_code == 2
    assert "people other than its owner can read the key" in result.stderr
    assert not (study / "private" / "names.csv").exists()


def test_wrong_usage_ends_with_2():
    result = yardband("chek")

    assert result.exit_code == 2
    assert "No such command 'chek'" in result.stderr


def test_a_fault_of_our_own_shows_one_sentence_and_no_content(study, monkeypatch):
    def broken(*_):
        raise ValueError("row content: Ann Oak")

    monkeypatch.setattr("pipeline.collect.check_command.survey", broken)
    monkeypatch.delenv("YARDBAND_TRACEBACK", raising=False)

    result = yardband("check", study)

    assert result.exit_code == 1
    assert result.stderr == (
        "Yardband met a fault of its own in this command (ValueError); report it to its developers. With "
        "YARDBAND_TRACEBACK=1 it shows where.\n"
    )
    monkeypatch.setenv("YARDBAND_TRACEBACK", "1")
    assert isinstance(yardband("check", study).exception, ValueError)


def run(*arguments):
    environment = {name: value for name, value in os.environ.items() if name != "YARDBAND_TRACEBACK"}
    return subprocess.run(
        [sys.executable, "-m", *map(str, arguments)], capture_output=True, text=True, check=False, env=environment
    )


def test_module_is_the_command(tmp_path):
    shown = run("pipeline", "--version")
    missing = run("pipeline", "check", tmp_path / "none")

    assert (shown.returncode, shown.stdout.split()[0]) == (0, "yardband")
    assert missing.returncode == 2
    assert missing.stderr == (
        f"{tmp_path}/none/study.yaml: there is no such file; give the path of a folder with a study.yaml.\n"
    )


def test_step_runs_by_its_name():
    call = '{"receipts": [], "shots": [], "rejects": [], "database": "d", "rejects_csv": "r"}'

    unknown = run("pipeline.step", "colect_logs", "{}")
    no_json = run("pipeline.step", "load_shots", "{")
    no_object = run("pipeline.step", "load_shots", "[]")
    own_fault = run("pipeline.step", "load_shots", call)

    assert unknown.returncode == 2
    assert unknown.stderr == "colect_logs: isn't a step; call a step as its rule in the Snakefile does.\n"
    assert (no_json.returncode, no_json.stderr) == (
        2, "load_shots: the settings can't be read as JSON; give objects of keywords.\n",
    )  # fmt: skip
    assert (no_object.returncode, no_object.stderr) == (
        2, "load_shots: the settings aren't JSON objects; give objects of keywords.\n",
    )  # fmt: skip
    assert own_fault.returncode == 1
    assert own_fault.stderr.startswith("Yardband met a fault of its own in the step load_shots (TypeError);")


def test_step_that_meets_bad_input_ends_with_2(tmp_path):
    call = (
        f'{{"folder": "{tmp_path}", "key": "{tmp_path}/k", "study": "x", "shots": "{tmp_path}/s.parquet", '
        f'"rejects": "{tmp_path}/r.parquet", "receipts": "{tmp_path}/r.json", "partition": '
        '{"layouts": [], "entries": [{"entry": {"files": "a.csv"}, "layout": null, "group": "masked", '
        '"sources": ["a.csv"]}]}}'
    )

    result = run("pipeline.step", "collect_logs", call)

    assert result.returncode == 2
    assert result.stderr == f"{tmp_path}/k: there is no key file; make one with: yardband key STUDY\n"
    assert list(tmp_path.iterdir()) == []


def test_check_names_a_regressor_that_no_log_has_with_the_nearest_header(study):
    header = "golfer,struck_at,club_speed_mph,ball_speed_mph,launch_deg,spin_rpm,carry_yd,tee_height"
    written(study / "logs" / "a.csv", csv_text(f"{ROW},42", header=header))
    text = "study: hill-school\nlogs:\n  - {files: logs/*.csv, device: unit-A}\nmodel: {regressors: [REGRESSORS]}\n"
    written(study / "study.yaml", text.replace("REGRESSORS", "tee_hight, attack_deg"))

    wrong = yardband("check", study)
    written(study / "study.yaml", text.replace("REGRESSORS", "tee_height"))
    right = yardband("check", study)

    assert wrong.exit_code == 2
    assert wrong.stderr.splitlines() == [
        "study.yaml: model.regressors: no drive has a number in 'tee_hight'; did you mean 'tee_height'?",
        "study.yaml: model.regressors: no drive has a number in 'attack_deg'; correct the name, or leave it out.",
    ]
    assert (right.exit_code, right.stderr) == (0, "")
    assert right.stdout.startswith(
        "logs/a.csv: 1 rows read, 1 accepted, 0 rejected; 1 drives have a number in tee_height.\n"
    )
