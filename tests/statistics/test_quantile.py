"""Lines of least loss against published figures, statsmodels, scikit-learn and the plain linear program."""

import time
import warnings

import numpy as np
import pytest
import statsmodels.datasets
from scipy.optimize import linprog
from scipy.sparse import csr_array, eye_array, hstack
from sklearn.linear_model import QuantileRegressor
from statsmodels.regression.quantile_regression import QuantReg
from statsmodels.tools.sm_exceptions import IterationLimitWarning

from pipeline.statistics import quantile as exact_fit
from pipeline.statistics.quantile import Around, Points

SIZES = [60, 2500]  # solved as they are, and by the points near a preliminary line


def line_of(x, y, quantile, weights=None):
    return Points.of(x, y, quantile).line(np.ones(len(x)) if weights is None else weights.astype(float))


def at(line, x):
    centre, at_centre, slope = line
    return at_centre + slope * (x - centre)


def test_median_regression_of_engels_data():
    # Published: Koenker and Hallock, J. Econ. Perspectives 15 (2001) 143, data of Engel (1857), median fit of food
    # expenditure on income; the quantreg package of R prints 81.48225 and 0.56018. Data shipped with statsmodels.
    data = statsmodels.datasets.engel.load_pandas().data
    line = line_of(data["income"].to_numpy(), data["foodexp"].to_numpy(), 0.5)
    assert line[2] == pytest.approx(0.56018, abs=5e-6)
    assert at(line, 0.0) == pytest.approx(81.48225, abs=5e-6)


@pytest.mark.parametrize("quantile", [0.5, 0.75])
@pytest.mark.parametrize("n", SIZES)
def test_lines_agree_with_statsmodels_and_scikit_learn(n, quantile):
    rng = np.random.default_rng(5)
    x = rng.uniform(65, 118, n)
    y = 1.40 + 0.0005 * x + rng.normal(0, 0.03, n)
    line = line_of(x, y, quantile)
    X = np.column_stack([np.ones(n), (x - x.mean()) / x.std()])
    searched = QuantReg(y * 1000, X).fit(q=quantile, max_iter=5000, p_tol=1e-9)
    np.testing.assert_allclose(at(line, x), X @ searched.params / 1000, atol=1e-5)
    np.testing.assert_allclose(
        at(line, x), QuantileRegressor(quantile=quantile, alpha=0.0).fit(x[:, None], y).predict(x[:, None]), atol=1e-6
    )


def test_no_draw_of_few_points_is_fitted_better_by_statsmodels():
    # Its search may stop short of the least loss, but never goes below ours.
    rng = np.random.default_rng(6)
    x = rng.uniform(65, 118, 80)
    y = 1.40 + 0.0005 * x + rng.normal(0, 0.03, 80)
    points, X = Points.of(x, y, 0.75), np.column_stack([np.ones(80), (x - x.mean()) / x.std()])
    for weights in rng.multinomial(80, np.full(80, 1 / 80), size=30).astype(float):
        rows = np.repeat(np.arange(80), weights.astype(int))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", IterationLimitWarning)
            searched = QuantReg(y[rows] * 1000, X[rows]).fit(q=0.75, max_iter=1000, p_tol=1e-9)
        ours = loss_of(points.line(weights), x, y, 0.75, weights)
        theirs = exact_fit.loss(y - X @ searched.params / 1000, 0.75, weights)
        assert theirs * (1 - 1e-4) < ours < theirs * (1 + 1e-12)


def least_loss(x, y, quantile, weights):
    """Give the least loss over all rows by the plain program of Koenker and Bassett (1978), solved by HiGHS."""
    n = len(x)
    x = x - x.mean()
    cost = np.concatenate([np.zeros(2), quantile * weights, (1 - quantile) * weights])
    rows = hstack([csr_array(np.column_stack([np.ones(n), x])), eye_array(n), -eye_array(n)])
    bounds = [(None, None)] * 2 + [(0, None)] * (2 * n)
    return linprog(cost, A_eq=rows, b_eq=y, bounds=bounds, method="highs-ds").fun


def loss_of(line, x, y, quantile, weights):
    above = y - at(line, x)
    return float(weights @ np.where(above > 0, quantile * above, (quantile - 1) * above))


