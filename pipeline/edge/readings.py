"""Regressors beside drives.parquet, and the readings of further columns in shots.duckdb (an edge module)."""

import tempfile
from collections.abc import Sequence
from pathlib import Path

import duckdb

from pipeline.edge.database import MEMORY
from pipeline.edge.drives_file import PIECE_ROWS
from pipeline.edge.files import whole
from pipeline.tables.logs import OPTIONAL_NUMBERS


def numbers_loaded(loaded: Path, columns: Sequence[str]) -> dict[str, int]:
    """Count the drives of loaded.duckdb that have a number in each of some standard columns."""
    if not columns:
        return {}
    names = ", ".join(f'count("{name}")' for name in columns)
    with duckdb.connect(str(loaded), read_only=True) as connection:
        [counts] = connection.sql(f"SELECT {names} FROM shots").fetchall()
    return dict(zip(columns, counts, strict=True))


def write_regressors(loaded: Path, drives: Path, regressors: Sequence[str], path: Path) -> None:
    """Write the regressors of the drives as parquet, row by row those of drives.parquet.

    Parameters
    ----------
    loaded, drives : Path
        loaded.duckdb, and drives.parquet of the same drives.
    regressors : sequence of str
        Names of columns; those that aren't standard ones come from the table `readings`.
    path : Path
        To be made, whole or not at all: source, row and a column of numbers for each regressor, null where not known.
    """
    further = [name for name in regressors if name not in OPTIONAL_NUMBERS]
    columns = ", ".join(f'{"f" if name in further else "s"}."{name}"' for name in regressors)
    values = ", ".join(f'max(value) FILTER ("column" = \'{name}\') AS "{name}"' for name in further)
    beside = f"LEFT JOIN (SELECT source, row, {values} FROM readings GROUP BY source, row) f USING (source, row)"
    query = f"""SELECT d.source, d.row, {columns}
        FROM (SELECT source, row, file_row_number AS place FROM read_parquet(?, file_row_number = true)) d
        JOIN shots s USING (source, row) {beside if further else ""} ORDER BY place"""
    form = f"(FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE {PIECE_ROWS})"
    with tempfile.TemporaryDirectory(prefix="yardband-") as folder, whole(path) as part:
        # One thread: how many there are must not show in the bytes.
        settings: dict[str, str | bool | int | float | list[str]] = {
            "memory_limit": MEMORY,
            "temp_directory": folder,
            "threads": 1,
        }
        with duckdb.connect(str(loaded), read_only=True, config=settings) as connection:
            connection.execute(f"COPY ({query}) TO '{str(part).replace(chr(39), chr(39) * 2)}' {form}", [str(drives)])
