import polars as pl
import pytest
from statsmodels.stats.multitest import multipletests

from pipeline.statistics.false_discovery import adjusted

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
