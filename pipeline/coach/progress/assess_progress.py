"""Step: compare every golfer's quarters, and sum up what changed for all and by group.

In: drives.parquet, model.json, frontier.json, replicates.npz, efficient_replicates.npz, devices.json, golfers.csv,
changes.csv, straightness.csv. Of a study cut into parts, golfers.csv and the parquet files of `compare_progress`
instead. Out: progress.csv (one row per golfer and quarter that has an earlier one to be compared with) and cohorts.csv
(one row per quarter, and per quarter and group).
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

import polars as pl

from pipeline.coach.progress.cohorts import cohorts_by_group, summed_columns
from pipeline.coach.progress.measures import Yardstick
from pipeline.coach.progress.progress import P_VALUES, compared, form_of, q_values_of, with_verdicts
from pipeline.coach.progress.quarter_sums import GOLFER_COLUMNS, PooledQuarters, pool_quarters, quarter_sums
from pipeline.drives import FIT_COLUMNS
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_csv_of
from pipeline.edge.tables_file import read_table
from pipeline.golfers.assess_golfers import read_measured_with
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.tables.golfers import Changes, Golfers
from pipeline.tables.progress import Cohorts, Progress
from pipeline.tables.straightness import Straightness

COLUMNS = (*FIT_COLUMNS, "carry_measured_yd", "struck_on", "group")


def run(
    golfers: str,
    progress: str,
    cohorts: str,
    false_discovery_rate: float,
    min_golfers: int,
    parts: Sequence[str] = (),
    pooled: str | None = None,
    **whole: str,
) -> None:
    """Run the step; see the module's docstring. In parts, `parts` and `pooled` are given in place of `whole`.

    The table of one part after the other is held, and of all parts no more than p-values and what is summed up.
    """
    tables = _Compared.of_parts(parts, str(pooled)) if parts else _Compared.of_whole(golfers, **whole)
    q_values = q_values_of(pl.concat(tables.read(["quarter", *P_VALUES]), rechunk=True), false_discovery_rate)
    kept: list[pl.DataFrame] = []

    def judged() -> Iterator[pl.DataFrame]:
        first = 0
        for table in tables.read(None):
            told = with_verdicts(table, q_values.slice(first, table.height), false_discovery_rate)
            first += table.height
            kept.append(told.select(summed_columns()))
            yield Progress.validate(told.select(Progress.column_names()))

    write_csv_of(Path(progress), judged())
    found = pl.concat(kept, rechunk=True)
    write_csv(Path(cohorts), Cohorts.validate(cohorts_by_group(found, min_golfers)))
    quarter = pl.scan_csv(golfers).select(pl.col("quarter").max()).collect(engine="streaming").item()
    newest = found.filter(pl.col("quarter") == quarter)
    better, worse = (int((newest.get_column("carry_verdict") == word).sum()) for word in ("better", "worse"))
    print(
        f"Newest quarter: {newest.height} golfers compared with an earlier one; carry is better for {better} and worse "
        f"for {worse} by more than chance."
    )
    form = form_of(tables.pooled)["carry"]
    if form.told:
        print(f"A day's form moves a golfer's carry by {form.variance**0.5:.1f} yd (standard deviation).")


class _Compared:
    """What `compared` gives of all golfers: a table in memory, or one for each part in a file."""

    def __init__(self, pooled: PooledQuarters, tables: Sequence[pl.DataFrame | str]) -> None:
        self.pooled, self.tables = pooled, tables

    @classmethod
    def of_parts(cls, paths: Sequence[str], pooled: str) -> "_Compared":
        return cls(read_artefact(pooled, PooledQuarters), paths)

    @classmethod
    def of_whole(
        cls,
        golfers: str,
        drives: str,
        model: str,
        frontier: str,
        replicates: str,
        efficient_replicates: str,
        devices: str,
        changes: str,
        straightness: str | None = None,
    ) -> "_Compared":
        yardstick, shared = read_yardstick(model, frontier, replicates, efficient_replicates, devices)
        every = open_drives(Path(drives), COLUMNS)
        table = read_table(golfers, Golfers, every.golfers).select(GOLFER_COLUMNS)
        sums = quarter_sums(every, table, yardstick, shared)
        pooled = pool_quarters(sums, yardstick)
        tested = read_table(changes, Changes, every.golfers)
        straight = None if straightness is None else read_table(straightness, Straightness, every.golfers)
        return cls(pooled, [compared(sums, pooled, tested, yardstick, shared, straight)])

    def read(self, columns: Sequence[str] | None) -> Iterator[pl.DataFrame]:
        for one in self.tables:
            if isinstance(one, str):
                yield pl.read_parquet(one, columns=None if columns is None else list(columns))
            else:
                yield one if columns is None else one.select(columns)


def read_yardstick(
    model: str, frontier: str, replicates: str, efficient_replicates: str, devices: str
) -> tuple[Yardstick, SharedErrors]:
    """Read what quarters are measured with, as golfers are, and the errors that golfers share."""
    carry_model, reached, shared = read_measured_with(model, frontier, replicates, efficient_replicates, devices)
    return Yardstick(carry_model, reached), shared
