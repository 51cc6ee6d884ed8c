"""Drafting the layout of a log from the log alone (pure)."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import polars as pl

from pipeline.collect.drafting.clubs import Club, draft_rows
from pipeline.collect.drafting.drafted import FLIGHT, Choice, Draft, Place, RowsChoice
from pipeline.collect.drafting.joined import NAME_PARTS, with_joined
from pipeline.collect.drafting.log_columns import LogColumn, columns_of, marks_of
from pipeline.collect.drafting.numbers_drafted import draft_numbers
from pipeline.collect.drafting.shape import ELSEWHERE, WESTERN, Shape
from pipeline.collect.drafting.times_drafted import TimeDraft, clock_alone, draft_time
from pipeline.collect.without_flight import looks_like_flight
from pipeline.configuration.time_format import EPOCHS
from pipeline.tables.logs import LOG_COLUMNS, SIDED

_TEXTS = ("site", "device", "ball", "group")
_DAY_ALONE = "Its times have the day alone, so only one drive a day of each golfer counts."
BY_HAND = "It has no launch or spin: carry against speed only, and yards lost without causes."
_MANY_ROWS = 20  # from here on a column whose every cell differs names no golfers
_MOST_NAMES = 0.8  # distinct names for each row


def draft_layout(shape: Shape, today: date) -> Draft:
    """Draft the layout of the logs of one kind.

    Parameters
    ----------
    shape : Shape
        With the rows of all its logs.
    today : date
        No drive is hit after it.

    Returns
    -------
    Draft
        Every standard column that something in the log looks like, each with its options and how sure that is.
    """
    marks = marks_of(shape)
    decimal = marks.decimal
    columns = columns_of(shape, marks)
    twice = sorted(name for name, count in Counter(shape.headers).items() if name and count > 1)
    clubs = [
        Club(
            each.name,
            each.cells,
            each.header.meaning == "(club)",
            each.header.meaning is None and not each.header.whole,
        )
        for each in columns
        if not each.numeric
    ]
    rows = draft_rows(clubs, Counter(shape.headers))
    free = [each for each in columns if rows is None or each.name != rows.column]
    free, join = with_joined(free, today, comma=decimal == ",", taken=shape.headers, workbook=shape.kind == "workbook")
    # The rows of other clubs tell how names and times are written too; readings are judged by drives alone.
    choices, notes, zone_open = _who_and_when(free, today, comma=decimal == ",")
    if rows is not None and rows.sure:
        free = _of_rows(free, columns, rows)
    numbers, more = draft_numbers(free)
    choices |= numbers | _texts(free)
    notes += more
    if twice:
        notes.append(f"Headers that are there more than once can't be used: {', '.join(map(repr, twice))}.")
    if shape.encoding in (*WESTERN, *ELSEWHERE):
        notes.append(f"Its text isn't utf-8 and was taken for {shape.encoding}: look at a name with an accent.")
    flight_said = any(map(looks_like_flight, shape.headers))
    if not flight_said and not any(name in choices and choices[name].sure for name in FLIGHT):
        notes = [note for note in notes if note != _DAY_ALONE]  # equal results of one log and day all count
        notes.append(BY_HAND)
    told = {each.name for each in columns if each.letters}
    sure = {name: choices[name].options[0].source for name in SIDED if name in choices and choices[name].sure}
    if sides := [name for name, source in sure.items() if source not in told]:
        notes.append(f"Positive must mean to the right in {', '.join(sides)}: nothing in a log shows that.")
    return Draft(
        kind=shape.kind,
        delimiter=shape.delimiter,
        encoding="utf-8" if shape.encoding == "ascii" else shape.encoding,
        decimal=decimal,
        thousands=marks.thousands,
        skip_rows=shape.skip_rows,
        skip_after_header=shape.skip_after_header,
        columns={name: choices[name] for name in LOG_COLUMNS if name in choices},
        rows=rows,
        join=join,
        zone_open=zone_open,
        notes=tuple(notes),
        flight_said=flight_said,
        sheet=shape.sheet,
        sheets=shape.sheets,
    )


def _of_rows(free: Sequence[LogColumn], columns: Sequence[LogColumn], rows: RowsChoice) -> list[LogColumn]:
    """Leave only the rows of the driver."""
    [club] = [each for each in columns if each.name == rows.column]
    kept = club.cells.cast(pl.String).str.to_lowercase().is_in([word.lower() for word in rows.take]).fill_null(False)
    return [replace(each, cells=each.cells.filter(kept), numbers=each.numbers.filter(kept)) for each in free]


def _who_and_when(
    columns: Sequence[LogColumn], today: date, *, comma: bool
) -> tuple[dict[str, Choice], list[str], bool]:
    """Give the choices of golfer and time, what else to say of them, and whether a zone may be named."""
    choices: dict[str, Choice] = {}
    notes: list[str] = []
    if (golfer := _golfer(columns)) is not None:
        choices["golfer"] = golfer
    elif parts := [each.name for each in columns if each.header.meaning in NAME_PARTS]:
        notes.append(f"Only part of a golfer's name was found ({', '.join(map(repr, parts))}).")
    found, drafted = _time(columns, today, comma=comma)
    if drafted is None:
        if any(each.header.meaning == "struck_at" for each in columns):
            notes.append("Its times can't be read: write them as 2026-03-04 15:30:00.")
        return choices, notes, False
    clocks = [each.name for each in columns if not each.numeric and clock_alone(_sample(each))]
    if not drafted.clock and clocks:
        notes.append(f"Day and time of day stand in two columns: put {clocks[0]!r} and {found[0]!r} into one column.")
        return choices, notes, False
    places = tuple(Place(name, None, form) for name in found for form in drafted.formats)
    choices["struck_at"] = Choice(places, drafted.sure and len(found) == 1, drafted.why)
    if not drafted.clock:
        notes.append(_DAY_ALONE)
    if drafted.formats[0] in EPOCHS:
        notes.append("Its times are a count since 1970, so days are those of UTC unless the layout names a time zone.")
    return choices, notes, drafted.clock and not drafted.offset


def _sample(column: LogColumn) -> list[str]:
    return column.cells.drop_nulls().head(50).to_list() if isinstance(column.cells.dtype, pl.String) else []


def _golfer(columns: Sequence[LogColumn]) -> Choice | None:
    named = [each for each in columns if each.header.meaning == "golfer" and each.cells.null_count() < len(each.cells)]
    named = named or [each for each in columns if each.header.meaning == "(number)"]
    if not named:
        return None
    apart = [each for each in named if each.header.whole and _repeats(each.cells)]
    sure = len(named) == 1 == len(apart)
    why = "by its header" if sure else "more than one column may name golfers" if len(named) > 1 else "unusual names"
    return Choice(tuple(Place(each.name) for each in named), sure, why)


def _repeats(cells: pl.Series) -> bool:
    known = cells.drop_nulls()
    return len(known) < _MANY_ROWS or known.n_unique() <= _MOST_NAMES * len(known)


def _time(columns: Sequence[LogColumn], today: date, *, comma: bool) -> tuple[list[str], TimeDraft | None]:
    """Find the columns of the time and how the first of them is written."""
    said = [each for each in columns if each.header.meaning == "struck_at"]
    # A header whose words are known and mean something else is no time of a drive, whatever its cells are.
    unknown = [each for each in columns if each.header.meaning is None and not each.header.whole and not each.numeric]
    for candidates, named in ((said, True), (unknown, False)):
        read = [(each, one) for each in candidates if (one := draft_time(each.cells, today, comma=comma)) is not None]
        full = [(each, one) for each, one in read if one.clock] or read
        if full:
            names, drafted = [each.name for each, _ in full], full[0][1]
            if len(names) > 1:
                return names, drafted._replace(sure=False, why="more than one column holds times")
            if not (named and full[0][0].header.whole):
                return names, drafted._replace(sure=False, why="its cells are times, but its header isn't known")
            return names, drafted
    return [], None


def _texts(columns: Sequence[LogColumn]) -> dict[str, Choice]:
    found: dict[str, Choice] = {}
    for name in _TEXTS:
        said = [each for each in columns if each.header.meaning == name and not each.numeric]
        if len(said) == 1:
            found[name] = Choice((Place(said[0].name),), said[0].header.whole, "by its header")
        elif said:
            found[name] = Choice(tuple(Place(each.name) for each in said), False, "more than one column may be it")
    coach = [each for each in columns if each.header.meaning == "(group)" and not each.numeric]
    if coach and "group" not in found:
        found["group"] = Choice((Place(coach[0].name),), False, "coaches may be groups, if you want to compare them")
    return found
