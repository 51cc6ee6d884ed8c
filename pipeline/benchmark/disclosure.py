"""What of a band's golfers may be published: figures that rest on enough of them and single out nobody.

Rules, after the Handbook on Statistical Disclosure Control (Hundepool and others, second edition 2024: minimum
frequency, rounding, feasibility intervals) and the practice of research data centres to give percentiles and extremes
as means of enough persons (Gomolka, R package sdcLog):

- a percentile is the mean of the golfers whose ranks are nearest to it, nobody weighing more than 1 in `min_golfers`,
  in whole yards (a kernel estimator: Sheather and Marron, J. Am. Stat. Assoc. 85 (1990) 410, doi
  10.1080/01621459.1990.10476214);
- golfers of the quarter's other published bands count in it, the less the farther they are (`benchmark.percentiles`);
  golfers of a suppressed band, or of none, count nowhere;
- it is left out where the band's own golfers are so few that the mean would reach beyond them;
- an interval is worked out from the published percentiles, from the weights, which club speeds alone decide, and from
  one low percentile of the whole quarter, made by the same rules; nothing else of anybody's carry is in it;
- a share is left out if fewer than `min_golfers` golfers are on either side of it, and given in tenths;
- golfers are counted in steps of `min_golfers`, drives in steps of about half of what so many golfers hit: two
  publications that differ by one golfer would else tell how often the golfer drove, and in which band;
- what the model says of a band, such as efficient carry, is given in whole yards and tenths of a degree. In full floats
  it moves with every golfer, and by how much tells of the golfer.

What speaks of club speeds finer than bands (frontier.json, chart.json) isn't published at all: the weights and means
of two publications at a hundred speeds could be solved for the golfer in whom they differ.

Which figures are left out follows from numbers of golfers, which are published, and never from their carries: what
is left out would tell something itself. Tried before: leaving percentiles out where an audit finds somebody exposed.
Whoever knows that rule learns more from the gap than from the figure.
"""

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array
from pipeline.tables.columns import PERCENTILES

RATIO_DECIMALS = 2
SHARE_DECIMALS = 1

_SLACK = 1e-9  # for ranks worked out in floats


def is_given(golfers: int, percent: float, min_golfers: int) -> bool:
    """Say whether a band of so many golfers may have a percentile: as many stand on either side as its mean needs."""
    return min(percent, 100 - percent) / 100 * (golfers - 1) + 0.5 >= min_golfers / 2 - _SLACK


def rank_weights(weights: Array, percent: float, span: float) -> Array:
    """Weigh golfers, by rank, for a percentile: those about it, as many as have `span` golfers' weight together.

    Parameters
    ----------
    weights : ndarray, shape (golfers,)
        Of each golfer, the lowest in rank first: 0 to 1.
    percent : float
        0 to 100.
    span : float
        At most the sum of the weights. Where the mean would reach beyond the golfers it is that of the outermost.

    Returns
    -------
    ndarray, shape (golfers,)
        Shares of the mean; they add up to 1 and none is above 1 / span.
    """
    ends = np.concatenate([[0.0], np.cumsum(weights)])
    middle = np.clip(percent / 100 * (ends[-1] - 1) + 0.5, span / 2, ends[-1] - span / 2)
    return np.asarray(np.diff(np.clip(ends, middle - span / 2, middle + span / 2)) / span)


def percentile(values: Array, weights: Array, percent: float, span: float) -> float:
    """Give a percentile as the mean of golfers about it; arguments as for `rank_weights`, golfers in any order."""
    order = np.argsort(values, kind="stable")
    return float(values[order] @ rank_weights(weights[order], percent, span))


def protected_percentiles(values_yd: Array, weights: Array, golfers: int, min_golfers: int) -> dict[int, float | None]:
    """Work out the percentiles of golfers' carries that may be published.

    Parameters
    ----------
    values_yd, weights : ndarray, shape (n,)
        Of the band's golfers, each of weight 1, and of others, each of weight 0 to 1.
    golfers : int
        How many the band has.
    min_golfers : int

    Returns
    -------
    dict of int to float or None
        Whole yards by `PERCENTILES`, rising with them; None is left out.
    """
    return {
        p: rounded(percentile(values_yd, weights, p, min_golfers), 0) if is_given(golfers, p, min_golfers) else None
        for p in PERCENTILES
    }


def rounded(value: float, decimals: int) -> float:
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
    known = ratios[~np.isnan(ratios)]
    if not is_given(len(known), 50, min_golfers):
        return None
    return rounded(percentile(known, np.ones(len(known)), 50, min_golfers), RATIO_DECIMALS)


def protected_share(inside: npt.NDArray[np.bool_], min_golfers: int) -> float | None:
    """Give the share of golfers that are inside, in tenths; None if fewer than `min_golfers` are inside or outside."""
    count = int(np.count_nonzero(inside))
    if min(count, len(inside) - count) < min_golfers:
        return None
    return rounded(count / len(inside), SHARE_DECIMALS)


def coarse_count(golfers: int, min_golfers: int) -> int:
    """Round a number of golfers, at least `min_golfers`, to a multiple of it; halves go up."""
    return int(rounded(golfers / min_golfers, 0)) * min_golfers


def coarse_sum(total: int, golfers: int, min_golfers: int) -> int:
    """Round a number of drives so that a golfer more or less hardly tells.

    Parameters
    ----------
    total : int
        Drives of a band's golfers, 1 or more.
    golfers : int
        How many they are, at least `min_golfers`.
    min_golfers : int

    Returns
    -------
    int
        The nearest of a geometric series, in two digits. Neighbors differ by half of what `min_golfers` golfers of the
        band hit on average. Whatever the golfers hit, the series is the same: a step that followed from their drives
        would tell most where it changes.
    """
    ratio = 1 + min_golfers / (2 * coarse_count(golfers, min_golfers))
    nearest = ratio ** np.rint(np.log(total) / np.log(ratio))
    return int(float(f"{nearest:.2g}"))


def modelled(value: float, decimals: int = 0) -> float:
    """Round what the model says of a band: whole yards unless decimals are given; NaN stays."""
    return value if np.isnan(value) else rounded(value, decimals)


# What frontier.json says of the golfers about each speed is coarse too. It isn't published, but pages that are handed
# to coaches hold it: in full floats, weights at a hundred speeds could be solved for the speed of every golfer.
WEIGHT_DECIMALS = 1
_NEAR_DIGITS = 4


def coarse(values: Array) -> Array:
    """Round numbers that describe the drives near a speed to four significant digits; NaN stays."""
    return np.array([float(f"{value:.{_NEAR_DIGITS}g}") for value in values.ravel()], dtype=float).reshape(values.shape)
