"""Quantiles of many ranges at once are numpy's own of each, to the last bit."""

import numpy as np
import pytest

from pipeline.statistics.ranges import quantile_of_ranges


@pytest.mark.parametrize("quantile", [0.0, 0.1, 0.5, 0.75, 0.9, 1.0])
@pytest.mark.parametrize("count", [1, 2, 3, 8, 1000])
@pytest.mark.parametrize("digits", [1, 15])
def test_each_range_has_numpys_quantile(count, quantile, digits):
    random = np.random.default_rng(count)
    values = np.round(random.normal(size=count), digits)  # with one digit, many are alike
    first = random.integers(0, count, 200)
    end = first + 1 + random.integers(0, count - first)
    found = quantile_of_ranges(values, first, end, quantile)
    expected = [np.quantile(values[a:b], quantile) for a, b in zip(first, end, strict=True)]
    assert found.tolist() == expected


def test_no_ranges_have_no_quantiles():
    none = np.empty(0, dtype=np.int64)
    assert quantile_of_ranges(np.empty(0), none, none, 0.5).shape == (0,)
    assert quantile_of_ranges(np.array([1.0]), none, none, 0.5).shape == (0,)
