import polars as pl

from pipeline.golfers.assess_golfers import newest_flagged


def test_the_worst_is_who_loses_most_when_luck_is_taken_out():
    table = pl.DataFrame(
        {
            "golfer": ["a", "b", "c", "d", "e", "f"],
            "quarter": ["2026Q3"] * 5 + ["2026Q2"],
            "flagged": [True, True, True, True, False, True],
            "lost_yd": [40.0, 20.0, 30.0, 30.0, 60.0, 70.0],
            "ranked_lost_yd": [18.0, 19.0, 29.0, 29.0, 58.0, 69.0],
        }
    )
    assert newest_flagged(table)["golfer"].to_list() == ["c", "d", "b", "a"]


def test_without_shrunk_figures_the_plain_ones_stand_in():
    table = pl.DataFrame(
        {
            "golfer": ["a", "b"],
            "quarter": ["2026Q3"] * 2,
            "flagged": [True, True],
            "lost_yd": [15.0, 25.0],
            "ranked_lost_yd": pl.Series([None, None], dtype=pl.Float64),
        }
    )
    assert newest_flagged(table)["golfer"].to_list() == ["b", "a"]
