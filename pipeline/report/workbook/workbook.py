"""The band table and the golfers' table as workbooks, each with further tables of the same on sheets of their own."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from io import BytesIO
from typing import Any

import dataframely as dy
import polars as pl
import xlsxwriter  # type: ignore[import-untyped]

from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.golfers.order import newest_and_worst_first
from pipeline.report.palette import LIGHT
from pipeline.report.workbook.further_sheets import MOST_ROWS, Sheet, further_sheets
from pipeline.shown import ON_STEP
from pipeline.tables.columns import ColumnFacts, facts_of
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.table_set import TableSet
from pipeline.texts.better import with_better

Notes = Sequence[tuple[str, str]]

NONE = TableSet({})

# Without a fixed date every run would give other bytes. The value has no meaning.
FIXED_DATE = datetime(2000, 1, 1)

# The options keep text text, whatever it starts with: no formula, no link, no number.
OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "in_memory": True}

HEADER = {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}
HEADER |= {"font_color": LIGHT.ink, "bg_color": LIGHT.card}
HEADER_PIXELS = 83  # four lines
# Widths in pixels: 7 a character, 5 beside it, and 16 for the filter's button. A heading may take four lines.
PER_CHARACTER, BESIDE, FILTER = 7, 5, 16
LEAST_WIDTH, MOST_WIDTH = 60, 285
# Colors of a cell by its word, which stays beside the color: text and ground of each.
STATUS_LOOKS: dict[str, dict[str, Any]] = {
    "flagged": {"font_color": LIGHT.attention, "bg_color": LIGHT.attention_pale, "bold": True},
    "clear": {"font_color": LIGHT.good, "bg_color": LIGHT.good_pale},
    "not_assessed": {"font_color": LIGHT.soft, "bg_color": LIGHT.faint, "italic": True},
}
YES_LOOKS = {"suppressed": {"yes": STATUS_LOOKS["not_assessed"]}, "flagged": {"yes": STATUS_LOOKS["flagged"]}}
WORD_LOOKS: dict[str, dict[str, dict[str, Any]]] = {"status": STATUS_LOOKS, **YES_LOOKS}
NOTE_WIDTHS = (292, 635)

FIGURES = (
    (
        "Figures",
        "Cells hold the full figures; only their display is rounded, each cell by itself. The ends of windows lie on "
        "half degrees and multiples of 50 rpm. Empty: not known, see the note.",
    ),
    ("90 % interval", "How well a figure is known. It is not the spread of single drives."),
    (
        "Caution",
        "These distances describe golfers. Don't use them to design ranges, nets or fences: "
        "that takes a qualified designer and local rules.",
    ),
)
BAND_NOTES = (
    (
        "Standard conditions",
        "Each drive's measured carry is changed by the difference between ball flight there and ball flight in the "
        "air and wind in which it was hit.",
    ),
    (
        "Total",
        "Carry and roll. Roll is calculated, not measured, for an assumed fairway of the firmness that the key "
        "flight.turf of study.yaml names; totals are less sure than carry.",
    ),
    *FIGURES,
)


def golfer_notes(flags: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Say what the golfers' workbook rests on, with the thresholds of `flags`."""
    lost, rate, shots = (f"{flags[key]:g}" for key in ("lost_yd", "false_discovery_rate", "min_shots"))
    return (
        ("Threshold", f"p tests a loss of {lost} yd or less."),
        ("Flagged", f"At least {shots} drives, and more than {lost} yd lost with q of {rate} or less."),
        *FIGURES,
        ("Caution", "These are data on people: keep to the local privacy law, and keep the key and names elsewhere."),
    )


def bands_workbook(
    bands: dy.DataFrame[BandTable],
    *,
    title: str,
    strike: float = UsualDelivery.strike,
    further: TableSet = NONE,
    notes: Notes = BAND_NOTES,
) -> bytes:
    """Make an xlsx of the band table, the newest quarter first, with a sheet of notes.

    Text that starts like a formula stays text, and the same tables give the same bytes. `title` is the academy's,
    `strike` as in `Frontier`. Of `further`, a table of `SHEETS` that has rows gets a sheet of its own. `notes` say what
    the figures rest on.
    """
    order = bands.sort("quarter", "band_mph", descending=[True, False])
    own = Sheet("bands", order, BandTable, MOST_ROWS)
    return _workbook(f"{title}: speed bands", [own, *further_sheets(further)], notes, strike)


def golfers_workbook(
    golfers: dy.DataFrame[Golfers],
    flags: Mapping[str, Any],
    *,
    title: str,
    strike: float = UsualDelivery.strike,
    further: TableSet = NONE,
    notes: Notes | None = None,
) -> bytes:
    """Make an xlsx of the golfers' table with a sheet of notes, as `bands_workbook` does.

    Parameters
    ----------
    golfers : DataFrame
        All quarters; the newest comes first, in it the flagged, most yards lost with luck taken out first.
    flags : mapping
        Keys `lost_yd`, `false_discovery_rate` and `min_shots`.
    title : str
        The academy's.
    strike : float
        As in `Frontier`.
    further : TableSet
        Tables for sheets of their own.
    notes : sequence of (str, str), optional
        What the figures rest on; `golfer_notes` unless given.
    """
    own = Sheet("golfers", newest_and_worst_first(golfers), Golfers, MOST_ROWS)
    return _workbook(f"{title}: golfers", [own, *further_sheets(further)], notes or golfer_notes(flags), strike)


