"""Reading the study's DuckDB file (an edge module); only `load_shots` ever writes it."""

from pathlib import Path

import duckdb
import polars as pl


def read_shots(database: Path, columns: tuple[str, ...]) -> pl.DataFrame:
    """Read columns of the table `shots`, ordered by source and row.

    Parameters
    ----------
    database : Path
        The study's shots.duckdb, opened read-only.
    columns : tuple of str
        Names of columns of `pipeline.tables.Shots`.
    """
    with duckdb.connect(str(database), read_only=True) as connection:
        names = ", ".join(f'"{column}"' for column in columns)
        shots: pl.DataFrame = connection.sql(f'SELECT {names} FROM shots ORDER BY "source", "row"').pl()
    return shots
