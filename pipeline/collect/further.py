"""Further columns of the logs, which a study names as regressors: read as numbers, refused where they identify golfers.

They reject no drive: a cell that is no number counts as missing.
"""

import difflib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from pipeline.collect.layout import Matched, numbers_of
from pipeline.configuration.layouts import Layout
from pipeline.tables.logs import LONG_NUMBER, OPTIONAL_NUMBERS, Readings
from pipeline.tables.types import types_of

# A column names golfers where, of those with this many values or more, nearly all have one value of their own.
LEAST_VALUES = 3
LEAST_GOLFERS = 5  # of these; fewer show no pattern
NEARLY_ALL = 0.9

IN_BATCHES = "further:"  # before a regressor's name among the columns of a batch, which have names of their own

LONG_SHARE = 0.1  # of a column's numbers that are long whole ones, and it holds identifiers


def places_of(headers: Sequence[str], layout: Layout, regressors: Iterable[str], matched: Matched) -> dict[str, int]:
    """Find the columns of regressors in a log, by the layout's header or their own name.

    A header that a standard column takes, or that appears twice, is none of them.

    Returns
    -------
    dict of str to int
        Regressor: its position in the log; those that the log lacks are absent.
    """
    names, taken = [header.strip() for header in headers], set(matched.positions.values())
    found = {}
    for regressor in regressors:
        wanted = layout.columns[regressor].source if regressor in layout.columns else regressor
        if names.count(wanted) == 1 and names.index(wanted) not in taken:
            found[regressor] = names.index(wanted)
    return found


@dataclass
class Further:
    """What a log says in the columns of regressors, gathered piece by piece.

    Attributes
    ----------
    names : tuple of str
        Of the regressors that the log has.
    layout : Layout
    typed_as_text : bool
        As for `standardise`.
    """

    names: tuple[str, ...]
    layout: Layout
    typed_as_text: bool
    _wrong: dict[str, int] = field(default_factory=dict)
    _golfers: list[pl.DataFrame] = field(default_factory=list)

    def take(self, raw: pl.DataFrame, accepted: pl.DataFrame) -> pl.DataFrame:
        """Take the next piece, its cells and its accepted drives; give their numbers, as `Readings` has them."""
        if not self.names:
            return no_readings()
        cells = raw.select("row", *(pl.col(f"{IN_BATCHES}{name}").alias(name) for name in self.names))
        numbers, wrong = numbers_of(cells, self.names, self.layout, self.typed_as_text)
        keys = accepted.select("source", "row", "golfer")
        for name, count in (
            keys.select("row").join(wrong, on="row").select(pl.col(self.names).sum()).row(0, named=True).items()
        ):
            self._wrong[name] = self._wrong.get(name, 0) + int(count)
        drives = keys.join(numbers, on="row", maintain_order="left")
        each = (
            drives.select(*keys.columns, pl.lit(name).alias("column"), pl.col(name).alias("value"))
            for name in self.names
        )
        long = pl.concat(each).drop_nulls("value")
        self._golfers.append(by_golfer(long))
        return long.select(list(Readings.columns())).sort("row", "column")

    def counts(self) -> dict[str, dict[str, int]]:
        """Give of each regressor how many accepted drives have a number, and how many a cell that is none."""
        known = pl.concat([_NOBODY, *self._golfers]).group_by("column").agg(pl.col("values").sum())
        numbers = dict(known.iter_rows())
        return {
            name: {"numbers": int(numbers.get(name, 0)), "no_number": int(self._wrong.get(name, 0))}
            for name in self.names
        }

    def identifying(self) -> list[str]:
        """Say which regressors identify golfers; see `identifying`."""
        return identifying(pl.concat([_NOBODY, *self._golfers])) if self.names else []


_NOBODY = pl.DataFrame(
    schema={"column": pl.String, "golfer": pl.String, "values": pl.Int64, "low": pl.Float64, "high": pl.Float64,
            "long": pl.Int64}
)  # fmt: skip


def no_readings() -> pl.DataFrame:
    """Give the table `Readings` without rows."""
    return pl.DataFrame(schema=types_of(Readings))


def by_golfer(readings: pl.DataFrame) -> pl.DataFrame:
    """Sum up readings with their golfer: column, golfer, values, low, high, and long, the number of long whole ones."""
    value = pl.col("value")
    long = (value.abs() >= LONG_NUMBER) & (value == value.round())
    summed = readings.group_by("column", "golfer").agg(
        value.len().cast(pl.Int64).alias("values"), value.min().alias("low"), value.max().alias("high"),
        long.sum().cast(pl.Int64).alias("long"),
    )  # fmt: skip
    return summed.select(_NOBODY.columns).cast(_NOBODY.schema)


def identifying(golfers: pl.DataFrame) -> list[str]:
    """Say which columns identify golfers, a sentence each.

    Parameters
    ----------
    golfers : DataFrame
        As `by_golfer` gives it; a golfer may have several rows of a column.
    """
    summed = golfers.group_by("column", "golfer").agg(
        pl.col("values", "long").sum(), pl.col("low").min(), pl.col("high").max()
    )
    sentences = []
    for (column,), rows in sorted(summed.group_by("column"), key=lambda one: str(one[0])):
        long, values = (int(rows.get_column(name).sum()) for name in ("long", "values"))
        several = rows.filter(pl.col("values") >= LEAST_VALUES)
        constant = several.filter(pl.col("low") == pl.col("high"))
        if long >= LONG_SHARE * values:
            why = "holds whole numbers of 6 digits or more, as numbers of golfers do; scale it if it holds readings"
        elif (
            several.height >= LEAST_GOLFERS
            and constant.height >= NEARLY_ALL * several.height
            and constant.get_column("low").n_unique() >= NEARLY_ALL * several.height
        ):
            why = "is the same for all drives of a golfer and different between golfers, so it shows who hit them"
        else:
            continue
        sentences.append(f"study.yaml: model.regressors: {column!r} {why}. Leave it out; nothing of it is stored.")
    return sentences


def numbers_in(receipts: Iterable[Mapping[str, Any]], regressors: Sequence[str]) -> dict[str, int]:
    """Count the drives that have a number of each regressor, over the receipts of all logs."""
    found = [receipt["further"] for receipt in receipts]
    return {name: sum(log[name]["numbers"] for log in found if name in log) for name in regressors}


def unused_headers(receipts: Iterable[Mapping[str, Any]]) -> list[str]:
    """Give the headers of columns that aren't used, over the receipts of all logs."""
    return sorted({header for receipt in receipts for header in receipt["dropped"]})


def lacking(numbers: Mapping[str, int], headers: Collection[str]) -> list[str]:
    """Say which regressors no drive has a number of, a sentence each, with the header that is spelt most like it.

    Parameters
    ----------
    numbers : mapping of str to int
        Regressor: drives with a number, over all logs.
    headers : collection of str
        Of columns that aren't used. Standard columns of numbers may be meant too.
    """
    sentences = []
    for name, count in numbers.items():
        if count:
            continue
        meant = headers if name in OPTIONAL_NUMBERS else (*OPTIONAL_NUMBERS, *headers)
        folded = {header.casefold().replace(" ", "_"): header for header in meant}
        near = difflib.get_close_matches(name.casefold(), folded, n=1, cutoff=0.5)
        hint = f"; did you mean {folded[near[0]]!r}?" if near else "; correct the name, or leave it out."
        sentences.append(f"study.yaml: model.regressors: no drive has a number in {name!r}{hint}")
    return sentences
