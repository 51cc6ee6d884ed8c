"""Step `standardise_shots`: every drive's carry at standard conditions, for all steps that follow.

Inputs: loaded.duckdb, devices.json and calibration.json. Outputs: tables.npz (the grids of flight in the standard air
and in the airs of the study's drives, arrays of `StudyTables`) and drives.parquet (schema DriveTable, a row per drive,
by golfer, source and row), whose readings are put right by devices.json. Drives are taken piece by piece, so that
memory doesn't grow with the study. A grid that the last run flew for the same ball and air, by the same code, is taken
from its tables.npz: under a kept model, new drives need no new flights.
"""

from pathlib import Path
from typing import Any

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_artefact, read_stamped, write_stamped
from pipeline.edge.database import read_distinct, shots_in_pieces, write_drives
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.flight.devices import StudyDevices
from pipeline.flight.standard import AirNodes, StudyTables, standard_pair, with_change
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives
from pipeline.physics.ball import Ball
from pipeline.physics.impact import ASSUMED_RATIO

COLUMNS = ("row", "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", *AIR_COLUMNS, *SIDE_COLUMNS)


def run(
    loaded: str, devices: str, calibration: str, tables: str, drives: str, air: dict[str, Any], code: str = ""
) -> None:
    """Fly the grids that aren't there yet, and move the carry of all drives.

    Parameters
    ----------
    loaded, devices, calibration : str
        Paths of the inputs.
    tables, drives : str
        Paths of the outputs; the tables may be there from the last run.
    air : dict
        The study's standard conditions (`StandardAir`).
    code : str
        Digest of the code that flies; tables by another aren't taken. Without it, none are.
    """
    standard = StandardAir.model_validate(air)
    found = read_artefact(calibration, StudyFlight)
    flights = _tables(Path(tables), Path(loaded), found.calibration.ball, standard, code)
    ratio = found.speed_ratio or ASSUMED_RATIO
    right = read_artefact(devices, StudyDevices).changes
    pieces = shots_in_pieces(Path(loaded), COLUMNS, right)
    moved = (with_change(piece, flights, standard.temp_c, standard.pressure_hpa, ratio) for piece in pieces)
    count = write_drives(Path(loaded), moved, Path(drives), right)
    print(f"Moved the carry of {count} drives to standard conditions.")


def _tables(path: Path, loaded: Path, ball: Ball, standard: StandardAir, code: str) -> StudyTables:
    airs, _ = air_of_drives(read_distinct(loaded, AIR_COLUMNS), standard.temp_c, standard.pressure_hpa)
    before = read_stamped(path, code)
    known = StudyTables.from_arrays(before).by_key if before else {}
    made = StudyTables.build(ball, standard_pair(standard), AirNodes.of(airs), known)
    write_stamped(path, made.to_arrays(), code)
    new = made.by_key.keys() - known.keys()
    print(f"Flew {len(new)} grids of flight; {len(made.by_key) - len(new)} were there from the last run.")
    return made
