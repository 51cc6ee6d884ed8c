import numpy as np
import pytest

from pipeline.statistics.jackknife import Jackknifed, about_golfers
from pipeline.statistics.least_squares import Factor


@pytest.fixture
def rows():
    """Rows of 12 golfers with golfer effects: four terms, the last two asked for."""
    rng = np.random.default_rng(4)
    golfer = np.repeat(np.arange(12), rng.integers(3, 9, 12))
    X = np.column_stack([np.ones(len(golfer)), rng.normal(0, 1, (len(golfer), 2)), rng.normal(0, 1, 12)[golfer]])
    y = X @ [3.0, 1.0, -2.0, 0.5] + rng.normal(0, 1, 12)[golfer] + rng.normal(0, 0.3, len(golfer))
    return X, y, golfer


def test_effects_are_those_of_least_squares(rows):
    X, y, _ = rows
    found = Jackknifed.of(Factor.of(X, y), 2).effects
    np.testing.assert_allclose(found, np.linalg.lstsq(X, y, rcond=None)[0][2:], rtol=1e-10)


def test_moves_are_what_a_fit_without_the_golfer_gives(rows):
    X, y, golfer = rows
    fit = Jackknifed.of(Factor.of(X, y), 2)
    without = [np.linalg.lstsq(X[golfer != k], y[golfer != k], rcond=None)[0][2:] for k in range(12)]
    np.testing.assert_allclose(fit.moves(X, y, golfer), fit.effects - without, rtol=1e-8)


def test_columns_that_depend_on_each_other_leave_the_effects_as_they_are(rows):
    X, y, golfer = rows
    twice = np.column_stack([X[:, :2], X[:, 0] + X[:, 1], X[:, 2:]])
    once, again = (Jackknifed.of(Factor.of(part, y), 2) for part in (X, twice))
    np.testing.assert_allclose(again.effects, once.effects, rtol=1e-8)
    np.testing.assert_allclose(again.moves(twice, y, golfer), once.moves(X, y, golfer), rtol=1e-7)


def test_what_one_golfer_alone_shows_stays_without_him(rows):
    X, y, golfer = rows
    own = np.column_stack([(golfer == 3).astype(float), X])
    fit, others = Jackknifed.of(Factor.of(own, y), 2), golfer != 3
    without = np.linalg.lstsq(X[others], y[others], rcond=None)[0][2:]
    np.testing.assert_allclose(fit.moves(own, y, golfer)[3], fit.effects - without, rtol=1e-8)


def test_golfers_means_are_taken_out(rows):
    X, _, golfer = rows
    about = about_golfers(X, golfer)
    for k in range(12):
        np.testing.assert_allclose(about[golfer == k].mean(axis=0), 0, atol=1e-12)
    np.testing.assert_allclose(about[:, [0, 3]], 0, atol=1e-12)
