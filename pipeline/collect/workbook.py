"""What a workbook holds before its cells are read: its size unpacked, the reach of its first sheet, formulas (pure).

A workbook is a zip of XML texts, which are looked through as bytes, block by block, so that neither a zip of nothings
nor a single cell at the far corner of a sheet takes more memory than a block.
"""

import html
import posixpath
import re
import zipfile
from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

import numpy as np
import numpy.typing as npt

from pipeline.collect.opened_log import LogRefusedError

# A workbook of the most rows that a sheet has stays far below this; a zip of nothings can claim any size.
MOST_UNZIPPED_BYTES = 1 << 30

# Readers lay out a sheet from its first cell to its last, empty ones too; logs have a few of these for each full one.
_EMPTY_CELLS = 16  # for each full one, beyond `_FEW_CELLS`
_FEW_CELLS = 1_000_000
_MOST_CELLS = 40_000_000
_LAST_ROW, _LAST_COLUMN = 1 << 20, 1 << 14  # of a sheet, by the format (ECMA-376)

_BLOCK_BYTES = 1 << 20
_SEAM_BYTES = 64  # of a block that are looked at again with the next, for what stands across the border
_PLACE_BYTES = 12  # of a place that are read; the last of a sheet has 10, and longer ones are far outside
_SPACE, _QUOTE, _APOSTROPHE, _SMALL = ord(" "), ord('"'), ord("'"), 0x20
_INDEX_BYTES = 1 << 20  # of the parts that say which sheet is the first

_SHEET = re.compile(rb"""<(?:\w+:)?sheet\s[^>]*?\w+:id\s*=\s*["']([^"']+)["']""")
_RELATION = re.compile(rb"<(?:\w+:)?Relationship\s[^>]*>")
_ATTRIBUTE = re.compile(rb"""(\w+)\s*=\s*["']([^"']*)["']""")


class Looked(NamedTuple):
    """What `look_through` saw."""

    formulas: bool
    """Whether any sheet holds formulas."""
    cells: int
    """Places from the first of the first sheet to its last cell."""
    unzipped_bytes: int
    """All parts together."""


def look_through(
    workbook: BinaryIO, most_unzipped_bytes: int = MOST_UNZIPPED_BYTES, sheet: str | None = None
) -> Looked:
    """Look through a workbook without unpacking it as a whole; the sheet that is read is the first or the named one.

    Raises
    ------
    LogRefusedError
        If it unpacks to more than memory is made for, or a cell of the sheet stands where no log has one.
    zipfile.BadZipFile, OSError, ValueError and others of a damaged zip
        As `zipfile` raises them.
    """
    with zipfile.ZipFile(workbook) as archive:
        parts = archive.infolist()
        unzipped = sum(part.file_size for part in parts)
        if unzipped > most_unzipped_bytes:
            raise LogRefusedError("its workbook unpacks to more than 1 GB, which no log needs; save it as csv")
        sheets = [part.filename for part in parts if part.filename.lower().startswith("xl/worksheets/")]
        first = _sheet_read(archive, sheet)
        reach = _Reach()
        formulas = False
        for name in sheets:
            judged = first not in sheets or name == first
            for block in _blocks(archive, name):
                formulas = formulas or b"<f>" in block or b"<f " in block
                if judged:
                    reach.take(block)
                elif formulas:
                    break
    return Looked(formulas, reach.checked(), unzipped)


class _Reach:
    """How far the cells of a sheet reach."""

    def __init__(self) -> None:
        self.row = self.column = self.full = 0

    def take(self, block: bytes) -> None:
        """Take the next block."""
        self.full += block.count(b"<c ") + block.count(b":c ")
        places = _places(np.frombuffer(block, dtype=np.uint8))
        self.row = max(self.row, int(places.row.max(initial=0)))
        self.column = max(self.column, int(places.column.max(initial=0)))

    def checked(self) -> int:
        """Give the places up to the last cell; raise LogRefusedError if there are too many for the full ones."""
        if self.row > _LAST_ROW or self.column > _LAST_COLUMN:
            raise LogRefusedError("it names cells outside of a sheet, so it is damaged; save it again")
        cells = self.row * self.column
        if cells > min(_FEW_CELLS + _EMPTY_CELLS * self.full, _MOST_CELLS):
            raise LogRefusedError(
                f"its cells reach to row {self.row:,} and column {self.column:,}, most of them empty; delete what "
                "stands far away from the log, or save it as csv"
            )
        return max(cells, self.full)


class _Places(NamedTuple):
    row: npt.NDArray[np.int64]
    column: npt.NDArray[np.int64]


def _places(block: npt.NDArray[np.uint8]) -> _Places:
    """Find the places that cells name, such as r="B12", without a loop over cells, of which there may be millions."""
    quote = (block == _QUOTE) | (block == _APOSTROPHE)
    begins = (block[:-3] <= _SPACE) & (block[1:-2] == ord("r")) & (block[2:-1] == ord("=")) & quote[3:]
    at = np.flatnonzero(begins) + 4
    at = at[at + _PLACE_BYTES < len(block)]
    row, column = np.zeros(len(at), dtype=np.int64), np.zeros(len(at), dtype=np.int64)
    going = np.ones(len(at), dtype=bool)
    for _ in range(_PLACE_BYTES):
        sign = block[at]
        letter, digit = sign | _SMALL, sign - ord("0")
        is_letter = going & (letter >= ord("a")) & (letter <= ord("z")) & (row == 0)
        is_digit = going & (digit <= 9)
        column[is_letter] = column[is_letter] * 26 + letter[is_letter] - (ord("a") - 1)
        row[is_digit] = row[is_digit] * 10 + digit[is_digit]
        going = is_letter | is_digit
        at = at + 1
    named = column > 0
    return _Places(row[named], column[named])


def _sheet_read(archive: zipfile.ZipFile, named: str | None) -> str | None:
    """Give the part that holds the first sheet or the named one; None where the workbook doesn't say."""
    try:
        sheets = _SHEET.finditer(_beginning(archive, "xl/workbook.xml"))
        sheet = next((one for one in sheets if named is None or _name_of(one[0]) == named), None)
        relations = _RELATION.findall(_beginning(archive, "xl/_rels/workbook.xml.rels"))
    except KeyError:
        return None
    for relation in relations if sheet else []:
        said = dict(_ATTRIBUTE.findall(relation))
        if sheet and said.get(b"Id") == sheet[1]:
            target = said.get(b"Target", b"").decode("utf-8", "replace")
            return posixpath.normpath(target.lstrip("/") if target.startswith("/") else f"xl/{target}")
    return None


def _name_of(sheet: bytes) -> str:
    return html.unescape(dict(_ATTRIBUTE.findall(sheet)).get(b"name", b"").decode("utf-8", "replace"))


def _beginning(archive: zipfile.ZipFile, name: str) -> bytes:
    with archive.open(name) as part:
        return part.read(_INDEX_BYTES)


def _blocks(archive: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    """Give the blocks of a part, each with the end of the one before."""
    seam = b""
    with archive.open(name) as part:
        while block := part.read(_BLOCK_BYTES):
            yield seam + block
            seam = block[-_SEAM_BYTES:]
