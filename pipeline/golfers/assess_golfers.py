"""Step: work out every golfer's yards lost, test them, flag the golfers who lose more than the threshold.

In: drives.parquet, model.json, frontier.json, devices.json. Out: golfers.csv (one row per golfer and quarter),
flagged.csv (the flagged of the newest quarter, worst first) and changes.csv (one row per golfer and quarter that has an
earlier one to be compared with).
"""

from pathlib import Path
from typing import Any

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.fit.model import FittedModel
from pipeline.flight.devices import StudyDevices
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import losses
from pipeline.golfers.order import newest_flagged
from pipeline.golfers.quarter_changes import changes_of
from pipeline.golfers.ranking import ranked
from pipeline.golfers.reading_doubt import noted, widened, with_reading_doubt
from pipeline.tables.golfers import Changes, Golfers


def run(
    drives: str,
    model: str,
    frontier: str,
    devices: str,
    golfers: str,
    flagged: str,
    changes: str,
    flags: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring."""
    carry_model = read_artefact(model, FittedModel).model
    efficient = read_artefact(frontier, Frontier)
    rules = FlagRules(**flags)
    every = open_drives(Path(drives))
    found = every.gathered(lambda frame: losses(frame, carry_model, efficient))
    misread = read_artefact(devices, StudyDevices)
    lost = ranked(widened(with_reading_doubt(found, every, carry_model, efficient, misread)))
    table = Golfers.validate(noted(assess(lost, rules)))
    worst = newest_flagged(table)
    write_csv(Path(golfers), table)
    write_csv(Path(flagged), worst)
    write_csv(Path(changes), Changes.validate(changes_of(lost, table, rules)))
    newest = table.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed = newest.filter(pl.col("status") != "not_assessed").height
    print(f"Newest quarter: {assessed} golfers assessed, {worst.height} flagged.")
