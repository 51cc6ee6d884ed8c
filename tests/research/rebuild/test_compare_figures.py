import numpy as np
import polars as pl
import pytest

from pipeline.research.rebuild.compare import EXACTLY, Allowed, Difference, differences

TABLE = pl.DataFrame({"golfer": ["a", "b"], "lost_yd": [1.0, None]})


def told(old, new, allowed=EXACTLY):
    return [(one.what, one.largest) for one in differences(old, new, allowed)]


@pytest.mark.parametrize(
    ("new", "found"),
    [
        (TABLE, []),
        (TABLE.with_columns(more=1), []),
        (TABLE.with_columns(lost_yd=pl.Series([1.25, None])), [("column lost_yd: 1 of 2 cells differ", 0.25)]),
        (TABLE.with_columns(lost_yd=pl.Series([1.0, 0.0])), [("column lost_yd: 1 of 2 cells differ", None)]),
        (TABLE.with_columns(golfer=pl.Series(["a", "c"])), [("column golfer: 1 of 2 cells differ", None)]),
        (TABLE.head(1), [("2 rows, now 1", None)]),
        (TABLE.drop("lost_yd"), [("column lost_yd is missing", None)]),
    ],
)
def test_tables_are_compared_cell_by_cell(new, found):
    assert told({"": TABLE}, {"": new}) == found


@pytest.mark.parametrize(
    ("new", "found"),
    [
        (np.array([1.0, np.nan]), []),
        (np.array([1.5, np.nan]), [("array carry: 1 of 2 figures differ", 0.5)]),
        (np.array([1.0, 2.0]), [("array carry: 1 of 2 figures differ", 0.0)]),
        (np.array([1.0]), [("array carry: 2 figures, now 1", None)]),
    ],
)
def test_arrays_are_compared_figure_by_figure(new, found):
    assert told({"array carry": np.array([1.0, np.nan])}, {"array carry": new}) == found


def test_numbers_of_a_text_are_compared_in_their_order():
    assert told({"numbers": ("1", "2", "3")}, {"numbers": ("1", "2", "3")}) == []
    assert told({"numbers": ("1", "2", "3")}, {"numbers": ("1", "4")}) == [("number 2 of 3: 2 3, now 4", None)]
    assert told({"numbers": ("1",)}, {"numbers": ("1", "2")}) == [("number 2 of 1: nothing, now 2", None)]


def test_a_part_that_is_gone_is_found():
    assert differences({"sheet bands": TABLE}, {}) == [Difference("sheet bands is missing")]


def test_what_is_allowed_is_no_difference():
    near = Allowed(0.0, lambda name: 0.3 if name == "lost_yd" else 0.0, {"old": "lost_yd"})
    old = {"": pl.DataFrame({"old": [1.0]})}

    assert told(old, {"": pl.DataFrame({"lost_yd": [1.25]})}, near) == []
    assert len(told(old, {"": pl.DataFrame({"lost_yd": [1.35]})}, near)) == 1
