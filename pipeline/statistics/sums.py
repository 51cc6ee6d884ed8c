"""Sums over values that come in pieces (numpy alone)."""

import numpy as np

from pipeline.statistics.arrays import Array

_RUN = 131_072  # values that are summed up at once


class Sum:
    """Adds values up in runs of one length, so that the sum doesn't depend on where pieces end, to the last bit.

    Of no more values than a run has, it is numpy's sum of all.
    """

    def __init__(self) -> None:
        self._done, self._left = 0.0, np.zeros(0)

    def add(self, values: Array) -> None:
        """Take the next piece, shape (n,)."""
        left = np.concatenate([self._left, values])
        whole = len(left) // _RUN * _RUN
        for run in left[:whole].reshape(-1, _RUN):
            self._done += float(np.sum(run))
        self._left = left[whole:].copy()

    @property
    def total(self) -> float:
        """The sum so far."""
        return self._done + float(np.sum(self._left))
