"""The study's DuckDB files (an edge module).

`load_shots` writes loaded.duckdb, `write_database` shots.duckdb; everyone else opens them read-only.
"""

import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import dataframely as dy
import duckdb
import polars as pl

from pipeline.drives import keyless_order
from pipeline.edge.drives_file import PIECE_ROWS
from pipeline.edge.files import whole
from pipeline.tables.columns import column_comments
from pipeline.tables.logs import DriveTable, Rejects, Sources, StandardShots

MEMORY = "1GB"  # what DuckDB holds before it uses the disk

# By which golfers are put in order: see `keyless_order`.
FIRST = ("struck_on", "club_speed_mph", "launch_deg", "spin_rpm", "carry_measured_yd")


@contextmanager
def new_database(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """Make a database, whole or not at all, in one transaction; give a connection to fill it."""
    with whole(path) as part, tempfile.TemporaryDirectory(prefix="yardband-") as folder:
        part.unlink()  # DuckDB wants to make the file itself
        with duckdb.connect(str(part), config=_settings(folder)) as connection:
            connection.begin()
            yield connection
            connection.commit()
            # Closing would do this too, but says nothing if the disk is full, and the rows stay in another file.
            connection.execute("CHECKPOINT")


def read_distinct(database: Path, columns: tuple[str, ...]) -> pl.DataFrame:
    """Read the distinct combinations of columns of the table `shots`."""
    with duckdb.connect(str(database), read_only=True) as connection:
        found: pl.DataFrame = connection.sql(f"SELECT DISTINCT {_names(columns)} FROM shots ORDER BY ALL").pl()
    return found


def shots_in_pieces(database: Path, columns: tuple[str, ...]) -> Iterator[pl.DataFrame]:
    """Read columns of the table `shots` as it stands, by source and row, `PIECE_ROWS` rows at a time."""
    with duckdb.connect(str(database), read_only=True, config={"threads": 1}) as connection:
        for piece in connection.sql(f"SELECT {_names(columns)} FROM shots").to_arrow_reader(PIECE_ROWS):
            yield cast(pl.DataFrame, pl.from_arrow(piece))


def write_drives(loaded: Path, changes: Iterable[pl.DataFrame], drives: Path) -> int:
    """Write the drives of loaded.duckdb with their standard carry as parquet, by golfer, source and row.

    Golfers stand in their `keyless_order`.

    Parameters
    ----------
    loaded : Path
    changes : iterable of DataFrame
        row, carry_change_yd and flown_yd of every drive, in the order of `shots_in_pieces`.
    drives : Path
        To be made, whole or not at all; its columns are those of `pipeline.tables.logs.DriveTable`, its bytes the
        same for the same drives.

    Returns
    -------
    int
        Number of drives.

    Raises
    ------
    duckdb.InvalidInputException
        If the changes are not those of the drives, row by row.
    """
    change = "if(s.row = c.row, c.carry_change_yd, error('changes of other drives'))"
    made = {"carry_standard_yd": f"s.carry_measured_yd + {change} AS carry_standard_yd", "flown_yd": "c.flown_yd"}
    names = ", ".join(made.get(name, f's."{name}"') for name in DriveTable.columns())
    with tempfile.TemporaryDirectory(prefix="yardband-") as folder, whole(drives) as part:
        spool = Path(folder) / "changes.parquet"
        _spool(changes, spool)
        # Both stand in the same order, so that ten million drives need no join.
        moved = f"SELECT {names} FROM shots s POSITIONAL JOIN read_parquet({_literal(spool)}) c"
        golfers = keyless_order(shots_in_pieces(loaded, ("golfer", *FIRST)))
        query = f"SELECT d.* FROM ({moved}) d JOIN golfers g USING (golfer) ORDER BY g.place, d.source, d.row"
        form = f"(FORMAT parquet, COMPRESSION zstd, ROW_GROUP_SIZE {PIECE_ROWS})"
        # One thread: how many there are must not show in the bytes.
        settings = _settings(folder) | {"threads": 1}
        with duckdb.connect(str(loaded), read_only=True, config=settings) as connection:
            connection.register("golfers", golfers.to_frame().with_row_index("place").to_arrow())
            [(count,)] = connection.execute(f"COPY ({query}) TO {_literal(part)} {form}").fetchall()
    return int(count)


def _spool(changes: Iterable[pl.DataFrame], path: Path) -> None:
    import pyarrow.parquet  # a quarter of a second that readers need not pay

    arrow: Any = pyarrow  # which declares no types
    numbers = [(name, arrow.float64()) for name in ("carry_change_yd", "flown_yd")]
    form = arrow.schema([("row", arrow.int64()), *numbers])
    with arrow.parquet.ParquetWriter(path, form) as file:
        for piece in changes:
            file.write_table(piece.select(form.names).to_arrow())


def write_shots(loaded: Path, drives: Path, added: pl.DataFrame, database: Path) -> None:
    """Write shots.duckdb: the tables of loaded.duckdb, each drive with its carry in every sense, all described.

    Parameters
    ----------
    loaded, drives : Path
        loaded.duckdb, and drives.parquet of the same drives.
    added : DataFrame
        device, ball and added_share of every pair of the drives, nulls included: what they add to carry, a share.
    database : Path
        To be made, whole or not at all.

    Raises
    ------
    duckdb.InvalidInputException
        If the drives are not those of the database.
    """
    with new_database(database) as connection:
        connection.execute(f"ATTACH {_literal(loaded)} AS loaded (READ_ONLY)")
        connection.register("added", added.to_arrow())
        connection.execute(
            """CREATE TEMP TABLE moved AS
            SELECT d.source, d.row, d.carry_standard_yd, d.carry_standard_yd / (1 + a.added_share) AS carry_reference_yd
            FROM read_parquet(?) d LEFT JOIN added a
            ON d.device IS NOT DISTINCT FROM a.device AND d.ball IS NOT DISTINCT FROM a.ball
            ORDER BY d.source, d.row""",
            [str(drives)],
        )
        # Both stand in the same order, so that ten million wide rows need neither a join nor a sort.
        connection.execute(
            """CREATE TABLE shots AS
            SELECT s.*, m.carry_standard_yd - s.carry_measured_yd AS carry_change_yd, m.carry_standard_yd,
            if(s.source = m.source AND s.row = m.row, m.carry_reference_yd, error('drives of another study'))
            AS carry_reference_yd FROM loaded.shots s POSITIONAL JOIN moved m"""
        )
        connection.execute("DROP TABLE moved")
        connection.execute("CREATE TABLE rejects AS FROM loaded.rejects ORDER BY source, row")
        connection.execute("CREATE TABLE sources AS FROM loaded.sources ORDER BY source")
        for name, schema in (("shots", StandardShots), ("rejects", Rejects), ("sources", Sources)):
            _describe(connection, name, schema)


def _describe(connection: duckdb.DuckDBPyConnection, table: str, schema: type[dy.Schema]) -> None:
    """Let a table and its columns say what they are, in the words of their schema."""
    about = " ".join((schema.__doc__ or "").split("\n\n")[0].split())
    connection.execute(f"COMMENT ON TABLE {table} IS {_literal(about)}")
    for name, comment in column_comments(schema).items():
        connection.execute(f'COMMENT ON COLUMN {table}."{name}" IS {_literal(comment)}')


def _settings(folder: str) -> dict[str, str | int | float | bool | list[str]]:
    """Give DuckDB's settings; what it can't hold in memory goes to a folder of ours, which others can't read."""
    return {"memory_limit": MEMORY, "temp_directory": folder}


def _names(columns: tuple[str, ...]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def _literal(text: str | Path) -> str:
    return "'" + str(text).replace("'", "''") + "'"
