"""Step: store each drive's carry at standard conditions beside the measured one.

In: loaded.duckdb, calibration.json, tables.npz. Out: shots.duckdb, with the tables `shots`, `rejects` and `sources`,
and drives.parquet (schema Drives, a row per drive, by golfer), which all later steps read. Drives are taken piece by
piece, so that memory doesn't grow with the study.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.database import read_distinct, shots_in_pieces, store_changes, write_drives
from pipeline.edge.files import whole
from pipeline.errors import UserError
from pipeline.flight.build_flight_table import standard_pair
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.flight.standard import AirNodes, StudyTables, expected_key, standard_change_yd
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives
from pipeline.physics.impact import ASSUMED_RATIO

COLUMNS = ("row", "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", *AIR_COLUMNS)


def run(loaded: str, calibration: str, tables: str, database: str, drives: str, air: dict[str, Any]) -> None:
    """Run the step; see the module's docstring."""
    standard = StandardAir.model_validate(air)
    found = read_artefact(calibration, StudyFlight)
    flights = _read_tables(Path(tables), Path(loaded), found.calibration, standard)
    ratio = found.speed_ratio or ASSUMED_RATIO
    count = 0

    def changes() -> Iterator[pl.DataFrame]:
        nonlocal count
        for piece in shots_in_pieces(Path(loaded), COLUMNS):
            change = standard_change_yd(piece, flights, standard.temp_c, standard.pressure_hpa, ratio)
            count += piece.height
            yield piece.select("row").with_columns(pl.Series("carry_change_yd", change))

    with whole(Path(database)) as part, whole(Path(drives)) as drives_part:
        store_changes(Path(loaded), changes(), part)
        write_drives(part, drives_part)
    print(f"Moved the carry of {count} drives to standard conditions.")


def _read_tables(path: Path, loaded: Path, kept: Calibration, standard: StandardAir) -> StudyTables:
    tables = StudyTables.from_arrays(read_arrays(path))
    airs, _ = air_of_drives(read_distinct(loaded, AIR_COLUMNS), standard.temp_c, standard.pressure_hpa)
    if tables.key != expected_key(kept.ball, standard_pair(standard), AirNodes.of(airs)):
        raise UserError(f"{path}: was flown for another ball or air; delete it and run the workflow again.")
    return tables
