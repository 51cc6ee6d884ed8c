import time

import numpy as np
import polars as pl
import pytest
import statsmodels.datasets
from scipy.optimize import linprog
from scipy.sparse import csr_array, eye_array, hstack
from sklearn.linear_model import QuantileRegressor

from pipeline.fit.usual_delivery import (
    EXACT_FROM,
    Line,
    fit_usual_delivery,
    quantile_line,
    quantile_lines,
    ratio_lines,
    spread_without_error,
)
from pipeline.statistics import quantile as exact_fit


def typical(speed, ratio, variance=0.0, shots=30):
    n = len(speed)
    return pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in range(n)],
            "shots": [shots] * n,
            "club_speed_mph": speed,
            "speed_ratio": ratio,
            "speed_ratio_var": [variance] * n,
            "launch_deg": 20 - 0.08 * np.asarray(speed),
            "spin_rpm": 4000 - 14 * np.asarray(speed),
        }
    )


def test_median_regression_of_engels_data():
    # Published: Koenker and Hallock, J. Econ. Perspectives 15 (2001) 143, data of Engel (1857), median fit of food
    # expenditure on income; the quantreg package of R prints 81.48225 and 0.56018. Data shipped with statsmodels.
    data = statsmodels.datasets.engel.load_pandas().data
    line = quantile_line(data["income"].to_numpy(), data["foodexp"].to_numpy(), 0.5)
    assert line.slope == pytest.approx(0.56018, abs=2e-5)
    assert line(0.0) == pytest.approx(81.48225, abs=0.02)


@pytest.mark.parametrize("quantile", [0.5, 0.75])
def test_quantile_line_agrees_with_scikit_learn(quantile):
    rng = np.random.default_rng(5)
    speed = rng.uniform(65, 118, 200)
    values = 1.40 + 0.0005 * speed + rng.normal(0, 0.03, 200)
    line = quantile_line(speed, values, quantile)
    other = QuantileRegressor(quantile=quantile, alpha=0.0).fit(speed[:, None], values)
    np.testing.assert_allclose(line(speed), other.predict(speed[:, None]), atol=2e-4)


def test_launch_and_spin_follow_a_straight_line():
    speed = np.linspace(70, 110, 30)
    trends = fit_usual_delivery(typical(speed, np.full(30, 1.45)))
    assert trends.launch(90.0) == pytest.approx(20 - 0.08 * 90, abs=1e-6)
    assert trends.spin(80.0) == pytest.approx(4000 - 14 * 80, abs=1e-3)


def test_better_quarter_is_the_upper_quartile_of_true_ratios():
    # True ratios have sd 0.02; 12 drives of sd 0.05 each would push the raw quartile up by a quarter.
    rng = np.random.default_rng(6)
    n, shots, noise = 4000, 12, 0.05
    true = 1.45 + rng.normal(0, 0.02, n)
    seen = true + rng.normal(0, noise * np.sqrt(np.pi / 2 / shots), n)
    _, better = ratio_lines(typical(rng.uniform(70, 110, n), seen, noise**2, shots))
    truth = 1.45 + 0.6745 * 0.02
    assert better is not None
    assert float(better(90.0)) == pytest.approx(truth, abs=0.0012)
    assert np.quantile(seen, 0.75) - truth > 0.003


def test_spread_without_error_keeps_exact_values():
    departure = np.array([-0.03, 0.01, 0.02])
    np.testing.assert_allclose(spread_without_error(departure, np.zeros(3)), departure)


def test_spread_without_error_is_nil_where_error_explains_all():
    np.testing.assert_allclose(spread_without_error(np.array([-0.01, 0.01]), np.array([0.01, 0.01])), [0, 0])


def test_no_ball_speed_gives_no_ratio_lines():
    table = typical(np.linspace(70, 110, 10), [None] * 10).with_columns(pl.col("speed_ratio").cast(pl.Float64))
    trends = fit_usual_delivery(table)
    assert trends.speed_ratio is None
    assert trends.better_ratio is None


def least_loss(speed, values, quantile, weights):
    """Give the least loss over all rows by the plain program of Koenker and Bassett (1978), solved by HiGHS."""
    n = len(speed)
    x = speed - speed.mean()
    cost = np.concatenate([np.zeros(2), quantile * weights, (1 - quantile) * weights])
    rows = hstack([csr_array(np.column_stack([np.ones(n), x])), eye_array(n), -eye_array(n)])
    bounds = [(None, None)] * 2 + [(0, None)] * (2 * n)
    return linprog(cost, A_eq=rows, b_eq=values, bounds=bounds, method="highs-ds").fun


def loss_of(line, speed, values, quantile, weights):
    above = values - line(speed)
    return float(weights @ np.where(above > 0, quantile * above, (quantile - 1) * above))


