"""Step `build_flight_table`: the grids of flight in the standard air and in the airs of the study's drives.

Inputs: loaded.duckdb and calibration.json. Output: tables.npz (the arrays of `StudyTables`).
"""

from pathlib import Path
from typing import Any

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_artefact, write_arrays
from pipeline.edge.database import read_distinct
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.standard import AirNodes, StudyTables, standard_pair
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives


def run(database: str, calibration: str, tables: str, air: dict[str, Any]) -> None:
    """Fly the grids.

    Parameters
    ----------
    database, calibration : str
        Paths of the inputs.
    tables : str
        Path of the output.
    air : dict
        The study's standard conditions (`StandardAir`).
    """
    standard = StandardAir.model_validate(air)
    kept = read_artefact(calibration, StudyFlight).calibration
    airs, _ = air_of_drives(read_distinct(Path(database), AIR_COLUMNS), standard.temp_c, standard.pressure_hpa)
    made = StudyTables.build(kept.ball, standard_pair(standard), AirNodes.of(airs))
    write_arrays(tables, made.to_arrays())
    print(f"Flew {len(made.tables) + 1} grids of flight.")
