"""Step: fly the grids of the standard air and of the airs in which the study's drives were hit.

In: loaded.duckdb, calibration.json. Out: tables.npz.
"""

from pathlib import Path
from typing import Any

import numpy as np

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_artefact, write_arrays
from pipeline.edge.database import read_distinct
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.standard import AirNodes, StudyTables
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives


def run(database: str, calibration: str, tables: str, air: dict[str, Any]) -> None:
    """Run the step; see the module's docstring."""
    standard = StandardAir.model_validate(air)
    kept = read_artefact(calibration, StudyFlight).calibration
    airs, _ = air_of_drives(read_distinct(Path(database), AIR_COLUMNS), standard.temp_c, standard.pressure_hpa)
    made = StudyTables.build(kept.ball, standard_pair(standard), AirNodes.of(airs))
    write_arrays(tables, made.to_arrays())
    print(f"Flew {len(made.tables) + 1} grids of flight.")


def standard_pair(standard: StandardAir) -> tuple[float, float]:
    """Give density, kg/m^3, and viscosity, Pa s, of a study's standard air."""
    air = Air.of(np.array(standard.temp_c), np.array(standard.pressure_hpa * 100), np.array(standard.humidity))
    return float(air.density_kg_m3), float(air.viscosity_pa_s)
