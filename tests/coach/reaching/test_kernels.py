import numpy as np
import pytest
from scipy.stats import norm

from pipeline.coach.reaching import kernels
from pipeline.coach.reaching.kernels import (
    MIN_OWN,
    Scatter,
    others_shape,
    own_weight,
    quantiles_of,
    quantiles_of_all,
    worth_of,
)
from pipeline.statistics.drive_spread import LEVELS

NORMAL = others_shape([])


def share_at(quantiles, yards):
    return 1 - np.interp(yards, quantiles, LEVELS)


def test_nobodys_shape_is_the_normal_one():
    assert np.array([NORMAL[50], NORMAL.std()]) == pytest.approx([0, 1], abs=0.02)


def test_others_count_the_same_however_many_drives_they_have():
    even = np.linspace(-1, 1, 400)
    pooled = others_shape([Scatter(10 * even, 10.0), Scatter(np.full(20, -100.0), 10.0), Scatter(np.ones(3), 1.0)])
    assert np.mean(pooled < -9) == pytest.approx(0.5, abs=0.03)


def test_many_own_drives_are_the_answer_mishits_and_all():
    rng = np.random.default_rng(1)
    drives = np.where(rng.uniform(size=4000) < 0.3, -40.0, 0.0) + rng.normal(0, 8, 4000)
    found = quantiles_of(Scatter(drives, 8.0), 8.0, NORMAL, 0.0)
    for yards in (-50, -20, -5, 0, 8):
        assert share_at(found, yards) == pytest.approx(np.mean(drives >= yards), abs=0.012)


def test_too_few_own_drives_leave_the_others_shape_in_the_golfers_scale():
    found = quantiles_of(Scatter(np.full(MIN_OWN - 1, 30.0), 1.0), 8.0, NORMAL, 0.0)
    assert np.interp([0.1, 0.5, 0.9], LEVELS, found) == pytest.approx(8 * norm.ppf([0.1, 0.5, 0.9]), abs=0.3)
    assert (own_weight(MIN_OWN - 1), worth_of(MIN_OWN - 1)) == (0, 10)
    assert (own_weight(40), worth_of(40)) == (0.8, 50)


def test_what_few_days_lack_is_added_and_smoothing_adds_nothing():
    plain, more = (quantiles_of(Scatter(np.array([]), 8.0), 8.0, NORMAL, extra) for extra in (0.0, 6.0))
    upper = LEVELS.searchsorted(0.84)
    assert plain[upper] == pytest.approx(8 * norm.ppf(LEVELS[upper]), rel=0.03)
    assert more[upper] == pytest.approx(10 * norm.ppf(LEVELS[upper]), rel=0.03)


def test_drives_far_from_a_distance_count_as_the_kernels_tail_says():
    rng = np.random.default_rng(4)
    drives, spread, more = np.append(rng.normal(0, 8, 50), [-95.0, -60.0, 40.0]), 8.5, 1.5
    own, width = own_weight(len(drives)), 0.6 * worth_of(len(drives)) ** -0.2
    points = np.append(drives, NORMAL * spread) / np.hypot(1, width)
    weights = np.append(np.full(len(drives), own / len(drives)), np.full(len(NORMAL), (1 - own) / len(NORMAL)))
    kernel = np.hypot(width * spread / np.hypot(1, width), more)
    found = quantiles_of(Scatter(drives, spread), spread, NORMAL, more)
    below = norm.cdf((found[:, None] - points) / kernel) @ weights
    np.testing.assert_allclose(below, LEVELS, atol=0.002)  # between the places where it is calculated, a straight line


