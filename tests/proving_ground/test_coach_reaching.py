"""How shares of drives are held against the truth, on answers that are known."""

from dataclasses import replace

import coach_reaching
import numpy as np
import polars as pl
import pytest
from academy import QUARTERS, make_academy
from worlds import PLAIN


@pytest.mark.parametrize("world", [PLAIN, replace(PLAIN, form_yd=3.5, lasting=0.02, mishits=(0.1, 0.3))])
def test_true_drives_carry_what_the_academy_says_they_do_on_average(world):
    academy = make_academy(replace(world, golfers=60), world.balls[0], 5)
    names, carries = coach_reaching.true_drives(academy, QUARTERS[1])
    usual = academy.usual.filter(quarter=QUARTERS[1])
    assert names == usual["golfer"].to_list()
    assert carries.mean(axis=1) == pytest.approx(usual["mean_carry_yd"].to_numpy(), abs=0.6)
    # Drives that were really hit are as far in the long run, and as scattered.
    hit = academy.drives.filter(pl.col("row") >= 60).group_by("row").agg(pl.col("true_carry_yd").var()).sort("row")
    spread = np.sqrt(hit["true_carry_yd"].mean() / carries.var(axis=1).mean())
    assert spread == pytest.approx(1, abs=0.1)


def test_the_worst_tenth_with_predictions_enough_is_told_and_how_many_intervals_cover():
    rows = [
        {"golfer": "a", "distance_yd": 200.0, "estimate": estimate, "lo": estimate - 0.03, "hi": estimate + 0.03}
        | {"truth": estimate + off}
        for estimate, off, count in ((0.15, 0.01, 200), (0.45, -0.05, 200), (0.95, 0.04, 199))
        for _ in range(count)
    ]
    found = coach_reaching.measures(pl.DataFrame(rows))
    assert found["reaching_worst_off"] == pytest.approx(0.05)
    assert found["reaching_coverage"] == pytest.approx(200 / 599)
    assert coach_reaching.measures(pl.DataFrame(rows[:10]))["reaching_worst_off"] is None
