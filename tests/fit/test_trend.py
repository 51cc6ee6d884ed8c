"""Trends: a planted bend is found, a straight trend stays straight, and draws spread as far as a bend is unknown."""

from dataclasses import replace

import numpy as np
import pytest
from statsmodels.regression.quantile_regression import QuantReg

from pipeline.fit.trend import Line, Trend, bow, quantile_line

KNOTS = (75.0, 92.0, 110.0)


def golfers(n, bend=0.0, noise=1.2, seed=3):
    rng = np.random.default_rng(seed)
    speed = rng.uniform(66, 116, n)
    return speed, 14.5 - 0.05 * (speed - 90) + bend * bow(speed, KNOTS) + noise * rng.standard_normal(n)


def test_the_bow_is_zero_then_smooth_then_straight():
    speed = np.linspace(60, 125, 6501)
    value = bow(speed, KNOTS)
    assert np.all(value[speed <= 75] == 0)
    slope = np.gradient(value, speed)
    np.testing.assert_allclose(slope[speed > 110.1], 3 * (92 - 75) / (110 - 75), rtol=1e-6)
    # Slope and its change have no step: the second derivative moves by no more than its own slope times the grid.
    second = np.gradient(slope, speed)
    assert np.abs(np.diff(second)).max() < 0.02 * second.max()


def test_exact_bent_values_are_found_again():
    speed = np.linspace(66, 116, 60)
    knots = tuple(np.quantile(speed, [0.1, 0.5, 0.9]))
    values = 14.5 - 0.05 * (speed - 90) + 0.08 * bow(speed, knots)
    line = Trend.of(speed, values, 0.5).line()
    assert line.knots_mph == pytest.approx(knots)
    assert line.bend == pytest.approx(0.08, rel=1e-6)
    there = np.array([60.0, 70.0, 90.0, 110.0, 120.0])
    np.testing.assert_allclose(line(there), 14.5 - 0.05 * (there - 90) + 0.08 * bow(there, knots), atol=1e-7)


def test_a_clear_bend_is_followed_where_a_straight_line_misses():
    there = np.array([68.0, 80.0, 90.0, 100.0, 114.0])
    bent, straight = [], []
    for seed in range(30):
        speed, values = golfers(200, bend=0.3, seed=seed)
        truth = 14.5 - 0.05 * (there - 90) + 0.3 * bow(there, KNOTS)
        bent.append(Trend.of(speed, values, 0.5).line()(there) - truth)
        straight.append(quantile_line(speed, values, 0.5)(there) - truth)
    bias, before = np.mean(bent, axis=0), np.mean(straight, axis=0)
    assert np.abs(bias).max() < 0.25
    assert np.abs(before).max() > 0.7
    assert np.all(np.abs(bias) < 0.5 * np.abs(before) + 0.05)


def test_a_straight_trend_stays_straight():
    # Akaike's criterion lets one more term in by chance in 16 of 100 (chi-squared above 2, one degree of freedom).
    lines = [Trend.of(*golfers(70, seed=seed), 0.75).line() for seed in range(200)]
    straight = np.mean([line.bend == 0 for line in lines])
    assert 0.74 < straight < 0.94
    for seed, line in enumerate(lines[:20]):
        if line.bend == 0:
            plain = quantile_line(*golfers(70, seed=seed), 0.75)
            assert (line.centre_mph, line.at_centre, line.slope) == (plain.centre_mph, plain.at_centre, plain.slope)


def test_the_whole_bend_is_that_of_statsmodels():
    speed, values = golfers(80, bend=0.3)
    trend = Trend.of(speed, values, 0.75)
    line = trend.line()
    design = np.column_stack([np.ones(80), speed - 90, bow(speed, line.knots_mph)])
    searched = QuantReg(values, design).fit(q=0.75, max_iter=5000, p_tol=1e-9)
    # A draw of each golfer once, had the penalty taken nothing: see the notes of `of_draws`.
    unmoved = trend.of_draws(line, np.ones((1, 80), dtype=int))[0, 2] - line.bend + trend._whole[2]
    assert unmoved == pytest.approx(searched.params[2], abs=2e-3)
    assert 0 < line.bend < searched.params[2]


def test_every_golfer_once_gives_the_line_itself():
    there = np.array([60.0, 75.0, 90.0, 105.0, 120.0])
    for bend in (0.0, 0.3):
        speed, values = golfers(80, bend=bend)
        trend = Trend.of(speed, values, 0.5)
        line = trend.line()
        terms = trend.of_draws(line, np.ones((1, 80), dtype=int))
        np.testing.assert_allclose(line.of_draws(terms[0], there), line(there), rtol=1e-9)


