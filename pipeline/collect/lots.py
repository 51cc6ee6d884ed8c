"""Pieces of small logs, cleaned together: a call of the data frame library costs as much for one as for many (pure)."""

from collections import defaultdict
from collections.abc import Hashable

import polars as pl

from pipeline.collect.clean_log import Cleaning, clean_pieces
from pipeline.collect.rules import Split
from pipeline.configuration.layouts import LogFile

# Rows that are cleaned together, unless one piece has more: as many as of a large log are in memory at a time.
LOT_ROWS = 100_000


class Lots:
    """Takes the pieces of logs, and cleans those of one kind together before they have more than so many rows.

    Attributes
    ----------
    rows : mapping of str to list of Split
        Source: the rows of its pieces that were cleaned so far, in order.
    """

    def __init__(self, key: bytes) -> None:
        self.rows: defaultdict[str, list[Split]] = defaultdict(list)
        self._key = key
        self._pseudonyms: dict[str, str] = {}
        self._waiting: list[tuple[Cleaning, pl.DataFrame]] = []

    def take(self, log: Cleaning, raw: pl.DataFrame) -> None:
        """Take the next piece of a log."""
        if sum(waiting.height for _, waiting in self._waiting) + raw.height > LOT_ROWS:
            self.clean()
        self._waiting.append((log, raw))

    def forget(self, log_file: LogFile) -> None:
        """Leave out what was taken of a log: it counts whole or not at all."""
        self._waiting = [(log, raw) for log, raw in self._waiting if log.log_file is not log_file]
        self.rows.pop(log_file.source, None)

    def clean(self) -> None:
        """Clean what waits; a log's pieces, of which one lot may have several, stay in their order."""
        lots: defaultdict[tuple[Hashable, int], list[tuple[Cleaning, pl.DataFrame]]] = defaultdict(list)
        pieces: defaultdict[int, int] = defaultdict(int)
        for log, raw in self._waiting:
            lots[log.kind(raw), pieces[id(log)]].append((log, raw))
            pieces[id(log)] += 1
        self._waiting = []
        for lot in lots.values():
            for (log, _), part in zip(lot, clean_pieces(lot, self._key, self._pseudonyms), strict=True):
                self.rows[log.log_file.source].append(part)
