"""Step: write the academy's page: everything of a study that people see, on one self-contained HTML page.

In: the study's tables as CSV (each known by its file's name, see `pipeline.tables`), frontier.json and drives.parquet.
Out: academy.html.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.benchmark.frontier import Frontier
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_text
from pipeline.edge.tables_file import read_tables
from pipeline.report.page.facts import PAGE_COLUMNS
from pipeline.report.page.page import build_page
from pipeline.report.page.payload import payload_of


def run(tables: Sequence[str], frontier: str, drives: str, page: str, settings: dict[str, Any]) -> None:
    """Run the step; see the module's docstring."""
    payload = payload_of(
        tables=read_tables(tables),
        frontier=read_artefact(frontier, Frontier),
        drives=open_drives(Path(drives), PAGE_COLUMNS),
        settings=settings,
    )
    write_text(Path(page), build_page(payload))
