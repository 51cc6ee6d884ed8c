"""The band table as a workbook (an edge module: xlsxwriter writes files)."""

from datetime import datetime
from pathlib import Path

import dataframely as dy
import polars as pl
import xlsxwriter  # type: ignore[import-untyped]

from pipeline.files import whole
from pipeline.tables import BandTable

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
    ("Carry percentiles", "Over golfers, each one's typical drive moved to the band's centre, at standard conditions."),
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
    # The options keep text text, whatever it starts with: no formula, no link, no number.
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with whole(path) as part, xlsxwriter.Workbook(str(part), options) as book:
        book.set_properties({"title": "Speed bands", "created": FIXED_DATE})
        header = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        _write_bands(book, header, bands)
        _write_notes(book, header)


def _write_bands(book: xlsxwriter.Workbook, header: object, bands: dy.DataFrame[BandTable]) -> None:
    sheet = book.add_worksheet("bands")
    shown = bands.with_columns(suppressed=pl.when("suppressed").then(pl.lit("yes")).otherwise(pl.lit("no")))
    for place, (name, (title, number_format)) in enumerate(COLUMNS.items()):
        cells = book.add_format({"num_format": number_format})
        sheet.set_column(place, place, 40 if name == "note" else 13)
        sheet.write_string(0, place, title, header)
        sheet.write_column(1, place, shown[name].to_list(), cells)
    sheet.set_row(0, 62)
    sheet.freeze_panes(1, 2)  # the header, the quarter and the band stay in sight
    sheet.set_landscape()
    sheet.fit_to_pages(2, 0)  # on a single page's width so many columns could not be read
    sheet.repeat_rows(0)
    sheet.repeat_columns(0, 1)


def _write_notes(book: xlsxwriter.Workbook, header: object) -> None:
    sheet = book.add_worksheet("notes")
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 90, wrapped)
    sheet.write_row(0, 0, ["Column", "Meaning"], header)
    sheet.write_column(1, 0, [name for name, _ in NOTES])
    sheet.write_column(1, 1, [meaning for _, meaning in NOTES], wrapped)
    sheet.freeze_panes(1, 0)
