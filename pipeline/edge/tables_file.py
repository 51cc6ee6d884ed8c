"""Reading what the report is made from (an edge module)."""

import json
from pathlib import Path
from typing import Any, TypeVar

import dataframely as dy
import polars as pl

from pipeline.errors import UserError
from pipeline.tables import types_of

S = TypeVar("S", bound=dy.Schema)


def read_table(path: str | Path, schema: type[S]) -> dy.DataFrame[S]:
    """Read one of our own CSV tables and validate it.

    Parameters
    ----------
    path : str or Path
        The CSV file.
    schema : type of dataframely.Schema
        The table's schema in `pipeline.tables`.

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
        table = pl.read_csv(path, schema_overrides=dtypes)
        # Cast here, not by the validation: that adds columns of its own, which a rule over all columns would see.
        return schema.validate(table.select(pl.col(name).cast(kind) for name, kind in dtypes.items()))
    except FileNotFoundError:
        raise UserError(f"{path}: the file is missing; run the workflow again, it makes it.") from None
    except (pl.exceptions.PolarsError, dy.exc.SchemaError, dy.exc.ValidationError):
        raise UserError(
            f"{path}: is not a valid {schema.__name__} table; delete it and run the workflow again."
        ) from None


def read_yardstick(which: str | Path, model: str | Path, *, kept: bool) -> dict[str, Any]:
    """Read which model golfers were held against.

    Parameters
    ----------
    which : str or Path
        A kept model's record.json or the newest fit's verdict.json.
    model : str or Path
        The model's own file.
    kept : bool
        Whether it is a kept model.

    Returns
    -------
    dict
        `id`, `kept`, `fitted_on` (`drives`, `golfers`, `quarters`), and for the newest fit `verdict` and
        `held_against`.

    Raises
    ------
    UserError
        If a file is missing, is no JSON or lacks a key.
    """
    told, fitted = read_json(which), read_json(model)
    try:
        yardstick = {"id": told["id"], "kept": kept, "fitted_on": fitted["fitted_on"]}
        return yardstick if kept else yardstick | {"verdict": told["verdict"], "held_against": told["parent"]}
    except KeyError as error:
        path = model if error.args[0] == "fitted_on" else which
        raise UserError(f"{path}: the key {error} is missing; delete the file and run the workflow again.") from None


def read_json(path: str | Path) -> dict[str, Any]:
    """Read a JSON file that the workflow made.

    Raises
    ------
    UserError
        If it is missing or no JSON.
    """
    try:
        found: dict[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise UserError(f"{path}: the file is missing; run the workflow again, it makes it.") from None
    except ValueError:
        raise UserError(f"{path}: is no JSON; delete it and run the workflow again.") from None
    return found


def read_chart(path: str | Path) -> dict[str, Any]:
    """Read the curves and maps that the benchmark step made for the figures.

    Parameters
    ----------
    path : str or Path
        The JSON file.

    Returns
    -------
    dict
        Keys `study`, `quarter`, `speeds_mph`, `efficient_carry_yd`, `efficient_lo90_yd`, `efficient_hi90_yd`
        (lists of one length, null where a speed is not supported) and `bands`, one entry per band with the grid
        of `launch_deg` and `spin_rpm`, `expected_carry_yd` and `supported` (rows: launch, columns: spin),
        `window` and `efficient_carry_yd`.

    Raises
    ------
    UserError
        If the file is missing, is no JSON or lacks a key.
    """
    chart = read_json(path)
    wanted = ("study", "quarter", "speeds_mph", "efficient_carry_yd", "efficient_lo90_yd", "efficient_hi90_yd", "bands")
    lacking = [key for key in wanted if key not in chart]
    if lacking:
        raise UserError(f"{path}: the key {lacking[0]!r} is missing; delete the file and run the workflow again.")
    return chart
