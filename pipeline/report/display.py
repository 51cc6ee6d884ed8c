"""Tables as people read them: units in the headers, figures rounded, empty cells a dash.

Labels, units and steps come from the tables' schemas, the rounding from `pipeline.shown`. Files of the pipeline hold
full floats; rounding is for display alone.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

import dataframely as dy
import great_tables as gt
import numpy as np
import polars as pl
from markupsafe import Markup, escape

from pipeline.markdown import markdown_lines
from pipeline.shown import inward, rounded
from pipeline.tables.columns import ColumnFacts, facts_of

EMPTY = "\N{EN DASH}"

# What a column of a shown table is made of: a column of the schema; the low and the high end of an interval; a figure
# with its interval, in one cell; or figures as text under a heading of their own.
Item = str | tuple[str, str] | tuple[str, str, str] | pl.Expr


@dataclass(frozen=True)
class ShownTable:
    """A table as text.

    Attributes
    ----------
    table : polars.DataFrame
        Text columns by their headings.
    text : tuple of str
        Headings of columns that are set to the left; the others hold figures and are set to the right.
    spanners : mapping
        For a heading above several columns: their own headings, and what is left of them below it.
    cells : mapping of str to callable
        What makes HTML of an escaped cell, by heading.
    """

    table: pl.DataFrame
    text: tuple[str, ...] = ()
    spanners: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    cells: Mapping[str, Callable[[str], str]] = field(default_factory=dict)

    def without(self, *headings: str) -> "ShownTable":
        """Leave columns out."""
        kept = tuple(name for name in self.text if name not in headings)
        return replace(self, table=self.table.drop(headings), text=kept)


def show(table: pl.DataFrame, schema: type[dy.Schema], items: Iterable[Item], *, short: bool = False) -> ShownTable:
    """Turn columns of a table into text for display.

    Parameters
    ----------
    table : DataFrame
        Columns of `schema`; the types may be others, as where a column of words was replaced by other words.
    schema : type of dataframely.Schema
    items : iterable of Item
        What to show, in this order.
    short : bool
        Whether columns are headed by their short labels, where what stands around the table says the rest.

    Returns
    -------
    ShownTable
        One row per row of `table`.
    """
    facts = facts_of(schema)
    columns: list[pl.Series | pl.Expr] = []
    text: list[str] = []
    spanners: dict[str, dict[str, str]] = {}
    for item in items:
        if isinstance(item, pl.Expr):
            columns.append(item)
            continue
        name = item if isinstance(item, str) else item[0]
        one = facts[name]
        heading = one.with_unit(_label(one, item, short=short))
        columns.append(_cells(table, facts, item).alias(heading))
        if isinstance(item, str) and not one.is_number:
            text.append(heading)
        if one.display.group:
            spanners.setdefault(one.with_unit(one.display.group), {})[heading] = one.short
    return ShownTable(table.select(columns), tuple(text), spanners)


def _label(facts: ColumnFacts, item: str | tuple[str, ...], *, short: bool) -> str:
    if not isinstance(item, str) and len(item) == 2:
        return facts.display.interval
    return facts.short if short else facts.display.label


def _cells(table: pl.DataFrame, facts: Mapping[str, ColumnFacts], item: str | tuple[str, ...]) -> pl.Series:
    if isinstance(item, str):
        return _column(table, facts[item])
    *figure, low, high = item
    one = facts[figure[0] if figure else low]
    known = table[low].is_not_null() & table[high].is_not_null()
    if one.display.inward:
        known, ends = _inward(table[low], table[high], one)
    else:
        ends = (as_shown(table[low], one), as_shown(table[high], one))
    spread = pl.format("{} to {}", *(pl.lit(end) for end in ends))
    if figure:
        value = pl.lit(as_shown(table[figure[0]], one))
        spread, missing = pl.format("{} ({})", value, spread), value
    else:
        missing = pl.lit(EMPTY)
    return table.select(pl.when(known).then(spread).otherwise(missing).alias(low)).to_series()


def _inward(low: pl.Series, high: pl.Series, facts: ColumnFacts) -> tuple[pl.Series, tuple[pl.Series, pl.Series]]:
    """Write the ends of ranges, rounded into them; say which have both."""
    ends = [
        None if None in pair else inward(*pair, facts.step) for pair in zip(low.to_list(), high.to_list(), strict=True)
    ]
    first, last = (
        as_shown(pl.Series([None if pair is None else pair[k] for pair in ends], dtype=pl.Float64), facts)
        for k in (0, 1)
    )
    return pl.Series([pair is not None for pair in ends], dtype=pl.Boolean), (first, last)


def _column(table: pl.DataFrame, facts: ColumnFacts) -> pl.Series:
    column = table[facts.name]
    if column.dtype == pl.Boolean:
        return table.select(pl.when(facts.name).then(pl.lit("yes")).otherwise(pl.lit("no"))).to_series()
    if facts.is_number:
        return as_shown(column, facts)
    return column.cast(pl.String).fill_null("")


def as_shown(column: pl.Series, facts: ColumnFacts) -> pl.Series:
    """Write a column's figures as its schema says."""
    figures = 100 * column if facts.display.percent else column
    written = as_number(figures, facts.decimals, trim=facts.display.trim, step=facts.step)
    return grouped(written) if facts.unit == "rpm" else written


