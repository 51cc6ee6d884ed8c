"""The page of constants has every constant of the method with its value in the code, and which were tried otherwise."""

import ast
import importlib
import re
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/constants.md").read_text(encoding="utf-8")
FOLDERS = (
    "benchmark", "by_hand", "golfers", "fit", "flight", "statistics", "coach/goals", "coach/landing", "coach/progress",
    "coach/reaching", "coach/straightness",
)  # fmt: skip
IN_TABLE = "in sensitivity.csv: "
ORIGINS = ("derived: ", "measured: ", IN_TABLE, "**reason only**: ")


def listed(part):
    """Give the rows of a part of the page: name, module's file, value, and what it decides and why."""
    section = PAGE.split(f"\n## {part}\n")[1].split("\n## ")[0]
    return re.findall(r"^\| `(\w+)` \| `([\w/]+\.py)` \| ([^|]+) \| (.+) \|$", section, flags=re.MULTILINE)


METHOD, COMPUTATION = listed("In the method"), listed("In the computation")


def numbers(value):
    """Give the numbers that a constant consists of; none if it has others than numbers."""
    if isinstance(value, np.ndarray):
        return [float(one) for one in value]
    if isinstance(value, dict):
        value = tuple(value.values())
    parts = value if isinstance(value, tuple) else (value,)
    if all(isinstance(one, int | float) and not isinstance(one, bool) for one in parts):
        return [float(one) for one in parts]
    return []


def of_module(file):
    return importlib.import_module("pipeline." + file.removesuffix(".py").replace("/", "."))


def as_shown(value, text):
    """Round a number to as many digits as a text shows."""
    mantissa, _, exponent = text.partition("e")
    return round(value, len(mantissa.partition(".")[2]) - int(exponent or 0))


@pytest.mark.parametrize(("name", "file", "shown", "_"), METHOD + COMPUTATION)
def test_a_constant_has_the_value_that_the_page_shows(name, file, shown, _):
    texts = shown.split(", ")
    found = numbers(getattr(of_module(file), name))
    assert len(found) == len(texts)
    assert [as_shown(value, text) for value, text in zip(found, texts, strict=True)] == [float(one) for one in texts]


def constants_of(path):
    """Give the public constants of a module that are numbers, by the names that its text assigns."""
    module = of_module(path.relative_to(ROOT / "pipeline").as_posix())
    names = []
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        targets = node.targets if isinstance(node, ast.Assign) else []
        names += [one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)]
    return [name for name in names if name.isupper() and name[0] != "_" and numbers(getattr(module, name))]


def test_every_constant_of_the_method_is_on_the_page():
    modules = [path for folder in FOLDERS for path in sorted((ROOT / "pipeline" / folder).glob("*.py"))]
    modules.append(ROOT / "pipeline/drives.py")
    there = {(name, path.relative_to(ROOT / "pipeline").as_posix()) for path in modules for name in constants_of(path)}
    rows = [(name, file) for name, file, *_ in METHOD + COMPUTATION]
    assert len(rows) == len(set(rows))
    assert set(rows) == there


def origins():
    """Give where each value of the method comes from, by name and file."""
    return {
        (name, file): next((one for one in ORIGINS if words.split(" | ")[1].startswith(one)), None)
        for name, file, _, words in METHOD
    }


def test_every_value_of_the_method_says_where_it_comes_from_and_they_are_counted():
    found = list(origins().values())
    assert None not in found
    derived, measured, tried, reason = (found.count(one) for one in ORIGINS)
    said = f"Of {len(found)} constants in the method {derived} are derived, {measured} measured, {tried} in"
    assert f"{said} sensitivity.csv, and {reason} have a\nreason only." in PAGE


def test_the_constants_that_are_tried_are_those_of_the_study():
    text = (ROOT / "tests/proving_ground/sensitivity.py").read_text(encoding="utf-8")
    tried = re.findall(r'Constant\("pipeline\.([\w.]+)", "(\w+)"', text)
    assert len(tried) > 10
    names = {(name, module.replace(".", "/") + ".py") for module, name in tried}
    assert {place for place, origin in origins().items() if origin == IN_TABLE} == names
