"""What the public demo key serves: the demo's own logs, known by their sums, and nothing else."""

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path

_KNOWN = Path(__file__).with_name("demo_logs.json")  # written by data_demo/make_demo.py


@cache
def demo_sums() -> frozenset[str]:
    """Give the SHA-256 of each log of the demo, hexadecimal."""
    return frozenset(json.loads(_KNOWN.read_text(encoding="utf-8"))["logs"].values())


@cache
def demo_fingerprint() -> str:
    """Give the fingerprint of the demo's key, as `pipeline.collect.key.fingerprint_of` does."""
    return str(json.loads(_KNOWN.read_text(encoding="utf-8"))["key"])


def not_of_the_demo(sums: Mapping[Path, str | None]) -> list[Path]:
    """List the logs that are none of the demo's, in order.

    Parameters
    ----------
    sums : mapping of Path to str or None
        SHA-256 of each log; None or empty of one that can't be read.
    """
    return sorted(path for path, digest in sums.items() if digest not in demo_sums())
