"""Step: learn from all golfers of a study cut into parts how drives and days differ.

In: the parts' quarters, days and moves, as `sum_progress` writes them, and model.json. Out: pooled.json (see
`PooledQuarters`). The columns of one measure after the other are read.
"""

from collections.abc import Sequence

import polars as pl

from pipeline.coach.progress.quarter_sums import FIGURES, PooledQuarters
from pipeline.edge.artefacts import read_artefact, write_boundless
from pipeline.fit.model import FittedModel
from pipeline.golfers.day_form import Figure, FigureSums, Pooled, pool
from pipeline.golfers.moves import common_moves


def run(quarters: Sequence[str], days: Sequence[str], moves: Sequence[str], model: str, pooled: str) -> None:
    """Run the step; see the module's docstring."""
    of_measures: dict[str, Pooled] = {name: _pooled(quarters, days, figure) for name, figure in FIGURES.items()}
    moved = pl.concat(pl.read_parquet(path) for path in moves)
    common = common_moves(moved, read_artefact(model, FittedModel).model) if "move" in moved.columns else {}
    write_boundless(pooled, PooledQuarters(of_measures, common))


def _pooled(quarters: Sequence[str], days: Sequence[str], figure: Figure) -> Pooled:
    return pool(FigureSums(_read(quarters, figure, quarters), _read(days, figure, quarters)), figure)


def _read(paths: Sequence[str], figure: Figure, quarters: Sequence[str]) -> pl.DataFrame:
    """Read a figure's columns of all parts, golfers numbered over all of them."""
    parts, first = [], 0
    for path, beside in zip(paths, quarters, strict=True):
        lazy = pl.scan_parquet(path)
        names = [name for name in lazy.collect_schema().names() if name.startswith(f"{figure.name}_")]
        parts.append(lazy.select(pl.col("golfer") + first, "quarter", *names).collect())
        golfers = pl.scan_parquet(beside).select(pl.col("golfer").max()).collect().item()
        first += 0 if golfers is None else golfers + 1
    return pl.concat(parts, rechunk=True)