def crowd(kind, n, rng):
    x = rng.normal(92, 10, n)
    y = 20 - 0.08 * x + rng.normal(0, 1.8, n)
    if kind == "ties":
        x, y = np.round(x), np.round(y)
    if kind == "outliers":
        x[:20] += 400
        y[10:60] += 1e4
    if kind == "fan":
        y = 20 + (x - 60) * rng.standard_t(2, n)
    if kind == "sorted":
        order = np.argsort(y)
        x, y = x[order], y[order]
    if kind == "two places":
        x = np.where(rng.random(n) < 0.01, 110.0, 80.0)
    if kind == "on a line":
        y = 20 - 0.08 * x + (rng.random(n) < 0.2) * rng.normal(0, 1, n)
    return x, y


@pytest.mark.parametrize("kind", ["plain", "ties", "outliers", "fan", "sorted", "two places", "on a line"])
@pytest.mark.parametrize("n", SIZES)
def test_every_crowd_has_a_line_of_least_loss(kind, n):
    rng = np.random.default_rng(11)
    x, y = crowd(kind, n, rng)
    counts = rng.multinomial(n, np.full(n, 1 / n))
    for quantile, weights in ((0.5, np.ones_like(counts)), (0.75, counts)):
        line = line_of(x, y, quantile, weights)
        least = least_loss(x, y, quantile, weights.astype(float))
        assert loss_of(line, x, y, quantile, weights) == pytest.approx(least, rel=1e-9, abs=1e-9)
        assert line[0] == pytest.approx(np.average(x, weights=weights))


@pytest.mark.parametrize("n", SIZES)
def test_a_preliminary_line_far_off_changes_nothing(n):
    x, y = crowd("plain", n, np.random.default_rng(12))
    design = np.vstack([np.ones(n), x])
    found = Around.of(design, y, np.array([20.0, -0.08]), n).fit(0.5, np.ones(n))
    assert Around.of(design, y, np.array([60.0, 1.0]), n).fit(0.5, np.ones(n)) == pytest.approx(found, rel=1e-9)
    points = Points.of(x, y, 0.5)
    assert points.about_their_line().line(np.ones(n)) == pytest.approx(points.line(np.ones(n)), rel=1e-9)


def test_points_beyond_a_line_are_few_equations(monkeypatch):
    # What makes it quick: the programs that are solved are small, though all points decide.
    x, y = crowd("plain", 40_000, np.random.default_rng(13))
    solved = []
    solve = exact_fit.solve
    monkeypatch.setattr(
        exact_fit, "solve", lambda design, *rest: solved.append(design.shape[1]) or solve(design, *rest)
    )
    line = line_of(x, y, 0.5)
    assert max(solved) < 0.1 * len(x)
    # A line of least loss has at most half of the points above it and half below (Koenker 2005, theorem 2.2).
    above = y - at(line, x)
    assert np.sum(above > 1e-9) <= len(x) / 2 <= np.sum(above > -1e-9)


@pytest.mark.parametrize("n", [61, 2501])
def test_points_of_one_place_or_value_or_on_a_line_have_that_line(n):
    y = np.arange(float(n))
    assert line_of(np.full(n, 90.0), y, 0.75) == (90.0, 0.75 * (n - 1), 0.0)
    assert line_of(y, np.full(n, 3.0), 0.75)[1:] == (3.0, 0.0)
    assert line_of(y, 2 * y, 0.75)[1:] == pytest.approx((n - 1, 2.0), rel=1e-12)
    alone = np.zeros(n)
    alone[5] = 4
    assert line_of(y, 2 * y, 0.75, alone) == (5.0, 10.0, 0.0)


@pytest.mark.parametrize("n", SIZES)
def test_units_scale_the_line(n):
    x, y = crowd("plain", n, np.random.default_rng(16))
    centre, at_centre, slope = line_of(x, y, 0.75)
    scaled = line_of(x * 1e3 + 7, y * 1e-3 - 2, 0.75)
    assert scaled == pytest.approx((centre * 1e3 + 7, at_centre * 1e-3 - 2, slope * 1e-6), rel=1e-9)


@pytest.mark.long
def test_a_line_of_200000_points_takes_tens_of_milliseconds(capsys):
    rng = np.random.default_rng(15)
    n = 200_000
    x, y = crowd("plain", n, rng)
    counts = np.stack([np.bincount(rng.integers(0, n, n), minlength=n) for _ in range(20)]).astype(float)
    line_of(x, y, 0.5)  # imports
    before = time.process_time()
    line_of(x, y, 0.5)
    one = time.process_time() - before
    points = Points.of(x, y, 0.5).about_their_line()
    before = time.process_time()
    for drawn in counts:
        points.line(drawn)
    draw = (time.process_time() - before) / 20
    with capsys.disabled():
        print(f"\na line of {n} points takes {1000 * one:.0f} ms, a draw of them {1000 * draw:.0f} ms")
    assert one < 0.3
    assert draw < 0.1
