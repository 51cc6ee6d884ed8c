import numpy as np
import pytest
from scipy import stats

from pipeline.statistics.skewed import bent, pooled_skewness, straightened

DRIVES, GOLFERS = 25, 40_000


@pytest.fixture(scope="module")
def exponential():
    """Means of exponential values, whose truth is 1 and whose skewness is 2 (any handbook of distributions)."""
    drawn = np.random.default_rng(7).exponential(size=(GOLFERS, DRIVES))
    error = drawn.std(axis=1, ddof=1) / np.sqrt(DRIVES)
    return (drawn.mean(axis=1) - 1) / error


def misses(t, quantile):
    return np.array([np.mean(t > quantile), np.mean(t < -quantile)])


def test_means_of_skewed_values_miss_on_both_sides_alike(exponential):
    quantile = stats.t.isf(0.05, DRIVES - 1)
    plain = misses(exponential, quantile)
    mended = misses(straightened(exponential, np.full(GOLFERS, 2 / np.sqrt(DRIVES))), quantile)
    assert plain[0] < 0.025
    assert plain[1] > 0.09
    assert mended == pytest.approx([0.05, 0.05], abs=0.012)


def test_means_of_even_values_are_left_alone():
    t = np.linspace(-5, 5, 11)
    assert straightened(t, np.zeros(11)) == pytest.approx(t)
    assert bent(t, np.zeros(11)) == pytest.approx(t)


@pytest.mark.parametrize("skewness", [-0.8, -1e-7, 1e-7, 0.3, 1.2])
def test_bent_is_the_inverse_and_rises(skewness):
    t = np.linspace(-30, 30, 121)
    there = straightened(t, np.full(121, skewness))
    assert bent(there, np.full(121, skewness)) == pytest.approx(t, abs=1e-6)
    assert (np.diff(there) > 0).all()


def test_skewness_is_pooled_by_drives_and_the_unknown_counts_for_nothing():
    assert pooled_skewness(np.array([1.0, 2.0, np.nan]), np.array([10, 30, 500])) == pytest.approx(1.75)
    assert pooled_skewness(np.array([np.nan]), np.array([2])) == 0.0
