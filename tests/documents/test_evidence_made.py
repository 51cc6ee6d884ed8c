"""Evidence names the commit that it was made on, and CI can say how far the code has moved since."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from evidence_made import CODE, age, note

ROOT = Path(__file__).parents[2]
SCRIPT = "docs/make/evidence_made.py"


def git(place, *arguments):
    person = {f"GIT_{who}_{what}": "x@x" for who in ("AUTHOR", "COMMITTER") for what in ("NAME", "EMAIL")}
    settings = os.environ | person | {"GIT_CONFIG_GLOBAL": os.devnull}
    command = ["git", "-C", str(place), *arguments]
    return subprocess.run(command, env=settings, check=True, capture_output=True, text=True).stdout.strip()


def commit(place, file, text):
    (place / file).parent.mkdir(parents=True, exist_ok=True)
    (place / file).write_text(text, encoding="utf-8")
    git(place, "add", "-A")
    git(place, "commit", "-q", "-m", "Change")
    return git(place, "rev-parse", "HEAD")


@pytest.fixture
def clone(tmp_path):
    """A clone with code, and flight's evidence made on its only commit."""
    git(tmp_path, "init", "-q")
    commit(tmp_path, "pipeline/physics/ball.py", "1")
    note(tmp_path / "docs/evidence/flight", tmp_path)
    return tmp_path


def test_a_study_notes_the_commit_that_it_begins_on(clone):
    made = json.loads((clone / "docs/evidence/flight/made.json").read_text(encoding="utf-8"))
    assert made["commit"] == git(clone, "rev-parse", "HEAD")
    assert re.fullmatch(r"20\d\d-\d\d-\d\d", made["date"])
    assert made["uncommitted_changes"] is False

    (clone / "pipeline/physics/ball.py").write_text("2", encoding="utf-8")
    note(clone / "docs/evidence/flight", clone)
    assert json.loads((clone / "docs/evidence/flight/made.json").read_text(encoding="utf-8"))["uncommitted_changes"]
    assert ", with uncommitted changes. It is older than its code: 1 file changed since." in age("flight", clone)


def test_evidence_is_as_old_as_its_own_code(clone):
    first = git(clone, "rev-parse", "HEAD")
    assert age("flight", clone).startswith(f"docs/evidence/flight: made on commit {first[:10]} of 20")
    unchanged = "None of the code that it speaks of has changed since."
    assert age("flight", clone).endswith(unchanged)

    commit(clone, "pipeline/report/page.py", "of no interest to flight")
    assert age("flight", clone).endswith(unchanged)

    commit(clone, "pipeline/physics/ball.py", "2")
    commit(clone, "pipeline/physics/air.py", "new")
    assert age("flight", clone).endswith("It is older than its code: 2 files changed since. Consider a new run.")


def test_the_proving_ground_does_not_speak_of_pages(clone):
    note(clone / "docs/evidence/proving_ground", clone)
    commit(clone, "pipeline/report/page.py", "a page")
    assert "None of the code" in age("proving_ground", clone)
    commit(clone, "pipeline/fit/model.py", "a model")
    assert "1 file changed since" in age("proving_ground", clone)


def test_what_is_unknown_is_said(clone, tmp_path_factory):
    assert age("speed", clone) == "docs/evidence/speed: no made.json says on which commit it was made."

    made = {"commit": "0" * 40, "date": "2026-01-01"}
    (clone / "docs/evidence/flight/made.json").write_text(json.dumps(made), encoding="utf-8")
    assert "Git can't find that commit here, so what has changed since is unknown." in age("flight", clone)

    outside = tmp_path_factory.mktemp("outside")
    note(outside / "docs/evidence/flight", outside)
    assert "outside a clone, so its commit is unknown." in age("flight", outside)


def test_every_evidence_names_its_commit_and_is_looked_at():
    folders = {path.name: path for path in (ROOT / "docs/evidence").iterdir()}
    assert set(folders) == set(CODE)
    for folder in folders.values():
        made = json.loads((folder / "made.json").read_text(encoding="utf-8"))
        assert re.fullmatch(r"[0-9a-f]{40}", made["commit"])
        assert re.fullmatch(r"20\d\d-\d\d-\d\d", made["date"])


def test_the_code_that_is_looked_at_is_there():
    paths = [path for part in CODE.values() for path in part]
    assert [path for path in paths if not (ROOT / path.removeprefix(":(exclude)")).exists()] == []


def test_ci_prints_a_line_for_each_study():
    assert f"python3 {SCRIPT}\n" in (ROOT / ".ci/run").read_text(encoding="utf-8")
    done = subprocess.run([sys.executable, SCRIPT], cwd=ROOT, capture_output=True, text=True, check=True)
    assert [line.split(":")[0] for line in done.stdout.splitlines()] == [f"docs/evidence/{study}" for study in CODE]


def test_every_study_notes_its_commit_before_it_begins():
    workflow = (ROOT / "tests/studies.smk").read_text(encoding="utf-8")
    for study in CODE:
        assert f"{{params.note:q}} note docs/evidence/{study} && " in workflow
