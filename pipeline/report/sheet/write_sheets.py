"""Step: write the golfers' sheets, one HTML page per golfer and quarter, and a page that lists them.

In: golfers.csv, bands.csv, goals.csv, priorities.csv, delivery.csv, progress.csv and, where there are speed logs,
practice.csv; frontier.json, drives.parquet, model.json, tables.npz.
Out: the folder golfers/sheets, made whole: <quarter>_<golfer>.html and index.html.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import golfers_by_quarter
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import whole_folder
from pipeline.edge.tables_file import read_tables
from pipeline.fit.model import FittedModel
from pipeline.flight.standard import StudyTables
from pipeline.physics.turf import FIRMNESS
from pipeline.report.sheet.facts import moved_to_centre
from pipeline.report.sheet.sheets import build_sheets


def run(
    tables: Sequence[str],
    frontier: str,
    drives: str,
    model: str,
    flight_tables: str,
    sheets: str,
    settings: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring. What was in the folder `sheets` before is gone."""
    carry_model = read_artefact(model, FittedModel).model
    standard = StudyTables.from_arrays(read_arrays(flight_tables)).standard
    bands = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
    every = open_drives(Path(drives))
    typical = golfers_by_quarter(every, carry_model, settings["flags"]["min_shots"])
    made = build_sheets(
        tables=read_tables(tables),
        moved=moved_to_centre(typical, carry_model, Roller(standard, FIRMNESS[settings["flight"]["turf"]]), bands),
        drives=every,
        frontier=read_artefact(frontier, Frontier),
        model=carry_model,
        settings=settings,
    )
    count = 0
    with whole_folder(Path(sheets)) as folder:
        for count, (name, page) in enumerate(made):  # noqa: B007 - the list of sheets comes last and is not counted
            (folder / name).write_text(page, encoding="utf-8", newline="\n")
    print(f"Wrote {count} golfers' sheets.")
