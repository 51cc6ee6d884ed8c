"""Step: write the academy's page: everything of a study that people see, on one self-contained HTML page.

In: the study's tables as CSV (each known by its file's name, see `pipeline.tables`), frontier.json, drives.parquet,
chart.json, the bands' pictures as png, the model in use and its card, and the newest fit's verdict.json where the run
judges one. Out: academy.html.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
from pipeline.benchmark.frontier import Frontier
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import read_bytes, write_text
from pipeline.edge.tables_file import read_tables
from pipeline.fit.kept import model_in_use
from pipeline.fit.verdict import in_use_lines
from pipeline.report.figures.naming import map_names, match_paths
from pipeline.report.page.band_pictures import pictures_of
from pipeline.report.page.card_part import card_part
from pipeline.report.page.facts import PAGE_COLUMNS
from pipeline.report.page.page import build_page
from pipeline.report.page.payload import payload_of


def run(
    tables: Sequence[str],
    frontier: str,
    drives: str,
    chart: str,
    pictures: Sequence[str],
    card: str,
    model: str,
    which: str,
    page: str,
    settings: dict[str, Any],
    choice: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring. `choice` is the `Choice` of the model in use."""
    bands = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
    found = match_paths(pictures, map_names(bands.centres_mph), ["png"])
    images = {name: read_bytes(by_kind["png"]) for name, by_kind in found.items()}
    payload = payload_of(
        tables=read_tables(tables),
        frontier=read_artefact(frontier, Frontier),
        drives=open_drives(Path(drives), PAGE_COLUMNS),
        settings=settings,
    )
    in_use = f"In use: {' '.join(in_use_lines(model_in_use(choice, model, which)))}\n\n"
    payload |= {
        "pictures": pictures_of(read_artefact(chart, Chart), bands, images),
        "card": card_part(in_use + read_bytes(card).decode("utf-8")),
    }
    write_text(Path(page), build_page(payload))
