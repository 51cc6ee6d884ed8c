"""The page of sensitivity, made from the table `Sensitivity`."""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import dataframely as dy
import polars as pl
from markupsafe import Markup
from matplotlib.figure import Figure

from pipeline.report.diagnostics.sensitivity_plots import plot_flags, plot_moves
from pipeline.report.diagnostics.sensitivity_words import (
    FLIGHT,
    LUCK,
    REFERENCE,
    definitions_heading,
    flags_heading,
    flags_sentences,
    rejected_sentence,
    verdict_heading,
    verdict_sentences,
    windows_heading,
)
from pipeline.report.display import EMPTY, ShownTable, show, tables_markup
from pipeline.report.figures.look import figure_bytes
from pipeline.report.palette import palette_css
from pipeline.report.templating import templates_of
from pipeline.research.sensitivity.verdict import verdicts
from pipeline.shown import number_text, signed_text
from pipeline.tables.columns import heading_of
from pipeline.tables.figures import Scores
from pipeline.tables.sensitivity import BASE, Sensitivity

WINDOW = ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")
SCENARIO = heading_of(Sensitivity, "scenario")


@dataclass(frozen=True)
class Part:
    """A part of the page: a finding, what says it in short lines, a picture and a table by name, and lines below."""

    heading: str
    list: Sequence[str] = ()
    picture: tuple[str, str] | None = None
    table: str = ""
    lines: Sequence[str] = ()


def build_sensitivity(
    table: dy.DataFrame[Sensitivity], scores: dy.DataFrame[Scores], settings: Mapping[str, Any]
) -> str:
    """Build the page.

    Parameters
    ----------
    table : DataFrame
        What every scenario moves.
    scores : DataFrame
        The candidates' scores, which tell the model and how many golfers it rests on.
    settings : mapping
        Keys `study`, as it is shown, and `privacy`.

    Returns
    -------
    str
        A whole HTML document that needs no other file and no network.
    """
    chosen = scores.filter("chosen").row(0, named=True)
    base = table.filter((pl.col("kind") == BASE) & pl.col("band_mph").is_null()).row(0, named=True)
    by_band, whole = table.filter(pl.col("band_mph").is_not_null()), table.filter(pl.col("band_mph").is_null())
    reach = {one.band_mph: one.reach_yd for one in verdicts(table)}
    alternatives, others = (
        by_band.filter(pl.col("kind") == "alternative"),
        by_band.filter(pl.col("kind") == "definition"),
    )
    figures: dict[str, Figure] = {"flags": plot_flags(whole, base["flagged"])}
    if reach:
        figures["moves"] = plot_moves(alternatives, reach, shaded=True)
        figures["definitions"] = plot_moves(others, reach, shaded=False)
    shifts = window_shifts(by_band)
    tables = {
        "moves": show_moves(by_band.filter(pl.col("kind").is_in(["alternative", "rejected"])), reach),
        "flags": show_flags(whole),
        "definitions": show_moves(others, reach, with_verdict=False),
        "windows": show_shifts(shifts),
    }
    few = f"Scenarios are tried on {number_text(base['drives'])} drives of {base['golfers']} of them, drawn at random."
    sampled = few if base["golfers"] < chosen["golfers"] else ""
    return (
        templates_of("diagnostics")
        .get_template("sensitivity.html.j2")
        .render(
            palette=Markup(palette_css()),  # our own text
            settings=settings,
            model=chosen["model"],
            drives=number_text(chosen["shots"]),
            golfers=chosen["golfers"],
            sampled=sampled,
            parts=_parts(table, whole, shifts),
            pictures={
                name: base64.b64encode(figure_bytes(one, "png")).decode("ascii") for name, one in figures.items()
            },
            tables=tables_markup(tables),
        )
    )


