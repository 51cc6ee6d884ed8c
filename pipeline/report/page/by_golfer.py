"""A table's rows by golfer, so that those of a few golfers are found without looking at all."""

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
        dtype = table.schema["golfer"]
        order = pl.DataFrame({"golfer": golfers.cast(dtype, strict=False), "place": np.arange(len(golfers))})
        order = order.drop_nulls()  # golfers whom the table's type doesn't know
        places = table.select("golfer").join(order, on="golfer", how="left", maintain_order="left").get_column("place")
        if places.null_count():
            table, places = table.filter(places.is_not_null()), places.drop_nulls()
        place: Any = places.to_numpy()
        # Most tables stand in this order, and aren't copied.
        if not places.is_sorted():
            moved = np.argsort(place, kind="stable")
            table, place = table[moved], place[moved]
        self._table = table
        self._starts = np.searchsorted(place, np.arange(len(golfers) + 1))

    def rows(self, first: int, end: int) -> pl.DataFrame:
        """Give the rows of the golfers from one place to before another, each golfer's in the table's order."""
        begin, after = self._starts[[first, end]].tolist()
        return self._table.slice(begin, after - begin)
