"""Reading any file of results as the figures that it holds, to compare two runs (an edge module)."""

import hashlib
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import polars as pl

from pipeline.errors import UserError
from pipeline.statistics.arrays import Figures

NUMBER = re.compile(r"(?<![A-Za-z0-9_.])[-+\N{MINUS SIGN}]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?(?![A-Za-z0-9_])")
# What a page shows of numbers stands in none of these, nor does a model's id.
NOT_SHOWN = re.compile(r"<(style|script)\b.*?</\1>|data:image/[^\"']*|<[^>]*>|\bk[0-9a-f]{12}\b", re.S)

NO_FIGURES = "notes"  # sheet of a workbook that holds words alone


def digest_of(path: Path) -> str:
    """Give the SHA-256 of a file, 64 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def figures_of(path: Path) -> dict[str, Figures]:
    """Read what a file of results holds, by the name of each part; the name is empty where there is one part alone.

    Raises
    ------
    UserError
        If the file can't be read as its name says, or is of no kind that a run makes.
    """
    if path.suffix not in READERS:
        raise UserError(f"{path}: isn't a file of figures; no run makes one with this ending.")
    try:
        return READERS[path.suffix](path)
    except (OSError, ValueError, pl.exceptions.PolarsError, duckdb.Error):
        raise UserError(f"{path}: can't be read; run the workflow again.") from None


def _duckdb(path: Path) -> dict[str, Figures]:
    with duckdb.connect(str(path), read_only=True) as connection:
        names = [name for (name,) in connection.sql("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()]
        return {f"table {name}": connection.table(name).pl() for name in names}


def _xlsx(path: Path) -> dict[str, Figures]:
    sheets: dict[str, pl.DataFrame] = pl.read_excel(path, sheet_id=0, infer_schema_length=0)
    return {f"sheet {name}": frame for name, frame in sheets.items() if name != NO_FIGURES}


def _npz(path: Path) -> dict[str, Figures]:
    with np.load(path) as arrays:
        return {f"array {name}": arrays[name] for name in arrays.files}


def _json(path: Path) -> dict[str, Figures]:
    found: dict[str, list[float]] = {}
    for key, number in _numbers(json.loads(path.read_text("utf-8"))):
        found.setdefault(key, []).append(number)
    return {f"key {key}": np.array(numbers) for key, numbers in found.items()}


def _numbers(value: Any, key: str = "") -> Iterator[tuple[str, float]]:
    """Give the numbers in their order, each with the key that it stands under."""
    if isinstance(value, dict | list):
        for name, part in value.items() if isinstance(value, dict) else ((key, part) for part in value):
            yield from _numbers(part, name)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield key, float(value)


def _png(path: Path) -> dict[str, Figures]:
    from matplotlib.image import imread  # half a second that only a comparison of pictures pays

    return {"picture": np.asarray(imread(path), dtype=float)}


def _text(path: Path) -> dict[str, Figures]:
    return {"numbers": tuple(NUMBER.findall(NOT_SHOWN.sub(" ", path.read_text("utf-8"))))}


READERS: dict[str, Callable[[Path], dict[str, Figures]]] = {
    ".csv": lambda path: {"": pl.read_csv(path, infer_schema=False)},
    ".parquet": lambda path: {"": pl.read_parquet(path)},
    ".duckdb": _duckdb,
    ".xlsx": _xlsx,
    ".npz": _npz,
    ".json": _json,
    ".png": _png,
    ".svg": lambda path: {},  # noqa: ARG005 - the png of the same figure has its pixels
    ".html": _text,
    ".md": _text,
    ".txt": _text,
}
