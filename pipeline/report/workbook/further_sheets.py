"""Sheets beside a workbook's own table: what else is known of the same golfers or bands."""

from collections.abc import Iterator
from dataclasses import dataclass

import polars as pl

from pipeline.tables.columns import Table
from pipeline.tables.goals import Goals
from pipeline.tables.straightness import Straightness, StraightnessBands
from pipeline.tables.table_set import TableSet

# Rows of a workbook's own sheet and of each further one; more make it slow to make and to open.
MOST_ROWS, MOST_FURTHER = 50_000, 10_000

# Name and order of each table's sheet, the newest quarter first. No workbook has both tables of straightness.
SHEETS: dict[type[Table], tuple[str, tuple[str, ...]]] = {
    Straightness: ("straightness", ("golfer",)),
    Goals: ("goals", ("golfer",)),
    StraightnessBands: ("straightness", ("band_mph",)),
}


@dataclass(frozen=True)
class Sheet:
    """A sheet: its name, its rows in the order in which they stand there, their schema, and how many it can hold."""

    name: str
    rows: pl.DataFrame
    schema: type[Table]
    most: int

    @property
    def notes(self) -> Iterator[tuple[str, str]]:
        """What the sheet is, and what isn't on it; the caller explains its columns."""
        yield f"Sheet {self.name}", " ".join((self.schema.__doc__ or "").split())
        yield from self.left_out

    @property
    def left_out(self) -> Iterator[tuple[str, str]]:
        """A note on rows that a sheet has no room for, if there are any."""
        more = self.rows.height - self.most
        if more > 0:
            file = self.schema.FILES[0].rpartition("/")[2]
            yield "Rows left out", f"{more} more rows, the last in this order, are in {file}."


def further_sheets(tables: TableSet) -> list[Sheet]:
    """Give a sheet for each of the tables that has rows, in the order of `SHEETS`."""
    found = []
    for schema, (name, order) in SHEETS.items():
        table = tables.get(schema)
        if table is not None and not table.is_empty():
            rows = table.sort("quarter", *order, descending=[True, *(False for _ in order)])
            found.append(Sheet(name, rows, schema, MOST_FURTHER))
    return found
