import numpy as np
import polars as pl
import pytest
from simulated_golfers import DAY_YD, QUARTER_YD, simulate

from pipeline.coach.reaching.centers import MIN_CHANGES, centers_of, change_variance


def centers_table(golfers, change_sd, error_sd, quarters=("2026Q2", "2026Q3")):
    rng = np.random.default_rng(5)
    parts = []
    level = rng.normal(230, 15, golfers)
    for number, quarter in enumerate(quarters):
        level = level + 4.0 * number + rng.normal(0, change_sd, golfers) * (number > 0)
        parts.append(
            pl.DataFrame(
                {
                    "golfer": [f"g{one:016x}" for one in range(golfers)],
                    "quarter": quarter,
                    "center_yd": level + rng.normal(0, error_sd, golfers),
                    "luck": np.full(golfers, error_sd**2),
                }
            )
        )
    return pl.concat(parts)


def test_the_true_change_between_quarters_is_found_beside_luck_and_a_mean_change():
    assert np.sqrt(change_variance(centers_table(3000, 5.0, 3.0))) == pytest.approx(5, rel=0.05)
    assert np.sqrt(change_variance(centers_table(3000, 0.0, 3.0))) < 1.0


def test_few_golfers_or_one_quarter_show_no_change():
    assert change_variance(centers_table(MIN_CHANGES - 1, 5.0, 3.0)) == 0
    assert change_variance(centers_table(MIN_CHANGES, 5.0, 3.0)) > 0
    assert change_variance(centers_table(50, 5.0, 3.0, ("2026Q3",))) == 0


def test_centers_are_nearer_the_truth_than_own_ones_and_doubted_as_much_as_they_err():
    sim = simulate(np.random.default_rng(3), golfers=400, drives=(6, 20), days=(1, 2))
    found = centers_of(sim.drives, "carry_yd")
    assert found.table["golfer"].to_list() == sorted(found.table["golfer"].to_list())
    own, shrunk = (
        np.sqrt(np.mean((one - sim.next_center_yd) ** 2))
        for one in (found.table["center_yd"].to_numpy(), found.center_yd)
    )
    assert shrunk < 0.97 * own
    # One day or two: their figure has all or half of a day's variance, 12 yd^2 on average, and the next quarter's 9.
    # What golfers' spread about the usual takes back is little.
    assert np.mean(found.more_yd**2) == pytest.approx(0.75 * DAY_YD**2, rel=0.3)
    assert np.mean(found.doubt_yd**2) == pytest.approx(0.75 * DAY_YD**2 + QUARTER_YD**2, rel=0.3)
