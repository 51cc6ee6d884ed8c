import numpy as np

from pipeline.statistics.sums import Sum


def summed(pieces):
    found = Sum()
    for piece in pieces:
        found.add(piece)
    return found.total


def test_a_sum_does_not_depend_on_where_pieces_end():
    values = np.random.default_rng(1).normal(size=400_000)
    by_pieces = [sum(float(np.sum(part)) for part in np.split(values, edges)) for edges in ([7, 150_001], [300_000])]
    assert by_pieces[0] != by_pieces[1]  # else the next lines would show nothing
    whole = summed([values])
    assert summed(np.split(values, [7, 150_001])) == summed(np.split(values, [300_000])) == whole
    np.testing.assert_allclose(whole, np.sum(values), rtol=1e-12)


def test_a_sum_of_few_values_is_numpys():
    values = np.random.default_rng(2).normal(size=100_000)
    assert summed(np.split(values, [99_000])) == float(np.sum(values))
    assert summed([]) == 0.0
