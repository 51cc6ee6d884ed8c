"""Quantiles of values that come in pieces: the same, to the last bit, as those of all values at once (numpy alone).

A first reading of the pieces keeps every so many-th of each one's sorted values. These tell between which two values a
quantile must lie. A second reading counts what lies below, and keeps what lies between.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

# Of each piece and group. A quantile of a billion values in pieces of 131,072 then lies between two that have one in a
# hundred of them between them.
_SHOWN = 256


class Between(NamedTuple):
    """The two values next to each quantile, and how far it lies from the lower to the upper one."""

    below: Array
    above: Array
    share: Array

    def values(self) -> Array:
        """Give the quantiles, by numpy's own rule between two values."""
        each = zip(self.below.flat, self.above.flat, self.share.flat, strict=True)
        return np.array([np.quantile([a, b], share) for a, b, share in each]).reshape(self.below.shape)

    def scaled(self, center: float, scale: float) -> "Between":
        """Give what belongs to the quantiles of the centred and scaled values."""
        return Between((self.below - center) / scale, (self.above - center) / scale, self.share)


class Quantiles:
    """Quantiles of all values and of those outside each group; every piece is shown to `look` and then to `gather`.

    Parameters
    ----------
    at : sequence of float
        Between 0 and 1.
    """

    def __init__(self, at: Sequence[float]) -> None:
        self.at = tuple(at)
        self._counts: dict[int, int] = {}
        self._slack: dict[int, int] = {}
        self._seen: list[tuple[Array, npt.NDArray[np.int64], int]] = []
        self._bounds: list[tuple[float, float]] = []
        self._below: dict[tuple[int, int], int] = {}
        self._kept: list[list[tuple[Array, int]]] = [[] for _ in self.at]

    def look(self, values: Array, group: npt.NDArray[np.integer[Any]] | None = None) -> None:
        """Take a piece in the first reading; groups are numbered from 0 on, and all values are of 0 unless given."""
        for k, ranked in _ranked(values, group):
            each = max(len(ranked) // _SHOWN, 1)
            shown = np.append(np.arange(each - 1, len(ranked) - 1, each), len(ranked) - 1)
            self._seen.append((ranked[shown], np.diff(shown, prepend=-1), k))
            self._counts[k] = self._counts.get(k, 0) + len(ranked)
            self._slack[k] = self._slack.get(k, 0) + each - 1

    def gather(self, values: Array, group: npt.NDArray[np.integer[Any]] | None = None) -> None:
        """Take a piece in the second reading."""
        if not self._bounds:
            self._settle()
        for k, ranked in _ranked(values, group):
            for place, (least, most) in enumerate(self._bounds):
                first, end = np.searchsorted(ranked, least), np.searchsorted(ranked, most, side="right")
                self._below[place, k] = self._below.get((place, k), 0) + int(first)
                self._kept[place].append((ranked[first:end].copy(), k))

    def without(self, groups: Sequence[int]) -> Between:
        """Give the quantiles outside each group, arrays of shape (groups, at); outside one that isn't there: of all."""
        found = np.empty((2, len(groups), len(self.at)))
        share = np.empty(found.shape[1:])
        for place, q in enumerate(self.at):
            values = np.concatenate([part for part, _ in self._kept[place]])
            of = np.repeat([k for _, k in self._kept[place]], [len(part) for part, _ in self._kept[place]])
            order = np.argsort(values, kind="stable")
            values, of = values[order], of[order]
            for row, left_out in enumerate(groups):
                there, (rank, following, share[row, place]) = values[of != left_out], self._ranks(q, left_out)
                below = sum(count for (at, k), count in self._below.items() if at == place and k != left_out)
                found[:, row, place] = there[[rank - below, following - below]]
        return Between(found[0], found[1], share)

    @property
    def groups(self) -> list[int]:
        """The groups that there are."""
        return sorted(self._counts)

    @property
    def of_all(self) -> Between:
        """The quantiles of all values, arrays of shape (at,)."""
        return Between(*(part[0] for part in self.without([-1])))

    def _ranks(self, q: float, left_out: int) -> tuple[int, int, float]:
        """Give the places of the two values next to a quantile outside a group, and the share of the way."""
        last = sum(count for k, count in self._counts.items() if k != left_out) - 1
        at = last * q
        return int(at), min(int(at) + 1, last), at - int(at)

    def _settle(self) -> None:
        """Find between which values each quantile lies, outside whatever group."""
        values = np.concatenate([part for part, _, _ in self._seen])
        stand_for = np.concatenate([part for _, part, _ in self._seen])
        of = np.repeat([k for _, _, k in self._seen], [len(part) for part, _, _ in self._seen])
        order = np.argsort(values, kind="stable")
        values, stand_for, of = values[order], stand_for[order], of[order]
        self._seen.clear()
        bounds = [(np.inf, -np.inf)] * len(self.at)
        for left_out in (-1, *self._counts) if len(self._counts) > 1 else (-1,):
            there = of != left_out
            shown, up_to = values[there], np.cumsum(stand_for[there])
            slack = sum(part for k, part in self._slack.items() if k != left_out)
            for place, q in enumerate(self.at):
                rank, following, _ = self._ranks(q, left_out)
                # At least `up_to` values are no greater than a shown one, and at most `slack` more than the shown ones
                # before it stand for are less.
                first = int(np.searchsorted(up_to, rank - slack, side="right"))
                least = float(shown[first]) if rank >= slack else -np.inf
                most = float(shown[np.searchsorted(up_to, following + 1)])
                bounds[place] = min(bounds[place][0], least), max(bounds[place][1], most)
        self._bounds = bounds


def _ranked(values: Array, group: npt.NDArray[np.integer[Any]] | None) -> list[tuple[int, Array]]:
    if group is None:
        return [(0, np.sort(values))] if len(values) else []
    return [(int(k), np.sort(values[group == k])) for k in np.unique(group)]
