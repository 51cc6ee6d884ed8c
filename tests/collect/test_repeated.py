"""Which results by hand are there twice, where clocks count seconds and where they don't."""

import polars as pl

from pipeline.collect.repeated import repeated


def rows(*made):
    names = ("source", "row", "shot_key", "club_speed_mph", "carry_yd")
    return pl.DataFrame(made, schema=names, orient="row")


def found(*made):
    return repeated(rows(*made)).select("source", "row", "earlier").rows()


def test_equal_results_of_one_day_in_one_log_are_as_many_drives():
    assert found(("a", 1, "k", 95.0, 220.0), ("a", 2, "k", 95.0, 220.0), ("a", 3, "k", 97.0, 230.0)) == []


def test_another_log_repeats_each_row_once():
    one = [("a", 1, "k", 95.0, 220.0), ("a", 2, "k", 95.0, 220.0), ("a", 3, "k", 97.0, 230.0)]
    other = [("b", 1, "k", 95.0, 220.0), ("b", 2, "k", 97.0, 230.0), ("b", 3, "k", 97.0, 230.0)]
    # The third has no row in a that isn't taken yet.
    assert found(*one, *other) == [("b", 1, "a"), ("b", 2, "a")]


def test_near_figures_of_one_second_are_one_drive_where_the_clock_counts_seconds():
    one = [("a", 1, "k", 95.0, 220.0), ("a", 2, "k", 95.2, 221.0), ("a", 3, "l", 97.0, 230.0)]
    other = [("b", 1, "k", 95.2, 219.0), ("b", 2, "l", 97.0, 232.0)]
    assert found(*one, *other) == [("a", 2, "a"), ("b", 1, "a")]


def test_unlike_figures_of_one_second_in_two_logs_are_two_drives():
    assert found(("a", 1, "k", 95.0, 220.0), ("b", 1, "k", 99.0, 240.0)) == []


def test_the_order_of_rows_changes_nothing():
    made = [("a", 1, "k", 95.0, 220.0), ("a", 2, "k", 99.0, 240.0), ("b", 7, "k", 99.0, 240.0)]
    assert found(*made) == found(*reversed(made)) == [("b", 7, "a")]
