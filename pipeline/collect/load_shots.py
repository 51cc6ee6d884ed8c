"""Step `load_shots`: the cleaned logs of a study in, its database out.

Inputs: receipts, drives, rejected rows and sealed names of every partition of logs, as `collect_logs` writes them, and
the study's key. Texts that hold the name of another partition's golfer are withheld here. Outputs:
loaded.duckdb, with the tables `shots` (schema LoadedShots, by source and row), `rejects` and `sources`; `rejects.csv`
and `sources.csv`. Where the study names further columns as regressors, `readings` (schema Readings) are among both.
From here on carry is called by what it is: `carry_yd` of the logs is `carry_measured_yd`.

A drive is a duplicate if an earlier one (by source and row) has the same golfer, the same second and the same
readings. Ball speed is left out of the comparison: one export may lack it.
"""

from pathlib import Path
from typing import Any

import polars as pl
from duckdb import DuckDBPyConnection

from pipeline.collect.further import identifying, lacking, numbers_in, unused_headers
from pipeline.collect.key import read_key
from pipeline.collect.other_logs import SealedNames, look_alikes, named_texts, told_of
from pipeline.collect.repeated import SAME_BY_HAND, repeated
from pipeline.collect.sources import remarks_on_shots, sources_table, what_became
from pipeline.edge.artefacts import read_artefact, read_json
from pipeline.edge.collected_files import (
    check_rejects,
    load_drives,
    load_readings,
    load_rejects,
    load_sources,
    read_drives,
    readings_by_golfer,
    texts_in,
    write_rejects,
)
from pipeline.edge.database import new_database
from pipeline.edge.files import whole, write_csv
from pipeline.errors import UserError

# Readings of one drive in two exports differ by half a step of each export's rounding. Coarsest steps met: 0.1 m/s
# (0.22 mph), 0.1 deg, 1 revolution per second (60 rpm), 1 m (1.09 yd) against 0.1 mph, 0.1 deg, 10 rpm, 1 yd.
# With the golfer and the second of the drive equal, another drive can't come that close; where a log gives the
# day alone, two of a golfer's drives do so about once in 50,000 pairs. Results by hand: `repeated`.
SAME_READING = {"club_speed_mph": 0.25, "launch_deg": 0.15, "spin_rpm": 36.0, "carry_yd": 1.1}


def run(
    receipts: list[str],
    shots: list[str],
    rejects: list[str],
    database: str,
    rejects_csv: str,
    sources_csv: str,
    readings: list[str] | None = None,
    further: list[str] | None = None,
    names: list[str] | None = None,
    key: str | None = None,
    study: str | None = None,
    by_hand: bool = False,
) -> None:
    """Load the cleaned logs of a study.

    Parameters
    ----------
    receipts, shots, rejects, readings, names, database, rejects_csv, sources_csv : str or list of str
        Paths of what `collect_logs` made of every partition, and of the outputs.
    further, key, study, by_hand
        Regressors that aren't standard columns; key and name of the study; whether these are results by hand.

    Raises
    ------
    UserError
        If no drive has a number of one of these, or one identifies golfers: what was collected of it is deleted.
    """
    read = [receipt for path in receipts for receipt in read_json(path)]
    known = [read_artefact(path, SealedNames) for path in names or []]
    with new_database(Path(database)) as connection:
        named = named_in(connection, shots, known, None if key is None else read_key(Path(key), study or ""))
        sources = _loaded(connection, shots, read, known, named, by_hand=by_hand)
        _load_rejects(connection, rejects, Path(rejects_csv))
        if readings:
            keep_readings(connection, readings, numbers_in(read, further or []), unused_headers(read))
    write_csv(Path(sources_csv), sources)
    print(*what_became(sources), *told_of(named), sep="\n")


def named_in(
    connection: DuckDBPyConnection, shots: list[str], known: list[SealedNames], key: bytes | None
) -> dict[str, list[str]]:
    """Find the texts of the drives that hold a name of any partition's golfer; none without the key."""
    return {} if key is None else named_texts(texts_in(connection, shots), known, key)


def _load_rejects(connection: DuckDBPyConnection, rejects: list[str], rejects_csv: Path) -> None:
    check_rejects(rejects)
    load_rejects(connection, rejects)
    with whole(rejects_csv) as csv:
        write_rejects(connection, csv)


def _loaded(
    connection: DuckDBPyConnection,
    shots: list[str],
    read: list[dict[str, Any]],
    known: list[SealedNames],
    named: dict[str, list[str]],
    *,
    by_hand: bool,
) -> pl.DataFrame:
    """Load the drives and give the table of log files, which is loaded too."""
    again = repeated(read_drives(shots, ("source", "row", "shot_key", *SAME_BY_HAND))) if by_hand else None
    duplicates, earlier = load_drives(connection, shots, SAME_READING, named, again)
    alike = look_alikes(one for part in known for one in part.golfers)
    sources = sources_table(read, duplicates, remarks_on_shots(read, duplicates, earlier, alike))
    load_sources(connection, sources)
    return sources


def keep_readings(
    connection: DuckDBPyConnection, readings: list[str], numbers: dict[str, int], headers: list[str]
) -> None:
    """Fill the table `readings`, unless a column of it is missing or identifies golfers; see `run`."""
    load_readings(connection, readings)
    if problems := identifying(readings_by_golfer(connection)):
        for path in readings:
            Path(path).unlink(missing_ok=True)
    if problems := problems or lacking(numbers, headers):
        raise UserError("\n".join(problems))
