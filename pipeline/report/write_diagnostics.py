"""Step: write the researcher's diagnostics of the chosen model: one self-contained HTML page.

In: shots.duckdb, model.json, held_out.parquet (one row per drive of the fit), scores.csv (Scores), guide.json.
Out: diagnostics.html.
"""

import json
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.errors import UserError
from pipeline.files import write_text
from pipeline.fit.drives import speed_of_study, usable
from pipeline.fit.model import CarryModel
from pipeline.report.diagnostics_page import build_diagnostics
from pipeline.report.inputs import read_table
from pipeline.store import read_drives
from pipeline.tables import Scores


def run(database: str, model: str, held_out: str, scores: str, guide: str, page: str, settings: dict[str, Any]) -> None:
    """Read drives, model and held-out predictions and write the page.

    Parameters
    ----------
    database, model, held_out, scores, guide : str
        Paths of the inputs.
    page : str
        Path of the page to be made.
    settings : dict
        Keys `study`, `bands` and `privacy`.

    Raises
    ------
    UserError
        If the held-out predictions don't belong to the drives, or the scores can't be read.
    """
    drives = read_drives(Path(database))
    used = drives.filter(pl.Series(usable(drives, speed_of_study(drives))))
    predictions = pl.read_parquet(held_out)
    # All drives of a golfer share a fold: a table of other drives, or in another order, breaks that.
    folds = used.select("golfer").hstack([predictions["fold"]]) if predictions.height == used.height else None
    if folds is None or folds.group_by("golfer").agg(pl.col("fold").n_unique())["fold"].max() != 1:
        raise UserError(f"{held_out}: does not belong to {database}; delete it and run the workflow again.")
    speeds = json.loads(Path(guide).read_text(encoding="utf-8"))["speeds"]
    centres = set(settings["bands"]["centres"])
    efficient = {
        row["speed_mph"]: (row["launch_deg"], row["spin_rpm"]) for row in speeds if row["speed_mph"] in centres
    }
    text = build_diagnostics(
        drives=used,
        held_out=predictions,
        scores=read_table(scores, Scores),
        model=CarryModel.from_dict(json.loads(Path(model).read_text(encoding="utf-8"))["model"]),
        efficient=efficient,
        settings=settings,
    )
    write_text(Path(page), text)
    print(f"Wrote the diagnostics of {used.height} drives.")
