"""Describe every column that goes in or comes out, from the schemas: `python docs/make/columns_page.py`.

It prints docs/columns.md.
"""

from collections.abc import Iterator

from pipeline.markdown import markdown_lines
from pipeline.tables.columns import ColumnFacts, Table, facts_of
from pipeline.tables.logs import LOG_COLUMNS, OF_LOGS, REQUIRED, WANTED, Shots
from pipeline.tables.practice import OF_SPEED_LOGS, SWING_COLUMNS, SWING_REQUIRED, Swings
from pipeline.tables.registry import tables
from pipeline.units import UNITS

DATABASE = "shots.duckdb"
HEAD = """\
# Columns

What goes into a study and what comes out of it, column by column. This page follows from the schemas in
`pipeline/tables/`; after a change there, make it again:

```sh
python docs/make/columns_page.py > docs/columns.md
```

Files hold full figures; pages and workbooks round them. Shares and probabilities are stored from 0 to 1. In csv files
true and false are words, days are written 2026-07-31, and what is not known is an empty cell.
"""
IN_LOGS = """\
A log's own headers and units may be others: a layout names them (`docs/configuration.md`). Rows outside the bounds are
rejected. Any other column is dropped before anything is stored.
"""
IN_UNITS = """\
What a layout may give as `unit` of a column, by the unit at the end of the column's name. A figure in the standard unit
is the figure in the log times the factor, plus the offset.
"""


def document() -> str:
    """Write the page."""
    parts = [
        HEAD,
        "## Shot logs\n",
        IN_LOGS,
        _log_table(LOG_COLUMNS, Shots, OF_LOGS, REQUIRED, WANTED),
        "## Speed logs\n",
        "Logs of swings without a ball.\n",
        _log_table(SWING_COLUMNS, Swings, OF_SPEED_LOGS, SWING_REQUIRED, ()),
        "## Units of logs\n",
        IN_UNITS,
        markdown_lines(("standard unit", "unit", "factor", "offset"), _unit_rows(), ("factor", "offset")),
        "## Results\n",
        "Files under `results/<study>/`, by path.\n",
        *(part for table in sorted(tables(), key=_place) for part in _table_parts(table)),
    ]
    return "\n".join(parts)


def _log_table(
    names: tuple[str, ...],
    table: type[Table],
    alone: dict[str, str],
    required: tuple[str, ...],
    wanted: tuple[str, ...],
) -> str:
    headings = ("column", "label", "needed", "unit", "values", "meaning")
    facts = facts_of(table)
    needs = {**dict.fromkeys(wanted, "wanted"), **dict.fromkeys(required, "required")}
    rows = []
    for name in names:
        needed, one = needs.get(name, "optional"), facts.get(name)
        if name in alone:
            rows.append((f"`{name}`", "", needed, "", "", alone[name]))
        elif one is not None:
            rows.append((f"`{name}`", one.display.label, needed, one.unit, one.values, one.note))
    return markdown_lines(headings, rows)


def _unit_rows() -> Iterator[tuple[str, str, str, str]]:
    for units in UNITS.values():
        standard = next(iter(units))
        for name, unit in units.items():
            if name != standard:
                yield standard, name, f"{unit.factor:.10g}", f"{unit.offset:.10g}"


def _place(table: type[Table]) -> tuple[str, ...]:
    return table.FILES or (DATABASE, table.STORED)


def _table_parts(table: type[Table]) -> Iterator[str]:
    where = ", ".join(f"`{file}`" for file in table.FILES or (DATABASE,))
    kind = "table" if table.FILES else "view"
    stored = f", {kind} `{table.STORED}`" if table.STORED and all(f.endswith(".duckdb") for f in table.FILES) else ""
    also = f" Also the table `{table.STORED}` of `shots.duckdb`." if table.STORED and not stored else ""
    yield f"### {where}{stored}\n"
    yield f"{_about(table)} One row per {table.ROW}.{also}\n"
    headings = ("column", "label", "type", "unit", "values", "empty", "meaning")
    yield markdown_lines(headings, (_result_row(facts) for facts in facts_of(table).values()))


def _about(table: type[Table]) -> str:
    return " ".join((table.__doc__ or "").split())


def _result_row(facts: ColumnFacts) -> tuple[str, ...]:
    # The figures in files: a share is shown in percent, but stored without a unit.
    unit = "" if facts.display.percent else facts.unit
    empty = "may be" if facts.nullable else ""
    return f"`{facts.name}`", facts.display.label, facts.kind, unit, facts.values, empty, facts.note


if __name__ == "__main__":
    print(document(), end="")
