import dataframely as dy
import polars as pl
import pytest
from rows import row_of, table_of

from pipeline.tables.golfers import Changes, Golfers
from pipeline.tables.logs import Sources
from pipeline.tables.registry import tables


@pytest.mark.parametrize("table", tables(), ids=lambda table: table.__name__)
def test_plain_row_keeps_every_rule_of_a_single_column(table):
    alone = type("Alone", (dy.Schema,), {name: one.with_properties() for name, one in table.columns().items()})

    assert table_of(alone, [{}]).height == 1


def test_row_has_what_is_given_and_null_where_nothing_is_needed():
    row = row_of(Changes, golfer="g1", lost_change_yd=-3.0)

    assert list(row) == Changes.column_names()
    assert (row["golfer"], row["lost_change_yd"], row["note"], row["quarter"]) == ("g1", -3.0, None, "2026Q3")


def test_frame_is_filled_to_the_whole_table():
    given = pl.DataFrame({"source": ["a.csv", "b.csv"], "rows": [3, 0], "accepted": [3, 0]})

    table = table_of(Sources, given)

    assert table.columns == Sources.column_names()
    assert table["source"].to_list() == ["a.csv", "b.csv"]
    assert table["duplicates"].to_list() == [0, 0]


@pytest.mark.parametrize("rows", [[{"golfr": "g1"}], pl.DataFrame({"golfr": ["g1"]})])
def test_misspelt_column_is_refused(rows):
    with pytest.raises(AssertionError, match="Golfers has no column golfr"):
        table_of(Golfers, rows)


def test_row_that_breaks_a_rule_is_refused():
    with pytest.raises(dy.exc.ValidationError):
        table_of(Golfers, [{"status": "clear"}])
