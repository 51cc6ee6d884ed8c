import numpy as np
import pytest
from statsmodels.regression.linear_model import OLS, WLS
from statsmodels.stats.proportion import proportion_confint

from pipeline.statistics.linear import least_squares, least_squares_hc3, least_squares_qr, wilson_interval

SIZES = [(3, 1), (5, 2), (40, 3), (300, 12)]


def drawn(rows, terms, column_major=False):
    rng = np.random.default_rng([rows, terms])
    X = np.column_stack([np.ones(rows), *rng.normal(size=(terms - 1, rows))])
    return np.asfortranarray(X) if column_major else X, rng.normal(size=rows), rng.uniform(0.1, 9.0, rows)


# Results are promised byte for byte, so these are held to statsmodels' every digit: what it did before, this does.
@pytest.mark.parametrize("column_major", [False, True])
@pytest.mark.parametrize("size", SIZES)
def test_least_squares_by_qr_are_statsmodels_to_the_last_digit(size, column_major):
    X, y, _ = drawn(*size, column_major)
    found, expected = least_squares_qr(X, y), OLS(y, X).fit(method="qr")
    assert found.coefficients.tolist() == expected.params.tolist()
    assert found.bread.tolist() == expected.normalized_cov_params.tolist()
    assert found.ssr == expected.ssr


@pytest.mark.parametrize("column_major", [False, True])
@pytest.mark.parametrize("size", SIZES)
def test_weighted_least_squares_are_statsmodels_to_the_last_digit(size, column_major):
    X, y, weights = drawn(*size, column_major)
    for given in (weights, 1.0):
        found, expected = least_squares(X, y, given), WLS(y, X, weights=given).fit()
        assert found.coefficients.tolist() == expected.params.tolist()
        assert found.bread.tolist() == expected.normalized_cov_params.tolist()
        assert found.ssr == expected.ssr


def test_columns_that_depend_on_each_other_share_what_is_theirs():
    X, y, weights = drawn(40, 3)
    twice = np.column_stack([X, X[:, 1]])
    alone, shared = least_squares(X, y, weights), least_squares(twice, y, weights)
    assert shared.coefficients[[1, 3]] == pytest.approx([alone.coefficients[1] / 2] * 2)
    assert shared.ssr == pytest.approx(alone.ssr)


@pytest.mark.parametrize("size", [(5, 2), (40, 3), (300, 3)])
def test_robust_errors_are_statsmodels_to_the_last_digit(size):
    X, y, _ = drawn(*size)
    coefficients, errors = least_squares_hc3(X, y)
    expected = OLS(y, X).fit(cov_type="HC3")
    assert coefficients.tolist() == expected.params.tolist()
    assert errors.tolist() == expected.bse.tolist()


def test_wilsons_interval_is_statsmodels_to_the_last_digit():
    rng = np.random.default_rng(4)
    n = rng.uniform(1.0, 90.0, 200)
    share = np.concatenate([[0.0, 1.0], rng.uniform(size=198)])
    found = wilson_interval(share * n, n, 0.90)
    # From the level, as the caller gives it: 1 - 0.9 isn't 0.1 to the last digit.
    expected = proportion_confint(share * n, n, alpha=1 - 0.90, method="wilson")
    assert [end.tolist() for end in found] == [end.tolist() for end in expected]


def test_noise_free_lines_are_found_again():
    X, _, weights = drawn(40, 3)
    truth = np.array([5.0, -2.0, 0.3])
    for found in (least_squares_qr(X, X @ truth), least_squares(X, X @ truth, weights)):
        assert found.coefficients == pytest.approx(truth, rel=1e-12)
        assert found.ssr == pytest.approx(0.0, abs=1e-20)
