"""Step: build the speed-band table and what lookups, charts and the golfers' step need of the efficient frontier.

In: drives.parquet, model.json, typical.parquet, replicates.npz, tables.npz, devices.json. Out: bands.csv and .parquet
(one row per quarter and band), frontier.json (what is efficient by club speed), efficient_replicates.npz (draws of its
error: speed_mph, shape (n,), and error_yd, shape (replicates, n)), chart.json (maps of expected carry by band).
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
from pipeline.benchmark.efficient_by_speed import errors_of, find_efficient, frontier_of
from pipeline.benchmark.form_error import best_deliveries, form_error, sample_of, with_form_error
from pipeline.benchmark.misread import device_shares, misread_ratio, with_misread
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.drives import FIT_COLUMNS
from pipeline.edge.artefacts import read_arrays, read_artefact, write_arrays, write_artefact
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
    about: dict[str, Any],
    bands: dict[str, Any],
    window_tolerance_yd: float,
    min_shots: int,
    min_golfers: int,
    deliveries: float,
) -> None:
    """Run the step; see the module's docstring. `about` is what the frontier says of the study."""
    strike = (carry_model := (fitted := read_artefact(model, FittedModel)).model).usual.strike
    refits = ResampledFits(**read_arrays(replicates))
    speed_bands = SpeedBands.of(bands["centres"], bands["half_width_mph"])
    population = Population.from_typical(pl.read_parquet(typical), min_shots, deliveries)
    roller = Roller(StudyTables.from_arrays(read_arrays(tables)).standard, FIRMNESS[about["turf"]])
    every = open_drives(Path(drives))
    found = find_efficient(carry_model, refits, population, speed_bands, min_golfers, window_tolerance_yd, roller)
    half_width_mph, standard = speed_bands.half_width_mph, about["air"]
    efficient, moved_share = _with_errors(found, fitted, Path(drives), Path(devices), half_width_mph, standard)
    golfers = golfers_by_quarter(every, carry_model, min_shots)
    table = BandTable.validate(band_table(carry_model, golfers, efficient, speed_bands, min_golfers, roller))
    used, file = every.usable(carry_model.surface.speed), os.path.relpath(model, Path(frontier).parents[1])
    where = about | {"model_file": file, "tolerance_yd": window_tolerance_yd, "moved_share": moved_share}
    _publish(table, Path(csv), Path(parquet))
    write_artefact(frontier, reached := frontier_of(efficient, used, half_width_mph, strike, **where))
    write_arrays(efficient_replicates, errors_of(efficient, len(refits.counts)))
    write_artefact(chart, chart_of(table, carry_model, reached, speed_bands))
    print(f"Built {table.height} rows of bands; efficient carry at {len(efficient)} club speeds.")


def _publish(table: dy.DataFrame[BandTable], csv: Path, parquet: Path) -> None:
    """Write the table of bands, and delete what earlier versions published beside it."""
    for name in FORMER:
        csv.with_name(name).unlink(missing_ok=True)
    write_csv(csv, table)
    write_parquet(parquet, table)


def _with_errors(
    efficient: dict[float, Efficient],
    fitted: FittedModel,
    drives: Path,
    devices: Path,
    half_width_mph: float,
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
    shares = device_shares(used, at.club_speed_mph, half_width_mph, misread)
    widened = with_misread(with_form_error(efficient, form), misread_ratio(model, at, shares, misread))
    return widened, form.moved_share
