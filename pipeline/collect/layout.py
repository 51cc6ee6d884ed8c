"""From a log's own columns to the standard ones: names, text, numbers, times, units (pure: touches no file)."""

import difflib
from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from pipeline.collect.times import exchanged, parse_times
from pipeline.study import Layout, LogFile
from pipeline.tables import LOG_COLUMNS, NUMBERS, OPTIONAL_FLAGS, OPTIONAL_TEXTS, REQUIRED
from pipeline.units import QUANTITY_OF, UNITS

# What devices and spreadsheets write for "no reading", in lower case.
MISSING_NUMBER = ("", "-", "--", "n/a", "na", "nan", "null", "none")
# A golfer may well be called Na, so that one is a name here.
MISSING_NAME = ("", "-", "--", "n/a", "nan", "null", "none")
# A name with these came out of a damaged file; two golfers could share what is left of their names.
_DAMAGED_NAME = r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x{FFFD}]"
TRUE_TEXTS = ("true", "1", "yes")
FALSE_TEXTS = ("false", "0", "no")

_UNREAD = {"golfer": "not_a_name", "struck_at": "not_a_time"} | dict.fromkeys(OPTIONAL_FLAGS, "not_a_flag")

# What a fault of the row as a whole is charged to.
WHOLE_ROW = "(row)"

_HEADER_SHOWN = 40  # characters of a foreign header that are ever printed


class Matched(NamedTuple):
    """Which column of a log is which standard one."""

    positions: dict[str, int]
    """Standard column: its position in the log, from 0."""
    dropped: list[str]
    """Headers that no standard column takes, cut short and without control characters."""
    absent: list[str]
    """Standard columns that the layout names a header for, but the log lacks."""
    problems: list[str]
    """Why the log can't be used; empty if it can."""


def match_headers(headers: Sequence[str], layout: Layout) -> Matched:
    """Find the standard columns among a log's headers.

    Headers are compared exactly, except for white space around them. Repeated headers matter only where a
    standard column would come from them.

    Parameters
    ----------
    headers : sequence of str
        The log's own headers, in order.
    layout : Layout
        Where each standard column comes from.

    Returns
    -------
    Matched
        Positions, dropped headers, absent columns and problems. The headers are shown nowhere but in `dropped`
        and as the nearest spelling of a missing one: in a log without a header they are a row's content.
    """
    names = [header.strip() for header in headers]
    positions: dict[str, int] = {}
    absent: list[str] = []
    problems: list[str] = []
    for standard in (name for name in LOG_COLUMNS if name in layout.columns):
        wanted = layout.columns[standard].source.strip()
        count = names.count(wanted)
        if count > 1:
            problems.append(f"the header {wanted!r} stands {count} times; name it once")
        elif count == 1:
            positions[standard] = names.index(wanted)
        else:
            absent.append(standard)
            if standard in REQUIRED:
                problems.append(_lacking(standard, wanted, names))
    problems += [
        f"its layout names no header for the required column {name!r}; add it under columns"
        for name in REQUIRED
        if name not in layout.columns
    ]
    if problems and len(names) == 1:
        problems.append("the header is a single cell; set the layout's delimiter and skip_rows")
    taken = set(positions.values())
    dropped = [printable(name) or "(no header)" for place, name in enumerate(names) if place not in taken]
    return Matched(positions, dropped, absent, problems)


def _lacking(standard: str, wanted: str, names: Sequence[str]) -> str:
    alias = "" if wanted == standard else f" ({standard})"
    folded = {name.casefold().replace(" ", "_"): name for name in names}
    near = difflib.get_close_matches(wanted.casefold().replace(" ", "_"), list(folded), n=1, cutoff=0.8)
    found = f"; it has {printable(folded[near[0]])!r}" if near else ""
    return f"it lacks the required column {wanted!r}{alias}{found}"


