"""Writing files whole or not at all (an edge module)."""

import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import polars as pl


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Give a temporary path beside `path`; rename it to `path` if the block ends without an error.

    Parameters
    ----------
    path : Path
        The file to be made. Its folder is made too.

    Yields
    ------
    Path
        The temporary path, with the same suffix, to write to.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".part-", suffix=path.suffix, dir=path.parent)
    os.close(handle)
    part = Path(name)
    try:
        yield part
        part.chmod(0o666 & ~_umask())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text with Unix line ends, whole or not at all."""
    with whole(path) as part:
        part.write_text(text, encoding="utf-8", newline="\n")


def write_json(path: Path, value: Any) -> None:
    """Write JSON with sorted keys and full floats, whole or not at all."""
    write_text(path, json.dumps(value, indent=1, sort_keys=True, allow_nan=False) + "\n")


def write_csv(path: Path, table: pl.DataFrame) -> None:
    """Write a table as CSV with full floats, whole or not at all."""
    with whole(path) as part:
        table.write_csv(part)


def write_parquet(path: Path, table: pl.DataFrame) -> None:
    """Write a table as parquet, whole or not at all."""
    with whole(path) as part:
        table.write_parquet(part, statistics=True)
