"""Step: compare the quarters of a part of the golfers, all but what takes a look at all of them.

Of a study cut into parts alone. In: what `sum_progress` made of the part, pooled.json, drives.parquet, model.json,
frontier.json, replicates.npz, efficient_replicates.npz, devices.json, changes.csv, straightness.csv. Out: compared (one
row per golfer and quarter that has an earlier one, see `compared`), as parquet.
"""

from pathlib import Path

import polars as pl

from pipeline.coach.progress.assess_progress import read_yardstick
from pipeline.coach.progress.progress import compared as compare
from pipeline.coach.progress.quarter_sums import PooledQuarters, QuarterSums
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import Part, open_drives
from pipeline.edge.files import write_parquet
from pipeline.edge.tables_file import read_table
from pipeline.golfers.day_form import FigureSums
from pipeline.tables.golfers import Changes
from pipeline.tables.straightness import Straightness


def run(
    drives: str,
    table: str,
    quarters: str,
    days: str,
    moves: str,
    pooled: str,
    changes: str,
    part: str,
    compared: str,
    straightness: str | None = None,
    **measured_with: str,
) -> None:
    """Run the step; see the module's docstring. `part` is a name such as 1-of-2."""
    yardstick, shared = read_yardstick(**measured_with)
    golfers = open_drives(Path(drives), ("golfer",), part=Part.named(part)).golfers
    own, of_quarters, of_days, moved = (_read(path, golfers) for path in (table, quarters, days, moves))
    sums = QuarterSums(own, FigureSums(of_quarters, of_days), moved if "move" in moved.columns else None)
    tested = read_table(changes, Changes, golfers, some=True)
    straight = None if straightness is None else read_table(straightness, Straightness, golfers, some=True)
    found = compare(sums, read_artefact(pooled, PooledQuarters), tested, yardstick, shared, straight)
    write_parquet(Path(compared), found.with_columns(pl.col("golfer").cast(pl.String)))
    print(f"Part {part}: {found.height} golfers' quarters compared with an earlier one.")


def _read(path: str, golfers: pl.Enum) -> pl.DataFrame:
    """Read a part's table, whose golfers have names or numbers."""
    table = pl.read_parquet(path)
    named = pl.col("golfer").cast(golfers) if table.schema["golfer"] == pl.String else pl.col("golfer").cat.to(golfers)
    return table.with_columns(named)
