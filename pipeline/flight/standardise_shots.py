"""Step: store each drive's carry at standard conditions beside the measured one.

In: loaded.duckdb, calibration.json, tables.npz. Out: shots.duckdb, with the tables `shots`, `rejects` and `sources`.
Logs are taken one by one, so that memory doesn't grow with the study.
"""

import json
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.errors import UserError
from pipeline.files import whole
from pipeline.flight.around import AIR_COLUMNS, air_of_drives
from pipeline.flight.build_flight_table import standard_pair
from pipeline.flight.calibrate import Calibration
from pipeline.flight.impact import ASSUMED_RATIO
from pipeline.flight.standard import AirNodes, StudyTables, expected_key, standard_change_yd
from pipeline.store import read_distinct, read_shots_of, store_changes
from pipeline.study import StandardAir

COLUMNS = ("source", "row", "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", *AIR_COLUMNS)


def run(loaded: str, calibration: str, tables: str, database: str, air: dict[str, Any]) -> None:
    """Run the step; see the module's docstring."""
    standard = StandardAir.model_validate(air)
    found = json.loads(Path(calibration).read_text(encoding="utf-8"))
    flights = _read_tables(Path(tables), Path(loaded), Calibration.from_dict(found["calibration"]), standard)
    ratio = found["speed_ratio"] or ASSUMED_RATIO
    with tempfile.TemporaryDirectory(prefix="yardband-") as folder, whole(Path(database)) as part:
        sources = read_distinct(Path(loaded), ("source",)).get_column("source").sort()
        for index, source in enumerate(sources):
            drives = read_shots_of(Path(loaded), COLUMNS, source)
            change = standard_change_yd(drives, flights, standard.temp_c, standard.pressure_hpa, ratio)
            moved = drives.select("source", "row").with_columns(pl.Series("carry_change_yd", change))
            moved.write_parquet(Path(folder) / f"{index:06d}.parquet")
        store_changes(Path(loaded), Path(folder), part)
    print(f"Moved the carry of {len(sources)} logs to standard conditions.")


def _read_tables(path: Path, loaded: Path, kept: Calibration, standard: StandardAir) -> StudyTables:
    with np.load(path) as arrays:
        tables = StudyTables.from_arrays(dict(arrays))
    airs, _ = air_of_drives(read_distinct(loaded, AIR_COLUMNS), standard.temp_c, standard.pressure_hpa)
    if tables.key != expected_key(kept.ball, standard_pair(standard), AirNodes.of(airs)):
        raise UserError(f"{path}: was flown for another ball or air; delete it and run the workflow again.")
    return tables
