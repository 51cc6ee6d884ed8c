"""The band table and the golfers' table as workbooks (an edge module: xlsxwriter writes files)."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import dataframely as dy
import polars as pl
import xlsxwriter  # type: ignore[import-untyped]

from pipeline.edge.files import whole
from pipeline.golfers.order import newest_and_worst_first
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers

# Without a fixed date every run would give other bytes. The value has no meaning.
FIXED_DATE = datetime(2000, 1, 1)

# Column of the table: its header and the number format of its cells.
COLUMNS: dict[str, tuple[str, str]] = {
    "quarter": ("Quarter", "@"),
    "band_mph": ("Band centre, mph", "General"),
    "golfers": ("Golfers", "0"),
    "shots": ("Drives", "0"),
    "carry_p25_yd": ("Carry, 25th percentile, yd", "0"),
    "carry_p50_yd": ("Carry, 50th percentile, yd", "0"),
    "carry_p75_yd": ("Carry, 75th percentile, yd", "0"),
    "carry_p90_yd": ("Carry, 90th percentile, yd", "0"),
    "efficient_carry_yd": ("Efficient carry, yd", "0"),
    "efficient_lo90_yd": ("Efficient carry, low end of the 90 % interval, yd", "0"),
    "efficient_hi90_yd": ("Efficient carry, high end of the 90 % interval, yd", "0"),
    "total_p25_yd": ("Total, 25th percentile, yd", "0"),
    "total_p50_yd": ("Total, 50th percentile, yd", "0"),
    "total_p75_yd": ("Total, 75th percentile, yd", "0"),
    "total_p90_yd": ("Total, 90th percentile, yd", "0"),
    "efficient_total_yd": ("Efficient total, yd", "0"),
    "launch_lo_deg": ("Launch window, low end, deg", "0.0"),
    "launch_hi_deg": ("Launch window, high end, deg", "0.0"),
    "spin_lo_rpm": ("Spin window, low end, rpm", "0"),
    "spin_hi_rpm": ("Spin window, high end, rpm", "0"),
    "total_launch_lo_deg": ("Launch window for total, low end, deg", "0.0"),
    "total_launch_hi_deg": ("Launch window for total, high end, deg", "0.0"),
    "total_spin_lo_rpm": ("Spin window for total, low end, rpm", "0"),
    "total_spin_hi_rpm": ("Spin window for total, high end, rpm", "0"),
    "speed_ratio_p50": ("Speed ratio, 50th percentile", "0.00"),
    "in_window_share": ("Golfers in window, %", "0%"),
    "suppressed": ("Suppressed", "@"),
    "note": ("Note", "@"),
}

NOTES = (
    ("Band", "A range of club speed, named by its centre."),
    ("Golfers, drives", "What the row rests on."),
    (
        "Carry percentiles",
        "Over golfers, each one's typical drive moved to the band's centre, at standard conditions; means of the "
        "golfers nearest in rank, in whole yards. Empty: too few golfers to tell it of.",
    ),
    (
        "Standard conditions",
        "Each drive's measured carry is changed by the difference between ball flight there and ball flight in the "
        "air and wind in which it was hit.",
    ),
    (
        "Efficient carry",
        "The largest carry to be expected at the band's centre over deliveries that golfers of about that speed "
        "really produce, struck with a ratio that the better quarter of them reach.",
    ),
    ("90 % interval", "How well the figure is known. It is not the spread of single drives."),
    (
        "Total",
        "Carry and run. The run is worked out, not measured, for an assumed fairway of the firmness that the key "
        "flight.turf of study.yaml names; totals are less sure than carry.",
    ),
    ("Total percentiles", "As those of carry, with the run of each golfer's typical drive."),
    ("Efficient total", "The largest carry and run together to be expected over the same deliveries."),
    ("Launch and spin window", "Every drive inside both is expected close to the efficient carry."),
    ("Windows for total", "Every drive inside both is expected close to the efficient total."),
    ("Speed ratio", "Ball speed over club speed."),
    ("Golfers in window", "Share of the golfers whose typical launch and spin lie inside both windows for carry."),
    ("Suppressed", "Too few golfers: the figures are left out so that nobody can be made out."),
    ("Figures", "Cells hold the full figures; only their display is rounded. Empty: not known, see the note."),
    ("Caution", "Distances are statistics of past drives, not a safety design for ranges, nets or fences."),
)


MOST_ROWS = 50_000  # of golfers in a workbook; more make it slow to open

# A p or q value below one in ten thousand is not known to more digits than that.
SMALL = '[<0.0001]"<0.0001";0.0000'

GOLFER_COLUMNS: dict[str, tuple[str, str]] = {
    "golfer": ("Golfer", "@"),
    "quarter": ("Quarter", "@"),
    "shots": ("Drives", "0"),
    "club_speed_mph": ("Club speed, mph", "0.0"),
    "ball_speed_mph": ("Ball speed, mph", "0.0"),
    "launch_deg": ("Launch, deg", "0.0"),
    "spin_rpm": ("Spin, rpm", "0"),
    "carry_yd": ("Carry, yd", "0.0"),
    "efficient_yd": ("Efficient carry, yd", "0.0"),
    "lost_yd": ("Yards lost, yd", "0.0"),
    "lost_lo90_yd": ("Yards lost, low end of the 90 % interval, yd", "0.0"),
    "lost_hi90_yd": ("Yards lost, high end of the 90 % interval, yd", "0.0"),
    "lost_contact_yd": ("Lost through contact, yd", "0.0"),
    "lost_launch_yd": ("Lost through launch, yd", "0.0"),
    "lost_spin_yd": ("Lost through spin, yd", "0.0"),
    "lost_consistency_yd": ("Lost through consistency, yd", "0.0"),
    "lost_other_yd": ("Lost otherwise, yd", "0.0"),
    "main_cause": ("Main cause", "@"),
    "p_value": ("p", SMALL),
    "q_value": ("q", SMALL),
    "flagged": ("Flagged", "@"),
    "status": ("Status", "@"),
    "ranked_lost_yd": ("Yards lost with luck taken out, yd", "0.0"),
    "ranked_lo90_yd": ("The same, low end of its 90 % interval, yd", "0.0"),
    "ranked_hi90_yd": ("The same, high end of its 90 % interval, yd", "0.0"),
    "note": ("Note", "@"),
}


def golfer_notes(flags: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Explain the columns of the golfers' workbook, with the thresholds of `flags`."""
    lost, rate, shots = (f"{flags[key]:g}" for key in ("lost_yd", "false_discovery_rate", "min_shots"))
    return (
        ("Golfer", "A pseudonym. Only the academy, with its key, can turn it into a name."),
        ("Club speed, carry", "Means of the quarter's drives; carry at standard conditions, for one device and ball."),
        ("Ball speed, launch, spin", "Those of the golfer's typical drive: medians, so that mishits don't count."),
        (
            "Efficient carry",
            "The largest carry to be expected at the golfer's own club speed over deliveries that golfers of about "
            "that speed really produce, struck with a ratio that the better quarter of them reach.",
        ),
        ("Yards lost", "Efficient carry minus carry."),
        (
            "Luck taken out",
            "Yards lost pulled towards those of golfers of the same speed and scatter of drives, the more the fewer "
            "drives there are. The order goes by it.",
        ),
        ("90 % interval", "How well the yards lost are known. It is not the spread of single drives."),
        (
            "Lost through ...",
            "Parts of the yards lost; with what is lost otherwise they add up to it. A part below 0 is a gain. "
            "They are estimates without intervals of their own.",
        ),
        (
            "Lost through consistency",
            "Carry of the golfer's typical drive minus the mean: what the poorer drives cost.",
        ),
        ("Main cause", "The part that stands out; mixed: none does; none: hardly anything is lost."),
        ("p", f"How often luck alone would show so much lost if the golfer lost just {lost} yd."),
        ("q", "The share of wrong flags to be expected among this golfer and all that stand out more."),
        ("Flagged", f"At least {shots} drives, and more than {lost} yd lost with q of {rate} or less."),
        ("Status", "flagged, clear, or not_assessed: too few drives, or a speed that the benchmarks don't reach."),
        ("Clear", "It was not shown that too much is lost. This does not show that nothing is lost."),
        ("Figures", "Cells hold the full figures; only their display is rounded. Empty: not known, see the note."),
        ("Caution", "Distances are statistics of past drives, not a safety design for ranges, nets or fences."),
        ("Caution", "These are data on people: keep to the local privacy law, and keep the key and names elsewhere."),
    )


