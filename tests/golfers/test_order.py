import polars as pl
import pytest

from pipeline.golfers.order import flagged_of, newest_and_worst_first, newest_flagged, worst_first


def golfers(*rows):
    """Rows of golfer, quarter, flagged, yards lost, and yards lost with luck taken out."""
    names = ["golfer", "quarter", "flagged", "lost_yd", "ranked_lost_yd"]
    types = [pl.String, pl.String, pl.Boolean, pl.Float64, pl.Float64]
    return pl.DataFrame(list(rows), schema=dict(zip(names, types, strict=True)), orient="row")


TABLE = golfers(
    ("a", "2026Q3", True, 40.0, 18.0),
    ("b", "2026Q3", True, 20.0, 19.0),
    ("c", "2026Q3", True, 30.0, 29.0),
    ("d", "2026Q3", True, 30.0, 29.0),
    ("e", "2026Q3", False, 60.0, 58.0),
    ("f", "2026Q2", True, 70.0, 69.0),
)


def names(table):
    return table["golfer"].to_list()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_worst_is_who_loses_most_when_luck_is_taken_out(seed):
    shuffled = TABLE.sample(fraction=1, shuffle=True, seed=seed)
    assert names(newest_flagged(shuffled)) == ["c", "d", "b", "a"]
    assert names(worst_first(shuffled)) == ["f", "e", "c", "d", "b", "a"]


def test_without_figures_without_luck_the_plain_ones_stand_in():
    table = golfers(("a", "2026Q3", True, 15.0, None), ("b", "2026Q3", True, 25.0, None))
    assert names(newest_flagged(table)) == ["b", "a"]


def test_who_has_no_figure_stands_last_and_equals_go_by_name():
    table = golfers(
        ("d", "2026Q3", False, None, None),
        ("c", "2026Q3", True, 50.0, None),
        ("b", "2026Q3", True, 20.0, 20.0),
        ("a", "2026Q3", True, 20.0, 20.0),
        ("e", "2026Q3", True, 21.0, 20.0),
    )
    assert names(worst_first(table)) == ["e", "a", "b", "c", "d"]


def test_the_newest_quarter_comes_first_and_in_it_the_flagged():
    assert names(newest_and_worst_first(TABLE)) == ["c", "d", "b", "a", "e", "f"]


def test_the_flagged_of_a_quarter_are_its_own():
    assert names(flagged_of(TABLE, "2026Q2")) == ["f"]
    assert names(flagged_of(TABLE, "2026Q1")) == []


def test_an_empty_table_has_nobody():
    assert newest_flagged(golfers()).is_empty()
