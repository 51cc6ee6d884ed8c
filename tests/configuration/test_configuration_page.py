from pathlib import Path

import pytest
from configuration_page import document, rows_of

from pipeline.configuration.layouts import Layout
from pipeline.configuration.study import Study

DOCS = Path(__file__).parents[2] / "docs" / "configuration.md"


def test_the_page_is_not_stale():
    assert DOCS.read_text(encoding="utf-8") == document(), (
        "a key changed: make the page again by python docs/make/configuration_page.py > docs/configuration.md"
    )


@pytest.mark.parametrize(
    ("key", "row"),
    [
        ("study", ("text", "", "needed", "at most 60 characters")),
        ("logs", ("list", "", "needed", "")),
        ("logs[].files", ("text", "", "needed", "")),
        ("logs[].air.altitude_m", ("number", "m", "none", "-500 to 5000")),
        ("bands.centres", ("list, number", "mph", "70, 80, 90, 100, 110", "more than 30, less than 165")),
        ("flags.false_discovery_rate", ("number", "", "0.1", "more than 0, less than 1")),
        ("flags.min_shots", ("whole number", "", "12", "at least 3")),
        ("privacy.group", ("word", "", "`masked`", "`masked`, `plain`")),
        ("goals.carry_yd", ("mapping, number", "yd", "none", "20 to 400")),
        ("air.pressure_hpa", ("number", "hPa", "1013.25", "500 to 1100")),
    ],
)
def test_keys_of_a_study_have_type_unit_default_and_bounds(key, row):
    rows = {name.strip("`"): rest for name, *rest in rows_of(Study)}

    assert tuple(rows[key][:4]) == row


def test_keys_of_a_layout_are_listed_with_those_of_its_columns():
    assert [name for name, *_ in rows_of(Layout)] == [
        "`delimiter`", "`decimal`", "`thousands`", "`encoding`", "`sheet`", "`skip_rows`", "`skip_after_header`",
        "`join`", "`rows.column`", "`rows.take`", "`timezone`", "`columns`", "`columns.COLUMN.from`",
        "`columns.COLUMN.unit`", "`columns.COLUMN.format`",
    ]  # fmt: skip


@pytest.mark.parametrize("model", [Study, Layout])
def test_every_key_says_what_it_means_in_a_sentence(model):
    for name, *_, meaning in rows_of(model):
        assert meaning[:1].isupper(), name
        assert meaning.endswith("."), name
