"""What a text log looks like before its cells are read: widths of rows, length of lines, its end (pure)."""

from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from pipeline.collect.opened_log import LogRefusedError

Places = npt.NDArray[np.int64]

# A row of a shot log has a few hundred bytes; a longer line is another kind of file, and would cost memory.
LONGEST_LINE_BYTES = 1 << 16

# Cells that a row may have beyond the header if they are empty: some exports end each row with a delimiter.
SPARE_CELLS = 8

_BLOCK_BYTES = 1 << 20
_LINE_END, _RETURN, _QUOTE = b'\n\r"'
_NULS_OF_UTF16 = 0.2  # share of a file's bytes; UTF-16 of European text has a half


@dataclass(frozen=True)
class Lines:
    """What `examine` saw. Rows count from 0, the header's; a row ends at a line end outside quotation marks."""

    width: int
    """Cells of the header."""
    irregular: Places
    """Rows with fewer cells than the header or more than `SPARE_CELLS` beyond it, rising; none that are empty."""
    last_row: int
    """The last row that holds anything."""
    rows: int
    """All rows, empty ones too."""
    ends_whole: bool
    """Whether the last line has a line end."""
    ends_in_nul: bool
    """Whether the last byte is NUL."""
    quoted: bool
    """Whether there is a quotation mark anywhere; without one no cell holds a delimiter or a line end."""


class _Counter:
    """Counts cells row by row over blocks of bytes, whose borders fall anywhere."""

    def __init__(self, delimiter: int) -> None:
        self.delimiter = delimiter
        self.quoted = self.any_quotes = False
        self.last_byte = 0
        self.cells = self.length = self.line = self.row = 0
        self.width: int | None = None
        self.last_row = -1
        self.irregular: list[Places] = []

    def take(self, block: npt.NDArray[np.uint8]) -> None:
        """Take the next block."""
        line_ends = np.flatnonzero(block == _LINE_END)
        self._measure(line_ends, block)
        delimiters = np.flatnonzero(block == self.delimiter)
        ends = line_ends
        quotes = block == _QUOTE
        if self.quoted or quotes.any():
            self.any_quotes = True
            inside = np.logical_xor.accumulate(quotes) ^ self.quoted
            delimiters, ends = delimiters[~inside[delimiters]], ends[~inside[ends]]
            self.quoted = bool(inside[-1])
        before = np.searchsorted(delimiters, ends)
        cells = np.diff(before, prepend=0)
        lengths = np.diff(ends, prepend=-1) - 1
        preceding = np.where(ends > 0, block[ends - 1], self.last_byte)
        self.last_byte = int(block[-1])
        if not len(ends):
            self.cells += len(delimiters)
            self.length += len(block)
            return
        cells[0] += self.cells
        lengths[0] += self.length
        self._note(cells + 1, lengths > (preceding == _RETURN))
        self.cells, self.length = len(delimiters) - int(before[-1]), len(block) - int(ends[-1]) - 1

    def end(self) -> None:
        """Take the end of the file, which ends its last row."""
        if self.length:
            self._note(np.array([self.cells + 1]), np.array([True]))

    def _measure(self, line_ends: Places, block: npt.NDArray[np.uint8]) -> None:
        size = len(block)
        lengths = np.diff(line_ends, prepend=-1)
        if len(lengths):
            lengths[0] += self.line
        self.line = size - 1 - int(line_ends[-1]) if len(line_ends) else self.line + size
        if max(self.line, lengths.max(initial=0)) > LONGEST_LINE_BYTES:
            if np.count_nonzero(block[-self.line :] == 0) * 2 > self.line > 0:
                raise LogRefusedError(
                    "it ends in NUL bytes, as a file does whose writing broke off; export it again, or copy it again"
                )
            raise LogRefusedError(
                f"it has a line of more than {LONGEST_LINE_BYTES:,} bytes, which no shot log has; export it again"
            )

    def _note(self, cells: Places, filled: npt.NDArray[np.bool_]) -> None:
        if self.width is None:
            self.width = int(cells[0])
        fits = (cells >= self.width) & (cells <= self.width + SPARE_CELLS)
        self.irregular.append(self.row + np.flatnonzero(filled & ~fits))
        held = np.flatnonzero(filled)
        if len(held):
            self.last_row = self.row + int(held[-1])
        self.row += len(cells)


def examine(text: BinaryIO, delimiter: str, skip_rows: int) -> Lines:
    """Look through a text log once, block by block, without reading its cells.

    Parameters
    ----------
    text : BinaryIO
        UTF-8 from its beginning, whose lines end in a line feed.
    delimiter : str
        One ASCII character.
    skip_rows : int
        Lines before the header.

    Returns
    -------
    Lines

    Raises
    ------
    LogRefusedError
        If a line is too long to be a shot log's, or the text looks like UTF-16.
    OSError
        If the text can't be read.
    """
    counter = _Counter(ord(delimiter))
    last, first = b"\n", True
    for _ in range(skip_rows):
        line = text.readline(LONGEST_LINE_BYTES + 1)
        if len(line) > LONGEST_LINE_BYTES:
            counter.take(np.full(LONGEST_LINE_BYTES + 1, ord("-"), dtype=np.uint8))  # too long: refused
        if not line:
            break
    while block := text.read(_BLOCK_BYTES):
        # What was never written stands at the end, as NUL alone, and says nothing of the text.
        if first and block.rstrip(b"\0").count(0) > _NULS_OF_UTF16 * len(block.rstrip(b"\0")) and b"\n" in block:
            raise LogRefusedError("its text looks like utf-16; set the layout's encoding, such as utf-16-le")
        counter.take(np.frombuffer(block, dtype=np.uint8))
        last, first = block[-1:], False
    counter.end()
    irregular = np.concatenate([*counter.irregular, np.empty(0, dtype=np.int64)]).astype(np.int64)
    return Lines(
        counter.width or 0, irregular, counter.last_row, counter.row, last == b"\n", last == b"\0", counter.any_quotes
    )
