"""The shape of a foreign log: its encoding and delimiter, where header, units and drives are (pure)."""

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import polars as pl

from pipeline.collect.drafting.lexicon import read_header
from pipeline.collect.layout import MISSING_NUMBER
from pipeline.collect.unit_words import unit_named

DELIMITERS = ";\t|,"
_LIKE_NUMBER = re.compile(
    r"(?P<side>[RrLl]\s?)?"
    r"(?P<number>[+\-\u2212]?(?:\d{1,3}(?:[ \u00a0\u2009\u202f'\u2019]\d{3})+|\d+)(?:[.,]\d+)*(?:[eE][+-]?\d+)?)"
    r"(?P<rest>.*)"
)
WESTERN = ("cp1252", "latin-1")
ELSEWHERE = ("cp1250", "cp932")  # of Poland and its neighbors, and of Japan, whose words the lexicon has
_TITLE_LINES = 60  # the header stands among these, or nobody finds it
# Numbers in a row of a device's log at least; a row of results by hand has club speed and carry alone.
_READINGS, _BY_HAND = 3, 2
_LOOKED_AT = 400  # rows that tell how many cells one has

Rows = Sequence[Sequence[str]]
Kind = Literal["text", "workbook", "parquet"]


@dataclass(frozen=True)
class Shape:
    """How a log is written.

    Attributes
    ----------
    kind : str
    encoding : str
        ascii where nothing tells which one; of text alone.
    delimiter : str
        Of text alone.
    skip_rows, skip_after_header : int
        Lines before the header, and between it and the first drive.
    headers : tuple of str
    units : tuple of str
        What stands between a header and its first drive; empty texts where nothing does.
    cells : pl.DataFrame
        `row` from 1, as the readers count, and c0, c1 and so on: text, or typed where the file has types.
    sheet : str or None
        The sheet that it is, of a workbook with several.
    sheets : tuple of str
        Other sheets that may hold drives too.
    """

    kind: Kind
    encoding: str
    delimiter: str
    skip_rows: int
    skip_after_header: int
    headers: tuple[str, ...]
    units: tuple[str, ...]
    cells: pl.DataFrame
    sheet: str | None = None
    sheets: tuple[str, ...] = ()

    @property
    def likeness(self) -> tuple[object, ...]:
        """What logs of one kind share."""
        types = tuple(map(str, self.cells.dtypes))
        sheets = (self.sheet, self.sheets)
        return (
            self.kind,
            sheets,
            self.delimiter,
            self.skip_rows,
            self.skip_after_header,
            self.headers,
            self.units,
            types,
        )

    def with_rows_of(self, other: "Shape") -> "Shape":
        """Give this shape with the rows of a log of the same kind too."""
        encoding = other.encoding if self.encoding == "ascii" else self.encoding
        cells = pl.concat([self.cells, other.cells], how="vertical_relaxed")
        return replace(self, encoding=encoding, cells=cells)


def decoded(content: bytes) -> tuple[str, str] | None:
    """Decode a text log by its marks and its bytes; give encoding and text, None if it is no text.

    Bytes that aren't UTF-8 are taken for Windows-1252, of which Latin-1 is a part but for control characters.
    """
    for mark, encoding in ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"),
                           (codecs.BOM_UTF16_BE, "utf-16")):  # fmt: skip
        if content.startswith(mark):
            return _tried(content, encoding)
    if content[:2000].count(0) > len(content[:2000]) // 5:
        return _tried(content, "utf-16-le" if content[1:2] == b"\0" else "utf-16-be")
    if b"\0" in content:
        return None
    return next(filter(None, (_tried(content, one) for one in ("ascii", "utf-8", "cp1252", "latin-1"))), None)


def _tried(content: bytes, encoding: str) -> tuple[str, str] | None:
    try:
        return encoding, content.decode(encoding)
    except UnicodeDecodeError as error:
        # The part that was read may end inside a character.
        if error.start < len(content) - 4 or error.start == 0 or encoding == "ascii":
            return None
        return encoding, content[: error.start].decode(encoding)


def shape_of_text(content: bytes) -> Shape | None:
    """Find the shape of a text log, or of its beginning up to a line end; None if there is no table in it."""
    read = decoded(content)
    if read is None:
        return None
    tried = [read]
    if read[0] in WESTERN:
        tried += [one for encoding in ELSEWHERE if (one := _tried(content, encoding)) is not None]
    shapes = [shape for encoding, text in tried if (shape := _shape_of(encoding, text)) is not None]
    # The headers that make sense tell; where as many do, as with names alone, it is the usual one.
    return max(shapes, key=lambda shape: _worth(shape)[0], default=None)


def _shape_of(encoding: str, text: str) -> Shape | None:
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    tried = [(delimiter, _split(lines, delimiter)) for delimiter in DELIMITERS]
    found = [(_worth(shape), shape) for delimiter, rows in tried if (shape := _table(rows, encoding, delimiter))]
    if not found:
        return None
    best = max(worth for worth, _ in found)
    shapes = [shape for worth, shape in found if worth == best]
    return shapes[0]


