"""What a draft is made of: choices, each with its options and how sure it is (pure)."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from pipeline.collect.drafting.shape import Kind
from pipeline.configuration.layouts import Layout
from pipeline.tables.logs import BY_HAND_REQUIRED, LOG_COLUMNS, REQUIRED, WANTED

# What results by hand don't have.
FLIGHT = tuple(name for name in REQUIRED if name not in BY_HAND_REQUIRED)

# How people write the parts of a time.
_SHOWN = {
    "d": "DD", "m": "MM", "Y": "YYYY", "y": "YY", "b": "month", "H": "hh", "I": "hh", "M": "mm", "S": "ss",
    "p": "AM/PM", ".f": ".fraction", "z": "offset",
}  # fmt: skip


class Place(NamedTuple):
    """Where a standard column may come from, as a layout has it."""

    source: str
    unit: str | None = None
    form: str | None = None

    def as_layout(self) -> dict[str, str]:
        """Give it as a layout has it."""
        parts = {"from": self.source, "unit": self.unit, "format": self.form}
        return {name: part for name, part in parts.items() if part is not None}

    def text(self) -> str:
        """Say it in a few words."""
        form = (
            None if self.form is None else re.sub(r"%(\.f|[a-zA-Z])", lambda one: _SHOWN.get(one[1], one[0]), self.form)
        )
        return ", ".join([repr(self.source), *(part for part in (self.unit, form) if part is not None)])


@dataclass(frozen=True)
class Choice:
    """Where a standard column comes from.

    Attributes
    ----------
    options : tuple of Place
        The likeliest first. A sure choice has one.
    sure : bool
    why : str
        A clause: by what it is sure, or why it isn't.
    """

    options: tuple[Place, ...]
    sure: bool
    why: str


@dataclass(frozen=True)
class RowsChoice:
    """Which rows are taken, where a log has a column of clubs.

    Attributes
    ----------
    column : str
    take : tuple of str
        The words for the driver.
    doubtful : tuple of str
        Words that may be the driver's, as far as anybody knows.
    """

    column: str
    take: tuple[str, ...]
    doubtful: tuple[str, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether nothing is left to ask."""
        return bool(self.take) and not self.doubtful


@dataclass(frozen=True)
class Draft:
    """A drafted layout.

    Attributes
    ----------
    kind, delimiter, encoding, decimal, thousands, skip_rows, skip_after_header
        As in a layout.
    columns : dict of str to Choice
        Standard column: where it comes from.
    rows : RowsChoice or None
    join : dict of str to tuple of str
        Columns that stand in parts: the name of each, with its parts.
    zone_open : bool
        Whether its times have no offset, so that a person may name the zone.
    timezone : str or None
        The zone that a person named.
    notes : tuple of str
        What else a person should know, a sentence each.
    flight_said : bool
        Whether a header speaks of launch or spin.
    sheet : str or None
        The sheet of a workbook that is drafted, unless it is the first.
    sheets : tuple of str
        Other sheets that may hold drives, so that a person must say which it is.
    """

    kind: Kind
    delimiter: str
    encoding: str
    decimal: str
    thousands: str | None
    skip_rows: int
    skip_after_header: int
    columns: dict[str, Choice] = field(default_factory=dict)
    rows: RowsChoice | None = None
    join: dict[str, tuple[str, ...]] = field(default_factory=dict)
    zone_open: bool = False
    timezone: str | None = None
    notes: tuple[str, ...] = ()
    flight_said: bool = True
    sheet: str | None = None
    sheets: tuple[str, ...] = ()

    @property
    def by_hand(self) -> bool:
        """Whether these are results by hand, as far as is decided: nothing is surely launch or spin."""
        return not self.flight_said and not any(name in self.columns and self.columns[name].sure for name in FLIGHT)

    def undecided(self) -> list[str]:
        """List the columns that a run needs or wants and that a person must decide, in the order of the columns."""
        needed = (*REQUIRED, *WANTED)
        return [name for name in needed if name in self.columns and not self.columns[name].sure]

    def missing(self) -> list[str]:
        """List the required columns that nothing in the log looks like."""
        return [name for name in (BY_HAND_REQUIRED if self.by_hand else REQUIRED) if name not in self.columns]

    def decided(self, column: str, place: Place | None) -> "Draft":
        """Give the draft with a person's word on a column; None leaves the column out."""
        columns = {name: choice for name, choice in self.columns.items() if name != column}
        if place is not None:
            columns[column] = Choice((place,), True, "you said so")
        return replace(self, columns={name: columns[name] for name in LOG_COLUMNS if name in columns})

    def with_sheet(self, sheet: str) -> "Draft":
        """Give the draft with a person's word on the sheet to take."""
        return replace(self, sheet=sheet, sheets=())

    def with_rows(self, take: Sequence[str]) -> "Draft":
        """Give the draft with a person's word on the rows to take."""
        assert self.rows is not None
        return replace(self, rows=replace(self.rows, take=tuple(take), doubtful=()))

    def raw_layout(self) -> dict[str, Any]:
        """Give what is sure, as the keys of a layout; keys at their default are left out."""
        keys: dict[str, Any] = {}
        if self.kind == "text":
            keys = {"delimiter": self.delimiter, "encoding": self.encoding}
        if self.kind != "parquet":
            keys |= {"decimal": self.decimal, "thousands": self.thousands}
            keys |= {"skip_rows": self.skip_rows, "skip_after_header": self.skip_after_header}
        given = {name: value for name, value in keys.items() if value != Layout.model_fields[name].default}
        if self.sheet is not None:
            given["sheet"] = "" if self.sheets else self.sheet
        if self.timezone is not None:
            given["timezone"] = self.timezone
        if self.join:
            given["join"] = {name: list(parts) for name, parts in self.join.items()}
        if self.rows is not None:
            given["rows"] = {"column": self.rows.column, "take": list(self.rows.take) if self.rows.sure else []}
        given["columns"] = {name: choice.options[0].as_layout() for name, choice in self.columns.items() if choice.sure}
        return given
