"""Step: work out every golfer's yards lost, test them, flag the golfers who lose more than the threshold.

In: drives.parquet, model.json, guide.json. Out: golfers.csv (one row per golfer and quarter), flagged.csv (the flagged
of the newest quarter, worst first) and changes.csv (one row per golfer and quarter that has an earlier one to be held
against).
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.bands import adjusted_carry
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.fit.model import CarryModel
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import Frontier, losses
from pipeline.golfers.quarter_changes import changes_of
from pipeline.golfers.ranking import ranked
from pipeline.tables import Changes, Golfers
from pipeline.threads import in_order


def run(drives: str, model: str, guide: str, golfers: str, flagged: str, changes: str, flags: dict[str, Any]) -> None:
    """Run the step; see the module's docstring."""
    carry_model = CarryModel.from_dict(json.loads(Path(model).read_text(encoding="utf-8"))["model"])
    frontier = frontier_of(json.loads(Path(guide).read_text(encoding="utf-8")))
    rules = FlagRules(**flags)

    def lost_by(frame: pl.DataFrame) -> pl.DataFrame:
        return losses(frame.with_columns(adjusted_carry(frame, carry_model)), carry_model, frontier)

    lost = ranked(pl.concat(in_order(lost_by, open_drives(Path(drives)).read())))
    table = Golfers.validate(assess(lost, rules))
    worst = newest_flagged(table)
    write_csv(Path(golfers), table)
    write_csv(Path(flagged), worst)
    write_csv(Path(changes), Changes.validate(changes_of(lost, table, rules)))
    newest = table.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed = newest.filter(pl.col("status") != "not_assessed").height
    print(f"Newest quarter: {assessed} golfers assessed, {worst.height} flagged.")


def frontier_of(guide: dict[str, Any]) -> Frontier:
    """Take the frontier out of guide.json."""
    names = ("speed_mph", "carry_yd", "std_error_yd", "launch_deg", "spin_rpm")
    return Frontier(*(np.array([row[name] for row in guide["speeds"]], dtype=float) for name in names))


def newest_flagged(golfers: pl.DataFrame) -> pl.DataFrame:
    """Give the flagged golfers of the newest quarter, worst first by what is left when luck is taken out."""
    newest = golfers.get_column("quarter").max()
    rows = golfers.filter((pl.col("quarter") == newest) & pl.col("flagged"))
    # Where too few golfers are there to tell luck, nobody has a shrunk figure and the plain one stands in.
    return rows.sort(["ranked_lost_yd", "lost_yd", "golfer"], descending=[True, True, False], nulls_last=True)
