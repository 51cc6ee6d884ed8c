"""Step: work out every golfer's yards lost, test them, flag the golfers who lose more than the threshold.

In: drives.parquet, model.json, frontier.json, replicates.npz, efficient_replicates.npz, devices.json. Out: golfers.csv
(one row per golfer and quarter), flagged.csv (the flagged of the newest quarter, worst first) and changes.csv (one row
per golfer and quarter that has an earlier one).
"""

from pathlib import Path
from typing import Any

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import FIT_COLUMNS, MOST_KEPT
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.fit.model import CarryModel, FittedModel
from pipeline.flight.devices import StudyDevices
from pipeline.golfers.flags import FlagRules, assess, form_words
from pipeline.golfers.losses import known_losses
from pipeline.golfers.order import newest_flagged
from pipeline.golfers.quarter_changes import changes_of
from pipeline.golfers.ranking import ranked
from pipeline.golfers.reading_doubt import noted
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.tables.golfers import Changes, Golfers


def run(
    drives: str,
    model: str,
    frontier: str,
    replicates: str,
    efficient_replicates: str,
    devices: str,
    golfers: str,
    flagged: str,
    changes: str,
    flags: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring."""
    carry_model, _, shared = read_measured_with(model, frontier, replicates, efficient_replicates, devices)
    rules = FlagRules(**flags)
    every = open_drives(Path(drives), (*FIT_COLUMNS, "carry_measured_yd", "struck_on")).kept(MOST_KEPT)
    known, form = known_losses(every, carry_model, shared, rules.day_form_yd)
    lost = ranked(known)
    table = Golfers.validate(noted(assess(lost, rules)))
    worst = newest_flagged(table)
    write_csv(Path(golfers), table)
    write_csv(Path(flagged), worst)
    write_csv(Path(changes), Changes.validate(changes_of(lost, table, shared, rules)))
    newest = table.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed = newest.filter(pl.col("status") != "not_assessed").height
    print(f"Newest quarter: {assessed} golfers assessed, {worst.height} flagged.")
    print(form_words(form))


def read_measured_with(
    model: str, frontier: str, replicates: str, efficient_replicates: str, devices: str
) -> tuple[CarryModel, Frontier, SharedErrors]:
    """Read what golfers are measured with, and the errors that all of them share."""
    carry_model, reached = read_artefact(model, FittedModel).model, read_artefact(frontier, Frontier)
    efficient, offsets = (read_arrays(path) for path in (efficient_replicates, replicates))
    misread = read_artefact(devices, StudyDevices)
    return carry_model, reached, SharedErrors.read_from(reached, carry_model, efficient, offsets, misread)
