"""What the benchmark ran on, without names or places: processors, memory, versions."""

import os
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

PACKAGES = ("polars", "duckdb", "numpy", "scipy", "pyarrow", "snakemake", "pandas", "statsmodels")


def describe_machine() -> dict[str, Any]:
    """Describe the machine; `load_before` is how many processes were at work or waiting in the minute before."""
    return {
        "processor": _field("/proc/cpuinfo", "model name"),
        "cores": len(os.sched_getaffinity(0)),
        "memory_gb": round(int(_field("/proc/meminfo", "MemTotal").split()[0]) * 1024 / 1e9, 1),
        "system": f"{platform.system()} {platform.machine()}",
        "load_before": round(os.getloadavg()[0], 2),
        "versions": {"python": platform.python_version(), **{name: _version(name) for name in PACKAGES}},
    }


def _field(path: str, name: str) -> str:
    """Give the first value of a name in a file of `name : value` lines."""
    for line in Path(path).read_text(encoding="utf-8").splitlines():
        key, _, value = line.partition(":")
        if key.strip() == name:
            return value.strip()
    return "unknown"


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"
