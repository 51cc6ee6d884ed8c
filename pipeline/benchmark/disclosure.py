"""What of a band's golfers may be published: figures that rest on enough of them and single out nobody (numpy alone).

Rules, after the Handbook on Statistical Disclosure Control (Hundepool and others, second edition 2024: minimum
frequency, rounding, feasibility intervals) and the practice of research data centres to give percentiles and extremes
as means of enough persons (Gomolka, R package sdcLog):

- a percentile is the mean of the `min_golfers` golfers whose ranks are nearest to it, in whole yards (a kernel
  estimator: Sheather and Marron, J. Am. Stat. Assoc. 85 (1990) 410, doi 10.1080/01621459.1990.10476214);
- it is left out where that span would reach beyond the golfers, so that as many stand on either side of it;
- a share is left out if fewer than `min_golfers` golfers are on either side of it.

Which figures are left out follows from the number of golfers, which is published, and never from their carries: what
is left out would tell something itself. Tried before: leaving percentiles out where an audit finds somebody exposed.
Whoever knows that rule learns more from the gap than from the figure.
"""

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

PERCENTILES = (25, 50, 75, 90)
RATIO_DECIMALS = 2

_SLACK = 1e-9  # for ranks worked out in floats


def percentile_weights(golfers: int, percent: float, min_golfers: int) -> Array | None:
    """Weigh golfers, by rank, for a percentile.

    Parameters
    ----------
    golfers : int
        Their number.
    percent : float
        0 to 100.
    min_golfers : int
        How many ranks the mean spans.

    Returns
    -------
    ndarray, shape (golfers,), or None
        Weights from the lowest rank up; they add up to 1 and none is above 1 / min_golfers. None if the span would
        reach beyond the golfers.
    """
    middle = percent / 100 * (golfers - 1) + 0.5
    low, high = middle - min_golfers / 2, middle + min_golfers / 2
    if low < -_SLACK or high > golfers + _SLACK:
        return None
    edges = np.clip(np.arange(golfers + 1), low, high)
    return np.asarray(np.diff(edges) / min_golfers)


def protected_percentiles(values_yd: Array, min_golfers: int) -> dict[int, float | None]:
    """Work out the percentiles of golfers' carries that may be published.

    Parameters
    ----------
    values_yd : ndarray, shape (golfers,)
    min_golfers : int

    Returns
    -------
    dict of int to float or None
        Whole yards by `PERCENTILES`, rising with them; None is left out.
    """
    ranked = np.sort(values_yd)
    return {p: _percentile(ranked, p, min_golfers) for p in PERCENTILES}


def _percentile(ranked_yd: Array, percent: int, min_golfers: int) -> float | None:
    weights = percentile_weights(len(ranked_yd), percent, min_golfers)
    return None if weights is None else _rounded(float(ranked_yd @ weights), 0)


def _rounded(value: float, decimals: int) -> float:
    """Round halves up, whatever the last digits of a long sum are: else equal golfers could give unequal figures."""
    scale = 10.0**decimals
    return float(np.floor(round(value * scale, 6) + 0.5) / scale)


def protected_ratio(ratios: Array, min_golfers: int) -> float | None:
    """Give the 50th percentile of speed ratios, in hundredths; None if fewer than `min_golfers` are known.

    Parameters
    ----------
    ratios : ndarray, shape (golfers,)
        NaN where ball speed isn't known.
    min_golfers : int
    """
    known = np.sort(ratios[~np.isnan(ratios)])
    weights = percentile_weights(len(known), 50, min_golfers)
    if weights is None:
        return None
    return _rounded(float(known @ weights), RATIO_DECIMALS)


def protected_share(inside: npt.NDArray[np.bool_], min_golfers: int) -> float | None:
    """Give the share of golfers, 0 to 1, that are inside; None if fewer than `min_golfers` are inside or outside."""
    count = int(np.count_nonzero(inside))
    if min(count, len(inside) - count) < min_golfers:
        return None
    return count / len(inside)


# What frontier.json says of the golfers about each speed is coarse: in full floats, weights at a hundred speeds could
# be solved for the speed of every golfer.
WEIGHT_DECIMALS = 1
_NEAR_DIGITS = 4


def coarse(values: Array) -> Array:
    """Round numbers that describe the drives near a speed to four significant digits; NaN stays."""
    return np.array([float(f"{value:.{_NEAR_DIGITS}g}") for value in values.ravel()], dtype=float).reshape(values.shape)
