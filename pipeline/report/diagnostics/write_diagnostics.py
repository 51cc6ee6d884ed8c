"""Step: write the researcher's diagnostics of the chosen model: one self-contained HTML page.

In: drives.parquet, model.json, held_out.parquet (one row per drive of the fit), scores.csv (Scores), frontier.json,
calibration.json. Out: diagnostics.html.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import FIT_COLUMNS, Drives, speed_of_study
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_text
from pipeline.edge.tables_file import read_table
from pipeline.errors import UserError
from pipeline.fit.held_out import DRIVE_KEYS
from pipeline.fit.model import FittedModel
from pipeline.flight.calibrate import StudyFlight
from pipeline.physics.air import Air
from pipeline.report.diagnostics.diagnostics_page import build_diagnostics
from pipeline.tables.figures import Scores

# Columns of the logs along which residuals are looked at, where they are there.
FURTHER = ("struck_on", "attack_deg", "altitude_m", "temp_c", "spin_axis_deg", "offline_yd")
MOST_GOLFERS = 5000  # whose drives are shown: more say the same, and would not go into memory


def run(
    drives: str,
    model: str,
    held_out: str,
    scores: str,
    frontier: str,
    calibration: str,
    page: str,
    settings: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring.

    Raises
    ------
    UserError
        If the held-out predictions don't belong to the drives.
    """
    every = open_drives(Path(drives), columns_of(Path(drives)))
    used = every.usable(speed_of_study(every))
    table = read_table(scores, Scores)
    fitted = table.filter("chosen").row(0, named=True)
    shown, predictions = sample(used, Path(held_out), -(-fitted["golfers"] // MOST_GOLFERS))
    if not shown.select(DRIVE_KEYS).cast({"golfer": pl.String}).equals(predictions.select(DRIVE_KEYS)):
        raise UserError(f"{held_out}: does not belong to {drives}; delete it and run the workflow again.")
    reached = read_artefact(frontier, Frontier)
    centres = np.array([v for v in sorted(settings["bands"]["centres"]) if v in reached.speed_mph], dtype=float)
    text = build_diagnostics(
        drives=shown,
        held_out=predictions,
        scores=table,
        model=read_artefact(model, FittedModel).model,
        efficient=reached.best_delivery(centres, np.full_like(centres, np.nan)),
        half_width_yd=(reached.at("hi90_yd", centres) - reached.at("lo90_yd", centres)) / 2,
        flight=(read_artefact(calibration, StudyFlight).calibration.ball, air_of(settings["air"])),
        settings=settings,
        whole=used if shown.height < fitted["shots"] else None,
    )
    write_text(Path(page), text)
    print(f"Wrote the diagnostics of {shown.height} drives.")


def columns_of(drives: Path) -> tuple[str, ...]:
    """Name the columns to read: those of a fit, a drive's keys, and such of `FURTHER` as the file has."""
    there = pl.read_parquet_schema(drives)
    return (*FIT_COLUMNS, "source", "row", *(name for name in FURTHER if name in there))


def air_of(conditions: Mapping[str, float]) -> Air:
    """Give the air of standard conditions: temp_c, pressure_hpa, humidity."""
    return Air.of(conditions["temp_c"], conditions["pressure_hpa"] * 100, conditions["humidity"])


def sample(used: Drives, held_out: Path, step: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Take the drives of every so many golfers, and their held-out predictions.

    Golfers stand in the order of a digest, and so at random.
    """
    predictions = pl.read_parquet(held_out)
    if step == 1:
        return used.gathered(lambda frame: frame), predictions
    marks, shown = [], []
    for piece in used.pieces():
        marked = piece.golfer % step == 0
        marks.append(marked)
        shown.append(piece.drives.filter(pl.Series(marked)))
    chosen = np.concatenate(marks)
    return pl.concat(shown), predictions.filter(chosen) if len(chosen) == predictions.height else predictions
