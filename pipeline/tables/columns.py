"""How a column is declared: type, bounds, label, decimals and note, once; everything that shows it asks `facts_of`.

The unit follows from the column's name (`pipeline.units.unit_of`). The functions below make the columns that most
tables are built of; those that give several are unpacked to as many names.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any, ClassVar

import dataframely as dy
import polars as pl

from pipeline.shown import ANGLE_STEP_DEG, SPIN_STEP_RPM
from pipeline.units import unit_of

# Decimals of a figure by its unit, and the step where one is coarser than its last digit; `pipeline.shown` says why.
# A column may ask for more: an average of many golfers is better known than one golfer's figure, and a quarter's change
# of club speed is some tenths of a mph.
DECIMALS = {"yd": 0, "deg": 1, "rpm": 0, "mph": 0, "%": 0}
STEPS = {"deg": ANGLE_STEP_DEG, "rpm": SPIN_STEP_RPM}
# Levels at which percentiles of golfers are given.
PERCENTILES = (25, 50, 75, 90)


class Table(dy.Schema):
    """A table of Yardband, and which files hold it, each a path under the results with one row per `ROW`.

    `STORED` is the table's name in shots.duckdb, if it is there. A table without a file is a view there.
    """

    FILES: ClassVar[tuple[str, ...]] = ()
    ROW: ClassVar[str] = ""
    STORED: ClassVar[str] = ""


@dataclass(frozen=True)
class Display:
    """What a column shows besides its type and note.

    Attributes
    ----------
    label : str
        What people call it, without unit.
    decimals : int or None
        None: those of its unit.
    short : str
        Label where something beside it says the rest. Empty: the label.
    group : str
        Heading above several columns that stand together, each by its short label.
    interval : str
        For the low end of an interval: label of the whole of it.
    percent : bool
        Whether a share from 0 to 1 is shown in percent.
    trim : bool
        Whether zeros at the end are left out.
    tiny : bool
        Whether a figure below the last digit is shown as less than it.
    inward : bool
        For both ends of a range: whether they are rounded into it, as those of a window are.
    """

    label: str
    decimals: int | None = None
    short: str = ""
    group: str = ""
    interval: str = ""
    percent: bool = False
    trim: bool = False
    tiny: bool = False
    inward: bool = False


@dataclass(frozen=True)
class ColumnFacts:
    """A column as `facts_of` gives it.

    Attributes
    ----------
    name : str
    kind : str
        Such as `number` or `text`.
    unit : str
        Of the figures as they are shown; empty if there is none.
    decimals : int
        For display.
    step : float
        What figures are rounded to for display, such as 50.
    values : str
        Bounds or words, in words.
    nullable : bool
    note : str
        What it means.
    display : Display
    """

    name: str
    kind: str
    unit: str
    decimals: int
    step: float
    values: str
    nullable: bool
    note: str
    display: Display

    @property
    def heading(self) -> str:
        """Label with unit."""
        return self.with_unit(self.display.label)

    @property
    def short(self) -> str:
        """Short label, or the label if there is none."""
        return self.display.short or self.display.label

    @property
    def is_number(self) -> bool:
        """Whether it holds figures."""
        return self.kind in ("number", "whole number")

    def with_unit(self, text: str) -> str:
        """Put the unit behind a text."""
        return f"{text}, {self.unit}" if self.unit else text


class Pseudonym(dy.String):
    """A column of texts, which may have a type that puts them in an order: see `pipeline.edge.drives_file`."""

    def validate_dtype(self, dtype: Any) -> bool:
        """Say whether a column of this type may stand here."""
        return isinstance(dtype, pl.Enum) or super().validate_dtype(dtype)


_KINDS: dict[type[dy.Column], str] = {
    dy.Float64: "number",
    dy.Int64: "whole number",
    dy.String: "text",
    Pseudonym: "text",
    dy.Bool: "true or false",
    dy.Enum: "word",
    dy.Date: "day",
}


@cache
def facts_of(schema: type[dy.Schema]) -> dict[str, ColumnFacts]:
    """Give what a table declares of its columns, by name in their order.

    Raises
    ------
    TypeError
        If a column was declared without the functions of this module, so that it has no label or no note.
    """
    return {name: _facts(schema.__name__, name, column) for name, column in schema.columns().items()}


def _facts(table: str, name: str, column: dy.Column) -> ColumnFacts:
    display = (column.metadata or {}).get("display")
    if not isinstance(display, Display) or not column.description:
        raise TypeError(f"{table}.{name} has no label or note; declare it by a function of pipeline.tables.columns")
    unit = "%" if display.percent else unit_of(name)
    given = display.decimals
    decimals = DECIMALS.get(unit, 0) if given is None else given
    step = STEPS.get(unit, 10.0**-decimals) if given is None else 10.0**-decimals
    kind = _KINDS[type(column)]
    note = column.description
    return ColumnFacts(name, kind, unit, decimals, step, values_of(column), column.nullable, note, display)


def heading_of(schema: type[dy.Schema], name: str) -> str:
    """Give a column's label with its unit."""
    return facts_of(schema)[name].heading


