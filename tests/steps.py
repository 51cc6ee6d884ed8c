"""The workflow's steps, read from its rules."""

import re
from functools import cache
from pathlib import Path

from pipeline.step import module_of

ROOT = Path(__file__).parents[1]


@cache
def steps(snakefile=ROOT / "Snakefile"):
    """Give the module of every rule that runs a step, by the rule's name."""
    parts = re.split(r"^ *(?:rule|checkpoint) (\w+):$", snakefile.read_text(encoding="utf-8"), flags=re.MULTILINE)
    named = [name for name, body in zip(parts[1::2], parts[2::2], strict=True) if re.search(r"^ +STEP$", body, re.M)]
    return {name: module_of(name) for name in named}
