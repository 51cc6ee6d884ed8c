"""Golfers' sheets: one self-contained HTML page per golfer and quarter, and a page that lists them."""

from collections.abc import Iterator, Mapping
from typing import Any

import polars as pl
from jinja2 import Template
from matplotlib.colors import to_hex

from pipeline.bands import SpeedBands
from pipeline.benchmark.frontier import Frontier
from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.drives import KEYS, Drives
from pipeline.fit.model import CarryModel
from pipeline.report.figures.look import FLAG_COLOUR, band_colours
from pipeline.report.sheet.back import Row, back_of, back_rows, lost_change
from pipeline.report.sheet.drawings import delivery_chart, history_chart, parts_chart, standing_chart
from pipeline.report.sheet.facts import Target, drives_of, sheet_rows, target_at
from pipeline.report.sheet.words import (
    MEANINGS,
    against_window,
    change_since,
    first_work,
    lost_step,
    standing,
    yards_lost,
)
from pipeline.report.shown_sums import shown_losses, with_shown_losses
from pipeline.report.templating import templates_of
from pipeline.shown import NO_WINDOW, window_parts
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import PARTS, Golfers
from pipeline.tables.table_set import TableSet

MOST_QUARTERS = 6  # of history on one sheet, which is one printed page
INDEX = "index.html"
SAME_YD = 1e-6  # two figures of one thing differ by less


def sheet_name(golfer: str, quarter: str) -> str:
    """Name a sheet's file, such as 2026Q3_g0123456789abcdef.html."""
    return f"{quarter}_{golfer}.html"


def build_sheets(
    *,
    tables: TableSet,
    moved: pl.DataFrame,
    drives: pl.DataFrame | Drives,
    frontier: Frontier,
    model: CarryModel,
    settings: Mapping[str, Any],
) -> Iterator[tuple[str, str]]:
    """Build the sheets and the page that lists them, one after the other.

    Parameters
    ----------
    tables : TableSet
        `Golfers`, `BandTable` and those that `pipeline.report.sheet.back.BACK` names; a sheet whose golfer and quarter
        are in none of the latter has no back.
    moved : DataFrame
        From `pipeline.report.sheet.facts.moved_to_centre`.
    drives : DataFrame or Drives
        All drives: golfer, quarter, launch_deg, spin_rpm, spin_measured.
    frontier : Frontier
    model : CarryModel
    settings : mapping
        Keys `study`, `flags`, `bands`, `privacy`, `window_tolerance_yd` and `report`.

    Yields
    ------
    tuple of str and str
        Name of the file, and a whole HTML document that needs no other file and no network.
    """
    environment = templates_of("sheet")
    speed_bands = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
    golfers = tables[Golfers]
    rows = sheet_rows(
        golfers,
        tables[BandTable],
        moved,
        sheets=settings["report"]["sheets"],
        speed_bands=speed_bands,
    )
    left_out = max(rows.height - settings["report"]["most_sheets"], 0)
    rows = rows.head(settings["report"]["most_sheets"])
    dots = drives_of(drives, rows.select(KEYS))
    named = (
        golfers.join(rows.select("golfer").unique(), on="golfer", how="semi")
        .with_columns(pl.col("main_cause", "status").cast(pl.String))
        .sort("quarter")
    )
    past: dict[Any, pl.DataFrame] = named.partition_by("golfer", as_dict=True)
    colours = {centre: to_hex(colour) for centre, colour in band_colours(speed_bands.centres_mph).items()}
    coached = back_rows(tables, rows, str(golfers["quarter"].max()))
    template = environment.get_template("sheet.html.j2")
    for row in rows.iter_rows(named=True):
        history = past[(row["golfer"],)].filter(pl.col("quarter") <= row["quarter"]).to_dicts()
        yield (
            sheet_name(row["golfer"], row["quarter"]),
            _sheet(
                template,
                row,
                history,
                target_at(frontier, model, row["club_speed_mph"]),
                dots.get((row["golfer"], row["quarter"])),
                coached.get((row["golfer"], row["quarter"]), {}),
                settings,
                colours,
            ),
        )
    index = environment.get_template("sheet_index.html.j2")
    yield INDEX, index.render(settings=settings, quarters=_listed(rows), left_out=left_out)


def _sheet(
    template: Template,
    row: dict[str, Any],
    history: list[dict[str, Any]],
    target: Target | None,
    dots: pl.DataFrame | None,
    coached: Mapping[str, Row],
    settings: Mapping[str, Any],
    colours: Mapping[float, str],
) -> str:
    shown = [past | shown_losses(past) for past in history[-MOST_QUARTERS:]]
    whole = shown_losses(row)
    threshold_yd = settings["flags"]["lost_yd"]
    assessed = row["status"] != "not_assessed"
    progress = _progress(coached.get("progress"), history)
    return template.render(
        row=row | whole,
        settings=settings,
        history=shown,
        earlier=len(history) - len(shown),
        target=target,
        sentence=first_work(row, target, threshold_yd),
        lost=yards_lost(row),
        rank=standing(row),
        change=lost_change(progress) or change_since(history),
        back=back_of({**coached, **({"progress": progress} if progress else {})}) if coached else None,
        cautions=SPEED_PRACTICE_CAUTIONS,
        window_text=_window_text(row, target),
        no_window=NO_WINDOW,
        parts=[(name.removeprefix("lost_").removesuffix("_yd"), whole[name]) for name in PARTS] if assessed else [],
        meanings=MEANINGS,
        charts={
            "standing": standing_chart(row),
            "delivery": delivery_chart(row, target, dots),
            "parts": parts_chart(row) if assessed else None,
            "history": history_chart(history[-MOST_QUARTERS:], threshold_yd),
        },
        colour=colours.get(row["band_mph"], "#555555"),
        own_colour=to_hex(FLAG_COLOUR),
    )


def _window_text(row: Mapping[str, Any], target: Target | None) -> dict[str, str] | None:
    if target is None or target.window is None or window_parts(target.window) is None:
        return None
    window = target.window
    return {
        "launch": against_window(row["launch_deg"], window.launch_lo_deg, window.launch_hi_deg, "deg"),
        "spin": "not measured"
        if row["spin_rpm"] is None
        else against_window(row["spin_rpm"], window.spin_lo_rpm, window.spin_hi_rpm, "rpm"),
    }


def _progress(row: Row | None, history: list[dict[str, Any]]) -> Row | None:
    """Give the row of `Progress` with the change of the yards lost as the two figures differ that the history shows."""
    before = next((past for past in history if row is not None and past["quarter"] == row["since"]), None)
    if row is None or before is None or None in (row["lost_change_yd"], before["lost_yd"], history[-1]["lost_yd"]):
        return row
    if abs(history[-1]["lost_yd"] - before["lost_yd"] - row["lost_change_yd"]) > SAME_YD:
        return row
    return {**row, "lost_change_yd": lost_step(before, history[-1])}


def _listed(rows: pl.DataFrame) -> list[tuple[str, list[dict[str, Any]]]]:
    """Group the sheets by quarter, in their order, with the name of each one's file."""
    names = ("golfer", "quarter", "club_speed_mph", "lost_yd", "main_cause", "status")
    listed = with_shown_losses(rows).select(names).to_dicts()
    quarters: dict[str, list[dict[str, Any]]] = {}
    for row in listed:
        quarters.setdefault(row["quarter"], []).append(row | {"file": sheet_name(row["golfer"], row["quarter"])})
    return list(quarters.items())