def _workbook(title: str, sheets: Sequence[Sheet], study: Notes, strike: float) -> bytes:
    """Write the sheets and the notes on their columns: the first sheet's, what the study rests on, the others'."""
    own, *others = sheets
    made = BytesIO()
    with xlsxwriter.Workbook(made, OPTIONS) as book:
        book.set_properties({"title": title, "created": FIXED_DATE})
        for sheet in sheets:
            _add_sheet(book, title, sheet)
        notes = [*_explained(own, strike), *own.left_out, *study]
        for sheet in others:
            notes += [*sheet.notes, *_explained(sheet, strike)]
        _add_notes(book, title, notes)
    return made.getvalue()


def _explained(sheet: Sheet, strike: float) -> list[tuple[str, str]]:
    # Columns are described as they are unless a study says otherwise.
    facts = facts_of(sheet.schema).values()
    return [(one.heading, with_better(one.note, strike, UsualDelivery.strike)) for one in facts]


def _add_sheet(book: xlsxwriter.Workbook, title: str, given: Sheet) -> None:
    facts = list(facts_of(given.schema).values())
    cells = given.rows.head(given.most).select(_cell(one).alias(one.heading) for one in facts)
    cells.write_excel(
        workbook=book,
        worksheet=given.name,
        header_format=HEADER,
        column_formats={one.heading: number_format(one) for one in facts},
        column_widths={one.heading: _width(one, cells[one.heading]) for one in facts},
        row_heights={0: HEADER_PIXELS},
        freeze_panes=(1, 2),  # the header and the two columns of the key stay in sight
        conditional_formats={one.heading: _looks(WORD_LOOKS[one.name]) for one in facts if one.name in WORD_LOOKS},
        autofilter=True,
    )
    sheet = book.get_worksheet_by_name(given.name)
    sheet.set_landscape()
    sheet.fit_to_pages(2, 0)  # on a single page's width so many columns could not be read
    sheet.repeat_rows(0)
    sheet.repeat_columns(0, 1)
    # A & begins a code of the header.
    sheet.set_header(f"&L&B{title.replace('&', '&&')}&R&P of &N")


def _looks(by_word: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Give the formats of a column's cells by the word in them."""
    return [
        {"type": "cell", "criteria": "==", "value": f'"{word}"', "format": dict(look)} for word, look in by_word.items()
    ]


def _width(facts: ColumnFacts, cells: pl.Series) -> int:
    """Fit a column to its longest word and, where it holds text, to its longest cell."""
    longest = max(len(word) for word in facts.heading.split())
    shown = 0 if facts.is_number else int(cells.cast(pl.String).str.len_chars().max() or 0)  # type: ignore[arg-type]
    # Of a heading's characters a fourth has to go into each of its four lines, and words don't divide evenly.
    characters = max(longest, shown, len(facts.heading) // 3)
    return min(max(PER_CHARACTER * characters + BESIDE + FILTER, LEAST_WIDTH), MOST_WIDTH)


def _cell(facts: ColumnFacts) -> pl.Expr:
    column = pl.col(facts.name)
    if facts.display.inward:
        return _moved_inward(facts)
    if facts.kind == "true or false":
        return pl.when(column).then(pl.lit("yes")).otherwise(pl.lit("no"))
    return column if facts.is_number else column.cast(pl.String)


def _moved_inward(facts: ColumnFacts) -> pl.Expr:
    """Give an end of a window as people read it elsewhere: moved inward to a step, empty if none lies in the range."""
    low, high = (pl.col(facts.name.replace(one, other)) for one, other in (("_hi_", "_lo_"), ("_lo_", "_hi_")))
    first, last = (low / facts.step - ON_STEP).ceil() * facts.step, (high / facts.step + ON_STEP).floor() * facts.step
    return pl.when(first <= last).then(first if "_lo_" in facts.name else last)


def number_format(facts: ColumnFacts) -> str:
    """Give the number format of a column's cells, in the language of spreadsheets."""
    if not facts.is_number:
        return "@"
    if facts.display.trim:
        return "General"
    digits = "#,##0" if facts.unit == "rpm" else "0"
    digits += f".{'0' * facts.decimals}" if facts.decimals > 0 else ""
    if facts.display.tiny:
        last = f"{10**-facts.decimals:.{facts.decimals}f}"
        return f'[<{last}]"<{last}";{digits}'
    return f"{digits}%" if facts.display.percent else digits


def _add_notes(book: xlsxwriter.Workbook, title: str, notes: Notes) -> None:
    wrapped = {"text_wrap": True, "valign": "top"}
    pl.DataFrame(
        [("Title", title), *notes], schema={"Column": pl.String, "Meaning": pl.String}, orient="row"
    ).write_excel(
        workbook=book,
        worksheet="notes",
        header_format=HEADER,
        column_formats={"Column": wrapped, "Meaning": wrapped},
        column_widths=dict(zip(("Column", "Meaning"), NOTE_WIDTHS, strict=True)),
        freeze_panes=(1, 0),
        autofilter=False,
    )