def printable(header: str) -> str:
    """Cut a foreign header to 40 characters and take control characters out."""
    return "".join(c for c in header if c.isprintable()).strip()[:_HEADER_SHOWN]


def standardise(raw: pl.DataFrame, log_file: LogFile, *, typed_as_text: bool) -> pl.DataFrame:
    """Turn cells of a log into standard columns in standard units.

    Parameters
    ----------
    raw : pl.DataFrame
        `row` (Int64), `ragged` (Boolean, true where the row has more cells than the header) and the standard
        columns that the log has, still as the log writes them: text, or typed where the file has types.
    log_file : LogFile
        Layout and constants of the log.
    typed_as_text : bool
        Whether the reader turned typed cells into text (a workbook): then numbers with a point and ISO times are
        understood whatever the layout says.

    Returns
    -------
    pl.DataFrame
        One row per row of `raw`: `row`, `fault_rule` and `fault_column` (the first cell that can't be understood,
        else null), `golfer` and `group` as written, `struck_on`, `quarter`, `second` (Unix time of the shot,
        Int64), all numbers in standard units, all texts, `spin_measured`; missing cells are null. `only_exchanged`
        (Boolean) marks times that fit the layout's format only with day and month exchanged.
    """
    present = [name for name in LOG_COLUMNS if name in raw.columns]
    # Step by step, each a frame of its own: polars would work out a parsed cell anew for every use of it.
    cells = raw.select(_cell(name, raw.schema[name]) for name in present)
    values = cells.select(
        _value(name, cells.schema[name], log_file.layout, typed_as_text) for name in present if name != "struck_at"
    )
    column = log_file.layout.columns.get("struck_at")
    if column is not None and "struck_at" in present:
        times = parse_times(cells["struck_at"], column.format, log_file.layout.timezone, iso_too=typed_as_text)
    else:
        times = pl.select(struck_on=pl.repeat(None, raw.height, dtype=pl.Date), second=pl.lit(None, pl.Int64))
    frame = raw.select("row").hstack(values).hstack(times).hstack(_faults(raw["ragged"], cells, values, times))
    frame = frame.with_columns(_only_exchanged(cells, times, None if column is None else column.format))
    return _completed(frame, log_file)


def _only_exchanged(cells: pl.DataFrame, times: pl.DataFrame, form: str | None) -> pl.Series:
    other = exchanged(form)
    marks = pl.repeat(False, cells.height, dtype=pl.Boolean, eager=True).rename("only_exchanged")
    if other is None or not isinstance(cells.schema.get("struck_at"), pl.String):
        return marks
    unread = (cells["struck_at"].is_not_null() & times["struck_on"].is_null()).arg_true()
    again = parse_times(cells["struck_at"].gather(unread), other, None, iso_too=False)["struck_on"]
    return marks.scatter(unread.filter(again.is_not_null()), True)


def _value(name: str, dtype: pl.DataType, layout: Layout, typed_as_text: bool) -> pl.Expr:
    cell = pl.col(name)
    if name in NUMBERS:
        marks: set[str] = {layout.decimal, "."} if typed_as_text else {layout.decimal}
        unit = layout.columns[name].unit
        factor, offset = (1.0, 0.0) if unit is None else UNITS[QUANTITY_OF[name]][unit]
        return (_number(cell, dtype, marks) * factor + offset).alias(name)
    if name == "golfer":
        return pl.when(~cell.str.contains(_DAMAGED_NAME)).then(cell)
    return _flag(cell, dtype).alias(name) if name in OPTIONAL_FLAGS else cell


def _faults(ragged: pl.Series, cells: pl.DataFrame, values: pl.DataFrame, times: pl.DataFrame) -> pl.DataFrame:
    """Name, per row, the first cell that holds something but nothing that can be understood."""
    faults = [(ragged, "ragged", WHOLE_ROW)]
    for name in cells.columns:
        value = times["struck_on"] if name == "struck_at" else values[name]
        if cells[name].null_count() < value.null_count():
            faults.append((cells[name].is_not_null() & value.is_null(), _UNREAD.get(name, "not_a_number"), name))
    return pl.select(
        fault_rule=pl.coalesce(pl.when(bad).then(pl.lit(rule)) for bad, rule, _ in faults),
        fault_column=pl.coalesce(pl.when(bad).then(pl.lit(column)) for bad, _, column in faults),
    )


