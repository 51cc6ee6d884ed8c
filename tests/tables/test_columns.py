import importlib
import pkgutil
from collections import Counter
from datetime import date

import dataframely as dy
import pytest

import pipeline.tables
from pipeline.tables import columns as cols
from pipeline.tables.columns import column_comments, facts_of
from pipeline.tables.registry import by_file, tables


class Shown(cols.Table):
    carry_yd, carry_lo90_yd, carry_hi90_yd = cols.estimate("Carry", "Mean carry.", decimals=1, why_empty="Empty: few.")
    launch_lo_deg, launch_hi_deg = cols.interval("Launch window", "drives inside are good.", nullable=False)
    best_share = cols.share("Best", "Share of the best.")
    band_mph = cols.number("Band", "Its centre.", max=165, trim=True)
    shots = cols.count("Drives", "How many.", min=1)
    day = cols.day("Day", "When.", min=date(1990, 1, 1), max=date(2099, 12, 31))
    kind = cols.word("Kind", "Which.", ("long", "short"), nullable=True)
    key = cols.text("Key", "Its key.", regex="^k$")


def test_schema_is_what_its_columns_say():
    kinds = {name: type(column) for name, column in Shown.columns().items()}

    assert list(kinds) == [
        "carry_yd", "carry_lo90_yd", "carry_hi90_yd", "launch_lo_deg", "launch_hi_deg", "best_share", "band_mph",
        "shots", "day", "kind", "key",
    ]  # fmt: skip
    assert Counter(kinds.values()) == {
        dy.Float64: 7, dy.Int64: 1, dy.Date: 1, dy.Enum: 1, dy.String: 1,
    }  # fmt: skip
    assert [name for name, column in Shown.columns().items() if column.nullable] == [
        "carry_yd", "carry_lo90_yd", "carry_hi90_yd", "kind",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "heading", "decimals", "values"),
    [
        ("carry_yd", "Carry, yd", 1, ""),
        ("carry_hi90_yd", "Carry, high end of the 90 % interval, yd", 1, ""),
        ("launch_lo_deg", "Launch window, low end, deg", 1, ""),
        ("best_share", "Best, %", 0, "0 to 1"),
        ("band_mph", "Band, mph", 0, "at most 165"),
        ("shots", "Drives", 0, "at least 1"),
        ("day", "Day", 0, "1990-01-01 to 2099-12-31"),
        ("kind", "Kind", 0, "long, short"),
        ("key", "Key", 0, "matches ^k$"),
    ],
)
def test_facts_have_unit_decimals_and_bounds(name, heading, decimals, values):
    facts = facts_of(Shown)[name]

    assert (facts.heading, facts.decimals, facts.values) == (heading, decimals, values)


def test_steps_follow_from_the_unit_unless_a_column_asks_for_more():
    facts = facts_of(Shown)

    assert {name: facts[name].step for name in ("carry_yd", "launch_lo_deg", "best_share", "band_mph")} == {
        "carry_yd": 0.1, "launch_lo_deg": 0.5, "best_share": 1.0, "band_mph": 1.0,
    }  # fmt: skip
    assert facts_of(by_file()["golfers/golfers.csv"])["spin_rpm"].step == 50.0


def test_low_end_knows_what_the_whole_interval_is_called():
    labels = {name: facts.display.interval for name, facts in facts_of(Shown).items() if facts.display.interval}

    assert labels == {"carry_lo90_yd": "Carry, 90 % interval", "launch_lo_deg": "Launch window"}


def test_comments_have_label_unit_and_meaning():
    comments = column_comments(Shown)

    assert comments["carry_yd"] == "Carry, yd: Mean carry."
    assert comments["carry_lo90_yd"] == (
        "Carry, low end of the 90 % interval, yd: Low end of the 90 % interval of carry. Empty: few."
    )
    assert list(comments) == Shown.column_names()


def test_column_without_label_is_refused():
    class Bare(dy.Schema):
        carry_yd = dy.Float64(description="carry")

    with pytest.raises(TypeError, match="carry_yd has no label or note"):
        facts_of(Bare)


def test_every_schema_of_the_folder_is_in_the_registry():
    modules = [
        importlib.import_module(f"pipeline.tables.{module.name}")
        for module in pkgutil.iter_modules(pipeline.tables.__path__)
    ]
    declared = {
        value
        for module in modules
        for value in vars(module).values()
        if isinstance(value, type) and issubclass(value, dy.Schema) and value.__module__ == module.__name__
    }

    assert declared - {cols.Table} == set(tables())


def test_every_table_says_where_it_is_and_what_a_row_is():
    files = [file for table in tables() for file in table.FILES]

    assert [table.__name__ for table in tables() if not (table.ROW and table.__doc__)] == []
    assert [table.__name__ for table in tables() if not table.FILES] == ["StudiedDrives"]
    assert sorted(files) == sorted(by_file())
    assert by_file()["golfers/goals.csv"].__name__ == "Goals"


@pytest.mark.parametrize("table", tables(), ids=lambda table: table.__name__)
def test_every_column_has_a_label_and_a_full_note(table):
    for facts in facts_of(table).values():
        label = facts.display.label
        assert label.strip() == label != "", facts.name
        assert not label.endswith((", yd", ", mph", ", deg", ", rpm", ", %")), "the unit is put behind the label"
        assert facts.note.endswith("."), facts.name


@pytest.mark.parametrize("table", tables(), ids=lambda table: table.__name__)
def test_headings_of_a_table_differ(table):
    headings = Counter(facts.heading for facts in facts_of(table).values())

    assert [heading for heading, times in headings.items() if times > 1] == []
