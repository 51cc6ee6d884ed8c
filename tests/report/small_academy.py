"""A small academy worked through by the package itself: two quarters, one band too small, one golfer with few drives.

Its device and ball have hostile names.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
import pytest
from days import on_days
from fitting import candidate_named
from frontiers import AIR, one_error

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import band_table, golfers_by_quarter
from pipeline.benchmark.efficient import Population
from pipeline.benchmark.efficient_by_speed import find_efficient, frontier_of
from pipeline.benchmark.frontier import Frontier
from pipeline.drives import FIT_COLUMNS, Drives, typical_drives
from pipeline.edge.artefacts import write_artefact
from pipeline.fit.contest import hold_contest
from pipeline.fit.held_out import held_out_table
from pipeline.fit.model import CarryModel, FittedModel, FittedOn
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.flight.standard import AirNodes, StudyTables
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import known_losses
from pipeline.golfers.ranking import ranked
from pipeline.tables.figures import BandTable, Scores
from pipeline.tables.golfers import Golfers

SCRIPT = "<script>alert(1)</script>"
FORMULA = "=cmd|'{{ 7*7 }}'!A1 $\\frac$"
CENTRES = (70.0, 80.0, 90.0, 100.0, 110.0)
SETTINGS = {
    "study": "hill-school",
    "seed": 1,
    "air": AIR,
    "bands": {"centres": list(CENTRES), "half_width_mph": 5.0},
    "flags": {"lost_yd": 10.0, "false_discovery_rate": 0.1, "min_shots": 12},
    "privacy": {"key_file": "private/pseudonym.key", "min_golfers": 5},
    "window_tolerance_yd": 5.0,
    "flight": {"coefficients": "best", "turf": "normal"},
}
FLIGHT = StudyFlight(Calibration("indoor-range-2001", 0.93, 1.02, 0.002, 0.004, [], 2000, 80, 3.2, 1.0, "fitted"), 1.46)
FEW_DRIVES = "g0000000000000014"  # golfer 20 has 8 drives in 2026Q3


@dataclass(frozen=True)
class Academy:
    """Everything that figures and diagnostics are made from."""

    drives: pl.DataFrame
    model: CarryModel
    held_out: pl.DataFrame
    scores: pl.DataFrame
    frontier: Frontier
    bands: pl.DataFrame
    golfers: pl.DataFrame
    tables: StudyTables

    def write(self, folder):
        """Write the inputs of the steps as the workflow does; paths by name."""
        paths = {name: str(folder / f"{name}.csv") for name in ("golfers", "bands", "scores")}
        for name, path in paths.items():
            getattr(self, name).write_csv(path)
        paths |= {name: str(folder / f"{name}.json") for name in ("frontier", "model")}
        write_artefact(paths["frontier"], self.frontier)
        write_artefact(paths["model"], FittedModel("hill-school", self.model, FittedOn(4000, 80, ("2026Q2", "2026Q3"))))
        paths["calibration"] = str(folder / "calibration.json")
        write_artefact(paths["calibration"], FLIGHT)
        paths["held_out"] = str(folder / "held_out.parquet")
        self.held_out.write_parquet(paths["held_out"])
        paths["flight_tables"] = str(folder / "tables.npz")
        np.savez(paths["flight_tables"], **self.tables.to_arrays())
        paths["drives"] = str(folder / "drives.parquet")
        self.drives.select(*FIT_COLUMNS, "source", "row").sort("golfer", maintain_order=True).write_parquet(
            paths["drives"]
        )
        return paths


def _drives(world, world_maker):
    speed, club = pl.col("club_speed_mph"), pl.col("club_speed_mph").mean().over("golfer")
    before = world_maker(seed=4).drives.with_columns(quarter=pl.lit("2026Q2"))
    # Of the 90 mph band three golfers are left in the earlier quarter.
    few = before.filter(club.is_between(85, 95)).get_column("golfer").unique().sort().head(3)
    before = before.filter(~club.is_between(84, 96) | pl.col("golfer").is_in(few.implode()))
    now = world.drives.filter((pl.col("golfer") != FEW_DRIVES) | (pl.int_range(pl.len()).over("golfer") < 8))
    # One golfer in eight of the newest quarter launches far too low.
    low = pl.col("golfer").rank("dense") % 8 == 0
    now = now.with_columns(
        pl.when(low).then(pl.col("launch_deg") - 5).otherwise(pl.col("launch_deg")),
        pl.when(low).then(pl.col("carry_standard_yd") - 0.2 * speed).otherwise(pl.col("carry_standard_yd")),
    )
    marked = (
        pl.concat([before, now])
        .with_columns(device=pl.col("device").replace({"unit-B": SCRIPT}), ball=pl.lit(FORMULA), source=pl.lit("a.csv"))
        .with_columns(curve_yd=pl.lit(None, pl.Float64))
        .with_row_index("row", 1)
    )
    return marked.sort("golfer", maintain_order=True)  # as they come from drives.parquet


@pytest.fixture(scope="session")
def academy(world, world_maker, roller):
    drives = _drives(world, world_maker)
    line, quadratic = (candidate_named(name) for name in ("line", "quadratic"))
    survey = Survey.of(drives, 1)
    found = hold_contest((line, quadratic), survey, lambda _: None)
    model = found.model
    typical = typical_drives(drives, ["golfer"])
    refits = refit(model, drives, typical, draw_counts(typical.height, 1, 30))
    bands = SpeedBands(CENTRES, 5.0)
    efficient = find_efficient(model, refits, Population.from_typical(typical, 12), bands, 5, 5.0, roller)
    by_quarter = golfers_by_quarter(drives, model, 12)
    of_study = {
        "study": "hill-school",
        "air": AIR,
        "turf": "normal",
        "model_file": "model/model.json",
        "tolerance_yd": 5.0,
    }
    frontier = frontier_of(efficient, Drives.of(drives), 5.0, **of_study)
    lost, _ = known_losses(on_days(drives), model, one_error(frontier), 0.0)
    golfers = assess(ranked(lost), FlagRules(10.0, 0.1, 12))
    assert model.surface.name == "quadratic"
    return Academy(
        drives,
        model,
        held_out_table(found.held_out, drives),
        Scores.validate(found.scores),
        frontier,
        BandTable.validate(band_table(model, by_quarter, efficient, bands, 5, roller)),
        Golfers.validate(golfers),
        StudyTables(roller.table, AirNodes([], np.zeros(0), np.zeros(0)), []),
    )
