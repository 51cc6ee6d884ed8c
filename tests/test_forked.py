"""Forked programs say, do and end as those that `python -m` starts."""

import os
import subprocess
import sys

import forked
import pytest

ROOT = forked.ROOT
ENVIRONMENT = os.environ | {"PYTHONPATH": str(ROOT)}


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["pipeline", "--version"], 0),
        (["pipeline", "check", "none"], 2),
        (["snakemake", "-s", str(ROOT / "Snakefile"), "-n", "--quiet", "--config", "study=none"], 1),
    ],
)
def test_a_forked_program_is_like_one_that_is_started(tmp_path, arguments, status):
    command = ["-m", *arguments]
    started = subprocess.run(
        [sys.executable, *command], cwd=tmp_path, env=ENVIRONMENT, capture_output=True, text=True, check=False
    )

    done = forked.run(command, tmp_path, ENVIRONMENT)

    assert (done.returncode, done.stdout, done.stderr) == (started.returncode, started.stdout, started.stderr)
    assert done.returncode == status
    assert done.stdout + done.stderr


def test_one_after_the_other_has_its_own_folder_and_environment(tmp_path):
    (tmp_path / "hill").mkdir()
    (tmp_path / "hill/study.yaml").write_text("study: hill\n", encoding="utf-8")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    missing = "there is no such file"

    said = [forked.run(["-m", "pipeline", "check", "hill"], one, ENVIRONMENT).stderr for one in (elsewhere, tmp_path)]
    helps = [
        forked.run(["-m", "pipeline", "--help"], tmp_path, ENVIRONMENT | {"COLUMNS": width}).stdout
        for width in ("50", "80")
    ]

    assert [missing in one for one in said] == [True, False]
    assert [max(map(len, one.splitlines())) <= 50 for one in helps] == [True, False]


def test_one_that_takes_too_long_is_killed(tmp_path):
    done = forked.run(["-m", "pipeline", "check", str(ROOT / "data_demo")], tmp_path, ENVIRONMENT, timeout_s=0.01)
    assert done.returncode < 0


def test_other_programs_and_other_code_are_not_taken(tmp_path):
    with pytest.raises(AssertionError):
        forked.run(["-m", "http.server"], tmp_path, ENVIRONMENT)
    with pytest.raises(AssertionError):
        forked.run(["-m", "pipeline", "--help"], tmp_path, os.environ | {"PYTHONPATH": str(tmp_path)})
