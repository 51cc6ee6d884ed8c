import numpy as np
import pytest

from pipeline.statistics.quantiles import Quantiles

AT = (0.0, 0.01, 0.05, 0.35, 0.5, 0.95, 0.99, 1.0)


def taken(pieces):
    found = Quantiles(AT)
    for take in (found.look, found.gather):
        for values, group in pieces:
            take(values, group)
    return found


@pytest.mark.parametrize("alike", [False, True])
@pytest.mark.parametrize("sizes", [(1,), (2, 1), (700, 3, 0, 900), (20_000, 30_000, 10_000)])
def test_quantiles_of_pieces_are_those_of_all_values_to_the_last_bit(sizes, alike):
    rng = np.random.default_rng(len(sizes))
    # Pieces differ, so that no quantile of one is that of all; with values that are alike, many stand on an edge.
    drawn = (rng.normal(place, 1 + place, size) for place, size in enumerate(sizes))
    pieces = [(np.round(values, 1) if alike else values, rng.integers(0, 3, len(values))) for values in drawn]
    values, group = (np.concatenate(column) for column in zip(*pieces, strict=True))
    found = taken(pieces)
    np.testing.assert_array_equal(found.of_all.values(), np.quantile(values, AT))
    scaled = found.of_all.scaled(0.3, 1.7).values()
    np.testing.assert_array_equal(scaled, np.quantile((values - 0.3) / 1.7, AT))
    others = [k for k in found.groups if (group != k).any()]
    expected = [np.quantile(values[group != k], AT) for k in others]
    np.testing.assert_array_equal(found.without(others).values(), np.reshape(expected, (-1, len(AT))))


def test_few_values_are_kept():
    rng = np.random.default_rng(1)
    pieces = [(rng.normal(size=50_000), rng.integers(0, 5, 50_000)) for _ in range(8)]
    found = taken(pieces)
    kept = sum(len(part) for of_one in found._kept for part, _ in of_one)
    assert kept < 0.15 * 400_000  # for eight quantiles, some of them without each of five groups
    assert found._seen == []
