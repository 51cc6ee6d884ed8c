"""The tables that a page is made of, each found by its schema: whoever hands them on need not know them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar, cast

import dataframely as dy
import polars as pl

from pipeline.tables.columns import Table

T = TypeVar("T", bound=Table)


@dataclass(frozen=True)
class TableSet:
    """Validated tables by their schema; `tables[Golfers]` is the table `Golfers`."""

    frames: Mapping[type[Table], pl.DataFrame]

    def __getitem__(self, schema: type[T]) -> dy.DataFrame[T]:
        return cast("dy.DataFrame[T]", self.frames[schema])

    def get(self, schema: type[T]) -> dy.DataFrame[T] | None:
        """Give a table that not every study has, or None."""
        return self[schema] if schema in self.frames else None
