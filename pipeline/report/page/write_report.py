"""Write the academy's page: tables and figures of a study on one self-contained HTML page.

In: golfers.csv (Golfers), changes.csv (Changes), bands.csv (BandTable), scores.csv (Scores), sources.csv (Sources),
rejects.csv (Rejects), calibrations.csv (Calibrations), the figures as png, the model card, model.json, and what tells
which model it is: a kept model's record.json or the newest fit's verdict.json; cohorts.csv (Cohorts), goals.csv
(Goals), priorities.csv (Priorities), delivery.csv (Delivery), delivery_slopes.csv (DeliverySlopes) and, where there are
speed logs, practice.csv (Practice) and light_tool.json. Out: academy.html.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.coach.practice.light_tool import LightTool
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_text
from pipeline.edge.tables_file import read_table
from pipeline.errors import UserError
from pipeline.fit.kept import model_in_use
from pipeline.report.figures.naming import figure_names, match_paths
from pipeline.report.page.coach_part import PageTables
from pipeline.report.page.page import build_page
from pipeline.tables.delivery import Delivery, DeliverySlopes
from pipeline.tables.figures import BandTable, Calibrations, Scores
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import Changes, Golfers
from pipeline.tables.logs import Rejects, Sources
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Cohorts


def run(
    golfers: str,
    changes: str,
    bands: str,
    scores: str,
    sources: str,
    rejects: str,
    calibrations: str,
    figures: Sequence[str],
    card: str,
    model: str,
    which: str,
    cohorts: str,
    goals: str,
    priorities: str,
    delivery: str,
    slopes: str,
    page: str,
    settings: dict[str, Any],
    kept: bool,
    practice: str | None = None,
    light_tool: str | None = None,
) -> None:
    """Read the tables and figures and write the page.

    Parameters
    ----------
    golfers, changes, bands, scores, sources, rejects, calibrations, cohorts, goals, priorities, delivery, slopes : str
        Paths of the tables.
    figures : sequence of str
        Paths of the figures; the png ones are put into the page.
    card : str
        Path of the model card.
    model, which : str
        Paths of the model and of what tells which one it is.
    page : str
        Path of the page to be made.
    settings : dict
        Keys `study`, `flags`, `bands`, `privacy`, `window_tolerance_yd`, `flight` and `report`.
    kept : bool
        Whether `which` is a kept model's record.
    practice, light_tool : str, optional
        Paths of what speed practice did; a study without speed logs has none.

    Raises
    ------
    UserError
        If an input is missing or can't be read, or there is nothing to report.
    """
    paths = match_paths(figures, figure_names(settings["bands"]["centres"]), ["png"])
    write_text(
        Path(page),
        build_page(
            golfers=read_table(golfers, Golfers),
            changes=read_table(changes, Changes),
            bands=read_table(bands, BandTable),
            scores=read_table(scores, Scores),
            sources=read_table(sources, Sources),
            rejects=read_table(rejects, Rejects),
            calibrations=read_table(calibrations, Calibrations),
            images={name: _read(by_kind["png"]) for name, by_kind in paths.items()},
            card=_read(Path(card)).decode("utf-8"),
            model=model_in_use(which, model, kept=kept),
            coach=PageTables(
                read_table(cohorts, Cohorts),
                read_table(goals, Goals),
                read_table(priorities, Priorities),
                read_table(delivery, Delivery),
                read_table(slopes, DeliverySlopes),
                read_table(practice, Practice) if practice else None,
                read_artefact(light_tool, LightTool) if light_tool else None,
            ),
            settings=settings,
        ),
    )


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise UserError(f"{path}: the file is missing; run the workflow again, it makes it.") from None
