"""Step `standardise_shots`: every drive's carry at standard conditions, for all steps that follow.

Inputs: loaded.duckdb, devices.json, calibration.json and tables.npz. Output: drives.parquet (schema DriveTable, a row
per drive, by golfer, source and row), whose readings are put right by devices.json. Drives are taken piece by piece, so
that memory doesn't grow with the study.
"""

from pathlib import Path
from typing import Any

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.database import read_distinct, shots_in_pieces, write_drives
from pipeline.errors import UserError
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.flight.devices import StudyDevices
from pipeline.flight.standard import AirNodes, StudyTables, expected_key, standard_pair, with_change
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives
from pipeline.physics.impact import ASSUMED_RATIO

COLUMNS = ("row", "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", *AIR_COLUMNS, *SIDE_COLUMNS)


def run(loaded: str, devices: str, calibration: str, tables: str, drives: str, air: dict[str, Any]) -> None:
    """Move the carry of all drives.

    Parameters
    ----------
    loaded, devices, calibration, tables : str
        Paths of the inputs.
    drives : str
        Path of the output.
    air : dict
        The study's standard conditions (`StandardAir`).

    Raises
    ------
    UserError
        If the table of flights is of another ball or air.
    """
    standard = StandardAir.model_validate(air)
    found = read_artefact(calibration, StudyFlight)
    flights = _read_tables(Path(tables), Path(loaded), found.calibration, standard)
    ratio = found.speed_ratio or ASSUMED_RATIO
    right = read_artefact(devices, StudyDevices).changes
    pieces = shots_in_pieces(Path(loaded), COLUMNS, right)
    moved = (with_change(piece, flights, standard.temp_c, standard.pressure_hpa, ratio) for piece in pieces)
    count = write_drives(Path(loaded), moved, Path(drives), right)
    print(f"Moved the carry of {count} drives to standard conditions.")


def _read_tables(path: Path, loaded: Path, kept: Calibration, standard: StandardAir) -> StudyTables:
    tables = StudyTables.from_arrays(read_arrays(path))
    airs, _ = air_of_drives(read_distinct(loaded, AIR_COLUMNS), standard.temp_c, standard.pressure_hpa)
    if tables.key != expected_key(kept.ball, standard_pair(standard), AirNodes.of(airs)):
        raise UserError(f"{path}: was flown for another ball or air; delete it and run the workflow again.")
    return tables
