"""A table's rows by golfer, so that those of a few golfers are found without looking at all, and without a copy."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl


class ByGolfer:
    """The rows of a table in the order of some golfers.

    Parameters
    ----------
    table : DataFrame
        The column golfer and others.
    golfers : Series of str
        Each once. Rows of other golfers are left out; a golfer may have none.
    """

    def __init__(self, table: pl.DataFrame, golfers: pl.Series) -> None:
        order = pl.DataFrame({"golfer": golfers.cast(table.schema["golfer"], strict=False), "of": range(len(golfers))})
        order = order.drop_nulls()  # of golfers whom the table's type doesn't know
        found = table.select("golfer").join(order, on="golfer", how="left", maintain_order="left").get_column("of")
        place: Any = found.fill_null(len(golfers)).to_numpy()  # others come last, after all that are asked for
        self._table = table
        self._rows = np.argsort(place, kind="stable")
        self._starts = np.searchsorted(place[self._rows], np.arange(len(golfers) + 1))

    @property
    def columns(self) -> list[str]:
        """Names of the table's columns."""
        return self._table.columns

    def rows(self, first: int, end: int, columns: Sequence[str] | None = None) -> pl.DataFrame:
        """Give the rows of the golfers from one place to before another, each golfer's in the table's order."""
        begin, after = self._starts[[first, end]].tolist()
        table = self._table if columns is None else self._table[list(columns)]
        return table[self._rows[begin:after]]

    def counts(self, first: int, end: int) -> list[int]:
        """Give how many rows each of them has."""
        return [int(count) for count in np.diff(self._starts[first : end + 1])]
