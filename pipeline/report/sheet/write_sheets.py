"""Step: write the golfers' sheets, one HTML page per golfer and quarter, and a page that lists them.

In: golfers.csv (Golfers), bands.csv (BandTable), frontier.json, drives.parquet, model.json, tables.npz; goals.csv
(Goals), priorities.csv (Priorities), delivery.csv (Delivery), progress.csv (Progress) and, where there are speed logs,
practice.csv (Practice).
Out: the folder golfers/sheets, made whole: <quarter>_<golfer>.html and index.html.
"""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import golfers_by_quarter
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.flight.standard import StudyTables
from pipeline.physics.turf import FIRMNESS
from pipeline.report.sheet.back import CoachTables
from pipeline.report.sheet.facts import moved_to_centre
from pipeline.report.sheet.sheets import build_sheets
from pipeline.tables.delivery import Delivery
from pipeline.tables.figures import BandTable
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import Golfers
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Progress


def run(
    golfers: str,
    bands: str,
    frontier: str,
    drives: str,
    model: str,
    tables: str,
    goals: str,
    priorities: str,
    delivery: str,
    progress: str,
    sheets: str,
    settings: dict[str, Any],
    practice: str | None = None,
) -> None:
    """Read the tables and write the sheets.

    Parameters
    ----------
    golfers, bands, frontier, drives, model, tables, goals, priorities, delivery, progress : str
        Paths of the inputs.
    sheets : str
        Path of the folder to be made; what was in it before is gone.
    settings : dict
        Keys `study`, `flags`, `bands`, `privacy`, `window_tolerance_yd`, `flight` and `report`.
    practice : str, optional
        Path of practice.csv; a study without speed logs has none.

    Raises
    ------
    UserError
        If a table is missing or can't be read.
    """
    carry_model = read_artefact(model, FittedModel).model
    roller = Roller(StudyTables.from_arrays(read_arrays(tables)).standard, FIRMNESS[settings["flight"]["turf"]])
    bands_of = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
    every = open_drives(Path(drives))
    typical = golfers_by_quarter(every, carry_model, settings["flags"]["min_shots"])
    made = build_sheets(
        golfers=read_table(golfers, Golfers),
        bands=read_table(bands, BandTable),
        moved=moved_to_centre(typical, carry_model, roller, bands_of),
        drives=every,
        frontier=read_artefact(frontier, Frontier),
        model=carry_model,
        coach=CoachTables(
            read_table(goals, Goals),
            read_table(priorities, Priorities),
            read_table(delivery, Delivery),
            read_table(progress, Progress),
            read_table(practice, Practice) if practice else None,
        ),
        settings=settings,
    )
    count = 0
    with _whole_folder(Path(sheets)) as folder:
        for count, (name, page) in enumerate(made):  # noqa: B007 - the list of sheets comes last and is not counted
            (folder / name).write_text(page, encoding="utf-8", newline="\n")
    print(f"Wrote {count} golfers' sheets.")


@contextmanager
def _whole_folder(path: Path) -> Iterator[Path]:
    """Give a temporary folder beside `path`; put it in place of `path` if the block ends without an error."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=".part-", dir=path.parent))
    try:
        yield part
        if path.exists():
            shutil.rmtree(path)
        path.mkdir()  # with the usual permissions, which a temporary folder has not
        part.chmod(path.stat().st_mode)
        path.rmdir()
        part.replace(path)
    finally:
        shutil.rmtree(part, ignore_errors=True)