def _parts(table: pl.DataFrame, whole: pl.DataFrame, shifts: pl.DataFrame) -> list[Part]:
    found = verdicts(table)
    asked = [line for line in (rejected_sentence(table), FLIGHT) if line]
    moves = "Move of efficient carry by alternative and band. Shaded: the 90 % interval. Diamonds: moves beyond it."
    flags = "Flags of the newest quarter by scenario. Dashed: as it is."
    definitions = "Move of efficient carry with another share of deliveries, or of golfers for contact."
    notes = [f"{row['scenario'][0].upper()}{row['scenario'][1:]}: {row['note']}." for row in _noted(whole)]
    return [
        Part(verdict_heading(found), verdict_sentences(found), ("moves", moves), "moves", [*asked, LUCK]),
        Part(flags_heading(whole), flags_sentences(whole), ("flags", flags), "flags"),
        Part(windows_heading(shifts), table="windows", lines=["The largest shift of the four edges, over all bands."]),
        Part(
            definitions_heading(table),
            picture=("definitions", definitions),
            table="definitions",
            lines=["A definition says what is asked, so no interval has to hold what another one moves."],
        ),
        Part("What was done", notes, lines=[REFERENCE]),
    ]


def _noted(whole: pl.DataFrame) -> list[dict[str, Any]]:
    return list(whole.drop_nulls("note").select("scenario", "note").iter_rows(named=True))


def show_moves(rows: pl.DataFrame, reach_yd: Mapping[float, float], *, with_verdict: bool = True) -> ShownTable:
    """Turn moves into text: a row a scenario, a column a band, and how many bands' intervals hold it."""
    names = rows.get_column("scenario").unique(maintain_order=True).to_list()
    made = []
    if with_verdict and reach_yd:
        made.append(
            {SCENARIO: "reach of the 90 % interval"}
            | {_heading(band): number_text(reach, 1) for band, reach in reach_yd.items()}
            | {"Interval holds": ""}
        )
    for name in names:
        here = rows.filter(pl.col("scenario") == name)
        moves = dict(here.select("band_mph", "move_yd").iter_rows())
        cells = {_heading(band): EMPTY if moves.get(band) is None else signed_text(moves[band], 1) for band in reach_yd}
        asked = here.get_column("held").drop_nulls()
        verdict = f"{asked.sum()} of {len(asked)} bands" if len(asked) else "not asked"
        made.append({SCENARIO: name} | cells | ({"Interval holds": verdict} if with_verdict else {}))
    columns = [SCENARIO, *map(_heading, reach_yd), *(["Interval holds"] if with_verdict else [])]
    text = (SCENARIO, "Interval holds") if with_verdict else (SCENARIO,)
    return ShownTable(pl.DataFrame(made, schema=dict.fromkeys(columns, pl.String), orient="row"), text)


def _heading(band_mph: float) -> str:
    return f"At {band_mph:g} mph, yd"


def show_flags(whole: pl.DataFrame) -> ShownTable:
    """Turn the flags by scenario into text."""
    counts = ("assessed", "flagged", "joined", "left", "gone")
    return show(whole.drop_nulls("flagged"), Sensitivity, ("scenario", *counts, "lost_move_yd"))


def window_shifts(by_band: pl.DataFrame) -> pl.DataFrame:
    """Give each scenario's largest shift of a window's edges from those of the base, over the bands.

    Returns
    -------
    DataFrame
        scenario, kind, launch_deg, spin_rpm; null where no band has a window both there and in the base. The base
        itself is left out.
    """
    base = by_band.filter(pl.col("kind") == BASE).select("band_mph", *WINDOW)
    rest = by_band.filter(pl.col("kind") != BASE)
    both = rest.join(base, on="band_mph", how="left", suffix="_base", maintain_order="left")
    away = both.with_columns((pl.col(name) - pl.col(f"{name}_base")).abs().alias(name) for name in WINDOW)
    return away.group_by("scenario", "kind", maintain_order=True).agg(
        pl.max_horizontal(pl.col(WINDOW[:2]).max()).alias("launch_deg"),
        pl.max_horizontal(pl.col(WINDOW[2:]).max()).alias("spin_rpm"),
    )


def show_shifts(shifts: pl.DataFrame) -> ShownTable:
    """Turn the windows' shifts into text."""
    known = shifts.drop_nulls(["launch_deg", "spin_rpm"])
    made = {
        SCENARIO: known.get_column("scenario"),
        "Launch window, largest shift of an edge, deg": [f"{value:g}" for value in known.get_column("launch_deg")],
        "Spin window, largest shift of an edge, rpm": [f"{value:g}" for value in known.get_column("spin_rpm")],
    }
    return ShownTable(pl.DataFrame(made, schema=dict.fromkeys(made, pl.String)), (SCENARIO,))
