import numpy as np
import polars as pl
import pytest
from statsmodels.stats.multitest import multipletests

from pipeline.statistics.false_discovery import adjusted, adjusted_families

P = [0.001, 0.02, 0.03, 0.9, 0.04]


def test_one_group_is_adjusted_as_by_statsmodels():
    found = adjusted(pl.Series(P), pl.Series(["2026Q3"] * 5))
    assert found.to_list() == pytest.approx(multipletests(P, method="fdr_bh")[1].tolist(), rel=1e-12)


def test_groups_are_adjusted_apart_and_null_counts_for_nothing():
    alone = adjusted(pl.Series(P), pl.Series(["a"] * 5)).to_list()
    mixed = adjusted(pl.Series([0.5, None, *P, 0.5]), pl.Series(["b", "a", *["a"] * 5, "b"])).to_list()
    assert mixed == [0.5, None, *alone, 0.5]


def test_nobody_tested_is_nobody_adjusted():
    assert adjusted(pl.Series([None, None]), pl.Series(["a", "b"])).to_list() == [None, None]
    assert adjusted(pl.Series([], dtype=pl.Float64), pl.Series([], dtype=pl.String)).to_list() == []


def test_a_part_of_the_rate_asks_for_more():
    whole, half = (adjusted(pl.Series(P), pl.Series(["a"] * 5), part) for part in (1.0, 0.5))
    assert half.to_list() == [min(2 * q, 1.0) for q in whole]


def test_families_that_show_nothing_leave_no_room_and_those_that_do_share_the_part():
    group = pl.Series(["a"] * 4)
    clear, dull = pl.Series([1e-6, 1e-5, 0.5, None]), pl.Series([0.4, 0.6, 0.9, None])
    one, none = adjusted_families([clear, dull], group, 0.1, 0.5)
    # One of two families is chosen: it has a quarter of the rate.
    assert one.to_list()[:2] == pytest.approx([4 * 3e-6, 4 * 1.5e-5])
    assert (one <= 0.1).to_list() == [True, True, False, None]
    assert not (none <= 0.1).any()
    both = adjusted_families([clear, clear], group, 0.1, 0.5)
    assert both[0].to_list()[:2] == pytest.approx([2 * 3e-6, 2 * 1.5e-5])


def test_where_nothing_is_to_be_found_hardly_any_group_names_anything():
    rng = np.random.default_rng(1)
    group = pl.Series(np.repeat(np.arange(400), 30))
    found = adjusted_families([pl.Series(rng.uniform(size=12_000)) for _ in range(5)], group, 0.1, 0.5)
    told = pl.DataFrame({"group": group, "any": np.any([q.to_numpy() <= 0.1 for q in found], axis=0)})
    share = told.group_by("group").agg(pl.col("any").any()).get_column("any").mean()
    assert share == pytest.approx(0.05, abs=3 * (0.05 * 0.95 / 400) ** 0.5)


def test_a_family_that_is_not_chosen_names_nothing_at_any_rate():
    rng = np.random.default_rng(2)
    group = pl.Series(["a"] * 50)
    for rate in (0.01, 0.05, 0.2):
        p = [pl.Series(rng.beta(0.6, 1.0, 50)) for _ in range(4)]
        simes = np.array([float(adjusted(one, group).min()) for one in p])
        chosen = max((k for k in range(5) if np.sum(simes <= rate * k / 4) >= k), default=0)
        named = [bool((q <= rate).any()) for q in adjusted_families(p, group, rate, 1.0)]
        assert named == (simes <= rate * chosen / 4).tolist()
