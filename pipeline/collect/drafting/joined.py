"""Columns that stand in parts: a day and a time of day, a first and a last name (pure)."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from pipeline.collect.drafting.lexicon import Header
from pipeline.collect.drafting.log_columns import LogColumn
from pipeline.collect.drafting.times_drafted import clock_alone, draft_time
from pipeline.collect.joins import part_of_workbook

NAME_PARTS = ("(first)", "(last)")
_MOSTLY = 0.9
_LOOKED_AT = 50  # cells that tell a time of day


def with_joined(
    columns: Sequence[LogColumn], today: date, *, comma: bool, taken: Sequence[str], workbook: bool
) -> tuple[list[LogColumn], dict[str, tuple[str, ...]]]:
    """Put columns together that stand in parts.

    Parameters
    ----------
    columns : sequence of LogColumn
    today, comma
        As for `draft_time`.
    taken : sequence of str
        Headers of the log, which no joined column may be named as.
    workbook : bool
        Whether it is one.

    Returns
    -------
    tuple of list of LogColumn and dict
        The columns, joined ones in the place of their parts; and by the name of each its parts, in order.
    """
    found = list(columns)
    joined: dict[str, tuple[str, ...]] = {}
    for parts, meaning in ((_name_parts(found), "golfer"), (_time_parts(found, today, comma=comma), "struck_at")):
        name = " ".join(part.name for part in parts)
        if not parts or name in taken:
            continue
        # Parts whose headers are known are put together without a question.
        whole = _joined(name, Header(meaning, all(part.header.whole for part in parts), None), parts, workbook)
        if meaning == "struck_at" and draft_time(whole.cells, today, comma=comma) is None:
            continue
        found = [each for each in found if not any(each is part for part in parts)]
        found.append(whole)
        joined[name] = tuple(part.name for part in parts)
    return found, joined


def _joined(name: str, header: Header, parts: Sequence[LogColumn], workbook: bool) -> LogColumn:
    frame = pl.DataFrame([part.cells.alias(str(place)) for place, part in enumerate(parts)])
    cells = pl.all().cast(pl.String)
    text = pl.concat_str(
        part_of_workbook(cells) if workbook else cells, separator=" ", ignore_nulls=True
    ).str.strip_chars()
    whole = frame.select(pl.when(text != "").then(text).alias("cell"))["cell"]
    return LogColumn(name, header, None, whole, pl.Series("cell", [None] * len(whole), pl.Float64), False)


def _name_parts(columns: Sequence[LogColumn]) -> list[LogColumn]:
    """Find first and last name, in this order; many languages call the last name just a name."""
    first, last, whole = (
        [each for each in columns if each.header.meaning == meaning and _is_text(each)]
        for meaning in (*NAME_PARTS, "golfer")
    )
    if len(first) == len(last) == 1 and not whole:
        return [*first, *last]
    if len(whole) == 1 and len(first) + len(last) == 1:
        [part], [name] = first or last, whole
        if not _holds(name, part):
            return [part, name] if first else [name, part]
    return []


def _holds(name: LogColumn, part: LogColumn) -> bool:
    """Tell whether a name has the part in it, so that it is the whole name."""
    pairs = [(n, p) for n, p in zip(name.cells, part.cells, strict=True) if n is not None and p is not None]
    return bool(pairs) and sum(p.casefold() in n.casefold() for n, p in pairs) >= _MOSTLY * len(pairs)


def _time_parts(columns: Sequence[LogColumn], today: date, *, comma: bool) -> list[LogColumn]:
    """Find a day and a time of day, if the log has one of each and no column that holds both."""
    likely = [each for each in columns if each.header.meaning == "struck_at"]
    days, clocks = [], []
    for each in likely:
        read = draft_time(each.cells, today, comma=comma)
        if read is not None and read.clock:
            return []
        if read is not None:
            days.append(each)
        elif _is_text(each) and clock_alone(each.cells.drop_nulls().head(_LOOKED_AT).to_list()):
            clocks.append(each)
    parts = [*days, *clocks]
    return parts if len(days) == len(clocks) == 1 and all(map(_is_text, parts)) else []


def _is_text(column: LogColumn) -> bool:
    return isinstance(column.cells.dtype, pl.String)
