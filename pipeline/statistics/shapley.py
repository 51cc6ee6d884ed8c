"""Sharing a change of a value out among its inputs."""

from collections.abc import Callable, Sequence
from itertools import permutations

import numpy as np

from pipeline.statistics.arrays import Array


def exchange(value: Callable[..., Array], start: Sequence[Array], end: Sequence[Array]) -> list[Array]:
    """Share out a change among its inputs, averaged over every order of exchanging them (Shapley's value).

    Parameters
    ----------
    value : callable
        Takes one array per input, gives an array.
    start, end : sequence of ndarray, each of shape (n,)
        The inputs before and after.

    Returns
    -------
    list of ndarray, each of shape (n,)
        What each input took away; together exactly value(start) - value(end).

    References
    ----------
    Shapley, A value for n-person games, Contributions to the Theory of Games II (1953) 307-317.
    """
    inputs = range(len(start))
    cache = {
        subset: value(*(end[i] if i in subset else start[i] for i in inputs))
        for subset in {frozenset(order[:k]) for order in permutations(inputs) for k in range(len(start) + 1)}
    }
    orders = list(permutations(inputs))
    taken = [np.zeros_like(cache[frozenset()]) for _ in inputs]
    for order in orders:
        for k, i in enumerate(order):
            taken[i] += cache[frozenset(order[:k])] - cache[frozenset(order[: k + 1])]
    return [part / len(orders) for part in taken]
