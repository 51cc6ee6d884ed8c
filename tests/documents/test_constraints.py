"""The versions that were tested: every package that pyproject.toml needs is pinned, within its bounds."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PINNED = dict(
    line.split("==") for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines() if "==" in line
)
NEEDED = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]


@pytest.mark.parametrize("text", NEEDED)
def test_every_dependency_is_pinned_within_its_bounds(text):
    needed = Requirement(text)

    assert needed.specifier.contains(PINNED[needed.name.lower()], prereleases=True)


def test_packages_that_ours_need_in_turn_are_pinned_too():
    for name in PINNED:
        try:
            here = distribution(name)
        except PackageNotFoundError:  # of other systems
            continue
        if here.version.partition("+")[0] == PINNED[name]:
            needed = [Requirement(text) for text in here.requires or ()]
            wanted = {canonicalize_name(one.name) for one in needed if one.marker is None}
            assert wanted <= set(PINNED), f"{name}: run python docs/make/constraints.py, and read what moved"


def test_the_file_has_pins_alone_in_order():
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()[2:]

    assert list(PINNED) == sorted(PINNED)
    assert all(re.fullmatch(r"[a-z0-9][a-z0-9.-]*==[A-Za-z0-9.!]+", line) for line in lines)


def test_the_environment_for_conda_has_the_same_versions():
    read = yaml.safe_load((ROOT / "environment.yaml").read_text(encoding="utf-8"))
    python, _, pip = read["dependencies"]

    assert python == "python =3.11"
    assert PROJECT["requires-python"] == ">=3.11"
    found = dict(line.split("==") for line in pip["pip"])
    assert found == {name: PINNED[name] for name in found}
    assert {Requirement(text).name.lower() for text in PROJECT["dependencies"]} <= set(found)


def test_the_container_uses_files_that_are_there_and_the_same_python():
    text = (ROOT / "Containerfile").read_text(encoding="utf-8")

    assert "FROM python:3.11-slim\n" in text
    assert "-c /opt/yardband/constraints.txt" in text
    assert "/opt/yardband/Snakefile" in text
    assert not re.search(r"https?://|[a-z0-9]\.(io|com|org)\b", text), "no host of a registry"
