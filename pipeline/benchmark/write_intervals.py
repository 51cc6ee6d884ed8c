"""Step: write the intervals of the model's and the benchmarks' figures at the level that the study asks for.

In: model.json, coefficients.csv (Coefficients), frontier.json, and held_out.parquet (HeldOut) of the newest fit, which
a kept model doesn't have. Out: intervals.csv (Intervals), a row per figure.
"""

from collections.abc import Sequence
from pathlib import Path

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.intervals_table import intervals_table
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.tables.figures import Coefficients
from pipeline.tables.intervals import Intervals


def run(
    model: str,
    coefficients: str,
    frontier: str,
    held_out: str | Sequence[str],
    intervals: str,
    centres: Sequence[float],
    level: float,
) -> None:
    """Run the step; see the module's docstring. `held_out` is an empty list for a kept model."""
    predicted = pl.read_parquet(held_out) if isinstance(held_out, str) else None
    table = intervals_table(
        read_artefact(model, FittedModel).model,
        read_table(coefficients, Coefficients),
        read_artefact(frontier, Frontier),
        centres,
        level,
        predicted,
    )
    write_csv(Path(intervals), Intervals.validate(table))
    print(f"Wrote {table.height} intervals at the level {level:g}.")