# The options keep text text, whatever it starts with: no formula, no link, no number.
OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def write_bands_workbook(path: Path, bands: dy.DataFrame[BandTable]) -> None:
    """Write the band table as xlsx with a sheet of notes, whole or not at all.

    Text that starts like a formula stays text, and the same table gives the same bytes.

    Parameters
    ----------
    path : Path
        The workbook to be made.
    bands : DataFrame
        The band table; its order is kept.
    """
    _write(path, "Speed bands", "bands", _worded(bands, "suppressed"), COLUMNS, NOTES)


def write_golfers_workbook(path: Path, golfers: dy.DataFrame[Golfers], flags: Mapping[str, Any]) -> None:
    """Write the golfers' table as xlsx with a sheet of notes, as `write_bands_workbook` does.

    Parameters
    ----------
    path : Path
        The workbook to be made.
    golfers : DataFrame
        All quarters; the newest comes first, in it the flagged, most yards lost with luck taken out first.
    flags : mapping
        Keys `lost_yd`, `false_discovery_rate` and `min_shots`.
    """
    order = newest_and_worst_first(golfers)
    shown = _worded(order.head(MOST_ROWS), "flagged").with_columns(pl.col("main_cause", "status").cast(pl.String))
    left_out = order.height - shown.height
    notes = golfer_notes(flags)
    if left_out:
        notes = (("Rows left out", f"{left_out} more rows, the last in this order, stand in golfers.csv."), *notes)
    _write(path, "Golfers", "golfers", shown, GOLFER_COLUMNS, notes)


