"""A small run of the study, and its committed figures beside what is promised of them."""

from pathlib import Path

import polars as pl
import pytest
import regressor_study
from regressor_study import report
from scipy.stats import binom

EVIDENCE = Path(__file__).parents[2] / "docs/evidence/regressors"


@pytest.fixture(scope="module")
def rates():
    return pl.read_csv(EVIDENCE / "rates.csv")


def of(rates, world, quantity):
    return rates.filter(world=world, quantity=quantity).get_column("figure").to_list()


def test_the_page_is_that_of_the_figures(rates):
    assert (EVIDENCE / "README.md").read_text(encoding="utf-8") == report(rates).rstrip() + "\n"


@pytest.mark.parametrize("world", ["small", "demo's size"])
def test_regressors_that_do_nothing_hold_their_rate(rates, world):
    figures = of(rates, world, "p below 0.05")
    assert len(figures) == 3
    assert max(figures) * 200 <= binom.ppf(0.999, 200, 0.05)
    assert of(rates, world, "said to matter")[0] * 200 <= binom.ppf(0.999, 200, 0.05)


def test_a_planted_effect_is_found_and_its_interval_holds(rates):
    assert of(rates, "demo's size", "said to matter")[1] >= 0.95
    assert 0.85 <= of(rates, "demo's size", "interval holds the truth")[0] <= 0.95


def test_within_golfers_the_planted_effect_is_found_though_golfers_differ_by_more(rates):
    confounded = "demo's size, confounded"
    assert of(rates, confounded, "mean within golfers over it")[0] == pytest.approx(1, abs=0.05)
    assert of(rates, confounded, "note: within golfers it is another")[0] >= 0.95


def test_a_run_of_few_worlds_writes_figures_of_the_same_form(tmp_path, rates):
    regressor_study.main(tmp_path, worlds=2)
    found = pl.read_csv(tmp_path / "rates.csv")
    assert found.select("part", "world", "regressor", "quantity").equals(
        rates.select("part", "world", "regressor", "quantity")
    )
