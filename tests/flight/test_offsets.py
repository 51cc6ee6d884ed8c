import numpy as np
import polars as pl

from pipeline.flight.offsets import Offsets, count_levels, offsets_from


def drives(*parts):
    return pl.concat(pl.DataFrame({"device": [d] * n, "ball": [b] * n}) for d, b, n in parts)


def offsets_of(table):
    return offsets_from(count_levels(table))


def test_the_commonest_level_is_the_reference():
    found = offsets_of(drives(("a", "x", 40), ("b", "x", 60)))
    assert found.reference == {"device": "b", "ball": "x"}
    assert found.levels == (("device", "a"),)


def test_rare_levels_get_no_term():
    assert offsets_of(drives(("a", "x", 100), ("b", "x", 29))).levels == ()
    assert offsets_of(drives(("a", "x", 100), ("b", "x", 30))).levels == (("device", "b"),)


def test_a_ball_that_goes_with_a_device_gets_no_term_of_its_own():
    assert offsets_of(drives(("a", "x", 50), ("b", "y", 40))).levels == (("device", "b"),)


def test_null_counts_as_a_level_of_its_own():
    table = drives(("a", "x", 50)).vstack(pl.DataFrame({"device": [None] * 40, "ball": ["x"] * 40}))
    assert offsets_of(table).labels == ("device:unstated",)


def test_design_has_a_one_where_the_level_is():
    offsets = Offsets({"device": "a", "ball": "x"}, (("device", "b"), ("ball", "y")))
    table = pl.DataFrame({"device": ["a", "b", None], "ball": ["y", "x", "x"]})
    np.testing.assert_array_equal(offsets.design(table), [[0, 1], [1, 0], [0, 0]])
