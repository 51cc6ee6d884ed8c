"""Step: compare every golfer's quarters, and sum up what changed for all and by group.

In: drives.parquet, model.json, frontier.json, replicates.npz, efficient_replicates.npz, devices.json, golfers.csv,
changes.csv, straightness.csv. Out: progress.csv (one row per golfer and quarter that has an earlier one to be compared
with) and cohorts.csv (one row per quarter, and per quarter and group).
"""

from pathlib import Path

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.coach.progress.cohorts import cohorts_of, groups_of
from pipeline.coach.progress.measures import Yardstick
from pipeline.coach.progress.progress import GOLFER_COLUMNS, progress_of
from pipeline.drives import FIT_COLUMNS
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.flight.devices import StudyDevices
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.tables.golfers import Changes, Golfers
from pipeline.tables.progress import Cohorts, Progress
from pipeline.tables.straightness import Straightness

COLUMNS = (*FIT_COLUMNS, "carry_measured_yd", "struck_on", "group")


def run(
    drives: str,
    model: str,
    frontier: str,
    replicates: str,
    efficient_replicates: str,
    devices: str,
    golfers: str,
    changes: str,
    progress: str,
    cohorts: str,
    false_discovery_rate: float,
    min_golfers: int,
    straightness: str | None = None,
) -> None:
    """Run the step; see the module's docstring."""
    yardstick = Yardstick(read_artefact(model, FittedModel).model, read_artefact(frontier, Frontier))
    every = open_drives(Path(drives), COLUMNS)
    table = read_table(golfers, Golfers, every.golfers).select(GOLFER_COLUMNS)
    tested = read_table(changes, Changes, every.golfers)
    efficient, offsets = (read_arrays(path) for path in (efficient_replicates, replicates))
    misread = read_artefact(devices, StudyDevices)
    shared = SharedErrors.read_from(yardstick.frontier, yardstick.model, efficient, offsets, misread)
    straight = None if straightness is None else read_table(straightness, Straightness, every.golfers)
    found, form = progress_of(every, table, tested, yardstick, shared, false_discovery_rate, straight)
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
