"""Step `load_shots`: the cleaned logs of a study in, its database out.

Inputs: receipts, drives and rejected rows of every partition of logs, as `collect_logs` writes them. Outputs: the
database, with the tables `shots` (schema Shots, by source and row), `rejects` and `sources`; `rejects.csv` and
`sources.csv`. The database is built whole in one transaction under a temporary name. DuckDB reads the parquet files
by itself, so memory doesn't grow with the rows.

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

from pipeline.collect.plausible import remarks_across
from pipeline.edge.files import FORMULA, whole, write_csv
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
        Paths of what `collect_logs` made of every partition.
    database, rejects_csv, sources_csv : str
        Paths of the outputs.
    """
    receipts_read = [one for path in receipts for one in json.loads(Path(path).read_text(encoding="utf-8"))]
    for path in rejects:
        Rejects.validate(pl.read_parquet(path, glob=False, hive_partitioning=False))
    with whole(Path(database)) as part, tempfile.TemporaryDirectory(prefix="yardband-") as spill:
        part.unlink()  # DuckDB wants to make the file itself
        settings: dict[str, str | int | float | bool | list[str]] = {"memory_limit": _MEMORY, "temp_directory": spill}
        with duckdb.connect(str(part), config=settings) as connection:
            connection.begin()
            found = _load(connection, _literal(shots), _literal(rejects))
            sources = sources_table(receipts_read, *found)
            connection.register("made", sources.to_arrow())
            connection.execute("CREATE TABLE sources AS SELECT * FROM made ORDER BY source")
            connection.unregister("made")
            connection.commit()
            # Closing would do this too, but says nothing if the disk is full, and the drives stay in another file.
            connection.execute("CHECKPOINT")
            with whole(Path(rejects_csv)) as csv:
                connection.sql(_REJECTS).write_csv(str(csv), header=True)
    write_csv(Path(sources_csv), sources)
    _report(sources)


def sources_table(
    receipts: Sequence[dict[str, Any]], duplicates: dict[str, int], elsewhere: dict[str, str] | None = None
) -> pl.DataFrame:
    """Give the table of log files, by source.

    Parameters
    ----------
    receipts : sequence of dict
        Receipts of `collect_log`, whose accepted rows still include duplicates.
    duplicates : dict of str to int
        Source: number of its rows that are duplicates; a source without any may be absent.
    elsewhere : dict of str to str, optional
        Source whose accepted rows are all duplicates: the earlier source that holds most of them.

    Returns
    -------
    pl.DataFrame
        Schema Sources.
    """
    schema = Sources.create_empty().schema
    across = remarks_across({one["source"]: one.get("carry_over_flight") for one in receipts})
    rows = [
        {
            **{name: receipt[name] for name in schema if name != "duplicates"},
            "accepted": receipt["accepted"] - duplicates.get(receipt["source"], 0),
            "duplicates": duplicates.get(receipt["source"], 0),
            "reason": _reason(receipt, duplicates.get(receipt["source"], 0), elsewhere or {}, across),
        }
        for receipt in receipts
    ]
    return Sources.validate(pl.DataFrame(rows, schema=dict(schema)).sort("source"))


def _reason(receipt: dict[str, Any], duplicates: int, elsewhere: dict[str, str], across: dict[str, str]) -> str | None:
    """Say why a log was refused, or what looks wrong with a used one; None if nothing does."""
    notes = list(receipt.get("notes", []))
    if not notes and receipt["source"] in across:
        notes.append(across[receipt["source"]])
    if receipt["accepted"] and duplicates == receipt["accepted"]:
        first = elsewhere.get(receipt["source"], receipt["source"])
        notes.append(f"all its {duplicates} drives were read before, most of them in {first}; leave one of the two out")
    return receipt["reason"] or "; ".join(notes) or None


def _load(
    connection: duckdb.DuckDBPyConnection, shots: list[str], rejects: list[str]
) -> tuple[dict[str, int], dict[str, str]]:
    """Fill `shots` and `rejects`; give each source's number of duplicates, and the source that holds most of them."""
    near = " AND ".join(f"abs(a.{name} - b.{name}) <= {tolerance}" for name, tolerance in SAME_READING.items())
    # Fingerprints are compared by a number first, which takes a quarter of the memory; few drives share one.
    connection.execute(
        f"""CREATE TEMP TABLE shared AS
        SELECT number FROM (SELECT hash(shot_key) AS number FROM {_FILES}) GROUP BY number HAVING count(*) > 1""",
        [shots],
    )
    connection.execute(
        f"""CREATE TEMP TABLE alike AS SELECT source, row, shot_key, {", ".join(SAME_READING)} FROM {_FILES}
        WHERE hash(shot_key) IN (FROM shared)""",
        [shots],
    )
    connection.execute(
        f"""CREATE TEMP TABLE duplicates AS
        SELECT b.source, b.row, min(a.source) AS earlier FROM alike a JOIN alike b
        ON a.shot_key = b.shot_key AND (a.source < b.source OR (a.source = b.source AND a.row < b.row)) AND {near}
        GROUP BY b.source, b.row"""
    )
    _store(connection, shots)
    connection.execute(f"CREATE TABLE rejects AS FROM {_FILES} ORDER BY source, row", [rejects])
    counted = connection.execute(
        "SELECT source, count(*), mode(earlier ORDER BY earlier) FROM duplicates GROUP BY source"
    ).fetchall()
    return {str(one): int(count) for one, count, _ in counted}, {str(one): str(first) for one, _, first in counted}


def _store(connection: duckdb.DuckDBPyConnection, shots: list[str]) -> None:
    """Fill `shots` by source and row without a sort of all: a large log's file is in order already."""
    names = ", ".join(f'"{name}"' for name in Shots.columns())
    kept = f"SELECT {names} FROM {_FILES} ANTI JOIN duplicates USING (source, row)"
    spans = {path: connection.execute(_SPAN, [[path]]).fetchall()[0] for path in shots}
    alone = {first: path for path, (first, last) in spans.items() if first is not None and first == last}
    together = [path for path, (first, last) in spans.items() if first != last]
    connection.execute(f"CREATE TABLE shots AS SELECT {names} FROM {_FILES} LIMIT 0", [shots])
    connection.execute("CREATE TEMP TABLE small AS FROM shots LIMIT 0")
    if together:
        connection.execute(f"INSERT INTO small {kept} ORDER BY source, row", [together])
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


# A log's name that begins like a formula gets an apostrophe, as the texts of the other tables do.
_REJECTS = f"""SELECT if(regexp_matches(source, '{FORMULA}'), chr(39) || source, source) AS source,
    row, rule, "column" FROM rejects r ORDER BY r.source, r.row"""

_FILES = "read_parquet(?::VARCHAR[], hive_partitioning = false)"
_SPAN = f"SELECT min(source), max(source) FROM {_FILES}"


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
    odd = (pl.col("status") == "used") & pl.col("reason").is_not_null()
    for source, reason in sources.filter(odd).select("source", "reason").iter_rows():
        print(f"{source}: look again, {reason}.")