def crowd(kind, n, rng):
    speed = rng.normal(92, 10, n)
    values = 20 - 0.08 * speed + rng.normal(0, 1.8, n)
    if kind == "ties":
        speed, values = np.round(speed), np.round(values)
    if kind == "outliers":
        speed[:20] += 400
        values[10:60] += 1e4
    if kind == "fan":
        values = 20 + (speed - 60) * rng.standard_t(2, n)
    if kind == "sorted":
        order = np.argsort(values)
        speed, values = speed[order], values[order]
    if kind == "two speeds":
        speed = np.where(rng.random(n) < 0.01, 110.0, 80.0)
    if kind == "on a line":
        values = 20 - 0.08 * speed + (rng.random(n) < 0.2) * rng.normal(0, 1, n)
    return speed, values


@pytest.mark.parametrize("kind", ["plain", "ties", "outliers", "fan", "sorted", "two speeds", "on a line"])
def test_many_golfers_have_the_line_of_least_loss(kind):
    rng = np.random.default_rng(11)
    speed, values = crowd(kind, EXACT_FROM, rng)
    counts = rng.multinomial(EXACT_FROM, np.full(EXACT_FROM, 1 / EXACT_FROM)).astype(np.uint8)
    for quantile, weights in ((0.5, np.ones_like(counts)), (0.75, counts)):
        line = quantile_line(speed, values, quantile, weights=weights)
        least = least_loss(speed, values, quantile, weights.astype(float))
        assert loss_of(line, speed, values, quantile, weights) == pytest.approx(least, rel=1e-9)
        assert line.centre_mph == pytest.approx(np.average(speed, weights=weights))


def test_a_start_far_off_the_line_changes_nothing():
    speed, values = crowd("plain", EXACT_FROM, np.random.default_rng(12))
    found = quantile_line(speed, values, 0.5)
    astray = quantile_line(speed, values, 0.5, start=Line(90.0, 60.0, 1.0))
    assert (astray.at_centre, astray.slope) == pytest.approx((found.at_centre, found.slope), rel=1e-9)


def test_points_beyond_a_line_are_few_equations(monkeypatch):
    # What makes it quick: the programs that are solved are small, though all points decide.
    speed, values = crowd("plain", 40_000, np.random.default_rng(13))
    solved = []
    solve = exact_fit.solve
    monkeypatch.setattr(exact_fit, "solve", lambda x, *rest: solved.append(len(x)) or solve(x, *rest))
    line = quantile_line(speed, values, 0.5)
    assert max(solved) < 0.1 * len(speed)
    # A line of least loss has at most half of the points above it and half below (Koenker 2005, theorem 2.2).
    above = values - line(speed)
    assert np.sum(above > 1e-9) <= len(speed) / 2 <= np.sum(above > -1e-9)


@pytest.mark.parametrize("n", [60, EXACT_FROM])
def test_many_draws_equal_one_by_one(n):
    rng = np.random.default_rng(14)
    speed, values = crowd("plain", n, rng)
    counts = rng.multinomial(n, np.full(n, 1 / n), size=3).astype(np.int16)
    at_centre, slope, centre = quantile_lines(speed, values, 0.75, np.vstack([counts, np.zeros_like(counts[:1])]))
    for place, drawn in enumerate(counts):
        rows = np.repeat(np.arange(n), drawn)
        line = quantile_line(speed[rows], values[rows], 0.75)
        assert centre[place] == pytest.approx(line.centre_mph, rel=1e-12)
        assert (at_centre[place], slope[place]) == pytest.approx((line.at_centre, line.slope), rel=1e-9)
    assert np.isnan([at_centre[3], slope[3], centre[3]]).all()


def test_many_golfers_of_one_speed_or_value_or_on_a_line_have_that_line():
    values = np.arange(EXACT_FROM + 1.0)
    one_speed = quantile_line(np.full(len(values), 90.0), values, 0.75)
    assert (one_speed.centre_mph, one_speed.at_centre, one_speed.slope) == (90.0, 0.75 * EXACT_FROM, 0.0)
    one_value = quantile_line(values, np.full(len(values), 3.0), 0.75)
    assert (one_value.at_centre, one_value.slope) == (3.0, 0.0)
    exact = quantile_line(values, 2 * values, 0.75)
    assert (exact.at_centre, exact.slope) == pytest.approx((EXACT_FROM, 2.0), rel=1e-12)
    drawn = np.zeros(len(values), dtype=np.uint8)
    drawn[5] = 4
    alone = quantile_line(values, 2 * values, 0.75, weights=drawn)
    assert (alone.centre_mph, alone.at_centre, alone.slope) == (5.0, 10.0, 0.0)


@pytest.mark.long
def test_a_line_of_200000_golfers_takes_tens_of_milliseconds(capsys):
    rng = np.random.default_rng(15)
    n = 200_000
    speed, values = crowd("plain", n, rng)
    counts = np.stack([np.bincount(rng.integers(0, n, n), minlength=n) for _ in range(20)]).astype(np.uint8)
    quantile_line(speed, values, 0.5)  # imports
    before = time.process_time()
    quantile_line(speed, values, 0.5)
    one = time.process_time() - before
    before = time.process_time()
    quantile_lines(speed, values, 0.75, counts)
    draw = (time.process_time() - before) / 20
    with capsys.disabled():
        print(f"\na line of {n} golfers takes {1000 * one:.0f} ms, a draw of them {1000 * draw:.0f} ms")
    assert one < 0.3
    assert draw < 0.1