def column_comments(schema: type[dy.Schema]) -> dict[str, str]:
    """Give a comment for each column of a database table: label and unit, then what it means."""
    return {name: f"{facts.heading}: {facts.note}" for name, facts in facts_of(schema).items()}


def values_of(column: dy.Column) -> str:
    """Say which values a column may have; empty if any of its type."""
    if isinstance(column, dy.Enum):
        return ", ".join(column.categories)
    low, high = getattr(column, "min", None), getattr(column, "max", None)
    if low is not None and high is not None:
        return f"{_plain(low)} to {_plain(high)}"
    if low is not None or high is not None:
        return f"at least {_plain(low)}" if high is None else f"at most {_plain(high)}"
    regex = getattr(column, "regex", None)
    return f"matches {regex}" if regex else ""


def _plain(bound: Any) -> str:
    return bound.isoformat() if isinstance(bound, date) else f"{bound:,}" if isinstance(bound, int) else f"{bound:g}"


def _shown(label: str, **more: Any) -> dict[str, Any]:
    return {"display": Display(label, **more)}


def number(
    label: str,
    note: str,
    *,
    decimals: int | None = None,
    nullable: bool = False,
    primary_key: bool = False,
    min: float | None = None,
    max: float | None = None,
    **display: Any,
) -> dy.Float64:
    """Declare a column of figures; `display` are other fields of `Display`."""
    shown = _shown(label, decimals=decimals, **display)
    return dy.Float64(
        nullable=nullable, primary_key=primary_key, min=min, max=max, description=note, metadata=shown
    )  # fmt: skip


def share(label: str, note: str, *, decimals: int = 0, nullable: bool = False, **display: Any) -> dy.Float64:
    """Declare a column of shares from 0 to 1, shown in percent."""
    return number(label, note, decimals=decimals, nullable=nullable, min=0, max=1, percent=True, **display)


def probability(label: str, note: str, *, nullable: bool = True) -> dy.Float64:
    """Declare a column of p or q values."""
    return number(label, note, decimals=4, nullable=nullable, min=0, max=1, tiny=True)


def count(
    label: str, note: str, *, nullable: bool = False, primary_key: bool = False, min: int = 0, max: int | None = None
) -> dy.Int64:
    """Declare a column of whole numbers."""
    return dy.Int64(
        nullable=nullable, primary_key=primary_key, min=min, max=max, description=note, metadata=_shown(label)
    )


def text(
    label: str, note: str, *, nullable: bool = False, primary_key: bool = False, regex: str | None = None
) -> dy.String:
    """Declare a column of texts."""
    return dy.String(nullable=nullable, primary_key=primary_key, regex=regex, description=note, metadata=_shown(label))


def word(label: str, note: str, words: Sequence[str], *, nullable: bool = False, primary_key: bool = False) -> dy.Enum:
    """Declare a column that holds one of some words."""
    return dy.Enum(list(words), nullable=nullable, primary_key=primary_key, description=note, metadata=_shown(label))


