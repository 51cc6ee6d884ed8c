"""Small logs and a key for the tests of collecting."""

import gzip
from pathlib import Path
from typing import Any, NamedTuple

import polars as pl

from pipeline.collect.key import SECRET_MARK

KEY_HEX = "0f" * 32
KEY = bytes.fromhex(KEY_HEX)
HEADER = "golfer,struck_at,club_speed_mph,ball_speed_mph,launch_deg,spin_rpm,carry_yd"
ROW = "Ann Oak,2026-08-03T10:00:00,95,140,12,2500,225"


class Collected(NamedTuple):
    shots: pl.DataFrame
    rejects: pl.DataFrame
    receipt: dict[str, Any]
    paths: dict[str, Path]


def csv_text(*rows: str, header: str = HEADER) -> str:
    return "\n".join([header, *rows]) + "\n"


def changed(**cells: str) -> str:
    """Give the sample row with some of its cells changed."""
    row = dict(zip(HEADER.split(","), ROW.split(","), strict=True))
    return ",".join((row | cells).values())


def key_file(folder: Path) -> Path:
    path = folder / "pseudonym.key"
    if not path.exists():
        path.write_text(f"{SECRET_MARK}\n{KEY_HEX}\n", encoding="utf-8")
        path.chmod(0o600)
    return path


def written(path: Path, content: str | bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    data = content.encode() if isinstance(content, str) else content
    path.write_bytes(gzip.compress(data) if path.suffix == ".gz" else data)
    return path
