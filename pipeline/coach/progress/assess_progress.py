"""Step: hold every golfer's quarters against each other, and sum up what changed for all and by group.

In: drives.parquet, model.json, guide.json, golfers.csv. Out: progress.csv (one row per golfer and quarter that has an
earlier one to be held against) and cohorts.csv (one row per quarter, and per quarter and group).
"""

import json
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.benchmark.bands import adjusted_carry
from pipeline.benchmark.lookup import Guide
from pipeline.coach.progress.cohorts import cohorts_of, groups_of
from pipeline.coach.progress.measures import Yardstick
from pipeline.coach.progress.progress import GOLFER_COLUMNS, progress_of
from pipeline.drives import FIT_COLUMNS, Drives
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.fit.model import CarryModel
from pipeline.golfers.assess_golfers import frontier_of
from pipeline.tables import Cohorts, Golfers, Progress, types_of

COLUMNS = (*FIT_COLUMNS, "struck_on", "group")
EDGES = ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")


def run(
    drives: str,
    model: str,
    guide: str,
    golfers: str,
    progress: str,
    cohorts: str,
    false_discovery_rate: float,
    min_golfers: int,
) -> None:
    """Run the step; see the module's docstring."""
    carry_model = CarryModel.from_dict(json.loads(Path(model).read_text(encoding="utf-8"))["model"])
    yardstick = yardstick_of(carry_model, json.loads(Path(guide).read_text(encoding="utf-8")))
    every = open_drives(Path(drives), COLUMNS)
    adjusted = Drives(lambda: (frame.with_columns(adjusted_carry(frame, carry_model)) for frame in every.read()))
    table = Golfers.validate(pl.read_csv(golfers, schema_overrides=types_of(Golfers)), cast=True).select(GOLFER_COLUMNS)
    found, form = progress_of(adjusted, table, yardstick, false_discovery_rate)
    write_csv(Path(progress), Progress.validate(found.select(Progress.column_names())))
    write_csv(Path(cohorts), Cohorts.validate(cohorts_of(found, groups_of(every), min_golfers)))
    newest = found.filter(pl.col("quarter") == table.get_column("quarter").max())
    better, worse = (int((newest.get_column("carry_verdict") == word).sum()) for word in ("better", "worse"))
    print(
        f"Newest quarter: {newest.height} golfers compared with an earlier one; carry is better for {better} and worse "
        f"for {worse} by more than chance."
    )
    if form["carry"].told:
        print(f"A day's form moves a golfer's carry by {form['carry'].variance ** 0.5:.1f} yd (standard deviation).")


def yardstick_of(model: CarryModel, guide: dict[str, Any]) -> Yardstick:
    """Take what quarters are held against out of the model and guide.json."""
    columns = Guide.from_dict(guide).columns
    return Yardstick(model, frontier_of(guide), {edge: columns[edge] for edge in EDGES})
