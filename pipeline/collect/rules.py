"""Which rows are drives and which are not: accepted rows, and rejected ones with the rule they broke (pure)."""

from datetime import date
from functools import cache
from typing import NamedTuple

import polars as pl

from pipeline.tables.logs import COLUMN_OF_RULE, REQUIRED, Rejects, Shots

# The standard column that a derived one is charged to.
_CHARGED = {"struck_on": "struck_at"}
# Days beyond the schema's bound break that bound.
_LAST_DAY = date(2099, 12, 31)
_COLUMNS = list(Shots.columns())
AHEAD = "in_the_future"  # the rule that a later day may no longer find broken
_BOUNDS = {"min": "too_low", "max": "too_high"}


class Split(NamedTuple):
    """A log's rows, told apart."""

    accepted: pl.DataFrame
    """Schema Shots."""
    rejected: pl.DataFrame
    """Schema Rejects."""
    readings: pl.DataFrame | None = None
    """Schema Readings, of the drives; None where no further columns are read."""


def split(rows: pl.DataFrame, last_day: date = date.max, schema: type[Shots] = Shots) -> Split:
    """Split standardised, masked rows into drives and rejected rows.

    A rejected row is charged with the first rule it breaks, in this order: text that can't be understood, a time in
    the future, a required value that is missing, a bound (in the order of the columns), a rule across columns.

    Parameters
    ----------
    rows : pl.DataFrame
        The columns of Shots, and `fault_rule` and `fault_column` (null where all text was understood).
    last_day : date
        A later shot lies in the future.
    schema : type of Shots
        What accepted rows are.

    Returns
    -------
    Split
        Accepted and rejected rows; together they are all of `rows`.

    Raises
    ------
    RuntimeError
        If a row breaks a rule that no fault of a log can break, such as the form of a pseudonym: a bug.
    """
    ahead = pl.col("fault_rule").is_null() & pl.col("struck_on").is_between(last_day, _LAST_DAY, closed="right")
    rows = rows.with_columns(
        fault_rule=pl.when(ahead).then(pl.lit(AHEAD)).otherwise("fault_rule"),
        fault_column=pl.when(ahead).then(pl.lit("struck_at")).otherwise("fault_column"),
    )
    unread = rows.filter(pl.col("fault_rule").is_not_null())
    understood = rows.filter(pl.col("fault_rule").is_null()).select(_COLUMNS)
    accepted, failure = schema.filter(understood)
    if not unread.height and not len(failure):
        return Split(accepted, Rejects.create_empty())
    details = failure.details()
    charges = _charges(tuple(details.columns))
    broken = [pl.when(pl.col(name) == "invalid").then(pl.lit(rule)) for name, rule, _ in charges]
    where = [pl.when(pl.col(name) == "invalid").then(pl.lit(column)) for name, _, column in charges]
    charged = details.select("source", "row", pl.coalesce(broken).alias("rule"), pl.coalesce(where).alias("column"))
    if charged["rule"].null_count():
        raise RuntimeError("a row broke a rule that no log can break")
    unread = unread.select("source", "row", pl.col("fault_rule").alias("rule"), pl.col("fault_column").alias("column"))
    return Split(accepted, Rejects.validate(pl.concat([unread, charged]).sort("row")))


@cache
def _charges(columns: tuple[str, ...]) -> list[tuple[str, str, str]]:
    """List dataframely's rule columns in our order, with our name of the rule and the column it is charged to."""
    charges = []
    for name in REQUIRED:
        derived = "struck_on" if name == "struck_at" else name
        charges.append((f"{derived}|nullability", "missing", name))
    for name in _COLUMNS:
        charges += [(f"{name}|{end}", rule, _CHARGED.get(name, name)) for end, rule in _BOUNDS.items()]
    charges += [(rule, rule, column) for rule, column in COLUMN_OF_RULE.items()]
    return [charge for charge in charges if charge[0] in columns]
