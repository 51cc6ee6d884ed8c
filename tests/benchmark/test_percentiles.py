"""Who counts in a band's percentiles, and whether their intervals hold what they should."""

import numpy as np
import pytest
from scipy.stats import norm

from pipeline.benchmark.disclosure import protected_percentiles
from pipeline.benchmark.percentiles import (
    Published,
    gaps_of,
    intervals,
    low_percentile,
    weights_near,
)
from pipeline.tables.columns import PERCENTILES

MIN_GOLFERS = 5
SCORES = norm.ppf(np.array(PERCENTILES) / 100)


def published(golfers, *values):
    return Published(golfers, dict(zip(PERCENTILES, values, strict=True)))


def test_golfers_of_a_band_count_in_full_and_others_the_less_the_farther_they_are():
    speed = np.array([85.0, 90.0, 95.0, 96.0, 100.0, 80.0, 104.0, 105.0, 120.0, 60.0])
    expected = [1, 1, 1, 0.9, 0.5, 0.5, 0.1, 0, 0, 0]
    assert weights_near(speed, 90.0, 5.0) == pytest.approx(expected)
    # In half-widths of the band: the same with all speeds doubled.
    assert weights_near(2 * speed, 180.0, 10.0) == pytest.approx(expected)


def test_gaps_of_normal_carries_are_their_standard_deviation():
    bands = [published(n, *(middle * (1 + 0.05 * SCORES))) for n, middle in ((30, 200.0), (12, 150.0))]
    low = 200.0 * (1 + 0.05 * norm.ppf(0.1))
    assert gaps_of(bands, low) == pytest.approx([0.05] * 4)


def test_gaps_weigh_bands_by_golfers_and_do_without_what_is_not_published():
    one = published(30, 190.0, 200.0, 210.0, None)
    two = published(10, None, 200.0, None, None)
    three = published(10, 180.0, 200.0, 205.0, None)
    found = gaps_of([one, two, three], 180.0)
    unit = 200.0 * SCORES[2]
    assert found[1] == pytest.approx((30 * 10 + 10 * 20) / 40 / unit)
    assert found[2] == pytest.approx((30 * 10 + 10 * 5) / 40 / unit)
    assert found[3] == found[2]
    assert found[0] == pytest.approx(10 / 200.0 / (SCORES[0] - norm.ppf(0.1)))


def test_no_gaps_where_no_band_has_a_quarter_below():
    assert gaps_of([published(8, None, 200.0, None, None)], 180.0) is None
    nothing = intervals({25: None, 50: 200.0, 75: None, 90: None}, None, np.ones(8))
    assert nothing == dict.fromkeys(PERCENTILES, (None, None))


def test_a_quarter_of_few_golfers_tells_nothing_below_the_25th_percentile():
    assert low_percentile(5 * np.arange(20.0), 5) is None
    assert low_percentile(5 * np.arange(41.0) + 2.4, 5) == 20.0
    # Then the gap above it stands for both.
    found = gaps_of([published(9, 190.0, 200.0, 205.0, None)], None)
    assert found[0] == found[1] == pytest.approx(10 / 200 / -SCORES[0])


def test_an_interval_is_the_delta_methods_rounded_outwards():
    golfers = 40
    found = intervals({25: 190.0, 50: 200.0, 75: 207.0, 90: None}, np.array([0.03, 0.05, 0.04, 0.02]), np.ones(golfers))
    middle = 1.6449 * 0.5 / np.sqrt(golfers) / norm.pdf(0) * 200
    outer = 1.6449 * np.sqrt(0.25 * 0.75 / golfers) / norm.pdf(SCORES[0]) * 200
    assert found[50] == (np.floor(200 - 0.05 * middle), np.ceil(200 + 0.04 * middle))
    assert found[75] == (np.floor(207 - 0.04 * outer), np.ceil(207 + 0.02 * outer))
    # About the 25th, where golfers with a fault may leave a gap, the wider of both counts on both sides.
    assert found[25] == (np.floor(190 - 0.05 * outer), np.ceil(190 + 0.05 * outer))
    assert found[90] == (None, None)


def test_an_interval_narrows_with_what_the_weights_are_worth():
    told, gaps = {25: None, 50: 200.0, 75: None, 90: None}, np.full(4, 0.05)
    width = {
        name: np.subtract(*intervals(told, gaps, weights)[50][::-1])
        for name, weights in (
            ("ten", np.ones(10)),
            ("ten and nobody", np.append(np.ones(10), np.full(50, 1e-9))),
            ("forty", np.ones(40)),
            ("twenty halves", np.full(40, 0.5)),
        )
    }
    assert width["ten"] == width["ten and nobody"]
    assert width["ten"] - 2 == pytest.approx(2 * (width["forty"] - 2), abs=2)
    assert width["twenty halves"] == width["forty"]


def test_equal_golfers_leave_no_doubt():
    bands = [published(20, *[200.0] * 4)]
    gaps = gaps_of(bands, low_percentile(np.full(20, 200.0), MIN_GOLFERS))
    assert intervals(bands[0].percentiles_yd, gaps, np.ones(20)) == dict.fromkeys(PERCENTILES, (200.0, 200.0))


def draw(rng, shape, faulty):
    """Draw carries: sound golfers, and a share with a fault who lose 18 yd."""
    return rng.normal(200, 5, shape) - np.where(rng.uniform(size=shape) < faulty, rng.normal(18, 4, shape), 0.0)


@pytest.mark.parametrize(("golfers", "faulty"), [(12, 0.0), (25, 0.0), (80, 0.0), (25, 0.15), (80, 0.4)])
def test_intervals_hold_the_truth_as_often_as_they_say(golfers, faulty):
    rng = np.random.default_rng(golfers)
    true, ones, held, width = np.percentile(draw(rng, 400_000, faulty), PERCENTILES), np.ones(golfers), [], []
    for _ in range(300):
        carry = draw(rng, golfers, faulty)
        told = protected_percentiles(carry, ones, golfers, MIN_GOLFERS)
        gaps = gaps_of([Published(golfers, told)], low_percentile(carry, MIN_GOLFERS))
        found = intervals(told, gaps, ones)
        held += [low <= value <= high for (low, high), value in zip(found.values(), true, strict=True) if low]
        width.append(found[50][1] - found[50][0])
    # Rounding outwards holds more than 90 in 100 where an interval is few yards wide, by a yard of width on average.
    assert 0.88 <= np.mean(held) <= 0.98
    if not faulty:
        exact = 2 * 1.645 * 5 * 0.5 / np.sqrt(golfers) / norm.pdf(0)
        assert np.mean(width) == pytest.approx(exact + 1, rel=0.15)