def _cell(name: str, dtype: pl.DataType) -> pl.Expr:
    """Strip text and blank out what stands for a missing cell; leave typed cells alone."""
    cell = pl.col(name)
    if name in ("golfer", *OPTIONAL_TEXTS) or isinstance(dtype, pl.Categorical | pl.Enum):
        cell = cell.cast(pl.String)
    elif dtype.is_float():
        return cell.fill_nan(None)
    elif not isinstance(dtype, pl.String):
        return cell
    text = cell.str.strip_chars()
    if name in OPTIONAL_TEXTS:
        gone = text == ""
    else:
        gone = text.str.to_lowercase().is_in(MISSING_NAME if name == "golfer" else MISSING_NUMBER)
    return pl.when(~gone).then(text)


def _number(cell: pl.Expr, dtype: pl.DataType, marks: set[str]) -> pl.Expr:
    if dtype.is_numeric():
        value = cell.cast(pl.Float64)
        return pl.when(value.is_finite()).then(value)
    if not isinstance(dtype, pl.String):
        return pl.lit(None, pl.Float64)
    mark = "[" + "".join(sorted(marks)) + "]"
    # The true minus sign of typesetting counts as a minus. No thousands separators: 1.234 and 1,234 stay
    # what the decimal mark says, and the rest is rejected, never guessed.
    text = cell.str.replace("\u2212", "-", literal=True)
    is_number = text.str.contains(rf"^[+-]?(?:[0-9]+(?:{mark}[0-9]*)?|{mark}[0-9]+)(?:[eE][+-]?[0-9]+)?$")
    plain = text.str.strip_prefix("+").str.replace(",", ".", literal=True)
    value = pl.when(is_number).then(plain).cast(pl.Float64, strict=False)
    return pl.when(value.is_finite()).then(value)


def _flag(cell: pl.Expr, dtype: pl.DataType) -> pl.Expr:
    if isinstance(dtype, pl.Boolean):
        return cell
    if not isinstance(dtype, pl.String) and not dtype.is_numeric():
        return pl.lit(None, pl.Boolean)
    # A whole-number float is written 1.0, and spreadsheets store flags so.
    text = cell.cast(pl.String).str.to_lowercase().str.replace(r"^([01])\.0+$", "${1}")
    return pl.when(text.is_in(TRUE_TEXTS)).then(True).when(text.is_in(FALSE_TEXTS)).then(False)


def _completed(frame: pl.DataFrame, log_file: LogFile) -> pl.DataFrame:
    """Add the columns that the log lacks, fill in the constants of its entry, and derive the quarter."""
    entry = log_file.entry
    constants: dict[str, float | str | None] = {**entry.air.model_dump()}
    constants |= {name: getattr(entry, name) for name in OPTIONAL_TEXTS}
    dtypes: dict[str, type[pl.DataType]] = dict.fromkeys(NUMBERS, pl.Float64)
    dtypes |= dict.fromkeys(OPTIONAL_TEXTS, pl.String) | dict.fromkeys(OPTIONAL_FLAGS, pl.Boolean)
    filled = [
        pl.coalesce(
            pl.col(name) if name in frame.columns else pl.lit(None, dtype), pl.lit(constants.get(name), dtype)
        ).alias(name)
        for name, dtype in dtypes.items()
    ]
    day = pl.col("struck_on")
    quarter = pl.format("{}Q{}", day.dt.year().cast(pl.String).str.zfill(4), day.dt.quarter())
    return frame.with_columns(*filled, quarter.alias("quarter"))
