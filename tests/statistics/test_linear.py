import numpy as np
import pytest
from statsmodels.regression.linear_model import OLS, WLS

from pipeline.statistics.linear import least_squares, least_squares_qr

SIZES = [(3, 1), (5, 2), (40, 3), (300, 12)]


def drawn(rows, terms, column_major=False):
    rng = np.random.default_rng([rows, terms])
    X = np.column_stack([np.ones(rows), *rng.normal(size=(terms - 1, rows))])
    return np.asfortranarray(X) if column_major else X, rng.normal(size=rows), rng.uniform(0.1, 9.0, rows)


@pytest.mark.parametrize("column_major", [False, True])
@pytest.mark.parametrize("size", SIZES)
def test_least_squares_by_qr_are_statsmodels(size, column_major):
    X, y, _ = drawn(*size, column_major)
    found, expected = least_squares_qr(X, y), OLS(y, X).fit(method="qr")
    assert found.coefficients == pytest.approx(expected.params, rel=1e-11)
    assert found.bread == pytest.approx(expected.normalized_cov_params, rel=1e-11, abs=1e-15)
    assert found.ssr == pytest.approx(expected.ssr, rel=1e-11)


@pytest.mark.parametrize("column_major", [False, True])
@pytest.mark.parametrize("size", SIZES)
def test_weighted_least_squares_are_statsmodels(size, column_major):
    X, y, weights = drawn(*size, column_major)
    for given in (weights, 1.0):
        found, expected = least_squares(X, y, given), WLS(y, X, weights=given).fit()
        assert found.coefficients == pytest.approx(expected.params, rel=1e-11)
        assert found.bread == pytest.approx(expected.normalized_cov_params, rel=1e-11, abs=1e-15)
        assert found.ssr == pytest.approx(expected.ssr, rel=1e-11)


def test_columns_that_depend_on_each_other_share_what_is_theirs():
    X, y, weights = drawn(40, 3)
    twice = np.column_stack([X, X[:, 1]])
    alone, shared = least_squares(X, y, weights), least_squares(twice, y, weights)
    assert shared.coefficients[[1, 3]] == pytest.approx([alone.coefficients[1] / 2] * 2)
    assert shared.ssr == pytest.approx(alone.ssr)


def test_noise_free_lines_are_found_again():
    X, _, weights = drawn(40, 3)
    truth = np.array([5.0, -2.0, 0.3])
    for found in (least_squares_qr(X, X @ truth), least_squares(X, X @ truth, weights)):
        assert found.coefficients == pytest.approx(truth, rel=1e-12)
        assert found.ssr == pytest.approx(0.0, abs=1e-20)