def shape_of_cells(rows: Rows, kind: Kind) -> Shape | None:
    """Find the shape of a workbook's sheet, from all its rows with the empty ones."""
    return _table(rows, "ascii", ",", kind)


def _split(text: str, delimiter: str) -> Rows:
    # A row is a line, as the readers count them, so long as no cell holds a line end.
    try:
        return list(csv.reader(io.StringIO(text), delimiter=delimiter))
    except csv.Error:
        return []


def _worth(shape: Shape) -> tuple[int, int]:
    """Say how much of a table makes sense: headers understood, and columns of numbers."""
    understood = sum(read_header(header).whole for header in shape.headers)
    sample = shape.cells.head(50).drop("row")
    numbers = sum(_mostly_numbers(column.to_list()) for column in sample.get_columns())
    return understood, numbers


def _mostly_numbers(cells: Sequence[str | None]) -> bool:
    filled = [cell for cell in cells if not _missing(cell)]
    return bool(filled) and sum(is_number(cell) for cell in filled) >= 0.8 * len(filled)


def _missing(cell: str | None) -> bool:
    return cell is None or cell.strip().lower() in MISSING_NUMBER


def is_number(cell: str | None) -> bool:
    """Tell whether a cell looks like a number with any marks, perhaps with a unit or a side beside it."""
    return cell is not None and number_in(cell) is not None


def number_in(cell: str) -> tuple[str, str] | None:
    """Split a cell that looks like a number into the number and what stands behind it: a unit, a side or nothing."""
    found = _LIKE_NUMBER.fullmatch(cell.strip())
    if found is None:
        return None
    rest = found["rest"].strip()
    if rest and (found["side"] or not (rest in ("R", "L", "r", "l") or unit_named(rest) is not None)):
        return None
    return found["number"], rest


def _table(rows: Rows, encoding: str, delimiter: str, kind: Kind = "text") -> Shape | None:
    widths = Counter(_filled_width(row) for row in rows[:_LOOKED_AT] if any(map(str.strip, row)))
    if not widths or max(widths) < 2:
        return None
    width = max(widths, key=lambda one: (widths[one], one))
    found = _places(rows, width, _READINGS) or _places(rows, width, _BY_HAND)
    if found is None or (found[2] == _BY_HAND and not _has_speed_and_carry(rows[found[0]])):
        return None
    header, first, _ = found
    names = [cell.strip() for cell in rows[header]]
    while names and not names[-1] and len(names) > width:
        names.pop()
    count = len(names)
    between = rows[header + 1 : first]
    units = tuple(" ".join(_cell(row, place) for row in between).strip() for place in range(count))
    drives = [(place - header, row) for place, row in enumerate(rows[first:], first) if any(map(str.strip, row))]
    columns: dict[str, list[str]] = {f"c{place}": [_cell(row, place) for _, row in drives] for place in range(count)}
    cells = pl.DataFrame({"row": [number for number, _ in drives]} | columns, schema_overrides={"row": pl.Int64})
    return Shape(kind, encoding, delimiter, header, first - header - 1, tuple(names), units, cells)


def _places(rows: Rows, width: int, numbers: int) -> tuple[int, int, int] | None:
    """Find the header and the first row with so many numbers; gives them and the number."""
    first = next((place for place, row in enumerate(rows[: _TITLE_LINES + 1]) if _is_drive(row, width, numbers)), None)
    header = None if first is None else _header_above(rows, first, width)
    return None if first is None or header is None else (header, first, numbers)


def _has_speed_and_carry(header: Sequence[str]) -> bool:
    meant = {read_header(cell).meaning for cell in header}
    return bool(meant & {"club_speed_mph", "(speed)"}) and bool(meant & {"carry_yd", "(distance)"})


def _filled_width(row: Sequence[str]) -> int:
    """Count the cells of a row; empty ones at its end are padding of spreadsheets as often as cells."""
    return len(row)


def _cell(row: Sequence[str], place: int) -> str:
    return row[place].strip() if place < len(row) else ""


def _is_drive(row: Sequence[str], width: int, numbers: int) -> bool:
    return len(row) >= width and sum(map(is_number, row)) >= min(numbers, width)


def _header_above(rows: Rows, first: int, width: int) -> int | None:
    """Find the header above the first drive: lines of units and empty ones may stand between."""
    for place in range(first - 1, max(first - 5, -1), -1):
        row = rows[place]
        filled = [cell for cell in row if cell.strip()]
        if not filled or _are_units(filled):
            continue
        understood = sum(read_header(cell).meaning is not None for cell in filled)
        as_wide = len(row) >= width and len(filled) >= 0.6 * width
        if as_wide and (understood or not any(map(is_number, filled))):
            return place
        return None
    return None


def _are_units(filled: Sequence[str]) -> bool:
    bare = [cell for cell in filled if cell.strip("()[]{} -")]
    units = sum(unit_named(cell) is not None for cell in bare)
    return bool(units) and units >= 0.5 * len(bare)
