"""How the times of a log are written (pure)."""

import re
from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import polars as pl

from pipeline.collect.times import exchanged, latest_day, parse_times
from pipeline.configuration.time_format import EPOCHS, format_problem
from pipeline.tables.logs import FIRST_DAY

_CLOCK = re.compile(
    r"(?P<hour>\d{1,2})(?P<colon>[:.h])(?P<minute>\d{2})"
    r"(?:(?P<second_mark>[:.])\d{2}(?P<fraction>[.,]\d+)?)?(?P<half>\s?[AaPp][Mm])?(?P<zone>\s*(?:[Zz]|[+-]\d{2}:?\d{2}))?"
)
_DAY = re.compile(
    r"(?P<a>\d{4}|\d{1,2})(?P<mark>[./-])(?P<b>\d{1,2})(?P=mark)(?P<c>\d{4}|\d{2})"
    r"|(?P<d>\d{1,2})(?P<gap1>[ .-]{1,2})(?P<month>[A-Za-z]{3,9})(?P<gap2>[ .-]{1,2})(?P<year>\d{4})"
    r"|(?P<month_first>[A-Za-z]{3,9}) (?P<e>\d{1,2})(?P<comma>,? )(?P<year_last>\d{4})"
    r"|(?P<plain>\d{8})"
)
_BETWEEN = re.compile(r"T|,? +(?:- +|um +|at +)?|")
_FIRST_OF_WORKBOOKS = re.compile(r"(1899-12-3[01]|1904-01-01) (?=\d)")  # ECMA-376: the two date bases of serial dates
_LEAST_READ = 0.98  # of the cells must be times
_LEAST_MONTHS, _LEAST_DAYS = 3, 6  # over which an order of days must hold to tell day from month


class TimeDraft(NamedTuple):
    """How a column of times may be written."""

    formats: tuple[str | None, ...]
    """Formats as a layout has them, the likeliest first; None is ISO 8601."""
    sure: bool
    why: str
    clock: bool
    """Whether the time of day stands there too."""
    offset: bool
    """Whether an offset stands there too, so that no zone is needed."""


def clock_alone(cells: Sequence[str]) -> bool:
    """Tell whether cells hold times of day without a day; workbooks write them with the day on which they begin."""
    return bool(cells) and all(_CLOCK.fullmatch(_FIRST_OF_WORKBOOKS.sub("", cell)) for cell in cells)


def draft_time(column: pl.Series, today: date, *, comma: bool) -> TimeDraft | None:
    """Find how times are written; None if the cells are none that Yardband can read.

    Parameters
    ----------
    column : pl.Series
        Text, or typed.
    today : date
        No drive is hit after it.
    comma : bool
        Whether the log has decimal commas. Where they are used, nobody writes the month first.
    """
    if isinstance(column.dtype, pl.Datetime | pl.Date):
        zoned = isinstance(column.dtype, pl.Datetime) and column.dtype.time_zone is not None
        return TimeDraft((None,), True, "the file has times of its own", isinstance(column.dtype, pl.Datetime), zoned)
    if column.dtype.is_numeric():
        return _counted(column.drop_nulls(), today)
    if not isinstance(column.dtype, pl.String):
        return None
    cells = column.str.strip_chars().drop_nulls()
    cells = cells.filter(cells != "")
    if not len(cells):
        return None
    if (counted := _counted(cells, today)) is not None:
        return counted
    sample = cells.head(200).to_list()
    clock, offset = (
        any(":" in cell or "h" in cell for cell in sample),
        bool(re.search(r"([Zz]|[+-]\d\d:?\d\d)$", sample[0])),
    )
    if _share_read(cells, None) >= _LEAST_READ:
        if (_days(cells, None) < FIRST_DAY).sum() > (1 - _LEAST_READ) * len(cells):
            return None  # a time of day in a workbook, or somebody's birth
        return TimeDraft((None,), True, "ISO 8601", clock and not _at_midnight(cells), clock and offset)
    form = _form_of(sample[0])
    if form is None:
        return None
    # Nobody writes the day between year and month.
    other = None if form.startswith("%Y") else exchanged(form)
    given = [one for one in dict.fromkeys((form, other)) if one is not None and format_problem(one) is None]
    if "%y" in form and "." not in form.partition("%y")[0]:
        given += _year_first(form)
    read = [one for one in given if _share_read(cells, one) >= _LEAST_READ and not _ahead(cells, one, today)]
    if not read:
        return None
    clock, offset = "%H" in form or "%I" in form, form.endswith("%z")
    if len(read) == 1:
        return TimeDraft((read[0],), True, "only so can all its times be read", clock, offset)
    return _settled(cells, read, clock, offset, comma)


