"""A log whose header has been read, whatever kind of file it is: what there is to work on (pure)."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import islice

import polars as pl

ReadBatches = Callable[[Mapping[str, int]], Iterator[pl.DataFrame]]


class LogRefusedError(Exception):
    """A log that can't be used; the text says why in plain words, without any of its content."""


@dataclass(frozen=True)
class OpenLog:
    """A log whose header has been read.

    Attributes
    ----------
    headers : list of str
    typed_as_text : bool
        Whether the reader turns typed cells into text (a workbook).
    batches : callable
        Reads the rows. Takes the columns wanted (name to give: position in the log) and hands out no other. Yields
        frames of equal size but the last: `row` (Int64), `ragged` (Boolean) and the wanted columns. Raises
        LogRefusedError if the file turns out to be damaged.
    notes : tuple of str
        What looks wrong with the file, though it can be read; clauses without a full stop.
    quickly : callable or None
        Reads one column by its position, as `cell`, much quicker than `batches` and without its checks.
    parts : mapping of int to sequence of int
        Positions of columns that the layout joins, and of their parts.
    sha256 : str or None
        Of the file; None if not known.
    """

    headers: list[str]
    typed_as_text: bool
    batches: ReadBatches
    notes: tuple[str, ...] = ()
    quickly: Callable[[int], Iterator[pl.DataFrame]] | None = None
    sha256: str | None = None
    parts: Mapping[int, Sequence[int]] = field(default_factory=dict)

    def used(self, places: Iterable[int]) -> list[int]:
        """Give the positions in use where these are: a joined column's parts too, and every joined column."""
        found = list(places)
        return [*found, *self.parts, *(part for place in found for part in self.parts.get(place, ()))]

    def held(self, positions: Mapping[str, int]) -> "OpenLog":
        """Read a small log at once, so that no column of it is read from the file again.

        Parameters
        ----------
        positions : mapping of str to int
            All columns that will be wanted.

        Returns
        -------
        OpenLog
            The log with its rows in memory; one of more than a batch, or a damaged one, as it is.
        """
        first: list[pl.DataFrame] = []
        with suppress(LogRefusedError):
            first = list(islice(self.batches(positions), 2))
        if len(first) != 1:
            return self
        names = {place: name for name, place in positions.items()}

        def batches(wanted: Mapping[str, int]) -> Iterator[pl.DataFrame]:
            yield first[0].select("row", "ragged", *(pl.col(names[at]).alias(name) for name, at in wanted.items()))

        return replace(self, batches=batches, quickly=None)

    def distinct(self, place: int) -> pl.Series:
        """Give the distinct texts of one column, in any order; of a damaged file those before the damage or none."""
        pieces: list[pl.Series] = []
        with suppress(LogRefusedError):
            for rows in self.quickly(place) if self.quickly else self.batches({"cell": place}):
                pieces.append(rows["cell"].cast(pl.String).drop_nulls().unique())
        return pl.concat(pieces).unique() if pieces else pl.Series("cell", [], pl.String)
