"""Git takes nothing that a run writes, whatever the study's name, and takes all of the studies' evidence."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def ignored(tmp_path_factory):
    """Give a function that says whether git ignores a path, by this project's .gitignore alone."""
    place = tmp_path_factory.mktemp("clone")
    settings = os.environ | {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1"}
    subprocess.run(["git", "init", "-q", str(place)], env=settings, check=True)
    shutil.copy(ROOT / ".gitignore", place)

    def check(path):
        command = ["git", "-C", str(place), "check-ignore", "-q", path]
        status = subprocess.run(command, env=settings, check=False).returncode
        assert status in (0, 1)
        return status == 0

    return check


@pytest.mark.parametrize(
    "study", ["twin-valleys", "speed", "flight", "proving_ground", "pictures", "README", "docs", "a.b"]
)
@pytest.mark.parametrize(
    "file", ["golfers/golfers.csv", "shots.duckdb", "README.md", "speed.csv", "results/README.md", "run.json"]
)
def test_no_result_is_taken(ignored, study, file):
    assert ignored(f"results/{study}/{file}")


def test_beside_the_readme_nothing_of_results_is_taken(ignored):
    assert not ignored("results/README.md")
    assert ignored("results/golfers.csv")
    assert sorted(path.name for path in (ROOT / "results").iterdir() if not ignored(f"results/{path.name}")) == [
        "README.md"
    ]


def test_the_evidence_is_taken(ignored):
    files = [path for place in ("evidence", "pictures") for path in (ROOT / "docs" / place).rglob("*.*")]
    kept = [path for path in files if not ignored(path.relative_to(ROOT).as_posix())]
    assert len(kept) >= 15
    assert {path.parent.name for path in kept} == {
        "academy_page", "coach_page", "curving", "damaged", "flight", "parts", "proving_ground", "regressors",
        "side_by_side", "speed", "pictures",
    }  # fmt: skip
    assert ignored("docs/evidence/proving_ground/judged/golfers.parquet")


@pytest.mark.parametrize("study", ["", "our-study/", "a/b/"])
def test_no_key_or_list_of_names_is_taken_but_the_demos(ignored, study):
    assert ignored(f"{study}private/pseudonym.key")
    assert ignored(f"{study}private/names.csv")
    assert not ignored("data_demo/private/pseudonym.key")
