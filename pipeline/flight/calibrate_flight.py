"""Step `calibrate_flight`: drag and lift multipliers of published coefficient sets, fitted to the study's drives.

Inputs: loaded.duckdb, and devices.json, by which readings are put right. Outputs: calibration.json (the set whose
flights are nearest to the drives, and the drives' speed ratio) and calibrations.csv (schema Calibrations, a row per set
that was tried).
"""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import read_artefact, write_artefact
from pipeline.edge.database import shots_in_pieces
from pipeline.edge.files import write_csv
from pipeline.flight.calibrate import Calibration, Sample, StudyFlight, calibrate_best, median_ratio
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.flight.devices import StudyDevices
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.tables.figures import Calibrations
from pipeline.tables.types import types_of

COLUMNS = (
    "golfer",
    "device",
    "ball",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "spin_measured",
    "carry_measured_yd",
    *AIR_COLUMNS,
    *SIDE_COLUMNS,
)
SPEEDS = ("ball_speed_mph", "club_speed_mph")


def run(
    database: str,
    devices: str,
    calibration: str,
    table: str,
    coefficients: str,
    sets: Sequence[str],
    air: dict[str, Any],
    seed: int,
) -> None:
    """Calibrate flight.

    Parameters
    ----------
    database, devices : str
        Paths of the inputs.
    calibration, table : str
        Paths of the outputs.
    coefficients : str
        Name of a published set, or "best".
    sets : sequence of str
        Those that "best" chooses from.
    air : dict
        The study's standard conditions (`StandardAir`).
    seed : int
        The study's seed.
    """
    standard = StandardAir.model_validate(air)
    right = read_artefact(devices, StudyDevices).changes
    sample = Sample.of(lambda: shots_in_pieces(Path(database), COLUMNS, right), seed)
    kept, tried = calibrate_best(sample, coefficients, standard.temp_c, standard.pressure_hpa, seed, sets)
    ratio = median_ratio(shots_in_pieces(Path(database), SPEEDS, right))
    write_artefact(calibration, StudyFlight(kept, ratio))
    write_csv(Path(table), Calibrations.validate(calibration_table(kept, tried)))
    print(f"Flight: {kept.coefficients}, drag x {kept.drag:.3f}, lift x {kept.lift:.3f}; {kept.note}.")


def calibration_table(kept: Calibration, tried: list[Calibration]) -> pl.DataFrame:
    """List the sets that were tried: the table `Calibrations`."""
    schema = types_of(Calibrations)
    rows = [asdict(one) | {"kept": one.coefficients == kept.coefficients} for one in tried]
    return pl.DataFrame([{name: row[name] for name in schema} for row in rows], schema=schema, orient="row")
