"""The workflow's steps, read from its rules."""

import ast
import re
from functools import cache
from pathlib import Path

from pipeline.run_step import module_of

ROOT = Path(__file__).parents[1]


@cache
def steps(root=ROOT):
    """Give the module of every rule that runs a step, by the rule's name."""
    text = "".join(path.read_text(encoding="utf-8") for path in sorted(root.glob("pipeline/*/rules.smk")))
    parts = re.split(r"^ *(?:rule|checkpoint) (\w+):$", text, flags=re.MULTILINE)
    named = [name for name, body in zip(parts[1::2], parts[2::2], strict=True) if re.search(r"^ +STEP$", body, re.M)]
    return {name: module_of(name) for name in named}


def imported_names(path):
    """Name what a module imports, at its head or in a function: modules, and what is taken of them behind a dot."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names
