"""Rows of tables for tests, from the tables' own schemas: a test types only what it is about."""

from collections.abc import Iterable, Mapping
from datetime import date

import dataframely as dy
import polars as pl

from pipeline.tables.types import types_of

# Plain texts that keep the patterns of their columns.
TEXTS = {
    "golfer": "g0000000000000001",
    "quarter": "2026Q3",
    "since": "2026Q2",
    "shot_key": "0" * 32,
    "sha256": "0" * 64,
}


def row_of(schema, **given):
    """Make a row: what is given; null for what may be null; else a plain value that the column allows.

    Rules across columns are the caller's: a row that must keep one needs what the rule is about.
    """
    unknown = set(given) - set(schema.column_names())
    assert not unknown, f"{schema.__name__} has no column {', '.join(sorted(unknown))}"
    return {name: given[name] if name in given else plain(name, one) for name, one in schema.columns().items()}


def plain(name, column):
    """Give null where a column may be null, else a value of its type inside its bounds."""
    if column.nullable:
        return None
    if isinstance(column, dy.String):
        return TEXTS.get(name, name)
    if isinstance(column, dy.Enum):
        return column.categories[0]
    if isinstance(column, dy.Bool):
        return False
    if isinstance(column, dy.Date):
        return date(2026, 7, 1)
    low, high = column.min, column.max
    value = 1 if low is None and high is None else high if low is None else low
    return float(value) if isinstance(column, dy.Float64) else value


def table_of(schema, rows: pl.DataFrame | Iterable[Mapping]):
    """Make a valid table of rows, or of a frame, that have some of a schema's columns; others as in `row_of`."""
    kinds = types_of(schema)
    if not isinstance(rows, pl.DataFrame):
        return schema.validate(pl.DataFrame([row_of(schema, **row) for row in rows], schema=kinds))
    unknown = set(rows.columns) - set(kinds)
    assert not unknown, f"{schema.__name__} has no column {', '.join(sorted(unknown))}"
    columns = schema.columns()
    absent = [pl.lit(plain(n, columns[n]), kind).alias(n) for n, kind in kinds.items() if n not in rows.columns]
    # Cast here, not by the validation: that adds columns of its own, which a rule over all columns would see.
    return schema.validate(rows.with_columns(absent).select(pl.col(name).cast(kind) for name, kind in kinds.items()))
