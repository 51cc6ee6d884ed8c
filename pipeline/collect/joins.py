"""Columns of a log that its layout joins from parts, as if the log had them (pure)."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import polars as pl

from pipeline.collect.opened_log import LogRefusedError, OpenLog

# ECMA-376: the date bases of serial dates, which a time of day alone counts from; a day alone is its midnight.
_CLOCK_ALONE = r"^(?:1899-12-3[01]|1904-01-01) ([0-9]{2}:[0-9]{2}.*)$"
_DAY_ALONE = r"^([0-9]{4}-[0-9]{2}-[0-9]{2})[ T]00:00(?::00(?:\.0+)?)?$"


def part_of_workbook(cell: pl.Expr) -> pl.Expr:
    """Leave the day or the time of day of cells of a workbook that hold one of them alone."""
    return cell.str.replace(_CLOCK_ALONE, "${1}").str.replace(_DAY_ALONE, "${1}")


def with_joins(opened: OpenLog, join: Mapping[str, Sequence[str]]) -> OpenLog:
    """Give a log the columns that its layout joins, behind its own.

    Parameters
    ----------
    opened : OpenLog
    join : mapping of str to sequence of str
        Name of each joined column: the headers of its parts.

    Raises
    ------
    LogRefusedError
        If the log lacks a part, or has it twice; from `batches`, if a part isn't text.
    """
    if not join:
        return opened
    names = [header.strip() for header in opened.headers]
    parts: dict[int, list[int]] = {}
    for place, headers in enumerate(join.values(), len(names)):
        for header in headers:
            if names.count(header) != 1:
                what = "lacks the column" if header not in names else "has more than one column"
                raise LogRefusedError(f"it {what} {header!r}, which the layout joins; correct 'join'")
        parts[place] = [names.index(header) for header in headers]

    def as_written(cell: pl.Expr) -> pl.Expr:
        return part_of_workbook(cell) if opened.typed_as_text else cell

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        own = {name: place for name, place in positions.items() if place not in parts}
        split = {name: parts[place] for name, place in positions.items() if place in parts}
        pieces = {f"{name}:{part}": part for name, places in split.items() for part in places}
        for rows in opened.batches(own | pieces):
            for name, place in pieces.items():
                # Dates of no calendar, which typed files may hold, end the program when they become text.
                if not isinstance(rows.schema[name], pl.String | pl.Categorical | pl.Enum):
                    raise LogRefusedError(
                        f"its column {names[place]!r} isn't text, so it can't be joined; export it as text"
                    )
            whole = rows.with_columns(
                pl.concat_str(
                    (as_written(pl.col(f"{name}:{part}").cast(pl.String).str.strip_chars()) for part in places),
                    separator=" ",
                    ignore_nulls=True,
                )
                .str.strip_chars()
                .alias(name)
                for name, places in split.items()
            )
            yield whole.select(*(name for name in rows.columns if name not in pieces), *split)

    def quickly(place: int) -> Iterator[pl.DataFrame]:
        if place not in parts and opened.quickly is not None:
            return opened.quickly(place)
        return batches({"cell": place})

    # A part is in use as the whole is.
    return replace(opened, headers=[*opened.headers, *join], batches=batches, quickly=quickly, parts=parts)
