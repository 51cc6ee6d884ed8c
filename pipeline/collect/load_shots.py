"""Step `load_shots`: the cleaned logs of a study in, its database out.

Inputs: receipts, drives and rejected rows of every log, as `collect_log` writes them. Outputs: `shots.duckdb` with
the tables `shots` (schema Shots, by source and row), `rejects` and `sources`; `rejects.csv` and `sources.csv`. The
database is built whole in one transaction under a temporary name. DuckDB reads the parquet files by itself, so
memory doesn't grow with the rows.

A drive is a duplicate if an earlier one (by source and row) has the same golfer, the same second and the same
readings. Ball speed is left out of the comparison: one export may lack it.
"""

import json
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from pipeline.files import whole, write_csv
from pipeline.tables import Rejects, Shots, Sources

# Readings of one drive in two exports differ by half a step of each export's rounding. Coarsest steps met: 0.1 m/s
# (0.22 mph), 0.1 deg, 1 revolution per second (60 rpm), 1 m (1.09 yd) against 0.1 mph, 0.1 deg, 10 rpm, 1 yd.
# With the golfer and the second of the drive equal, another drive can't come that close; where a log gives the
# day alone, two of a golfer's drives do so about once in 50,000 pairs.
SAME_READING = {"club_speed_mph": 0.25, "launch_deg": 0.15, "spin_rpm": 36.0, "carry_yd": 1.1}

_MEMORY = "1GB"  # what DuckDB holds before it uses the disk


def run(
    receipts: list[str], shots: list[str], rejects: list[str], database: str, rejects_csv: str, sources_csv: str
) -> None:
    """Load the cleaned logs of a study.

    Parameters
    ----------
    receipts, shots, rejects : list of str
        Paths of what `collect_log` made of every log.
    database, rejects_csv, sources_csv : str
        Paths of the outputs.
    """
    receipts_read = [json.loads(Path(path).read_text(encoding="utf-8")) for path in receipts]
    for path in rejects:
        Rejects.validate(pl.read_parquet(path, glob=False, hive_partitioning=False))
    with whole(Path(database)) as part, tempfile.TemporaryDirectory(prefix="yardband-") as spill:
        part.unlink()  # DuckDB wants to make the file itself
        settings: dict[str, str | int | float | bool | list[str]] = {"memory_limit": _MEMORY, "temp_directory": spill}
        with duckdb.connect(str(part), config=settings) as connection:
            connection.begin()
            found = _load(connection, _literal(shots), _literal(rejects))
            sources = sources_table(receipts_read, found)
            connection.register("made", sources.to_arrow())
            connection.execute("CREATE TABLE sources AS SELECT * FROM made ORDER BY source")
            connection.unregister("made")
            connection.commit()
            with whole(Path(rejects_csv)) as csv:
                connection.sql("FROM rejects ORDER BY source, row").write_csv(str(csv), header=True)
    write_csv(Path(sources_csv), sources)
    _report(sources)


def sources_table(receipts: Sequence[dict[str, Any]], duplicates: dict[str, int]) -> pl.DataFrame:
    """Give the table of log files, by source.

    Parameters
    ----------
    receipts : sequence of dict
        Receipts of `collect_log`, whose accepted rows still include duplicates.
    duplicates : dict of str to int
        Source: number of its rows that are duplicates; a source without any may be absent.

    Returns
    -------
    pl.DataFrame
        Schema Sources.
    """
    schema = Sources.create_empty().schema
    rows = [
        {
            **{name: receipt[name] for name in schema if name != "duplicates"},
            "accepted": receipt["accepted"] - duplicates.get(receipt["source"], 0),
            "duplicates": duplicates.get(receipt["source"], 0),
        }
        for receipt in receipts
    ]
    return Sources.validate(pl.DataFrame(rows, schema=dict(schema)).sort("source"))


def _load(connection: duckdb.DuckDBPyConnection, shots: list[str], rejects: list[str]) -> dict[str, int]:
    """Fill `shots` and `rejects`; give the number of duplicates of each source."""
    columns = ", ".join(f'"{name}"' for name in Shots.create_empty().columns)
    near = " AND ".join(f"abs(a.{name} - b.{name}) <= {tolerance}" for name, tolerance in SAME_READING.items())
    # Only drives that share a fingerprint are compared, and those are few.
    connection.execute(
        f"""CREATE TEMP TABLE alike AS
        WITH drives AS (SELECT source, row, shot_key, {", ".join(SAME_READING)} FROM {_FILES})
        SELECT * FROM drives WHERE shot_key IN (SELECT shot_key FROM drives GROUP BY shot_key HAVING count(*) > 1)""",
        [shots],
    )
    connection.execute(
        f"""CREATE TEMP TABLE duplicates AS
        SELECT DISTINCT b.source, b.row FROM alike a JOIN alike b
        ON a.shot_key = b.shot_key AND (a.source < b.source OR (a.source = b.source AND a.row < b.row)) AND {near}"""
    )
    connection.execute(
        f"""CREATE TABLE shots AS SELECT {columns} FROM {_FILES} drives
        ANTI JOIN duplicates USING (source, row) ORDER BY source, row""",
        [shots],
    )
    connection.execute(f"CREATE TABLE rejects AS FROM {_FILES} ORDER BY source, row", [rejects])
    counted = connection.execute("SELECT source, count(*) FROM duplicates GROUP BY source").fetchall()
    return {str(source): int(count) for source, count in counted}


_FILES = "read_parquet(?::VARCHAR[], hive_partitioning = false)"


def _literal(paths: list[str]) -> list[str]:
    """Keep DuckDB from taking brackets and stars in a path for a pattern."""
    return [re.sub(r"([*?\[])", r"[\1]", path) for path in paths]


def _report(sources: pl.DataFrame) -> None:
    totals = sources.select(pl.col("rows", "accepted", "rejected", "duplicates").sum()).row(0, named=True)
    used = sources.filter(pl.col("status") == "used").height
    print(
        f"{used} of {sources.height} logs used: {totals['rows']} rows, {totals['accepted']} accepted, "
        f"{totals['rejected']} rejected, {totals['duplicates']} duplicates."
    )
    for source, reason in sources.filter(pl.col("status") == "refused").select("source", "reason").iter_rows():
        print(f"{source}: refused, {reason}.")
