"""Step: fit drag and lift multipliers of the published coefficient sets to the study's drives, keep the nearest.

In: loaded.duckdb. Out: calibration.json (the kept set) and calibrations.csv (one row per set that was tried).
"""

from dataclasses import asdict
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.database import shots_in_pieces
from pipeline.edge.files import write_csv
from pipeline.flight.calibrate import Calibration, Sample, StudyFlight, calibrate_best
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.tables import Calibrations, types_of

COLUMNS = (
    "golfer",
    "device",
    "ball",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "spin_measured",
    "carry_yd",
    *AIR_COLUMNS,
)


def run(database: str, calibration: str, table: str, coefficients: str, air: dict[str, Any], seed: int) -> None:
    """Run the step; see the module's docstring."""
    standard = StandardAir.model_validate(air)
    sample = Sample.of(lambda: shots_in_pieces(Path(database), COLUMNS), seed)
    kept, tried = calibrate_best(sample, coefficients, standard.temp_c, standard.pressure_hpa, seed)
    speeds = ("ball_speed_mph", "club_speed_mph")
    ratios = [frame.select(pl.col(speeds[0]) / pl.col(speeds[1])) for frame in shots_in_pieces(Path(database), speeds)]
    ratio = pl.concat(ratios).to_series().median() if ratios else None
    write_artefact(calibration, StudyFlight(kept, ratio if isinstance(ratio, float) else None))
    write_csv(Path(table), Calibrations.validate(calibration_table(kept, tried)))
    print(f"Flight: {kept.coefficients}, drag x {kept.drag:.3f}, lift x {kept.lift:.3f}; {kept.note}.")


def calibration_table(kept: Calibration, tried: list[Calibration]) -> pl.DataFrame:
    """List the sets that were tried: the table `Calibrations`."""
    schema = types_of(Calibrations)
    rows = [asdict(one) | {"kept": one.coefficients == kept.coefficients} for one in tried]
    return pl.DataFrame([{name: row[name] for name in schema} for row in rows], schema=schema, orient="row")
