"""Step: build the speed-band table and what lookups, charts and the golfers' step need of the efficient frontier.

In: drives.parquet, model.json, typical.parquet, replicates.npz, tables.npz. Out: bands.csv and .parquet (one row per
quarter and band), frontier.json (what is efficient by club speed), efficient_replicates.npz (draws of its error:
speed_mph, shape (n,), and error_yd, shape (replicates, n)), chart.json (maps of expected carry by band).
"""

import os
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import band_table, golfers_by_quarter
from pipeline.benchmark.chart import chart_of
from pipeline.benchmark.efficient import Population
from pipeline.benchmark.efficient_by_speed import errors_of, find_efficient, frontier_of
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.edge.artefacts import read_arrays, read_artefact, write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet
from pipeline.fit.model import FittedModel
from pipeline.fit.resampled import ResampledFits
from pipeline.flight.standard import StudyTables
from pipeline.physics.turf import FIRMNESS
from pipeline.tables.figures import BandTable


def run(
    drives: str,
    model: str,
    typical: str,
    replicates: str,
    tables: str,
    csv: str,
    parquet: str,
    frontier: str,
    efficient_replicates: str,
    chart: str,
    study: str,
    bands: dict[str, Any],
    window_tolerance_yd: float,
    min_shots: int,
    min_golfers: int,
    turf: str,
    air: dict[str, float],
) -> None:
    """Run the step; see the module's docstring."""
    carry_model = read_artefact(model, FittedModel).model
    refits = ResampledFits(**read_arrays(replicates))
    speed_bands = SpeedBands.of(bands["centres"], bands["half_width_mph"])
    population = Population.from_typical(pl.read_parquet(typical), min_shots)
    roller = Roller(StudyTables.from_arrays(read_arrays(tables)).standard, FIRMNESS[turf])
    every = open_drives(Path(drives))
    efficient = find_efficient(carry_model, refits, population, speed_bands, min_golfers, window_tolerance_yd, roller)
    golfers = golfers_by_quarter(every, carry_model, min_shots)
    table = BandTable.validate(band_table(carry_model, golfers, efficient, speed_bands, min_golfers, roller))
    # Lookups read the model that this frontier was made with.
    file = os.path.relpath(model, Path(frontier).parents[1])
    used, half_width_mph = every.usable(carry_model.surface.speed), speed_bands.half_width_mph
    reached = frontier_of(efficient, used, half_width_mph, study=study, air=air, turf=turf, model_file=file)
    write_csv(Path(csv), table)
    write_parquet(Path(parquet), table)
    write_artefact(frontier, reached)
    write_arrays(efficient_replicates, errors_of(efficient, len(refits.counts)))
    write_artefact(chart, chart_of(study, table, carry_model, population, efficient, speed_bands))
    print(f"Built {table.height} rows of bands; efficient carry at {len(efficient)} club speeds.")
