"""Step: build the speed-band table and what lookups, charts and the golfers' step need of the efficient frontier.

In: drives.parquet, model.json, typical.parquet, replicates.npz, tables.npz, devices.json. Out: bands.csv and .parquet
(one row per quarter and band), frontier.json (what is efficient by club speed), efficient_replicates.npz (draws of its
error: speed_mph, shape (n,), and error_yd, shape (replicates, n)), chart.json (maps of expected carry by band) and
efficient.npz: what is efficient before the drives widen its intervals. It follows from the model alone, so that the
next run takes it from there while the model in use and the choices stay the same, whatever drives there are.
"""

import os
from pathlib import Path
from typing import Any

import dataframely as dy
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import band_table, golfers_by_quarter
from pipeline.benchmark.chart import chart_of
from pipeline.benchmark.efficient import Efficient, Population
from pipeline.benchmark.efficient_arrays import efficient_from_arrays, efficient_to_arrays
from pipeline.benchmark.efficient_by_speed import errors_of, find_efficient, frontier_of
from pipeline.benchmark.form_error import best_deliveries, form_error, sample_of, with_form_error
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.misread import device_shares, misread_ratio, with_misread
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.drives import FIT_COLUMNS
from pipeline.edge.artefacts import (
    read_arrays,
    read_artefact,
    read_stamped,
    stamp_of,
    write_arrays,
    write_artefact,
    write_stamped,
)
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet
from pipeline.fit.model import FittedModel
from pipeline.fit.resampled import ResampledFits
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.flight.devices import StudyDevices
from pipeline.flight.standard import StudyTables
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.physics.turf import FIRMNESS
from pipeline.tables.figures import BandTable

# What earlier versions wrote beside the table, where it would be handed on with what may be published.
FORMER = ("frontier.json", "chart.json", "guide.json")


def run(
    drives: str,
    model: str,
    typical: str,
    replicates: str,
    tables: str,
    devices: str,
    csv: str,
    parquet: str,
    frontier: str,
    efficient_replicates: str,
    chart: str,
    efficient: str,
    about: dict[str, Any],
    bands: dict[str, Any],
    window_tolerance_yd: float,
    min_shots: int,
    min_golfers: int,
    deliveries: float,
    code: str = "",
) -> None:
    """Run the step; see the module's docstring. `about` is what the frontier says of the study."""
    strike = (carry_model := (fitted := read_artefact(model, FittedModel)).model).usual.strike
    refits = ResampledFits(**read_arrays(replicates))
    speed_bands = SpeedBands.of(bands["centres"], bands["half_width_mph"])
    population = Population.from_typical(pl.read_parquet(typical), min_shots, deliveries)
    roller = Roller(StudyTables.from_arrays(read_arrays(tables)).standard, FIRMNESS[about["turf"]])
    asked = (population, speed_bands, min_golfers, window_tolerance_yd, roller)
    choices = (code, bands, min_golfers, window_tolerance_yd, min_shots, deliveries, about["turf"], roller.table.key)
    found = _calculated(Path(efficient), [model, typical, replicates], choices, (carry_model, refits, *asked))
    widened, moved_share = _with_errors(found, fitted, Path(drives), Path(devices), bands, about["air"])
    golfers = golfers_by_quarter(every := open_drives(Path(drives)), carry_model, min_shots)
    table = BandTable.validate(band_table(carry_model, golfers, widened, speed_bands, min_golfers, roller))
    where = about | _where(Path(model), Path(frontier), window_tolerance_yd, moved_share)
    used = every.usable(carry_model.surface.speed)
    reached = frontier_of(widened, used, bands["half_width_mph"], strike, **where)
    write_arrays(efficient_replicates, errors_of(widened, len(refits.counts)))
    _write([csv, parquet, frontier, chart], table, reached, chart_of(table, carry_model, reached, speed_bands))


def _calculated(
    path: Path, files: list[str], choices: tuple[Any, ...], asked: tuple[Any, ...]
) -> dict[float, Efficient]:
    """Take what is efficient from where the last run left it if it follows from the same; else find it.

    The first of the choices is a digest of the code; without it, nothing is taken. `asked` goes to `find_efficient`.
    """
    stamp = choices[0] and stamp_of(files, *choices)
    if before := read_stamped(path, stamp):
        print("Efficient carry follows from what it did in the last run, and is taken from there.")
        return efficient_from_arrays(before)
    found = find_efficient(*asked)
    write_stamped(path, efficient_to_arrays(found), stamp)
    return found


def _where(model: Path, frontier: Path, tolerance_yd: float, moved_share: float) -> dict[str, Any]:
    file = os.path.relpath(model, frontier.parents[1])
    return {"model_file": file, "tolerance_yd": tolerance_yd, "moved_share": moved_share}


def _write(paths: list[str], table: dy.DataFrame[BandTable], reached: Frontier, maps: Any) -> None:
    """Write the table of bands and what goes with it, and delete what earlier versions published beside the table."""
    csv, parquet, frontier, chart = map(Path, paths)
    for name in FORMER:
        csv.with_name(name).unlink(missing_ok=True)
    write_csv(csv, table)
    write_parquet(parquet, table)
    write_artefact(frontier, reached)
    write_artefact(chart, maps)
    print(f"Built {table.height} rows of bands; efficient carry at {len(reached.speed_mph)} club speeds.")


def _with_errors(
    efficient: dict[float, Efficient],
    fitted: FittedModel,
    drives: Path,
    devices: Path,
    bands: dict[str, Any],
    air: dict[str, float],
) -> tuple[dict[float, Efficient], float]:
    """Widen intervals by `form_error` and `misread_ratio`, and give the moved share of a `FormError`."""
    if not efficient:
        return efficient, 0.0
    model, at = fitted.model, best_deliveries(fitted.model, efficient)
    columns = (*FIT_COLUMNS, "carry_measured_yd", *AIR_COLUMNS, *SIDE_COLUMNS)
    used = open_drives(drives, columns).usable(model.surface.speed)
    form = form_error(model, sample_of(used, fitted.fitted_on.drives), at, air)
    misread = read_artefact(devices, StudyDevices)
    shares = device_shares(used, at.club_speed_mph, bands["half_width_mph"], misread)
    widened = with_misread(with_form_error(efficient, form), misread_ratio(model, at, shares, misread))
    return widened, form.moved_share