def many_golfers(count, seed):
    """Golfers of 1 to 60 drives, some of them mishits and in their own spread; spreads and what few days lack."""
    rng = np.random.default_rng(seed)
    spread = rng.uniform(3.0, 14.0, count)
    golfers = []
    for own in spread:
        drives = rng.normal(0.0, own, rng.integers(1, 60)) - rng.exponential(40.0) * (rng.random() < 0.3)
        golfers.append(Scatter(np.sort(drives), float(own)))
    more = np.where(rng.random(count) < 0.5, 0.0, rng.uniform(0.1, 8.0, count))
    return golfers, np.where(rng.random(count) < 0.02, np.nan, spread), more


def test_many_golfers_scatter_as_each_by_itself(monkeypatch):
    golfers, spread, more = many_golfers(300, 2)
    # A mishit far from all others, as the others have them.
    others = np.sort(np.append(others_shape(golfers)[1:], -9.0))
    each = quantiles_of_all(golfers, spread, others, more)
    np.testing.assert_array_equal(each[7], quantiles_of(golfers[7], spread[7], others, more[7]))
    monkeypatch.setattr(kernels, "MANY", 1)
    together = quantiles_of_all(golfers, spread, others, more)
    np.testing.assert_array_equal(np.isnan(together), np.isnan(each))
    assert np.isnan(each).any()
    np.testing.assert_allclose(together, each, rtol=0, atol=1e-5)


def test_a_golfer_among_many_does_not_depend_on_who_stands_beside(monkeypatch):
    monkeypatch.setattr(kernels, "MANY", 1)
    golfers, spread, more = many_golfers(60, 3)
    others = others_shape(golfers)
    whole = quantiles_of_all(golfers, spread, others, more)
    monkeypatch.setattr(kernels, "_PART", 1)
    np.testing.assert_array_equal(quantiles_of_all(golfers, spread, others, more), whole)


def test_nobody_among_many_shows_a_spread(monkeypatch):
    monkeypatch.setattr(kernels, "MANY", 1)
    golfers = [Scatter(np.zeros(1), 0.0)] * 3
    assert np.isnan(quantiles_of_all(golfers, np.full(3, np.nan), NORMAL, np.zeros(3))).all()
    assert quantiles_of_all([], np.array([]), NORMAL, np.array([])).shape == (0, len(LEVELS))


def test_the_others_quantiles_are_those_of_each_golfer():
    golfers, _, _ = many_golfers(80, 4)
    enough = [one for one in golfers if len(one.off_yd) >= MIN_OWN]
    pooled = np.concatenate([np.quantile(one.off_yd, (np.arange(25) + 0.5) / 25) / one.spread_yd for one in enough])
    np.testing.assert_array_equal(others_shape(golfers), np.quantile(pooled, (np.arange(101) + 0.5) / 101))


def test_many_golfers_take_few_densities(monkeypatch):
    """Else each drive's part is worked out at all places of its golfer's grid, which was most of the step's time."""
    monkeypatch.setattr(kernels, "MANY", 1)
    golfers = [Scatter(np.sort(np.random.default_rng(seed).normal(0, 8, 24)), 8.0) for seed in range(50)]
    others, density, cells = others_shape(golfers), kernels._density, []

    def counted(place, points, kernel):
        if points.shape[1] == 24:  # not the table of the others
            cells.append(place.size * points.shape[1])
        return density(place, points, kernel)

    monkeypatch.setattr(kernels, "_density", counted)
    quantiles_of_all(golfers, np.full(50, 8.0), others, np.zeros(50))
    assert 0 < sum(cells) < 0.6 * 50 * 24 * kernels._GRID


def test_a_golfer_whose_drives_lie_too_far_apart_for_densities_is_worked_out_alone(monkeypatch):
    golfers = [Scatter(np.append(-400.0, np.linspace(-2, 2, 40)), 1.0)] * 2
    alone = quantiles_of(golfers[0], 1.0, NORMAL, 0.0)
    monkeypatch.setattr(kernels, "MANY", 1)
    np.testing.assert_array_equal(quantiles_of_all(golfers, np.ones(2), NORMAL, np.zeros(2)), [alone, alone])
