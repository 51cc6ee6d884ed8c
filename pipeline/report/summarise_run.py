"""Step: sum up a run: run.json for the record, summary.txt for whoever started it.

In: golfers.csv, scores.csv, sources.csv, the page. Out: run.json (configuration as resolved, versions, input
hashes, rows per log) and summary.txt (what was made, what was refused, what to open).
"""

import platform
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.files import write_json, write_text
from pipeline.report.inputs import read_table
from pipeline.tables import Golfers, Scores, Sources

PACKAGES = ("yardband", "polars", "numpy", "scipy", "statsmodels", "duckdb", "dataframely", "snakemake", "seaborn")
CAUTION = "Distances are statistics of golfers, not a safety design for ranges, nets or fences."


def run(
    golfers: str, scores: str, sources: str, page: str, record: str, summary: str, settings: dict[str, Any]
) -> None:
    """Run the step; see the module's docstring."""
    logs = read_table(sources, Sources)
    write_json(
        Path(record),
        {
            "configuration": settings,
            "versions": {"python": platform.python_version()} | {name: version(name) for name in PACKAGES},
            "sources": logs.to_dicts(),
        },
    )
    lines = summary_lines(read_table(golfers, Golfers), read_table(scores, Scores), logs, page)
    write_text(Path(summary), "\n".join(lines) + "\n")


def summary_lines(golfers: pl.DataFrame, scores: pl.DataFrame, sources: pl.DataFrame, page: str) -> Sequence[str]:
    """Tell a run's outcome in a few lines of plain text.

    Parameters
    ----------
    golfers, scores, sources : DataFrame
        The tables `Golfers`, `Scores` and `Sources`.
    page : str
        Path of the page to open.

    Returns
    -------
    list of str
    """
    rows, accepted, rejected, duplicates = (
        int(sources.get_column(c).sum()) for c in ("rows", "accepted", "rejected", "duplicates")
    )
    refused = sources.filter(pl.col("status") == "refused").sort("source")
    newest = golfers.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed = newest.filter(pl.col("status") != "not_assessed")
    flagged = newest.filter("flagged")
    chosen = scores.filter("chosen").row(0, named=True)
    return [
        "",
        f"Logs: {sources.height - refused.height} used, {refused.height} refused. Rows: {rows:,} = {accepted:,} "
        f"accepted + {rejected:,} rejected + {duplicates:,} duplicates.",
        *(f"  refused: {row['source']}: {row['reason']}" for row in refused.iter_rows(named=True)),
        f"Model: {chosen['model']}, rms error {chosen['rmse_yd']:.1f} yd on golfers held out of the fit.",
        f"{newest.item(0, 'quarter')}: {assessed.height} of {newest.height} golfers assessed, "
        f"{flagged.height} flagged, {_sum(flagged):.0f} yd lost by them together.",
        f"Open {page}",
        CAUTION,
    ]


def _sum(flagged: pl.DataFrame) -> float:
    return float(flagged.get_column("lost_yd").sum())
