"""Reading our own tables (an edge module)."""

from collections.abc import Iterable
from pathlib import Path
from typing import TypeVar

import dataframely as dy
import polars as pl

from pipeline.errors import UserError
from pipeline.tables.registry import by_file
from pipeline.tables.table_set import TableSet
from pipeline.tables.types import types_of

S = TypeVar("S", bound=dy.Schema)


def read_table(
    path: str | Path, schema: type[S], golfers: pl.Enum | None = None, *, some: bool = False
) -> dy.DataFrame[S]:
    """Read one of our own CSV tables and validate it.

    Parameters
    ----------
    path : str or Path
        The CSV file.
    schema : type of dataframely.Schema
        The table's schema in `pipeline.tables`.
    golfers : Enum, optional
        Type of the column `golfer`, such as `Drives.golfers`; text if not given.
    some : bool
        Whether the rows of those golfers alone are wanted, of a table that has others too.

    Returns
    -------
    dataframely.DataFrame
        The table, in the schema's types and columns.

    Raises
    ------
    UserError
        If the file is missing or is not such a table.
    """
    # Types come from the schema: an all-null column of a small study must not be guessed as text.
    dtypes = types_of(schema)
    try:
        if some and golfers is not None:
            wanted = pl.col("golfer").is_in(golfers.categories.implode())
            lazy = pl.scan_csv(path, schema_overrides=dtypes, low_memory=True)
            table = lazy.filter(wanted).collect(engine="streaming")
        else:
            table = pl.read_csv(path, schema_overrides=dtypes)
        dtypes |= {"golfer": golfers} if golfers else {}
        # Cast here, not by the validation: that adds columns of its own, which a rule over all columns would see.
        return schema.validate(table.select(pl.col(name).cast(kind) for name, kind in dtypes.items()))
    except FileNotFoundError:
        raise UserError(f"{path}: the file is missing; run the workflow again, it makes it.") from None
    except (pl.exceptions.PolarsError, dy.exc.SchemaError, dy.exc.ValidationError):
        raise UserError(
            f"{path}: is not a valid {schema.__name__} table; delete it and run the workflow again."
        ) from None


def read_tables(paths: Iterable[str]) -> TableSet:
    """Read several of our own CSV tables, each by the schema of its file's name.

    Raises
    ------
    UserError
        As `read_table`.
    """
    schemas = {Path(file).name: schema for file, schema in by_file().items()}
    return TableSet({schemas[Path(path).name]: read_table(path, schemas[Path(path).name]) for path in paths})
