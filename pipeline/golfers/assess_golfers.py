"""Step: work out every golfer's yards lost, test them, flag the golfers who lose more than the threshold.

In: shots.duckdb, model.json, guide.json. Out: golfers.csv (one row per golfer and quarter) and flagged.csv (the
flagged of the newest quarter, worst first).
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.bands import adjusted_carry
from pipeline.files import write_csv
from pipeline.fit.model import CarryModel
from pipeline.golfers.flags import FlagRules, assess
from pipeline.golfers.losses import Frontier, losses
from pipeline.store import read_drives
from pipeline.tables import Golfers


def run(database: str, model: str, guide: str, golfers: str, flagged: str, flags: dict[str, Any]) -> None:
    """Run the step; see the module's docstring."""
    carry_model = CarryModel.from_dict(json.loads(Path(model).read_text(encoding="utf-8"))["model"])
    frontier = frontier_of(json.loads(Path(guide).read_text(encoding="utf-8")))
    drives = read_drives(Path(database))
    adjusted = drives.with_columns(adjusted_carry(drives, carry_model))
    table = Golfers.validate(assess(losses(adjusted, carry_model, frontier), FlagRules(**flags)))
    worst = newest_flagged(table)
    write_csv(Path(golfers), table)
    write_csv(Path(flagged), worst)
    newest = table.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed = newest.filter(pl.col("status") != "not_assessed").height
    print(f"Newest quarter: {assessed} golfers assessed, {worst.height} flagged.")


def frontier_of(guide: dict[str, Any]) -> Frontier:
    """Take the frontier out of guide.json."""
    names = ("speed_mph", "carry_yd", "std_error_yd", "launch_deg", "spin_rpm")
    return Frontier(*(np.array([row[name] for row in guide["speeds"]], dtype=float) for name in names))


def newest_flagged(golfers: pl.DataFrame) -> pl.DataFrame:
    """Give the flagged golfers of the newest quarter, worst first."""
    newest = golfers.get_column("quarter").max()
    rows = golfers.filter((pl.col("quarter") == newest) & pl.col("flagged"))
    return rows.sort(["lost_yd", "golfer"], descending=[True, False])
