"""Step `load_shots`: the cleaned logs of a study in, its database out.

Inputs: receipts, drives and rejected rows of every partition of logs, as `collect_logs` writes them. Outputs:
loaded.duckdb, with the tables `shots` (schema LoadedShots, by source and row), `rejects` and `sources`; `rejects.csv`
and `sources.csv`. Where the study names further columns as regressors, `readings` (schema Readings) are among both.
 From here on carry is called by what it is: `carry_yd` of the logs is `carry_measured_yd`.

A drive is a duplicate if an earlier one (by source and row) has the same golfer, the same second and the same
readings. Ball speed is left out of the comparison: one export may lack it.
"""

from pathlib import Path

from duckdb import DuckDBPyConnection

from pipeline.collect.further import identifying, lacking, numbers_in, unused_headers
from pipeline.collect.sources import remarks_on_shots, sources_table, what_became
from pipeline.edge.artefacts import read_json
from pipeline.edge.collected_files import (
    check_rejects,
    load_drives,
    load_readings,
    load_rejects,
    load_sources,
    readings_by_golfer,
    write_rejects,
)
from pipeline.edge.database import new_database
from pipeline.edge.files import whole, write_csv
from pipeline.errors import UserError

# Readings of one drive in two exports differ by half a step of each export's rounding. Coarsest steps met: 0.1 m/s
# (0.22 mph), 0.1 deg, 1 revolution per second (60 rpm), 1 m (1.09 yd) against 0.1 mph, 0.1 deg, 10 rpm, 1 yd.
# With the golfer and the second of the drive equal, another drive can't come that close; where a log gives the
# day alone, two of a golfer's drives do so about once in 50,000 pairs.
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
) -> None:
    """Load the cleaned logs of a study.

    Parameters
    ----------
    receipts, shots, rejects, readings : list of str
        Paths of what `collect_logs` made of every partition.
    further : list of str
        The regressors that aren't standard columns.
    database, rejects_csv, sources_csv : str
        Paths of the outputs.

    Raises
    ------
    UserError
        If no drive has a number of one of these, or one identifies golfers: what was collected of it is deleted.
    """
    read = [receipt for path in receipts for receipt in read_json(path)]
    check_rejects(rejects)
    with new_database(Path(database)) as connection:
        duplicates, earlier = load_drives(connection, shots, SAME_READING)
        sources = sources_table(read, duplicates, remarks_on_shots(read, duplicates, earlier))
        load_rejects(connection, rejects)
        load_sources(connection, sources)
        if readings:
            keep_readings(connection, readings, numbers_in(read, further or []), unused_headers(read))
        with whole(Path(rejects_csv)) as csv:
            write_rejects(connection, csv)
    write_csv(Path(sources_csv), sources)
    print(*what_became(sources), sep="\n")


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
