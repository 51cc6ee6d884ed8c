"""The results of a small study, as a run leaves them: the world of tests/conftest.py, fitted."""

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named
from frontiers import AIR, frontier_at, near_of
from rows import row_of, table_of

from pipeline.edge.artefacts import write_artefact
from pipeline.edge.files import write_csv, write_json, write_parquet
from pipeline.fit.contest import hold_contest
from pipeline.fit.held_out import held_out_table
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import DriveTable, Sources
from pipeline.tables.straightness import Straightness, StraightnessBands

CALIBRATION = Calibration("lyu-2018", 0.95, 1.02, None, None, [], 0, 0, None, None, "")


def write_study(folder, world):
    """Write what the library reads; gives the contest's outcome."""
    # A golfer in four has no ball speed with half the drives, so that these enter no fit.
    mute = (pl.int_range(pl.len()) % 2 == 0) & (pl.col("golfer").rank("dense") % 4 == 0)
    drives = world.drives.sort("golfer", maintain_order=True).with_columns(
        pl.when(~mute).then("ball_speed_mph").alias("ball_speed_mph"),
        source=pl.lit("logs/a.csv"),
        ball=pl.lit(None, pl.String),  # no log says it
        row=pl.int_range(1, pl.len() + 1),
        carry_measured_yd=pl.col("carry_standard_yd") + 1.0,
        attack_deg=pl.when(pl.int_range(pl.len()) % 3 > 0).then(2.0),
        curve_yd=pl.when(pl.int_range(pl.len()) % 3 > 1).then(4.5),
    )
    stored = table_of(DriveTable, drives).with_columns(sand=pl.lit(0.5))  # a column of the log that isn't one of ours
    write_parquet(folder / "collected/drives.parquet", stored)
    used = drives.filter(pl.col("ball_speed_mph").is_not_null())
    candidates = [candidate_named(name) for name in ("line", "quadratic")]
    found = hold_contest(candidates, Survey.of(used, 1), lambda _: None)
    speeds = np.arange(75.0, 111.0)
    frontier = frontier_at(speeds, near=near_of(speeds, sd=(4.0, 900.0), ratio=(1.35, 1.55)))
    on = FittedOn(used.height, 80, ("2026Q3",))
    write_artefact(folder / "model/model.json", FittedModel("hill-school", found.model, on))
    write_artefact(folder / "model/frontier.json", frontier)
    write_artefact(folder / "flight/calibration.json", StudyFlight(CALIBRATION, 1.46))
    write_parquet(folder / "model/held_out.parquet", held_out_table(found.held_out, used))
    write_csv(folder / "model/coefficients.csv", found.coefficients)
    write_csv(folder / "benchmarks/bands.csv", table_of(BandTable, [row_of(BandTable, band_mph=90.0)]))
    write_csv(folder / "golfers/golfers.csv", table_of(Golfers, [row_of(Golfers, status="not_assessed", note="few")]))
    few = row_of(Straightness, status="not_assessed", note="few")
    write_csv(folder / "golfers/straightness.csv", table_of(Straightness, [few]))
    told = row_of(StraightnessBands, band_mph=100.0)
    write_csv(folder / "benchmarks/straightness_bands.csv", table_of(StraightnessBands, [told]))
    write_csv(folder / "sources.csv", table_of(Sources, [row_of(Sources, source="logs/a.csv")]))
    air = AIR | {"temp_c": 20.0}
    write_json(folder / "run.json", {"configuration": {"air": air, "seed": 1}, "model": {"id": "k000000000abc"}})
    return found


@pytest.fixture(scope="session")
def small_study(tmp_path_factory, world):
    """Give the folder of the results, and the outcome of the contest behind them."""
    folder = tmp_path_factory.mktemp("small") / "hill-school"
    return folder, write_study(folder, world)
