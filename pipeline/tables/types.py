"""What every table needs."""

import dataframely as dy
import polars as pl


def types_of(table: type[dy.Schema]) -> dict[str, pl.DataType]:
    """Give the types of a table's columns by name, for a frame that is built from rows."""
    return {name: column.dtype for name, column in table.columns().items()}
