"""Step: write the academy's page: tables and figures of a study on one self-contained HTML page.

In: the study's tables as CSV (each known by its file's name, see `pipeline.tables`), the figures as png, the model
card, model.json, what tells which model it is (a kept model's record.json or the newest fit's verdict.json) and, where
there are speed logs, light_tool.json. Out: academy.html.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.coach.practice.light_tool import LightTool
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import read_bytes, write_text
from pipeline.edge.tables_file import read_tables
from pipeline.fit.kept import model_in_use
from pipeline.report.figures.naming import figure_names, match_paths
from pipeline.report.page.page import build_page


def run(
    tables: Sequence[str],
    figures: Sequence[str],
    card: str,
    model: str,
    which: str,
    page: str,
    settings: dict[str, Any],
    kept: bool,
    light_tool: str | None = None,
) -> None:
    """Run the step; see the module's docstring. `kept` says that `which` is a kept model's record."""
    paths = match_paths(figures, figure_names(settings["bands"]["centres"]), ["png"])
    text = build_page(
        tables=read_tables(tables),
        images={name: read_bytes(by_kind["png"]) for name, by_kind in paths.items()},
        card=read_bytes(card).decode("utf-8"),
        model=model_in_use(which, model, kept=kept),
        light_tool=read_artefact(light_tool, LightTool) if light_tool else None,
        settings=settings,
    )
    write_text(Path(page), text)
