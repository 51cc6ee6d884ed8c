from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.flight.offsets import Offsets
from pipeline.golfers.uncompared import DEVICE_SHARE_SD, uncompared, uncompared_doubt


@pytest.fixture(scope="module")
def model(world):
    """A model that knows the devices A, B and nothing of others; the ball `range` is in the term of B."""
    fitted = fit_to(candidate_named("line"), world.drives).model
    offsets = Offsets({"device": "unit-A", "ball": "premium"}, (("device", "unit-B"),), (("ball", "range"),))
    return replace(fitted, offsets=offsets, offset_share=np.array([-0.04]))


def drives(*rows):
    """Make drives of golfers at devices, with balls, of 200 yd each."""
    golfer, device, ball = zip(*rows, strict=True)
    table = pl.DataFrame({"golfer": golfer, "device": device, "ball": ball}, schema_overrides={"device": pl.String})
    return table.with_columns(quarter=pl.lit("2026Q3"), carry_standard_yd=pl.lit(200.0))


def test_levels_without_a_share_are_uncompared(model):
    table = drives(("a", "unit-A", "premium"), ("a", "unit-B", "range"), ("a", None, "premium"), ("a", "unit-A", "x"))
    assert uncompared(table, model).rows() == [(False, False), (False, False), (True, False), (False, True)]


def test_the_doubt_weighs_a_golfers_drives_there(model):
    some = [("a", "unit-A", "premium")] * 12 + [("a", "unit-C", "premium")] * 8
    whole = [("b", "unit-C", "premium")] * 5
    none = [("c", "unit-A", "premium")] * 3
    found = uncompared_doubt(drives(*some, *whole, *none), model)
    assert found.get_column("golfer").to_list() == ["a", "b", "c"]
    sd = np.sqrt(found.get_column("uncompared_variance")).to_list()
    assert sd == pytest.approx([DEVICE_SHARE_SD * 200 * 0.4, DEVICE_SHARE_SD * 200, 0.0])
    assert found.get_column("uncompared_note").to_list() == [
        "8 of 20 drives are from the device unit-C, which has too few drives or golfers to be compared",
        "5 of 5 drives are from the device unit-C, which has too few drives or golfers to be compared",
        None,
    ]


def test_devices_and_balls_are_off_each_by_itself(model):
    two = [("a", "unit-C", "premium")] * 2 + [("a", "unit-D", "x")] * 2
    found = uncompared_doubt(drives(*two), model).row(0, named=True)
    half = DEVICE_SHARE_SD * 100
    assert found["uncompared_variance"] == pytest.approx(3 * half**2)
    assert found["uncompared_note"].count("2 of 4 drives") == 3
