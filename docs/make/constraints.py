"""Write the exact versions that were tested into constraints.txt and environment.yaml.

Those of every package that Yardband and its tests need, however far, as they are installed here, one a line for pip's
`--constraint`. A package that is needed on other systems or by another Python alone isn't installed here and isn't
there.
"""

import re
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

OURS = "yardband"
ROOT = Path(__file__).parents[2]
HEAD = """\
# Versions that the tests ran with, by docs/make/constraints.py. To install exactly these:
# pip install -e . -c constraints.txt
"""
CONDA = """\
# By docs/make/constraints.py. For `snakemake --sdm conda`, which runs each step in an environment of exactly the
# versions that the tests ran with. Without it, steps run in the environment that Snakemake runs in.
channels:
  - conda-forge
dependencies:
  - python =3.11
  - pip
  - pip:
"""


def pins(root: str = OURS, extras: frozenset[str] = frozenset({"test"})) -> dict[str, str]:
    """Give name and version of every package that one needs, however far, the root left out."""
    found: dict[str, str] = {}
    seen: set[tuple[str, frozenset[str]]] = set()
    left = [(root, extras)]
    while left:
        name, wanted = left.pop()
        if (canonicalize_name(name), wanted) in seen:
            continue
        seen.add((canonicalize_name(name), wanted))
        try:
            here = distribution(name)
        except PackageNotFoundError:
            continue
        if canonicalize_name(name) != root:
            found[str(canonicalize_name(name))] = re.sub(r"\+.*", "", here.version)
        for text in here.requires or []:
            needed = Requirement(text)
            if needed.marker is None or any(needed.marker.evaluate({"extra": one}) for one in ("", *wanted)):
                left.append((needed.name, frozenset(needed.extras)))
    return dict(sorted(found.items()))


def constraints() -> str:
    """Give the text of constraints.txt."""
    return HEAD + "".join(f"{name}=={version}\n" for name, version in pins().items())


def environment() -> str:
    """Give the text of environment.yaml: what runs need, without the tests'."""
    return CONDA + "".join(f"      - {name}=={version}\n" for name, version in pins(extras=frozenset()).items())


if __name__ == "__main__":
    (ROOT / "constraints.txt").write_text(constraints(), encoding="utf-8")
    (ROOT / "environment.yaml").write_text(environment(), encoding="utf-8")
