from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.shapley import exchange

number = st.floats(-50, 50)


@given(st.tuples(number, number, number), st.tuples(number, number, number))
def test_exchange_adds_up_exactly_to_the_change(start, end):
    def value(x, y, z):
        return x * y + np.sin(z) * x + z**2

    before, after = ([np.array([v]) for v in values] for values in (start, end))
    parts = exchange(value, before, after)
    assert sum(parts)[0] == pytest.approx((value(*before) - value(*after))[0], abs=1e-7)


def test_exchange_of_a_sum_gives_each_its_own_change():
    parts = exchange(lambda x, y: 3 * x - y, [np.array([5.0]), np.array([1.0])], [np.array([2.0]), np.array([4.0])])
    assert [part[0] for part in parts] == pytest.approx([9.0, 3.0])


def test_exchange_of_a_product_shares_the_interaction_equally():
    # Closed form for x*y: each gets its change times the mean of the other (Shapley 1953).
    parts = exchange(lambda x, y: x * y, [np.array([4.0]), np.array([10.0])], [np.array([1.0]), np.array([6.0])])
    assert [part[0] for part in parts] == pytest.approx([3 * 8.0, 4 * 2.5])


def test_an_input_that_does_not_change_takes_nothing():
    one, two = np.array([1.0]), np.array([2.0])
    assert exchange(lambda x, y: x**y, [two, one], [one, one])[1][0] == 0


def test_three_inputs_agree_with_the_formula_over_coalitions():
    # Shapley (1953): the mean gain of joining, each coalition of the others weighted by |S|! (n - |S| - 1)! / n!.
    def value(x, y, z):
        return x * y * z + y**2 - x * z

    start, end = [2.0, -1.0, 3.0], [0.5, 4.0, -2.0]

    def at(moved):
        return value(*(end[i] if i in moved else start[i] for i in range(3)))

    weights = {0: 1 / 3, 1: 1 / 6, 2: 1 / 3}
    parts = exchange(value, *([np.array([v]) for v in values] for values in (start, end)))
    for i in range(3):
        others = [set(c) for n in range(3) for c in combinations([j for j in range(3) if j != i], n)]
        assert parts[i][0] == pytest.approx(sum(weights[len(c)] * (at(c) - at(c | {i})) for c in others))