def _worded(table: pl.DataFrame, flag: str) -> pl.DataFrame:
    return table.with_columns(pl.when(flag).then(pl.lit("yes")).otherwise(pl.lit("no")).alias(flag))


def _write(
    path: Path,
    title: str,
    name: str,
    table: pl.DataFrame,
    columns: Mapping[str, tuple[str, str]],
    notes: Sequence[tuple[str, str]],
) -> None:
    with whole(path) as part, xlsxwriter.Workbook(str(part), OPTIONS) as book:
        book.set_properties({"title": title, "created": FIXED_DATE})
        header = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        _write_table(book, header, name, table, columns)
        _write_notes(book, header, notes)


# Widths of columns that hold more than a figure, in characters.
WIDTHS = {"note": 40, "golfer": 21}


def _write_table(
    book: xlsxwriter.Workbook,
    header: object,
    name: str,
    table: pl.DataFrame,
    columns: Mapping[str, tuple[str, str]],
) -> None:
    sheet = book.add_worksheet(name)
    for place, (column, (title, number_format)) in enumerate(columns.items()):
        cells = book.add_format({"num_format": number_format})
        sheet.set_column(place, place, WIDTHS.get(column, 13))
        sheet.write_string(0, place, title, header)
        sheet.write_column(1, place, table[column].to_list(), cells)
    sheet.set_row(0, 62)
    sheet.freeze_panes(1, 2)  # the header and the two columns of the key stay in sight
    sheet.set_landscape()
    sheet.fit_to_pages(2, 0)  # on a single page's width so many columns could not be read
    sheet.repeat_rows(0)
    sheet.repeat_columns(0, 1)


def _write_notes(book: xlsxwriter.Workbook, header: object, notes: Sequence[tuple[str, str]]) -> None:
    sheet = book.add_worksheet("notes")
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 90, wrapped)
    sheet.write_row(0, 0, ["Column", "Meaning"], header)
    sheet.write_column(1, 0, [name for name, _ in notes])
    sheet.write_column(1, 1, [meaning for _, meaning in notes], wrapped)
    sheet.freeze_panes(1, 0)
