"""How much faster a light tool moves: known factors found again, and what is said where pairs are too few."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from rows import table_of

from pipeline.coach.practice.light_tool import COMMON_FACTOR, COMMON_PRACTICE, OWN_PAIRS, fit_light_tool, pairs_of
from pipeline.tables.practice import Pairs

DAY = date(2026, 7, 1)


def name(number):
    return f"g{number:016x}"


def pairs(ratios):
    """Make pairs: for each golfer, in order, the ratios of its sessions."""
    rows = [
        {"golfer": name(who), "swung_on": DAY + timedelta(days=i), "light_best_mph": 100 * ratio, "ratio": ratio}
        | {"driver_best_mph": 100.0, "light_swings": 12, "driver_swings": 12}
        for who, own in enumerate(ratios)
        for i, ratio in enumerate(own)
    ]
    return table_of(Pairs, rows)


def golfers(number):
    return pl.Series([name(i) for i in range(number)])


def drawn(seed, count=8, sessions=6, usual=1.18, between=0.02, within=0.015):
    rng = np.random.default_rng(seed)
    own = usual * np.exp(between * rng.standard_normal(count))
    return own, own[:, None] * np.exp(within * rng.standard_normal((count, sessions)))


def test_one_factor_without_noise_is_found_exactly():
    tool, factors = fit_light_tool(pairs([[1.17] * 4] * 4), golfers(5))

    assert tool.factor == pytest.approx(1.17)
    assert (tool.source, tool.pairs, tool.golfers) == (OWN_PAIRS, 16, 4)
    assert factors["light_factor"].to_list() == pytest.approx([1.17] * 5)
    assert tool.factor_hi90 - tool.factor_lo90 < 0.001


def test_usual_factor_and_each_golfers_own_are_recovered():
    own, ratios = drawn(3, count=40, sessions=20)

    tool, factors = fit_light_tool(pairs(ratios), golfers(41))

    assert tool.factor == pytest.approx(1.18, abs=0.012)  # three standard errors of 40 golfers 2 % apart
    np.testing.assert_allclose(factors["light_factor"][:40], own, atol=0.016)  # four of 20 sessions
    assert factors["light_factor"][40] == pytest.approx(tool.factor)


def test_interval_of_the_factor_is_students_over_golfers_means():
    # With equal numbers of sessions the estimate is the mean of golfers' means, and its error their spread's.
    from scipy.stats import t

    _, ratios = drawn(5)
    means = np.log(ratios).mean(axis=1)

    tool, _ = fit_light_tool(pairs(ratios), golfers(8))

    reach = t.ppf(0.95, 7) * means.std(ddof=1) / np.sqrt(8)
    assert np.log([tool.factor_lo90, tool.factor, tool.factor_hi90]) == pytest.approx(
        means.mean() + reach * np.array([-1, 0, 1])
    )


def test_a_golfer_with_one_pair_is_drawn_to_the_others_and_one_with_many_is_not():
    _, ratios = drawn(7, sessions=12)

    tool, factors = fit_light_tool(pairs([*ratios, [1.30], [1.26] * 40]), golfers(10))

    one, many = factors["light_factor"][8], factors["light_factor"][9]
    assert tool.factor < one < 1.295
    assert many == pytest.approx(1.26, abs=0.004)
    assert factors["log_error"][9] < factors["log_error"][8]


def test_a_golfer_without_pairs_is_known_less_well_than_the_usual_one():
    _, ratios = drawn(9)

    tool, factors = fit_light_tool(pairs(ratios), golfers(9))

    assert tool.golfer_lo90 < tool.factor_lo90 < tool.factor < tool.factor_hi90 < tool.golfer_hi90
    assert tool.factor * np.exp(1.6448536 * factors["log_error"][8]) == pytest.approx(tool.golfer_hi90, rel=1e-6)


@pytest.mark.parametrize(
    "ratios",
    [
        [],
        [[1.1] * 30],
        [[1.1] * 15, [1.12] * 15],
        [[1.1] * 3] * 3,
        [[1.1]] * 12,
    ],
    ids=["no pair", "one golfer", "two golfers", "nine sessions", "one session each"],
)
def test_too_few_pairs_fall_back_to_common_practice_and_say_so(ratios):
    tool, factors = fit_light_tool(pairs(ratios), golfers(13))

    assert (tool.factor, tool.source) == (COMMON_FACTOR, COMMON_PRACTICE)
    assert (tool.factor_lo90, tool.factor_hi90, tool.golfer_lo90, tool.golfer_hi90) == (None,) * 4
    assert tool.note.startswith(f"{sum(map(len, ratios))} sessions of {len(ratios)} golfers with both tools")
    assert tool.note.endswith("20 % faster than the driver, by common practice without a source")
    assert factors["light_factor"].unique().to_list() == [COMMON_FACTOR]
    assert factors["log_error"].null_count() == 13


def test_factor_does_not_depend_on_the_order_of_rows():
    _, ratios = drawn(11)
    table = pairs(ratios)

    assert fit_light_tool(table.reverse(), golfers(9).reverse()).factors.equals(
        fit_light_tool(table, golfers(9)).factors
    )


def test_pairs_are_days_on_which_both_tools_were_swung_often_enough():
    speeds = pl.DataFrame(
        {
            "golfer": [name(0)] * 5 + [name(1)],
            "swung_on": [DAY, DAY, DAY + timedelta(1), DAY + timedelta(2), DAY + timedelta(2), DAY],
            "tool": ["light", "driver", "light", "light", "driver", "driver"],
            "sound": [12, 6, 12, 12, 4, 12],
            "best_mph": [120.0, 100.0, 121.0, 119.0, None, 90.0],
        }
    )

    assert pairs_of(speeds).rows() == [(name(0), DAY, 12, 6, 120.0, 100.0, 1.2)]