def _counted(cells: pl.Series, today: date) -> TimeDraft | None:
    """Find what counts of seconds or milliseconds since 1970 count: under one of the two alone they are days of now."""
    for form in EPOCHS if len(cells) else ():
        days = _days(cells, form)
        if days.is_between(FIRST_DAY, latest_day(today)).fill_null(False).mean() >= _LEAST_READ:  # type: ignore[operator]
            return TimeDraft((form,), True, "a count since 1970", True, False)
    return None


def _settled(cells: pl.Series, read: list[str], clock: bool, offset: bool, comma: bool) -> TimeDraft:
    """Tell day from month where both can be read: by the mark, by decimal commas, or by the order of the rows."""
    day_first = [one for one in read if one.index("%d") < one.index("%m") and not one.startswith("%y")]
    if len(day_first) == 1 and "%d.%m." in day_first[0]:
        return TimeDraft((day_first[0],), True, "with points the day comes first", clock, offset)
    if len(day_first) == 1 and comma and not any(one.startswith("%y") for one in read):
        return TimeDraft((day_first[0],), True, "where decimals have a comma the day comes first", clock, offset)
    ordered = [one for one in read if _in_order(cells, one)]
    if len(ordered) == 1 and _long(cells, ordered[0]):
        return TimeDraft((ordered[0],), True, "only so do its rows follow each other in time", clock, offset)
    first = day_first + [one for one in read if one not in day_first]
    return TimeDraft(tuple(first), False, "it isn't clear which is the day and which the month", clock, offset)


def _form_of(cell: str) -> str | None:
    """Give the format of one time, the day before the month where both are numbers."""
    day = _DAY.match(cell)
    if day is None:
        return None
    form = _day_form(day)
    rest = cell[day.end() :]
    if not rest:
        return form
    between = _BETWEEN.match(rest)
    assert between is not None  # it matches nothing at least
    clock = _CLOCK.fullmatch(rest[between.end() :])
    if clock is None:
        plain = re.fullmatch(r"\d{6}", rest[between.end() :])
        return f"{form}{between[0]}%H%M%S" if plain else None
    return f"{form}{between[0]}{_clock_form(clock)}"


def _day_form(day: re.Match[str]) -> str:
    if day["plain"]:
        return "%Y%m%d"
    if day["month"]:
        return f"%d{day['gap1']}%b{day['gap2']}%Y"
    if day["month_first"]:
        return f"%b %d{day['comma']}%Y"
    mark = day["mark"]
    if len(day["a"]) == 4:
        return mark.join(("%Y", "%m", "%d"))
    return mark.join(("%d", "%m", "%Y" if len(day["c"]) == 4 else "%y"))


def _clock_form(clock: re.Match[str]) -> str:
    mark = clock["colon"]
    form = f"{'%I' if clock['half'] else '%H'}{mark}%M"
    if clock["second_mark"]:
        form += f"{clock['second_mark']}%S" + ("%.f" if clock["fraction"] else "")
    if clock["half"]:
        form += (" " if clock["half"][0].isspace() else "") + "%p"
    if clock["zone"]:
        form += (" " if clock["zone"][0].isspace() else "") + "%z"
    return form


def _year_first(form: str) -> list[str]:
    mark = form[2]
    other = form.replace(f"%d{mark}%m{mark}%y", f"%y{mark}%m{mark}%d")
    return [other] if other != form and format_problem(other) is None else []


def _days(cells: pl.Series, form: str | None) -> pl.Series:
    return parse_times(cells, form, None, iso_too=False)["struck_on"]


def _share_read(cells: pl.Series, form: str | None) -> float:
    return 1 - _days(cells, form).null_count() / len(cells)


def _at_midnight(cells: pl.Series) -> bool:
    """Tell whether all times are at midnight, as workbooks write days alone."""
    return bool(cells.str.contains(r"[T ]00:00(:00(\.0+)?)?$").all())


def _ahead(cells: pl.Series, form: str, today: date) -> bool:
    days = _days(cells, form)
    return int((days > latest_day(today)).sum()) > (1 - _LEAST_READ) * len(days)


def _in_order(cells: pl.Series, form: str) -> bool:
    moments = parse_times(cells, form, None, iso_too=False)["second"].drop_nulls()
    return moments.is_sorted() or moments.is_sorted(descending=True)


def _long(cells: pl.Series, form: str) -> bool:
    days = _days(cells, form)
    return days.n_unique() >= _LEAST_DAYS and days.dt.strftime("%Y-%m").n_unique() >= _LEAST_MONTHS
