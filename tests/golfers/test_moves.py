import polars as pl
import pytest

from pipeline.golfers.moves import move_variance


def test_it_is_the_share_of_the_mean_move_squared_whatever_the_number_of_drives():
    one = pl.DataFrame(
        {
            "golfer": ["far", "far", "near", "near"],
            "quarter": "2026Q1",
            "carry_measured_yd": [210.0, 220.0, 210.0, 220.0],
            "carry_standard_yd": [200.0, 214.0, 210.0, 220.0],
        }
    )
    found = move_variance(one, 0.3)
    assert found.rows() == [("far", "2026Q1", pytest.approx((0.3 * 8) ** 2)), ("near", "2026Q1", 0.0)]
    assert move_variance(pl.concat([one] * 9), 0.3).equals(found)
    assert move_variance(one, 0.0).get_column("move_variance").to_list() == [0.0, 0.0]