def as_number(column: pl.Series, decimals: int, *, trim: bool = False, step: float | None = None) -> pl.Series:
    """Write numbers as text, rounded to a step, without one to `decimals`; `trim` drops trailing zeros."""
    values = column.cast(pl.Float64).to_numpy()
    if trim:
        written = np.char.mod("%g", values)
    else:
        written = np.char.mod(f"%.{decimals}f", rounded(values, 10.0**-decimals if step is None else step))
    return pl.Series(column.name, np.where(np.isnan(values), EMPTY, written).astype(object), dtype=pl.String)


def grouped(written: pl.Series) -> pl.Series:
    """Put a comma before the thousands of whole numbers from 0 to 999,999."""
    return written.str.replace(r"^(-?\d{1,3})(\d{3})$", "$1,$2")


def markdown_table(shown: ShownTable) -> str:
    """Write a shown table in markdown, in lines that are each ended."""
    figures = [name for name in shown.table.columns if name not in shown.text]
    return markdown_lines(shown.table.columns, shown.table.iter_rows(), figures)


def tables_markup(tables: Mapping[str, ShownTable]) -> dict[str, Markup]:
    """Write the tables of a page as HTML, by name; one without rows is an empty text, which a template can ask for."""
    # Markup is right here: html_table escapes every cell.
    return {
        name: Markup(html_table(_without_blanks(shown), table_id=f"{name}-table")) if shown.table.height else Markup("")
        for name, shown in tables.items()
    }


def _without_blanks(shown: ShownTable) -> ShownTable:
    """Leave out columns of text, such as notes, in which no cell says anything."""
    return shown.without(*(name for name in shown.text if (shown.table[name] == "").all()))


def html_table(shown: ShownTable, *, table_id: str) -> str:
    """Write a shown table as HTML; every cell is escaped.

    Parameters
    ----------
    shown : ShownTable
    table_id : str
        Id of the table in the page; a given one keeps the page the same on every run.
    """
    table = shown.table
    made = (
        gt.GT(table, id=table_id)
        .cols_align("left", [name for name in table.columns if name in shown.text])
        .cols_align("right", [name for name in table.columns if name not in shown.text])
        .tab_options(
            table_font_size="13px",
            column_labels_font_weight="600",
            data_row_padding="3px",
            data_row_padding_horizontal="9px",
            column_labels_padding_horizontal="9px",
            table_margin_left="0",
        )
    )
    for heading, labels in shown.spanners.items():
        made = made.tab_spanner(heading, list(labels)).cols_label(dict(labels))
    for name, write in shown.cells.items():
        made = made.fmt(_on_escaped(write), columns=name)
    return str(made.as_raw_html())


def _on_escaped(write: Callable[[str], str]) -> Callable[[str], str]:
    # The library doesn't escape a cell that has a writer of its own.
    return lambda value: write(str(escape(value)))
