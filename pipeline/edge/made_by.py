"""By what code and packages results were made (an edge module)."""

import platform
import subprocess
import tomllib
from email.parser import HeaderParser
from importlib.metadata import PackageNotFoundError, distributions, version
from pathlib import Path


def code_version() -> str:
    """Name the commit of the code, marked where files differ from it; outside a repository, the release."""
    here = Path(__file__).parents[2]
    asked = ["git", "-C", str(here), "describe", "--always", "--dirty", "--abbrev=12"]
    if not (here / ".git").exists():
        return f"release {own_version()}"
    try:
        return "commit " + subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip()
    except (OSError, subprocess.CalledProcessError):  # no git, or not ours to read
        return f"release {own_version()}"


def own_version() -> str:
    """Give Yardband's version: of the package, or by pyproject.toml where the code is run without being installed."""
    try:
        return version("yardband")
    except PackageNotFoundError:
        with (Path(__file__).parents[2] / "pyproject.toml").open("rb") as file:
            return str(tomllib.load(file)["project"]["version"])


def all_packages() -> dict[str, str]:
    """Give the version of Python and of every installed package."""
    found = {}
    for one in distributions():
        # Their heads alone: what packages say of themselves beyond would take longer to read than a run's summary.
        head = HeaderParser().parsestr(one.read_text("METADATA") or one.read_text("PKG-INFO") or "")
        if head["Name"]:
            found[head["Name"].lower()] = head["Version"]
    return {"python": platform.python_version()} | dict(sorted(found.items()))
