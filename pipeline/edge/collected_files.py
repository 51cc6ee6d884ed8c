"""Collected logs: from pieces to parquet files, and from those to the tables of loaded.duckdb (an edge module).

DuckDB reads the parquet files by itself, so memory doesn't grow with the rows.
"""

import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import dataframely as dy
import duckdb
import numpy as np
import polars as pl

from pipeline.edge.artefacts import read_stamped, write_stamped
from pipeline.edge.files import FORMULA, whole
from pipeline.tables.logs import LONG_NUMBER, NAME_IN_LOGS, OPTIONAL_TEXTS, WITHHELD, LoadedShots, Rejects

_FILES = "read_parquet(?::VARCHAR[], hive_partitioning = false)"

_ABOUT = "about"  # the name of values beside tables
_READERS = ("polars", "pyarrow", "duckdb", "dataframely", "pydantic")


class Write(Protocol):
    """What takes the rows of a table, piece by piece."""

    def __call__(self, table: pl.DataFrame) -> None:
        """Take the next piece."""


@contextmanager
def table_writer(path: Path, schema: type[dy.Schema]) -> Iterator[Write]:
    """Open a parquet file for pieces of a table, one row group each; it appears whole or not at all."""
    import pyarrow.parquet  # a quarter of a second that readers need not pay

    form = schema.create_empty().to_arrow(compat_level=pl.CompatLevel.oldest()).schema
    open_writer: Any = pyarrow.parquet.ParquetWriter  # pyarrow declares no types
    # Numbers of rows and fingerprints don't repeat, so a dictionary of them costs time and saves nothing.
    repeating = [name for name in form.names if name not in ("row", "shot_key")]
    how = {"compression": "zstd", "use_dictionary": repeating, "write_statistics": ["source", "row"]}
    with whole(path) as part, open_writer(part, form, **how) as file:

        def write(table: pl.DataFrame) -> None:
            if table.height:
                file.write_table(table.select(form.names).to_arrow(compat_level=pl.CompatLevel.oldest()))

        yield write


def write_kept(path: Path, tables: Mapping[str, pl.DataFrame], about: Mapping[str, Any], code: str) -> None:
    """Write tables and values for JSON, whole or not at all, for the next run of the same code to take."""
    arrays = {_ABOUT: np.frombuffer(json.dumps(about, sort_keys=True).encode(), dtype=np.uint8)}
    for name, table in tables.items():
        table.write_parquet(content := io.BytesIO(), compression="zstd")
        arrays[name] = np.frombuffer(content.getvalue(), dtype=np.uint8)
    write_stamped(path, arrays, _with_readers(code))


def read_kept(path: Path, code: str) -> tuple[dict[str, pl.DataFrame], dict[str, Any]]:
    """Read what `write_kept` wrote of the same code; nothing if there is any doubt, or for no code."""
    arrays = read_stamped(path, _with_readers(code))
    about = json.loads(arrays.pop(_ABOUT).tobytes()) if arrays else {}
    return {name: pl.read_parquet(content.tobytes()) for name, content in arrays.items()}, about


def _with_readers(code: str) -> str:
    """Add to a digest of code what reads logs for it; still nothing where there is none."""
    return code and " ".join([code, *(version(name) for name in _READERS)])


class Duplicates(NamedTuple):
    """What was left out of the drives."""

    counts: dict[str, int]
    """Source: number of its rows that are duplicates; a source without any is absent."""
    earlier: dict[str, str]
    """Source with duplicates: the source that holds most of the rows they repeat."""


def check_rejects(rejects: Sequence[str]) -> None:
    """Validate the rejected rows of every partition."""
    for path in rejects:
        Rejects.validate(pl.read_parquet(path, glob=False, hive_partitioning=False))


