"""The study's DuckDB files (an edge module).

`load_shots` writes loaded.duckdb, `standardise_shots` shots.duckdb; everyone else opens them read-only.
"""

import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, cast

import duckdb
import polars as pl

from pipeline import tables
from pipeline.edge.drives_file import PIECE_ROWS

MEMORY = "1GB"  # what DuckDB holds before it uses the disk

# Columns of drives.parquet that have another name in the database.
_OF_DRIVES = {"carry_measured_yd": "carry_yd AS carry_measured_yd"}


def read_distinct(database: Path, columns: tuple[str, ...]) -> pl.DataFrame:
    """Read the distinct combinations of columns of the table `shots`."""
    return _query(database, f"SELECT DISTINCT {_names(columns)} FROM shots ORDER BY ALL")


def shots_in_pieces(database: Path, columns: tuple[str, ...]) -> Iterator[pl.DataFrame]:
    """Read columns of the table `shots` as it stands, by source and row, `PIECE_ROWS` rows at a time."""
    with duckdb.connect(str(database), read_only=True, config={"threads": 1}) as connection:
        for piece in connection.sql(f"SELECT {_names(columns)} FROM shots").to_arrow_reader(PIECE_ROWS):
            yield cast(pl.DataFrame, pl.from_arrow(piece))


def store_changes(loaded: Path, changes: Iterable[pl.DataFrame], database: Path) -> None:
    """Write a database like `loaded` whose shots also have the change of carry and the standard carry.

    Parameters
    ----------
    loaded : Path
    changes : iterable of DataFrame
        row and carry_change_yd of every drive, in the order of `shots_in_pieces`.
    database : Path
        An empty file to be made anew.

    Raises
    ------
    duckdb.InvalidInputException
        If the changes are not those of the drives, row by row.
    """
    import pyarrow.parquet  # a quarter of a second that readers need not pay

    arrow: Any = pyarrow  # which declares no types
    database.unlink(missing_ok=True)  # DuckDB wants to make the file itself
    with tempfile.TemporaryDirectory(prefix="yardband-") as folder:
        spool = Path(folder) / "changes.parquet"
        form = arrow.schema([("row", arrow.int64()), ("carry_change_yd", arrow.float64())])
        with arrow.parquet.ParquetWriter(spool, form) as file:
            for piece in changes:
                file.write_table(piece.select(form.names).to_arrow())
        with duckdb.connect(str(database), config=_settings(folder)) as connection:
            connection.execute(f"ATTACH {_literal(str(loaded))} AS loaded (READ_ONLY)")
            connection.begin()
            # Both stand in the same order, so that ten million drives need neither a join nor a sort.
            connection.execute(
                """CREATE TABLE shots AS SELECT *, carry_yd + carry_change_yd AS carry_standard_yd FROM (
                SELECT s.*, if(s.row = c.row, c.carry_change_yd, error('changes of other drives')) AS carry_change_yd
                FROM loaded.shots s POSITIONAL JOIN read_parquet(?) c)""",
                [str(spool)],
            )
            connection.execute("CREATE TABLE rejects AS FROM loaded.rejects ORDER BY source, row")
            connection.execute("CREATE TABLE sources AS FROM loaded.sources ORDER BY source")
            connection.commit()
            # Closing would do this too, but says nothing if the disk is full, and the drives stay in another file.
            connection.execute("CHECKPOINT")


def write_drives(database: Path, drives: Path) -> None:
    """Write the drives of shots.duckdb as parquet, by golfer, source and row, for all steps that follow.

    Parameters
    ----------
    database : Path
        Opened read-only.
    drives : Path
        To be made; its columns are those of `pipeline.tables.DriveTable`, its bytes the same for the same drives.
    """
    names = ", ".join(_OF_DRIVES.get(name, f'"{name}"') for name in tables.DriveTable.columns())
    query = f"SELECT {names} FROM shots ORDER BY golfer, source, row"
    form = f"(FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE {PIECE_ROWS})"
    with (
        tempfile.TemporaryDirectory(prefix="yardband-") as folder,
        # One thread: how many there are must not show in the bytes.
        duckdb.connect(str(database), read_only=True, config=_settings(folder) | {"threads": 1}) as connection,
    ):
        connection.execute(f"COPY ({query}) TO {_literal(str(drives))} {form}")


def _settings(folder: str) -> dict[str, str | int | float | bool | list[str]]:
    """Give DuckDB's settings; what it can't hold in memory goes to a folder of ours, which others can't read."""
    return {"memory_limit": MEMORY, "temp_directory": folder}


def _query(database: Path, text: str) -> pl.DataFrame:
    with duckdb.connect(str(database), read_only=True) as connection:
        found: pl.DataFrame = connection.sql(text).pl()
    return found


def _names(columns: tuple[str, ...]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
