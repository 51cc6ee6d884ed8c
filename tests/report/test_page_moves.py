"""How quarters move: the share, the medians and their intervals against other ways to the same figures."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from page_cases import beyond, played
from rows import table_of
from scipy import stats

from pipeline.report.page.moves import median_interval, moves_of, share_interval
from pipeline.tables.golfers import Golfers

NOTHING = {"value": None, "lo": None, "hi": None}


@pytest.mark.parametrize(("count", "of"), [(0, 1), (1, 1), (0, 20), (20, 20), (3, 7), (43, 78), (500, 2000)])
def test_a_share_has_wilsons_interval(count, of):
    found = share_interval(count, of)
    reference = stats.binomtest(count, of).proportion_ci(0.9, "wilson")
    assert found["value"] == pytest.approx(count / of, abs=5.1e-4)
    assert (found["lo"], found["hi"]) == pytest.approx((reference.low, reference.high), abs=5.1e-4)
    assert found["lo"] <= found["value"] <= found["hi"]


@pytest.mark.parametrize("count", [5, 6, 9, 10, 31, 78, 200])
def test_a_median_has_the_narrowest_order_statistics_that_cover_it_in_9_of_10(count):
    found = median_interval(np.arange(count, dtype=float))
    below = int(found["lo"])
    assert found["hi"] == count - 1 - below
    assert found["value"] == (count - 1) / 2
    # With `below` values outside on each side the median is missed with twice the chance of so few heads or fewer.
    assert 2 * stats.binom.cdf(below, count, 0.5) <= 0.1
    assert 2 * stats.binom.cdf(below + 1, count, 0.5) > 0.1


def test_the_medians_interval_covers_it_in_at_least_9_of_10_skewed_samples():
    random = np.random.default_rng(3)
    inside = 0
    for sample in random.exponential(10.0, (1000, 25)):
        found = median_interval(sample)
        inside += found["lo"] - 0.05 <= 10 * np.log(2) <= found["hi"] + 0.05
    # Order statistics of 25 cover 95.7 %; four standard errors of 1,000 samples are 2.6 %.
    assert inside / 1000 == pytest.approx(0.957, abs=0.026)


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=40))
def test_a_medians_interval_is_in_order_and_doesnt_mind_it(values):
    found = median_interval(np.array(values))
    assert found == median_interval(np.array(values[::-1]))
    assert found["value"] == pytest.approx(np.median(values), abs=0.0501)
    if len(values) < 5:
        assert found["lo"] is found["hi"] is None
    else:
        assert found["lo"] <= found["value"] <= found["hi"]


def test_nobody_has_no_figures():
    assert share_interval(0, 0) == NOTHING
    assert median_interval(np.array([])) == NOTHING


def test_quarters_are_of_the_golfers_assessed():
    rows = [played(name, flagged=name in "12", contact=5.0 * int(name)) for name in "12345"]
    rows += [played("6", shots=5), beyond("7"), played("1", "2026Q2", shots=3)]
    before, now = moves_of(table_of(Golfers, rows))
    assert before == {
        "quarter": "2026Q2", "golfers": 0, "flagged_share": NOTHING, "lost_yd": NOTHING, "speed_mph": NOTHING,
    }  # fmt: skip
    assert (now["quarter"], now["golfers"], now["flagged_share"]["value"]) == ("2026Q3", 5, 0.4)
    assert now["lost_yd"] == {"value": 15.0, "lo": 5.0, "hi": 25.0}
    assert now["speed_mph"]["value"] == 90.0


def test_a_study_of_enums_gives_the_same():
    table = table_of(Golfers, [played("1", flagged=True, contact=20.0), played("2")])
    assert moves_of(table.cast({"golfer": pl.Enum(sorted(set(table["golfer"])))})) == moves_of(table)