def load_drives(
    connection: duckdb.DuckDBPyConnection,
    shots: Sequence[str],
    same_reading: Mapping[str, float],
    named: Mapping[str, Sequence[str]] | None = None,
    repeated: pl.DataFrame | None = None,
) -> Duplicates:
    """Fill `shots` (schema LoadedShots), by source and row, and leave out what an earlier row holds.

    Parameters
    ----------
    connection : DuckDBPyConnection
        To the new database.
    shots : sequence of str
        Paths of the drives of every partition (parquet, schema Shots).
    same_reading : mapping of str to float
        Column: how far the readings of one drive in two exports may differ.
    named : mapping of str to sequence of str
        Text column: texts to withhold.
    repeated : DataFrame, optional
        source, row and earlier of the duplicates, where they were found otherwise.
    """
    paths = [_exact(path) for path in shots]
    if repeated is None:
        _find_duplicates(connection, paths, same_reading)
    else:
        connection.register("repeated", repeated.to_arrow())
        connection.execute("CREATE TEMP TABLE duplicates AS FROM repeated")
        connection.unregister("repeated")
    _store(connection, paths, named or {})
    counted = connection.execute(
        "SELECT source, count(*), mode(earlier ORDER BY earlier) FROM duplicates GROUP BY source"
    ).fetchall()
    return Duplicates(
        {str(source): int(count) for source, count, _ in counted},
        {str(source): str(earlier) for source, _, earlier in counted},
    )


def read_drives(shots: Sequence[str], columns: Sequence[str]) -> pl.DataFrame:
    """Read columns of the drives of every partition (parquet, schema Shots), which must not be many."""
    frames = [pl.read_parquet(path, columns=list(columns), glob=False, hive_partitioning=False) for path in shots]
    return pl.concat(frames)


def _find_duplicates(
    connection: duckdb.DuckDBPyConnection, paths: Sequence[str], same_reading: Mapping[str, float]
) -> None:
    near = " AND ".join(f"abs(a.{name} - b.{name}) <= {tolerance}" for name, tolerance in same_reading.items())
    # Fingerprints are compared by a number first, which takes a quarter of the memory; few drives share one.
    connection.execute(
        f"""CREATE TEMP TABLE shared AS
        SELECT number FROM (SELECT hash(shot_key) AS number FROM {_FILES}) GROUP BY number HAVING count(*) > 1""",
        [paths],
    )
    connection.execute(
        f"""CREATE TEMP TABLE alike AS SELECT source, row, shot_key, {", ".join(same_reading)} FROM {_FILES}
        WHERE hash(shot_key) IN (FROM shared)""",
        [paths],
    )
    connection.execute(
        f"""CREATE TEMP TABLE duplicates AS
        SELECT b.source, b.row, min(a.source) AS earlier FROM alike a JOIN alike b
        ON a.shot_key = b.shot_key AND (a.source < b.source OR (a.source = b.source AND a.row < b.row)) AND {near}
        GROUP BY b.source, b.row"""
    )


def texts_in(connection: duckdb.DuckDBPyConnection, shots: Sequence[str]) -> dict[str, list[str]]:
    """Give the distinct texts of the text columns of the drives (parquet, schema Shots), by column."""
    paths = [_exact(path) for path in shots]
    return {
        name: [text for (text,) in connection.execute(f'SELECT DISTINCT "{name}" FROM {_FILES}', [paths]).fetchall()
               if text is not None]
        for name in OPTIONAL_TEXTS
    }  # fmt: skip


