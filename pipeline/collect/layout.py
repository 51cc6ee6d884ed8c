"""From a log's own columns to the standard ones: names, text, numbers, times, units (pure: touches no file)."""

import difflib
from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from pipeline.collect.numbers import Spelling, number
from pipeline.collect.times import exchanged, parse_times
from pipeline.configuration.layouts import Layout, LogFile
from pipeline.tables.logs import LOG_COLUMNS, NUMBERS, OPTIONAL_FLAGS, OPTIONAL_TEXTS, REQUIRED
from pipeline.units import Unit, units_of

# What devices and spreadsheets write for "no reading", in lower case.
MISSING_NUMBER = ("", "-", "--", "---", "\u2013", "\u2014", "n/a", "n.a.", "na", "nan", "null", "none")
# A golfer may well be called Na, so that one is a name here.
MISSING_NAME = ("", "-", "--", "---", "\u2013", "\u2014", "n/a", "n.a.", "nan", "null", "none")
# A name with these came out of a damaged file; two golfers could share what is left of their names.
_DAMAGED_NAME = r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x{FFFD}]"
# White space, and the commonest signs that nobody sees: a cell of these alone names nobody.
_AROUND_NAMES = "".join(
    chr(sign)
    for sign in (*range(9, 14), 0x20, 0x85, 0xA0, 0xAD, 0x34F, 0x61C, 0x115F, 0x1160, 0x1680, 0x180E,
                 *range(0x2000, 0x2010), *range(0x2028, 0x2030), 0x205F, *range(0x2060, 0x2070), 0x3000, 0x3164, 0xFEFF,
                 0xFFA0)
)  # fmt: skip
TRUE_TEXTS = ("true", "1", "yes")
FALSE_TEXTS = ("false", "0", "no")

_UNREAD = {"golfer": "not_a_name", "struck_at": "not_a_time"} | dict.fromkeys(OPTIONAL_FLAGS, "not_a_flag")

# What a fault of the row as a whole is charged to.
WHOLE_ROW = "(row)"

# From here on it pays to read the usual cells of a column apart from the odd ones.
_MANY_ROWS = 4096

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


def match_headers(
    headers: Sequence[str],
    layout: Layout,
    known: Sequence[str] = LOG_COLUMNS,
    required: Sequence[str] = REQUIRED,
) -> Matched:
    """Find the standard columns among a log's headers.

    Headers are compared exactly, except for white space around them. Repeated headers matter only where a
    standard column would come from them.

    Parameters
    ----------
    headers : sequence of str
        The log's own headers, in order.
    layout : Layout
        Where each standard column comes from.
    known, required : sequence of str
        All standard columns of such a log, and those that it needs: a shot log's by default.

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
    for standard in (name for name in known if name in layout.columns):
        wanted = layout.columns[standard].source.strip()
        count = names.count(wanted)
        if count > 1:
            problems.append(f"the header {wanted!r} appears {count} times; name it once")
        elif count == 1:
            positions[standard] = names.index(wanted)
        else:
            absent.append(standard)
            if standard in required:
                problems.append(_lacking(standard, wanted, names))
    problems += [
        f"its layout names no header for the required column {name!r}; add it under columns"
        for name in required
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
    empty = sum(not name for name in names)
    without = f"; {empty} of its {len(names)} headers are empty" if empty else ""
    found = f"; it has {printable(folded[near[0]])!r}" if near else without
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
    read = _read(raw.select(name for name in present if name != "struck_at"), log_file.layout, typed_as_text)
    column = log_file.layout.columns.get("struck_at")
    stamps = raw.select(_cell("struck_at", raw.schema[name]) for name in present if name == "struck_at")
    if column is not None and stamps.width:
        cells = stamps["struck_at"]
        times = parse_times(cells, column.format, log_file.layout.timezone, iso_too=typed_as_text)
        read["struck_at"] = _Read(cells, _not_understood(cells, times["struck_on"]))
    else:
        times = pl.select(struck_on=pl.repeat(None, raw.height, dtype=pl.Date), second=pl.lit(None, pl.Int64))
    values = [one.value for name, one in read.items() if name != "struck_at"]
    faults = _faults(raw["ragged"], {name: read[name].bad for name in present})
    frame = raw.select("row").hstack(values).hstack(times).hstack(faults)
    frame = frame.with_columns(_only_exchanged(stamps, times, None if column is None else column.format))
    return _completed(frame, log_file)


def numbers_of(
    raw: pl.DataFrame, names: Sequence[str], layout: Layout, typed_as_text: bool, spelling: Spelling | None = None
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Read further columns of a log as numbers, as `standardise` reads the standard ones.

    Parameters
    ----------
    raw : pl.DataFrame
        `row` and the columns of the log by these names.
    names : sequence of str
    layout : Layout
    typed_as_text : bool
        As for `standardise`.
    spelling : Spelling or None
        How all of them are written, if the layout doesn't tell.

    Returns
    -------
    tuple of pl.DataFrame
        `row` and the numbers, null where there is none; `row` and, by column, whether a cell holds something else.
    """
    cells = raw.select("row", *(_cell(name, raw.schema[name]) for name in names))
    numbers = cells.with_columns(
        number(
            pl.col(name), cells.schema[name], spelling or Spelling.of(name, layout, typed_as_text=typed_as_text)
        ).alias(name)
        for name in names
    )
    wrong = cells.select("row", *(cells[name].is_not_null() & numbers[name].is_null() for name in names))
    return numbers, wrong