def test_draws_are_those_of_other_units_of_the_same_golfers():
    # A line of some of the golfers gives draws of all of them its center and knots.
    speed, values = golfers(80, bend=0.3)
    line = Trend.of(speed[:70], values[:70], 0.5).line()
    counts = np.random.default_rng(1).multinomial(80, np.full(80, 1 / 80), size=5)
    terms = Trend.like(line, speed, values, 0.5).of_draws(line, counts)
    moved = replace(line, centre_mph=line.centre_mph + 7, at_centre=line.at_centre + 7 * line.slope)
    other = Trend.like(moved, speed, values, 0.5).of_draws(moved, counts)
    there = np.array([70.0, 100.0])
    for one, two in zip(terms, other, strict=True):
        np.testing.assert_allclose(line.of_draws(one, there), moved.of_draws(two, there), rtol=1e-9)


def test_lines_of_draws_spread_as_their_fits_do():
    # Standard error of the bent fit at the end of the speeds over many academies against that over draws of one.
    there, fits, spread = 114.0, [], []
    for seed in range(60):
        speed, values = golfers(120, bend=0.4, seed=seed)
        trend = Trend.of(speed, values, 0.5)
        line = trend.line()
        fits.append(float(line(there)))
        if seed < 6:
            counts = np.random.default_rng(seed).multinomial(120, np.full(120, 1 / 120), size=60)
            spread.append(np.std(line.of_draws(trend.of_draws(line, counts), there)))
    assert 0.75 < np.mean(spread) / np.std(fits) < 1.35


def test_bends_of_draws_spread_where_none_is_kept_but_less():
    there, shares = 114.0, []
    counts = np.random.default_rng(4).multinomial(80, np.full(80, 1 / 80), size=60)
    for seed in range(12):
        speed, values = golfers(80, seed=seed)
        trend = Trend.of(speed, values, 0.5)
        line = trend.line()
        if line.bend == 0:
            terms = trend.of_draws(line, counts)
            whole = [trend._points.terms(drawn.astype(float))[2] for drawn in counts]
            shares.append(np.std(terms[:, 2]) / np.std(whole))
            assert np.mean(line.of_draws(terms, there)) == pytest.approx(float(line(there)), abs=0.5)
    assert len(shares) > 5
    np.testing.assert_allclose(shares, 0.5, rtol=1e-9)


def test_too_few_golfers_or_speeds_have_straight_lines():
    speed, values = golfers(10, bend=5.0)
    assert Trend.of(speed, values, 0.75).line().knots_mph == ()
    speed, values = golfers(60)
    two = np.where(speed > 90, 100.0, 80.0)
    assert Trend.of(two, values, 0.5).line().knots_mph == ()
    level = Trend.of(speed, np.full(60, 3.0), 0.5)
    assert level.line() == Line(pytest.approx(speed.mean()), 3.0, 0.0)
    assert level.of_draws(level.line(), np.ones((2, 60), dtype=int)).tolist() == [[3.0, 0.0, 0.0]] * 2


def test_draws_that_hold_nobody_have_no_line():
    nobody = Trend.of(np.array([]), np.array([]), 0.5)
    found = nobody.of_draws(Line(90.0, 1.0, 0.0), np.zeros((2, 0), dtype=np.int16))
    assert found.shape == (2, 3)
    assert np.isnan(found).all()


@pytest.mark.parametrize("n", [60, 2500])
def test_many_draws_equal_one_by_one(n):
    rng = np.random.default_rng(14)
    speed = rng.normal(92, 10, n)
    values = 20 - 0.08 * speed + rng.normal(0, 1.8, n)
    trend = Trend(speed, values, 0.75, (), 92.0)
    counts = rng.multinomial(n, np.full(n, 1 / n), size=3).astype(np.int16)
    line = Line(92.0, 0.0, 0.0)
    found = trend.of_draws(line, np.vstack([counts, np.zeros_like(counts[:1])]))
    for terms, drawn in zip(found, counts, strict=False):
        rows = np.repeat(np.arange(n), drawn)
        alone = quantile_line(speed[rows], values[rows], 0.75)
        assert line.of_draws(terms, 100.0) == pytest.approx(float(alone(100.0)), rel=1e-9)
    assert np.isnan(found[3]).all()