def flag(label: str, note: str, *, nullable: bool = False) -> dy.Bool:
    """Declare a column of yes and no."""
    return dy.Bool(nullable=nullable, description=note, metadata=_shown(label))


def day(
    label: str,
    note: str,
    *,
    nullable: bool = False,
    primary_key: bool = False,
    min: date | None = None,
    max: date | None = None,
) -> dy.Date:
    """Declare a column of calendar days."""
    return dy.Date(
        nullable=nullable, primary_key=primary_key, min=min, max=max, description=note, metadata=_shown(label)
    )


def interval(label: str, note: str, *, nullable: bool = True, **display: Any) -> tuple[dy.Float64, dy.Float64]:
    """Declare the low and the high end of something that is shown as `low to high`; `note` follows what an end is."""
    of = f"end of the {label[0].lower()}{label[1:]}: {note}"
    low = number(f"{label}, low end", f"Low {of}", nullable=nullable, interval=label, **display)
    return low, number(f"{label}, high end", f"High {of}", nullable=nullable, **display)


def ends(
    label: str, *, nullable: bool = True, why_empty: str = "", level: str = "90 % interval", **display: Any
) -> tuple[dy.Float64, dy.Float64]:
    """Declare the low and the high end of the interval of the figure called `label`."""
    low, high = (
        number(
            f"{label}, {end} end of the {level}",
            f"{end.capitalize()} end of the {level} of {label[0].lower()}{label[1:]}.{why_empty and ' '}{why_empty}",
            nullable=nullable,
            interval=f"{label}, {level}" if end == "low" else "",
            **display,
        )
        for end in ("low", "high")
    )
    return low, high


def estimate(
    label: str,
    note: str,
    *,
    nullable: bool = True,
    why_empty: str = "",
    level: str = "90 % interval",
    short: str = "",
    **display: Any,
) -> tuple[dy.Float64, dy.Float64, dy.Float64]:
    """Declare a figure and the two ends of its interval, which are empty where `why_empty` says."""
    figure = number(label, note, nullable=nullable, short=short, **display)
    return figure, *ends(label, nullable=nullable, why_empty=why_empty, level=level, **display)


def percentiles(label: str, note: str) -> tuple[dy.Float64, dy.Float64, dy.Float64, dy.Float64]:
    """Declare the four percentiles of `PERCENTILES` over golfers; `note` follows how many stay below."""
    below = {25: "A quarter", 50: "Half", 75: "Three quarters", 90: "9 in 10"}
    first, second, third, fourth = (
        number(
            f"{label}, {p}th percentile",
            f"{below[p]} of the golfers stay below it. {note}",
            nullable=True,
            short=f"{p}th percentile",
            group=label,
        )
        for p in PERCENTILES
    )
    return first, second, third, fourth


def pseudonym(*, primary_key: bool = True, regex: str | None = None) -> dy.String:
    """Declare the column `golfer`."""
    note = "Pseudonym. Only the academy, with its key, can turn it into a name."
    return Pseudonym(primary_key=primary_key, regex=regex, description=note, metadata=_shown("Golfer"))


def quarter(*, primary_key: bool = False, regex: str | None = None) -> dy.String:
    """Declare the column `quarter`."""
    return text("Quarter", "Calendar quarter, such as 2026Q3.", primary_key=primary_key, regex=regex)


def note(about: str = "Why something is missing, or what to keep in mind.", *, nullable: bool = True) -> dy.String:
    """Declare the column `note`."""
    return text("Note", about, nullable=nullable)


def source(*, primary_key: bool = False) -> dy.String:
    """Declare the column `source`."""
    return text("Log", "Log file, by its path inside the study folder.", primary_key=primary_key)


def row(*, primary_key: bool = False) -> dy.Int64:
    """Declare the column `row`."""
    return count("Row", "Row in the log; the first under the header is 1.", primary_key=primary_key, min=1)