class _Read(NamedTuple):
    """A column as read."""

    value: pl.Series
    bad: pl.Series | None
    """Where a cell holds something but nothing that can be understood; None where no cell does."""


def _read(raw: pl.DataFrame, layout: Layout, typed_as_text: bool) -> dict[str, _Read]:
    """Read columns: the usual cells at once, the odd ones, which take far longer, by themselves."""
    if raw.height < _MANY_ROWS:
        return _read_slowly(raw, layout, typed_as_text)
    return {column.name: _read_many(column, layout, typed_as_text) for column in raw.get_columns()}


def _read_many(raw: pl.Series, layout: Layout, typed_as_text: bool) -> _Read:
    name, text = raw.name, isinstance(raw.dtype, pl.String)
    if text and name in NUMBERS and not (layout.decimal == "," and raw.str.contains(".", literal=True).any()):
        # What polars takes for a finite number is one by `number` too, and the same.
        plain = raw.str.replace(",", ".", literal=True) if layout.decimal == "," else raw
        known = plain.cast(pl.Float64, strict=False)
        odd = (raw.is_not_null() & ~known.is_finite().fill_null(False)).arg_true()
        unit = _unit(name, layout)
        value = known * unit.factor + unit.offset
        if not len(odd):
            return _Read(value, None)
        slow = _read_slowly(raw.gather(odd).to_frame(), layout, typed_as_text)[name]
        return _Read(value.scatter(odd, slow.value), None if slow.bad is None else _marks(odd, slow.bad, len(raw)))
    if text and name not in NUMBERS:
        known = raw.drop_nulls().unique()
        if len(known) * 4 < len(raw):
            slow = _read_slowly(known.to_frame(), layout, typed_as_text)[name]
            value = raw.replace_strict(known, slow.value, default=None, return_dtype=slow.value.dtype)
            bad = None if slow.bad is None else raw.is_in(known.filter(slow.bad).implode()).fill_null(False)
            return _Read(value, bad)
    return _read_slowly(raw.to_frame(), layout, typed_as_text)[name]


def _marks(places: pl.Series, marks: pl.Series, length: int) -> pl.Series:
    return pl.repeat(False, length, dtype=pl.Boolean, eager=True).scatter(places, marks)


def _read_slowly(raw: pl.DataFrame, layout: Layout, typed_as_text: bool) -> dict[str, _Read]:
    # Step by step, each a frame of its own: polars would work out a parsed cell anew for every use of it.
    cells = raw.select(_cell(name, dtype) for name, dtype in raw.schema.items())
    values = cells.select(_value(name, dtype, layout, typed_as_text) for name, dtype in cells.schema.items())
    return {name: _Read(values[name], _not_understood(cells[name], values[name])) for name in cells.columns}


def _not_understood(cells: pl.Series, values: pl.Series) -> pl.Series | None:
    return cells.is_not_null() & values.is_null() if cells.null_count() < values.null_count() else None


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
        unit, spelling = _unit(name, layout), Spelling.of(name, layout, typed_as_text=typed_as_text)
        return (number(cell, dtype, spelling) * unit.factor + unit.offset).alias(name)
    if name == "golfer":
        return pl.when(~cell.str.contains(_DAMAGED_NAME)).then(cell)
    return _flag(cell, dtype).alias(name) if name in OPTIONAL_FLAGS else cell


def _unit(name: str, layout: Layout) -> Unit:
    """Give a column's own unit; the standard one where the layout names none."""
    said = layout.columns[name].unit
    return Unit(1.0) if said is None else units_of(name)[said]


def _faults(ragged: pl.Series, bad: dict[str, pl.Series | None]) -> pl.DataFrame:
    """Name, per row, the first cell that holds something but nothing that can be understood."""
    faults = [(ragged, "ragged", WHOLE_ROW)]
    faults += [(rows, _UNREAD.get(name, "not_a_number"), name) for name, rows in bad.items() if rows is not None]
    return pl.select(
        fault_rule=pl.coalesce(pl.when(rows).then(pl.lit(rule)) for rows, rule, _ in faults),
        fault_column=pl.coalesce(pl.when(rows).then(pl.lit(column)) for rows, _, column in faults),
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
    text = cell.str.strip_chars(_AROUND_NAMES if name == "golfer" else None)
    if name in OPTIONAL_TEXTS:
        gone = text == ""
    else:
        gone = text.str.to_lowercase().is_in(MISSING_NAME if name == "golfer" else MISSING_NUMBER)
    return pl.when(~gone).then(text)


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
