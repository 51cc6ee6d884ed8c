"""Step: write the academy's page: everything of a study that people see, on one self-contained HTML page.

In: the study's tables as CSV (each known by its file's name, see `pipeline.tables`), frontier.json, drives.parquet,
chart.json, calibration.json, the bands' pictures as png, the model in use and its card, and the newest fit's
verdict.json where the run judges one. Out: academy.html.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
from pipeline.benchmark.frontier import Frontier
from pipeline.coach.straightness.offline import SideFlight
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import read_bytes, write_texts
from pipeline.edge.tables_file import read_tables
from pipeline.fit.kept import model_in_use
from pipeline.fit.verdict import in_use_lines
from pipeline.flight.calibrate import StudyFlight
from pipeline.lean import uncollected
from pipeline.report.figures.naming import map_names, match_paths
from pipeline.report.page.band_pictures import pictures_of
from pipeline.report.page.card_part import card_part
from pipeline.report.page.counts import quarters_of
from pipeline.report.page.facts import PAGE_COLUMNS
from pipeline.report.page.page import build_page
from pipeline.report.page.payload import payload_of
from pipeline.report.page.straight_part import LANDING_COLUMNS, is_known, landings_to_draw
from pipeline.tables.golfers import Golfers
from pipeline.tables.table_set import TableSet


def run(
    tables: Sequence[str],
    frontier: str,
    drives: str,
    chart: str,
    pictures: Sequence[str],
    card: str,
    model: str,
    which: str,
    calibration: str,
    page: str,
    settings: dict[str, Any],
    choice: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring. `choice` is the `Choice` of the model in use."""
    bands = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
    found = match_paths(pictures, map_names(bands.centres_mph), ["png"])
    images = {name: read_bytes(by_kind["png"]) for name, by_kind in found.items()}
    here, benchmarks = read_tables(tables), read_artefact(frontier, Frontier)
    payload = payload_of(
        tables=here,
        frontier=benchmarks,
        drives=open_drives(Path(drives), PAGE_COLUMNS),
        settings=settings,
        landings=_landings(here, drives, SideFlight.of(read_artefact(calibration, StudyFlight), benchmarks.air)),
    )
    in_use = f"In use: {' '.join(in_use_lines(model_in_use(choice, model, which)))}\n\n"
    payload |= {
        "pictures": pictures_of(read_artefact(chart, Chart), bands, images),
        "card": card_part(in_use + read_bytes(card).decode("utf-8")),
    }
    with uncollected():
        write_texts(Path(page), build_page(payload))


def _landings(tables: TableSet, drives: str, flight: SideFlight) -> pl.DataFrame | None:
    """Read where the newest drives came down; None where no log says it."""
    if not is_known(tables):
        return None
    newest = quarters_of(tables[Golfers])[-1]
    return landings_to_draw(open_drives(Path(drives), LANDING_COLUMNS), newest, flight)
