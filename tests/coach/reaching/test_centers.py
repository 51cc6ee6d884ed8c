from datetime import date

import numpy as np
import polars as pl
import pytest
from simulated_golfers import DAY_YD, QUARTER_YD, simulate

from pipeline.coach.reaching.centers import MIN_CHANGES, centers_of, change_variance
from pipeline.coach.reaching.reaching_drives import golfers_drives


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


def one_kind(golfers, drives, **columns):
    rng = np.random.default_rng(7)
    count = golfers * drives
    plain = {"golfer": np.repeat([f"g{one:016x}" for one in range(golfers)], drives), "quarter": "2026Q3"}
    plain |= {"struck_on": date(2026, 7, 1), "club_speed_mph": 95.0, "carry_yd": rng.normal(230, 9, count)}
    return pl.DataFrame(plain | columns)


@pytest.mark.parametrize("mishits", [0.0, 0.3])
def test_the_spread_is_that_of_sound_drives_with_mishits_or_without(mishits):
    rng = np.random.default_rng(8)
    carry = rng.normal(230, 9, 6000) - 40 * (rng.uniform(size=6000) < mishits)
    found = centers_of(one_kind(200, 30, carry_yd=carry), "carry_yd")
    # Mishits pull the center down by a little, see `sound_centers`.
    assert np.median(found.spread_yd) == pytest.approx(9, rel=0.1)
    # Steadied, for all truly scatter by the same; now and then a center falls among 30 % of mishits.
    assert np.std(found.spread_yd) < 0.75 * np.std(found.table["spread_yd"].to_numpy())


def test_where_nobody_has_two_drives_no_spread_is_made_up():
    found = golfers_drives(one_kind(12, 1), "carry_yd")
    assert found.source == ["others"] * 12
    assert np.isnan(found.spread.share_reaching(230.0)[0]).all()
    assert np.isnan(found.spread.distance_reached(0.5)).all()


def test_no_drives_and_drives_all_alike_are_no_fault():
    assert golfers_drives(one_kind(3, 4).clear(), "carry_yd").golfer == []
    alike = golfers_drives(one_kind(5, 12, carry_yd=230.0), "carry_yd").spread
    assert alike.share_reaching(228.0)[0] == pytest.approx(1)
    assert alike.share_reaching(232.0)[0] == pytest.approx(0, abs=1e-9)
    assert golfers_drives(one_kind(1, 20), "carry_yd").spread.share_reaching(230.0)[0] == pytest.approx(0.5, abs=0.2)
