"""The study's DuckDB files (an edge module).

`load_shots` writes loaded.duckdb, `write_database` shots.duckdb; everyone else opens them read-only.
"""

import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import duckdb
import polars as pl

from pipeline.drives import keyless_order
from pipeline.edge.drives_file import PIECE_ROWS
from pipeline.edge.files import whole
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.tables.columns import Table, column_comments
from pipeline.tables.figures import HeldOut
from pipeline.tables.logs import DriveTable, LoadedHandShots, Readings, Rejects, StandardShots, StudiedDrives
from pipeline.tables.table_set import TableSet

# Column: device: factor and addition.
ReadingChanges = Mapping[str, Mapping[str, tuple[float, float]]]

UNSTATED = "unstated"  # the device of drives whose log names none
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


def shots_in_pieces(
    database: Path, columns: tuple[str, ...], corrected: ReadingChanges | None = None
) -> Iterator[pl.DataFrame]:
    """Read columns of the table `shots`, by source and row, `PIECE_ROWS` rows at a time.

    Parameters
    ----------
    database : Path
    columns : tuple of str
    corrected : dict, optional
        Column: device: the factor and the addition that put its readings right; as they stand unless given.
    """
    names = ", ".join(_corrected(name, corrected or {}) for name in columns)
    with duckdb.connect(str(database), read_only=True, config={"threads": 1}) as connection:
        for piece in connection.sql(f"SELECT {names} FROM shots s").to_arrow_reader(PIECE_ROWS):
            yield cast(pl.DataFrame, pl.from_arrow(piece))


def golfer_summaries(database: Path) -> pl.DataFrame:
    """Sum up the drives of each golfer, quarter, device and ball.

    Returns
    -------
    DataFrame
        golfer, quarter, device, ball, drives; medians of club_speed_mph, ball_speed_mph, launch_deg, measured spin_rpm
        and carry_yd, and the upper quartile of ball over club speed as better_ratio, each null where nothing is known;
        means of the air columns. In no order that means anything.
    """
    keys = ("golfer", "quarter", "device", "ball")
    by = _names(keys)
    held = {
        "club_speed_mph": "median(club_speed_mph)",
        "ball_speed_mph": "median(ball_speed_mph)",
        "launch_deg": "median(launch_deg)",
        "spin_rpm": "median(spin_rpm) FILTER (WHERE coalesce(spin_measured, true))",
        "carry_yd": "median(carry_measured_yd)",
        "better_ratio": "quantile_cont(ball_speed_mph / club_speed_mph, 0.75)",
    }
    means = ", ".join(f"avg({name}) AS {name}" for name in AIR_COLUMNS)
    with tempfile.TemporaryDirectory(prefix="yardband-") as folder:
        settings = _settings(folder) | {"threads": 1}
        with duckdb.connect(str(database), read_only=True, config=settings) as connection:
            found: pl.DataFrame = connection.sql(
                f"SELECT {by}, count(*) AS drives, {means} FROM shots GROUP BY {by}"
            ).pl()
            # A median holds all its values in memory, so one reading at a time.
            for name, of in held.items():
                one = connection.sql(f"SELECT {by}, {of} AS {name} FROM shots GROUP BY {by}").pl()
                found = found.join(one, on=keys, nulls_equal=True, validate="1:1")
    return found


def devices_of_sources(database: Path) -> pl.DataFrame:
    """Count the drives of each log and device: source, device (null if not said), drives; by source and device."""
    with duckdb.connect(str(database), read_only=True) as connection:
        found: pl.DataFrame = connection.sql(
            "SELECT source, device, count(*) AS drives FROM shots GROUP BY source, device ORDER BY ALL"
        ).pl()
    return found


def read_sources(database: Path) -> pl.DataFrame:
    """Read the table `sources`, by source."""
    with duckdb.connect(str(database), read_only=True) as connection:
        found: pl.DataFrame = connection.sql("FROM sources ORDER BY source").pl()
    return found


