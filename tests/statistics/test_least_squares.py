"""The fit path against certified and published figures."""

import numpy as np
import pytest
import statsmodels.api as sm
import statsmodels.datasets
from scipy.stats import norm

from pipeline.errors import UserError
from pipeline.statistics.least_squares import Factor, clustered_fit, solve

# NIST Statistical Reference Datasets, linear regression, Norris (lower difficulty), 36 pairs y, x. Typed in from
# memory; the certified values below hold only for the right data.
# fmt: off
NORRIS = np.array([
    0.1, 0.2, 338.8, 337.4, 118.1, 118.2, 888.0, 884.6, 9.2, 10.1, 228.1, 226.5,
    668.5, 666.3, 998.5, 996.3, 449.1, 448.6, 778.9, 777.0, 559.2, 558.2, 0.3, 0.4,
    0.1, 0.6, 778.1, 775.5, 668.8, 666.9, 339.3, 338.0, 448.9, 447.5, 10.8, 11.6,
    557.7, 556.0, 228.3, 228.1, 998.0, 995.8, 888.8, 887.6, 119.6, 120.2, 0.3, 0.3,
    0.6, 0.3, 557.6, 556.8, 339.3, 339.1, 888.0, 887.2, 998.5, 999.0, 778.9, 779.0,
    10.2, 11.1, 117.6, 118.3, 228.9, 229.2, 668.4, 669.1, 449.2, 448.9, 0.2, 0.5,
]).reshape(-1, 2)
# fmt: on


def powers(x, degree):
    return np.stack([x**k for k in range(degree + 1)], axis=-1)


def classical_fit(X, y):
    return solve(Factor.of(X, y)).classical()


def test_norris():
    # Certified: NIST StRD, Norris.
    y, x = NORRIS.T
    fit = classical_fit(powers(x, 1), y)
    np.testing.assert_allclose(fit.coefficients, [-0.262323073774029, 1.00211681802045], rtol=1e-10)
    np.testing.assert_allclose(fit.std_errors, [0.232818234301152, 0.429796848199937e-3], rtol=1e-9)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_longley():
    # Certified: NIST StRD, Longley (higher difficulty); data shipped with statsmodels.
    data = statsmodels.datasets.longley.load_pandas().data
    X = np.column_stack([np.ones(16), data[["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"]].to_numpy(dtype=float)])
    fit = classical_fit(X, data["TOTEMP"].to_numpy(dtype=float))
    certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.358191792925910e-01,
        -2.02022980381683,
        -1.03322686717359,
        -0.511041056535807e-01,
        1829.15146461355,
    ]
    np.testing.assert_allclose(fit.coefficients, certified, rtol=1e-7)
    assert fit.residual_sd == pytest.approx(304.854073561965, rel=1e-8)
    assert fit.std_errors[0] == pytest.approx(890420.383607373, rel=1e-7)


@pytest.mark.parametrize(("step", "tolerance"), [(1.0, 1e-8), (0.1, 1e-8)])
def test_wampler_1_and_2(step, tolerance):
    # Certified: NIST StRD, Wampler1 (all coefficients 1) and Wampler2 (0.1 to the k), exact polynomials of degree 5.
    x = np.arange(21.0)
    certified = step ** np.arange(6)
    fit = classical_fit(powers(x, 5), powers(x, 5) @ certified)
    np.testing.assert_allclose(fit.coefficients, certified, rtol=tolerance)


def test_clustered_errors_are_those_of_a_general_library():
    # Reference: statsmodels, whose correction for few groups is the usual one too.
    rng = np.random.default_rng(4)
    groups = np.repeat(np.arange(12), 10)
    X = np.column_stack([np.ones(120), rng.normal(size=120) + groups / 6])
    y = X @ [2.0, 3.0] + rng.normal(size=12)[groups] + rng.normal(size=120)
    parts = [(X[rows], y[rows], groups[rows]) for rows in (groups < 5, groups >= 5)]
    fit = clustered_fit(solve(Factor.joined([Factor.of(x, part) for x, part, _ in parts])), parts)
    expected = sm.OLS(y, X).fit(cov_type="cluster", cov_kwds={"groups": groups})
    np.testing.assert_allclose(fit.coefficients, expected.params, rtol=1e-9)
    np.testing.assert_allclose(fit.covariance, expected.cov_params(), rtol=1e-8)


def test_rows_of_one_golfer_are_taken_as_independent():
    X, y = powers(NORRIS[:, 1], 1), NORRIS[:, 0]
    alone = clustered_fit(solve(Factor.of(X, y)), [(X, y, np.zeros(36, dtype=np.int64))])
    np.testing.assert_allclose(alone.covariance, classical_fit(X, y).covariance)


def test_edges_are_a_normal_quantile_from_the_estimate():
    fit = classical_fit(powers(NORRIS[:, 1], 1), NORRIS[:, 0])
    lo, hi = fit.edges90
    np.testing.assert_allclose((hi + lo) / 2, fit.coefficients)
    np.testing.assert_allclose((hi - lo) / 2, norm.ppf(0.95) * fit.std_errors)


def test_scaling_an_input_scales_its_coefficient_and_error():
    y, x = NORRIS.T
    one = classical_fit(powers(x, 1), y)
    other = classical_fit(powers(x, 1) * [1.0, 1e6], y)
    assert other.coefficients[1] * 1e6 == pytest.approx(one.coefficients[1], rel=1e-10)
    assert other.std_errors[1] * 1e6 == pytest.approx(one.std_errors[1], rel=1e-10)


def test_row_order_does_not_matter():
    y, x = NORRIS.T
    order = np.random.default_rng(0).permutation(36)
    one = classical_fit(powers(x, 1), y)
    other = classical_fit(powers(x[order], 1), y[order])
    np.testing.assert_allclose(one.coefficients, other.coefficients, rtol=1e-9)


def test_too_few_rows_is_told():
    with pytest.raises(UserError, match="2 drives for 2 terms"):
        classical_fit(powers(np.array([1.0, 2.0]), 1), np.array([1.0, 2.0]))


def test_dependent_columns_are_told():
    x = np.arange(10.0)
    with pytest.raises(UserError, match="depend on each other"):
        classical_fit(np.column_stack([np.ones(10), x, 2 * x]), x)
