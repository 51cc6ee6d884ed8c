"""Step: sum up the drives of a part of the golfers, quarter by quarter, for the comparison of quarters.

Of a study cut into parts alone. In: drives.parquet, model.json, frontier.json, replicates.npz,
efficient_replicates.npz, devices.json, golfers.csv. Out, one row per golfer and assessed quarter: table and quarters;
one row per golfer, quarter and day: days; one row per golfer, quarter and device, or none: moves. See `QuarterSums`.
"""

from pathlib import Path

import polars as pl

from pipeline.coach.progress.assess_progress import COLUMNS, read_yardstick
from pipeline.coach.progress.quarter_sums import GOLFER_COLUMNS, quarter_sums
from pipeline.edge.drives_file import Part, open_drives
from pipeline.edge.files import write_parquet
from pipeline.edge.tables_file import read_table
from pipeline.tables.golfers import Golfers


def run(
    drives: str,
    golfers: str,
    part: str,
    table: str,
    quarters: str,
    days: str,
    moves: str,
    **measured_with: str,
) -> None:
    """Run the step; see the module's docstring. `part` is a name such as 1-of-2."""
    yardstick, shared = read_yardstick(**measured_with)
    every = open_drives(Path(drives), COLUMNS, part=Part.named(part))
    own = read_table(golfers, Golfers, every.golfers, some=True).select(GOLFER_COLUMNS)
    sums = quarter_sums(every, own, yardstick, shared)
    # Numbers in the part stand for golfers' names. Types are those that parts share.
    numbers = pl.col("golfer").to_physical().cast(pl.Int64), pl.col("quarter").cast(pl.String)
    write_parquet(Path(table), sums.table.with_columns(pl.col("golfer").cast(pl.String)))
    write_parquet(Path(quarters), sums.figures.quarters.with_columns(numbers))
    write_parquet(Path(days), sums.figures.days.with_columns(numbers))
    none = pl.DataFrame(schema={"golfer": pl.Int64, "quarter": pl.String})
    write_parquet(Path(moves), none if sums.moves is None else sums.moves.with_columns(numbers))
    print(f"Part {part}: {own.height} golfers' quarters, of which {sums.table.height} are assessed.")