def _store(connection: duckdb.DuckDBPyConnection, paths: list[str], named: Mapping[str, Sequence[str]]) -> None:
    """Fill `shots` by source and row without a sort of all: a large log's file is in order already."""
    connection.execute("CREATE TEMP TABLE named (name VARCHAR, text VARCHAR)")
    if rows := [(name, text) for name, texts in named.items() for text in texts]:
        connection.executemany("INSERT INTO named VALUES (?, ?)", rows)

    def cell(name: str) -> str:
        stored = f'"{NAME_IN_LOGS.get(name, name)}"'
        if name in named:
            stored = f"if({stored} IN (SELECT text FROM named WHERE name = '{name}'), '{WITHHELD}', {stored})"
        return f'{stored} AS "{name}"'

    names = ", ".join(map(cell, LoadedShots.columns()))
    kept = f"SELECT {names} FROM {_FILES} ANTI JOIN duplicates USING (source, row)"
    span = f"SELECT min(source), max(source) FROM {_FILES}"
    spans = {path: connection.execute(span, [[path]]).fetchall()[0] for path in paths}
    alone = {first: path for path, (first, last) in spans.items() if first is not None and first == last}
    together = [path for path, (first, last) in spans.items() if first != last]
    connection.execute(f"CREATE TABLE shots AS SELECT {names} FROM {_FILES} LIMIT 0", [paths])
    if together and not alone:  # as in most studies: all goes to its place at once
        connection.execute(f"INSERT INTO shots {kept} ORDER BY source, row", [together])
        return
    connection.execute("CREATE TEMP TABLE small AS FROM shots LIMIT 0")
    if together:
        connection.execute(f"INSERT INTO small {kept}", [together])
    before = ""
    for source in sorted(alone):
        if together:
            connection.execute(
                "INSERT INTO shots FROM small WHERE source > ? AND source < ? ORDER BY source, row", [before, source]
            )
        connection.execute(f"INSERT INTO shots {kept} ORDER BY row", [[alone[source]]])
        before = source
    connection.execute("INSERT INTO shots FROM small WHERE source > ? ORDER BY source, row", [before])
    connection.execute("DROP TABLE small")


def load_rejects(connection: duckdb.DuckDBPyConnection, rejects: Sequence[str]) -> None:
    """Fill `rejects`, by source and row, from the rejected rows of every partition (parquet, schema Rejects)."""
    paths = [_exact(path) for path in rejects]
    connection.execute(f"CREATE TABLE rejects AS FROM {_FILES} ORDER BY source, row", [paths])


def load_readings(connection: duckdb.DuckDBPyConnection, readings: Sequence[str]) -> None:
    """Fill `readings` of the drives in `shots`, by source, row and column, from every partition (schema Readings)."""
    paths = [_exact(path) for path in readings]
    query = f'FROM {_FILES} SEMI JOIN shots USING (source, row) ORDER BY source, row, "column"'
    connection.execute(f"CREATE TABLE readings AS {query}", [paths])


def readings_by_golfer(connection: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """Sum up `readings`, as `pipeline.collect.further.by_golfer` does."""
    found: pl.DataFrame = connection.sql(
        f"""SELECT "column", golfer, count(*) AS "values", min(value) AS low, max(value) AS high,
        count(*) FILTER (WHERE abs(value) >= {LONG_NUMBER} AND value = round(value)) AS long
        FROM readings JOIN shots USING (source, row) GROUP BY ALL ORDER BY ALL"""
    ).pl()
    return found


def load_sources(connection: duckdb.DuckDBPyConnection, sources: pl.DataFrame) -> None:
    """Fill `sources` from the table of log files."""
    connection.register("made", sources.to_arrow())
    connection.execute("CREATE TABLE sources AS SELECT * FROM made ORDER BY source")
    connection.unregister("made")


def write_rejects(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Write `rejects` as csv; a log's name that begins like a formula gets an apostrophe, as texts elsewhere do."""
    harmless = f"if(regexp_matches(source, '{FORMULA}'), chr(39) || source, source)"
    query = f'SELECT {harmless} AS source, row, rule, "column" FROM rejects r ORDER BY r.source, r.row'
    connection.sql(query).write_csv(str(path), header=True)


def _exact(path: str) -> str:
    """Keep DuckDB from taking brackets and stars in a path for a pattern."""
    return re.sub(r"([*?\[])", r"[\1]", path)
