"""The study's DuckDB files (an edge module).

`load_shots` writes loaded.duckdb, `standardise_shots` shots.duckdb; everyone else opens them read-only.
"""

from collections.abc import Sequence
from pathlib import Path

import duckdb
import polars as pl

from pipeline.fit.drives import FIT_COLUMNS

MEMORY = "1GB"  # what DuckDB holds before it uses the disk


def read_shots(database: Path, columns: tuple[str, ...]) -> pl.DataFrame:
    """Read columns of the table `shots`, ordered by source and row.

    Parameters
    ----------
    database : Path
        Opened read-only.
    columns : tuple of str
        Names of columns of `pipeline.tables.StandardShots`.
    """
    return _query(database, f'SELECT {_names(columns)} FROM shots ORDER BY "source", "row"')


def read_drives(database: Path) -> pl.DataFrame:
    """Read what the fit and all after it take of a drive: `FIT_COLUMNS`, carry_yd being at standard conditions."""
    columns = ("carry_standard_yd AS carry_yd" if name == "carry_yd" else f'"{name}"' for name in FIT_COLUMNS)
    return _query(database, f'SELECT {", ".join(columns)} FROM shots ORDER BY "source", "row"')


def read_shots_of(database: Path, columns: tuple[str, ...], source: str) -> pl.DataFrame:
    """Read columns of the drives of one log, ordered by row."""
    return _query(database, f'SELECT {_names(columns)} FROM shots WHERE "source" = ? ORDER BY "row"', [source])


def read_distinct(database: Path, columns: tuple[str, ...]) -> pl.DataFrame:
    """Read the distinct combinations of columns of the table `shots`."""
    return _query(database, f"SELECT DISTINCT {_names(columns)} FROM shots ORDER BY ALL")


def store_changes(loaded: Path, changes: Path, database: Path) -> None:
    """Write a database like `loaded` whose shots also have the change of carry and the standard carry.

    Parameters
    ----------
    loaded : Path
    changes : Path
        Folder of parquet files with source, row and carry_change_yd.
    database : Path
        An empty file to be made anew.
    """
    database.unlink(missing_ok=True)  # DuckDB wants to make the file itself
    with duckdb.connect(str(database), config={"memory_limit": MEMORY}) as connection:
        connection.execute(f"ATTACH {_literal(str(loaded))} AS loaded (READ_ONLY)")
        connection.begin()
        files = sorted(str(path) for path in changes.glob("*.parquet"))
        if files:
            connection.execute(
                """CREATE TABLE shots AS
                SELECT s.*, c.carry_change_yd, s.carry_yd + c.carry_change_yd AS carry_standard_yd
                FROM loaded.shots s JOIN read_parquet(?::VARCHAR[]) c USING (source, row) ORDER BY source, row""",
                [files],
            )
        else:
            connection.execute(
                """CREATE TABLE shots AS SELECT *, 0::DOUBLE AS carry_change_yd, carry_yd AS carry_standard_yd
                FROM loaded.shots"""
            )
        connection.execute("CREATE TABLE rejects AS FROM loaded.rejects ORDER BY source, row")
        connection.execute("CREATE TABLE sources AS FROM loaded.sources ORDER BY source")
        connection.commit()
        # Closing would do this too, but says nothing if the disk is full, and the drives stay in another file.
        connection.execute("CHECKPOINT")


def _query(database: Path, text: str, values: Sequence[str] = ()) -> pl.DataFrame:
    with duckdb.connect(str(database), read_only=True) as connection:
        found: pl.DataFrame = connection.sql(text, params=list(values)).pl()
    return found


def _names(columns: tuple[str, ...]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
