"""Which rows of a log are taken, where its layout says so: those of the driver among every club's (pure)."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from pipeline.collect.opened_log import LogRefusedError
from pipeline.configuration.layouts import Layout

# Its name among the columns of a batch, which no standard column and no regressor has.
IN_BATCHES = "rows:"


@dataclass
class RowsFound:
    """The rows of a log that its layout takes, told apart piece by piece.

    Attributes
    ----------
    positions : dict of str to int
        The column to read for it by the name that `take` expects; empty where the layout takes all rows.
    wanted : tuple of str
        What that column says in rows to take, folded.
    left_out : int
        Rows left out so far.
    """

    positions: dict[str, int]
    wanted: tuple[str, ...] = ()
    left_out: int = field(default=0, init=False)

    @classmethod
    def of(cls, headers: Sequence[str], layout: Layout) -> "RowsFound":
        """Find the column among a log's headers; raise LogRefusedError if it isn't there once."""
        if layout.rows is None:
            return cls({})
        names, column = [header.strip() for header in headers], layout.rows.column
        if names.count(column) != 1:
            what = "lacks the column" if column not in names else "has more than one column"
            raise LogRefusedError(f"it {what} {column!r}, by which the layout's rows are taken; correct 'rows'")
        return cls({IN_BATCHES: names.index(column)}, tuple(_folded(one) for one in layout.rows.take))

    def take(self, raw: pl.DataFrame) -> pl.DataFrame:
        """Give the rows of a piece that are taken, and count the others.

        A ragged row stays, to be rejected with its fault: which of its cells is which nobody knows.
        """
        if not self.positions:
            return raw
        said = raw[IN_BATCHES].cast(pl.String).fill_null("")
        distinct = said.unique().to_list()
        named = [one for one in distinct if _folded(one) in self.wanted]
        kept = raw.filter(said.is_in(named) | raw["ragged"])
        self.left_out += raw.height - kept.height
        return kept.drop(IN_BATCHES)

    def remarks(self, rows: int) -> list[str]:
        """Say, as a clause, if no row at all was taken of a log that has some."""
        if rows or not self.left_out:
            return []
        return [f"none of its {self.left_out} rows is one that the layout takes; correct 'take' under 'rows'"]


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())
