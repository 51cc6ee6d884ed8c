"""What the workflow's rules share: the study, how a step is called, and the code that it runs (an edge module)."""

import ast
import csv
import hashlib
import json
import sys
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from math import ceil
from pathlib import Path
from shlex import quote
from typing import Any

from pipeline.errors import UserError
from pipeline.step import DONE, module_of

PACKAGE = Path(__file__).parent
BESIDE = ("templates/*", "vendor/*", "*.toml")  # what modules read that lies beside them, texts among it
CONFIG = ("study", "model")  # what --config may name
MEASURED = PACKAGE.parent / "docs" / "evidence" / "speed" / "steps.csv"  # by the speed study

# Paths and settings reach a step as two JSON objects. Snakemake compares settings and code with those of the last run,
# so a changed one reruns what depends on it; it does not compare paths given by a function of input and output, for
# which it has the files themselves.
CALL = (
    "YARDBAND_LOG={{log:q}} YARDBAND_THREADS={{threads}} {python} -m pipeline.step {{params.step}}"
    " {{params.files:q}} {{params.settings:q}}"
)


def step_command(in_environment: bool) -> str:
    """Give the shell command of a rule that runs a step.

    Parameters
    ----------
    in_environment : bool
        Whether Snakemake makes an environment for each rule (`--sdm`): then its Python runs the step, with this code.
        Else the Python that Snakemake runs in does.
    """
    root = str(PACKAGE.parent).replace("{", "{{").replace("}", "}}")
    return CALL.format(python=f"PYTHONPATH={quote(root)} python" if in_environment else sys.executable)


def check_config(given: Mapping[str, Any]) -> None:
    """Refuse what --config may not name.

    Raises
    ------
    UserError
        With the nearest key that there is.
    """
    for name in given:
        if name not in CONFIG:
            near = get_close_matches(str(name), CONFIG, n=1)
            hint = f"did you mean {near[0]}?" if near else f"it takes {' and '.join(CONFIG)}."
            raise UserError(f"--config {name}=...: there is no such key; {hint}")


def step(name: str, **settings: Any) -> dict[str, Any]:
    """Give the params of a rule that runs a step.

    Parameters
    ----------
    name : str
        The step's and the rule's name.
    **settings
        Keywords of the step's `run` besides its paths.
    """
    # Settings are a function, since Snakemake would take a text with braces for wildcards.
    text = json.dumps(settings, sort_keys=True)
    return {"step": name, "code": code_of(name), "files": paths_of, "settings": lambda wildcards: text}  # noqa: ARG005


def paths_of(wildcards: Any, input: Any, output: Any) -> str:  # noqa: ARG001 - Snakemake's names
    """Give the paths of a rule's inputs and outputs as JSON."""
    paths = {**dict(input.items()), **dict(output.items())}
    return json.dumps({name: path if isinstance(path, str) else list(path) for name, path in paths.items()})


@cache
def code_of(name: str) -> str:
    """Digest the code that a step runs: its module, all of ours that it imports, and the templates beside them.

    Comments and layout don't count.
    """
    digest = hashlib.sha256()
    for module in sorted(modules_of(module_of(name))):
        path = _path(module)
        digest.update(module.encode())
        digest.update(_code(path))
        for template in sorted(file for folder in BESIDE for file in path.parent.glob(folder)):
            digest.update(template.read_bytes())
    return digest.hexdigest()[:16]


def modules_of(module: str) -> set[str]:
    """Give a module of ours and all of ours that it imports, however far."""
    found: set[str] = set()
    left = [module]
    while left:
        one = left.pop()
        if one not in found:
            found.add(one)
            left += _imported(one)
    return found


@cache
def _imported(module: str) -> list[str]:
    if module == "pipeline.tables.registry":  # it finds the tables by their folder
        return [f"pipeline.tables.{path.stem}" for path in PACKAGE.glob("tables/*.py") if path.stem != "__init__"]
    names: set[str] = set()
    for node in ast.walk(_tree(_path(module))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return sorted(name for name in names if name.startswith("pipeline.") and _path(name).is_file())


def _path(module: str) -> Path:
    return PACKAGE.parent.joinpath(*module.split(".")).with_suffix(".py")


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def _code(path: Path) -> bytes:
    return ast.dump(_tree(path)).encode()


def failed_logs(folder: Path, since: float) -> list[Path]:
    """List the logs, written since a time, of steps that did not end well, the newest last."""
    logs: Iterable[Path] = sorted(folder.rglob("*.log"), key=lambda path: path.stat().st_mtime)
    return [
        path
        for path in logs
        if path.stat().st_mtime >= since and not path.read_text(encoding="utf-8").endswith(f"{DONE}\n")
    ]


@cache
def needs(name: str) -> dict[str, int]:
    """Give the memory and time that a step may ask a cluster for: what the largest measured run took, and room.

    Returns
    -------
    dict
        mem_mb, half more than measured; runtime in minutes, three times and one more. A step that wasn't measured
        gets the profile's own.
    """
    with MEASURED.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["step"] == name]
    if not rows:
        return {}
    longest_s = max(float(row["wall_s"]) / int(row["processes"]) for row in rows)
    peak_mb = max(float(row["peak_mb"]) for row in rows)
    return {"mem_mb": ceil(1.5 * peak_mb / 100) * 100, "runtime": ceil(3 * longest_s / 60) + 1}
