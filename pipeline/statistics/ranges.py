"""A quantile of each of many ranges of a list, such as of all values near each one (numpy alone)."""

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

Places = npt.NDArray[np.int64]


def quantile_of_ranges(values: Array, first: Places, end: Places, quantile: float) -> Array:
    """Give a quantile of each of some ranges of values, by numpy's own rule between two values.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In any order; none NaN.
    first, end : ndarray of int, shape (m,)
        Where each range begins, and the place after its last; none is empty.
    quantile : float
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (m,)
        To the last bit what `np.quantile` gives of each range. Ranges may overlap: each takes steps by the digits of
        n, however many values it has.
    """
    place = (end - first - 1) * quantile
    below = np.floor(place).astype(np.int64)
    above = np.minimum(below + 1, end - first - 1)
    low, high = (_of_rank(values, first, end, rank) for rank in (below, above))
    share, step = place - below, high - low
    # As numpy has it: from the nearer of the two.
    found: Array = np.where(share >= 0.5, high - step * (1 - share), low + step * share)
    return found


def _of_rank(values: Array, first: Places, end: Places, rank: Places) -> Array:
    """Give the value of a rank, from 0 on, in each range: ranks of all values, parted digit by digit of their binaries.

    Each digit parts a range in two, of which the earlier has the smaller values (a wavelet matrix: Claude, Navarro and
    Ordonez 2015, Information Systems 47, 15-32, doi:10.1016/j.is.2014.06.002).
    """
    order = np.argsort(values, kind="stable")
    code = np.empty(len(values), dtype=np.int64)
    code[order] = np.arange(len(values))
    found = np.zeros(len(first), dtype=np.int64)
    for digit in reversed(range(max(len(values) - 1, 1).bit_length())):
        is_one = (code >> digit) & 1 == 1
        zeros = np.concatenate([[0], np.cumsum(~is_one)])
        from_zeros, to_zeros = zeros[first], zeros[end]
        count = to_zeros - from_zeros
        goes_up = rank >= count
        first = np.where(goes_up, zeros[-1] + first - from_zeros, from_zeros)
        end = np.where(goes_up, zeros[-1] + end - to_zeros, to_zeros)
        rank = np.where(goes_up, rank - count, rank)
        found += goes_up.astype(np.int64) << digit
        code = np.concatenate([code[~is_one], code[is_one]])
    ranked: Array = values[order]
    return ranked[found]