def write_drives(
    loaded: Path, changes: Iterable[pl.DataFrame], drives: Path, corrected: ReadingChanges | None = None
) -> int:
    """Write the drives of loaded.duckdb with their standard carry as parquet, by golfer, source and row.

    Golfers stand in their `keyless_order`.

    Parameters
    ----------
    loaded : Path
    changes : iterable of DataFrame
        row, carry_change_yd, flown_yd and curve_yd of every drive, in the order of `shots_in_pieces`.
    drives : Path
        To be made, whole or not at all; its columns are those of `pipeline.tables.logs.DriveTable`, its bytes the
        same for the same drives.
    corrected : dict, optional
        As for `shots_in_pieces`; golfers stand in the same order with any.

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
    made = {"carry_standard_yd": f"s.carry_measured_yd + {change} AS carry_standard_yd"}
    made |= {"flown_yd": "c.flown_yd", "curve_yd": "c.curve_yd"}
    names = ", ".join(made.get(name) or _corrected(name, corrected or {}) for name in DriveTable.columns())
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
            # The few golfers in memory, the many drives passing by: DuckDB can't know how many rows a positional join
            # has, and would hold the drives.
            connection.execute("SET disabled_optimizers = 'join_order,build_side_probe_side'")
            connection.register("golfers", golfers.to_frame().with_row_index("place").to_arrow())
            [(count,)] = connection.execute(f"COPY ({query}) TO {_literal(part)} {form}").fetchall()
    return int(count)


def _spool(changes: Iterable[pl.DataFrame], path: Path) -> None:
    import pyarrow.parquet  # a quarter of a second that readers need not pay

    arrow: Any = pyarrow  # which declares no types
    numbers = [(name, arrow.float64()) for name in ("carry_change_yd", "flown_yd", "curve_yd")]
    form = arrow.schema([("row", arrow.int64()), *numbers])
    with arrow.parquet.ParquetWriter(path, form) as file:
        for piece in changes:
            file.write_table(piece.select(form.names).to_arrow())


def write_shots(
    loaded: Path,
    drives: Path,
    added: pl.DataFrame,
    told: TableSet,
    database: Path,
    corrected: ReadingChanges | None = None,
    held_out: Path | None = None,
) -> None:
    """Write shots.duckdb: the tables of loaded.duckdb, each drive with its carry in every sense, all described.

    Beside them stand other tables of the results, and the view `drives` of the drives as a fit has them.

    Parameters
    ----------
    loaded, drives : Path
        loaded.duckdb, and drives.parquet of the same drives.
    added : DataFrame
        device, ball and added_share of every pair of the drives, nulls included: what they add to carry, a share.
    told : TableSet
        Further tables, each stored under its name.
    database : Path
        To be made, whole or not at all.
    corrected : dict, optional
        As for `shots_in_pieces`.
    held_out : Path, optional
        held_out.parquet, where it is of the model in use.

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
            SELECT d.source, d.row, d.carry_standard_yd, d.curve_yd,
            d.carry_standard_yd / (1 + a.added_share) AS carry_reference_yd FROM read_parquet(?) d LEFT JOIN added a
            ON d.device IS NOT DISTINCT FROM a.device AND d.ball IS NOT DISTINCT FROM a.ball
            ORDER BY d.source, d.row""",
            [str(drives)],
        )
        # Both stand in the same order, so that ten million wide rows need neither a join nor a sort.
        connection.execute(
            """CREATE TABLE shots AS
            SELECT s.*, m.carry_standard_yd - s.carry_measured_yd AS carry_change_yd, m.carry_standard_yd,
            if(s.source = m.source AND s.row = m.row, m.carry_reference_yd, error('drives of another study'))
            AS carry_reference_yd, m.curve_yd FROM loaded.shots s POSITIONAL JOIN moved m"""
        )
        connection.execute("DROP TABLE moved")
        connection.execute("CREATE TABLE rejects AS FROM loaded.rejects ORDER BY source, row")
        _store_tables(connection, told)
        connection.execute(f"CREATE VIEW {StudiedDrives.STORED} AS {_studied(corrected or {})}")
        described: list[type[Table]] = [StandardShots, Rejects, StudiedDrives, *told.frames]
        if held_out is not None:
            connection.execute(f"CREATE TABLE {HeldOut.STORED} AS FROM read_parquet({_literal(held_out)})")
            described.append(HeldOut)
        if connection.execute(
            "FROM duckdb_tables() WHERE database_name = 'loaded' AND table_name = 'readings'"
        ).fetchall():
            connection.execute(
                f"CREATE TABLE {Readings.STORED} AS FROM loaded.readings ORDER BY {_names(Readings.primary_key())}"
            )
            described.append(Readings)
        for one in described:
            _describe(connection, one)


def write_hand_shots(loaded: Path, told: TableSet, database: Path) -> None:
    """Write shots.duckdb of results by hand: the drives and rejected rows of by_hand.duckdb, and other tables.

    Parameters
    ----------
    loaded : Path
    told : TableSet
        Further tables, each stored under its name.
    database : Path
        To be made, whole or not at all.
    """
    with new_database(database) as connection:
        connection.execute(f"ATTACH {_literal(loaded)} AS loaded (READ_ONLY)")
        for schema in (LoadedHandShots, Rejects):
            query = f"FROM loaded.{schema.STORED} ORDER BY source, row"
            connection.execute(f"CREATE TABLE {schema.STORED} AS {query}")
        _store_tables(connection, told)
        described: list[type[Table]] = [LoadedHandShots, Rejects, *told.frames]
        for one in described:
            _describe(connection, one)


def _store_tables(connection: duckdb.DuckDBPyConnection, told: TableSet) -> None:
    for schema, table in told.frames.items():
        connection.register("made", table.to_arrow())
        connection.execute(f"CREATE TABLE {schema.STORED} AS FROM made ORDER BY {_names(schema.primary_key())}")
        connection.unregister("made")


def _studied(corrected: ReadingChanges) -> str:
    """Give the query of the view `drives`: what a device misreads is put right as the drives are read."""
    made = {"speed_ratio": "ball_speed_mph / club_speed_mph AS speed_ratio"}
    names = StudiedDrives.column_names()
    stored = ", ".join(_corrected(name, corrected) for name in names if name not in made)
    told = ", ".join(made.get(name, f'"{name}"') for name in names)
    return f"SELECT {told} FROM (SELECT {stored} FROM shots s)"


def _describe(connection: duckdb.DuckDBPyConnection, schema: type[Table]) -> None:
    """Let a table and its columns say what they are, in the words of their schema."""
    about = " ".join((schema.__doc__ or "").split("\n\n")[0].split())
    kind = "TABLE" if schema.FILES else "VIEW"
    connection.execute(f"COMMENT ON {kind} {schema.STORED} IS {_literal(about)}")
    for name, comment in column_comments(schema).items():
        connection.execute(f'COMMENT ON COLUMN {schema.STORED}."{name}" IS {_literal(comment)}')


def _settings(folder: str) -> dict[str, str | int | float | bool | list[str]]:
    """Give DuckDB's settings; what it can't hold in memory goes to a folder of ours, which others can't read."""
    return {"memory_limit": MEMORY, "temp_directory": folder}


def _names(columns: Sequence[str]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def _corrected(name: str, changes: ReadingChanges) -> str:
    """Give a column of `shots s`, put right for the devices that misread it."""
    column = f's."{name}"'
    if not changes.get(name):
        return column
    made = "".join(
        f" WHEN {_literal(device)} THEN {column} * {factor!r} + {added!r}"
        for device, (factor, added) in sorted(changes[name].items())
    )
    return f'CASE coalesce(s.device, {_literal(UNSTATED)}){made} ELSE {column} END AS "{name}"'


def _literal(text: str | Path) -> str:
    return "'" + str(text).replace("'", "''") + "'"
