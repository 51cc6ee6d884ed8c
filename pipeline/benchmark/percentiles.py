"""Who counts in a band's percentiles, and how far these may be off: weights of golfers by speed, and intervals.

A band has few golfers, and a percentile of few golfers is poor. A golfer who is somewhat faster or slower, moved to the
band's center along the model's surface, tells about as much as one of the band: the percentiles of golfers who strike,
launch and spin it alike. So golfers beyond the band count too, the less the farther they are (a kernel estimate of
conditional quantiles: Yu and Jones, J. Am. Stat. Assoc. 93 (1998) 228, doi from memory 10.1080/01621459.1998.10474104).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from pipeline.benchmark.disclosure import is_given, percentile, rounded
from pipeline.statistics.arrays import Array
from pipeline.tables.columns import PERCENTILES

# How far beyond a band golfers count, in half-widths of it. On 360 invented quarters of six worlds, golfers moved along
# the true surface, the rms error of all percentiles in the world `plain` was 4.4 yd with 0 (the band's golfers alone),
# 3.7 with 1, 3.3 with 2, 3.1 with 4 and 3.0 with 8. Beyond 2 little is gained, and golfers of other speeds deliver
# otherwise: in the world `large` the 50th of its fastest band is off by 0.4 yd with 2, by 0.7 yd with 4.
TAPER = 2.0

# How far golfers spread below the 25th percentile is told by one more, of the whole quarter: the 10th, which reaches
# into golfers with a fault. With the 15th the share of intervals that hold the truth changes by 1.5 in 100 at most.
LOW = 10.0
# It isn't published, but intervals tell of it: in whole yards it would help an attacker, in steps of 5 yd not
# measurably. With steps of 1 or 10 yd the share of intervals that hold changes by 1.2 in 100 at most.
STEP_YD = 5.0
LEVEL = 0.95  # upper end of a two-sided 90 % interval


def weights_near(club_speed_mph: Array, center_mph: float, half_width_mph: float) -> Array:
    """Weigh golfers for a band: 1 in it, falling in a straight line to 0 at `TAPER` half-widths beyond it.

    Parameters
    ----------
    club_speed_mph : ndarray, shape (n,)
    center_mph, half_width_mph : float

    Returns
    -------
    ndarray, shape (n,)
    """
    beyond = np.abs(club_speed_mph - center_mph) / half_width_mph - 1
    return np.clip(1 - beyond / TAPER, 0.0, 1.0)


@dataclass(frozen=True)
class Published:
    """What a band's row says, which is all that intervals may be worked out from.

    Attributes
    ----------
    golfers : int
    percentiles_yd : mapping of int to float or None
        Of carry, by `PERCENTILES`.
    """

    golfers: int
    percentiles_yd: Mapping[int, float | None]


def low_percentile(moved_yd: Array, min_golfers: int) -> float | None:
    """Give the percentile `LOW` of all golfers of a quarter, moved to one club speed, in steps of `STEP_YD`.

    Parameters
    ----------
    moved_yd : ndarray, shape (n,)
    min_golfers : int

    Returns
    -------
    float or None
        Yd; None where there are too few golfers, by the rule of published percentiles.
    """
    if not is_given(len(moved_yd), LOW, min_golfers):
        return None
    return STEP_YD * rounded(percentile(moved_yd, np.ones(len(moved_yd)), LOW, min_golfers) / STEP_YD, 0)


def gaps_of(bands: Sequence[Published], low_yd: float | None) -> Array | None:
    """Measure how far golfers spread, from what is published of a quarter's bands.

    Parameters
    ----------
    bands : sequence of Published
        The quarter's bands that are shown, with the one that has the most golfers first.
    low_yd : float or None
        The percentile `LOW` of the quarter's golfers at the center of the first band.

    Returns
    -------
    ndarray, shape (4,), or None
        Carry for a standard deviation of golfers, as a share of the band's 50th percentile: from `LOW` to the 25th,
        and between neighbors of `PERCENTILES`, the bands weighing as they have golfers. None where no band has a 25th
        percentile.
    """
    scores = ndtri(np.array(PERCENTILES) / 100)
    values = np.array([[b.percentiles_yd[p] for p in PERCENTILES] for b in bands], dtype=float)
    golfers = np.array([b.golfers for b in bands], dtype=float)
    gaps = np.diff(values, axis=1) / np.diff(scores) / values[:, 1:2]
    weights = np.where(np.isnan(gaps), 0.0, golfers[:, None])
    known = weights.sum(axis=0) > 0
    if not known[:2].all():
        return None
    mean = np.nansum(gaps * weights, axis=0) / np.where(known, weights.sum(axis=0), 1.0)
    upper = mean[2] if known[2] else mean[1]
    under = mean[0]
    if low_yd is not None:
        under = (values[0, 0] - low_yd) / (scores[0] - ndtri(LOW / 100)) / values[0, 1]
    return np.array([under, mean[0], mean[1], upper])


def intervals(
    percentiles_yd: Mapping[int, float | None], gaps: Array | None, weights: Array
) -> dict[int, tuple[float | None, float | None]]:
    """Give the 90 % interval of each percentile of golfers like these, at the band's center.

    Parameters
    ----------
    percentiles_yd : mapping of int to float or None
        As published, by `PERCENTILES`.
    gaps : ndarray, shape (4,), or None
        From `gaps_of`.
    weights : ndarray, shape (n,)
        Of the golfers that count.

    Returns
    -------
    dict of int to tuple
        Low and high end, rounded outwards to whole yards; None where there is no percentile or no gaps are known.

    Notes
    -----
    The share of golfers drawn below the true percentile is binomial, of as many golfers as the weights are worth
    (Kish, Survey Sampling (1965), section 11.7, from memory). Between neighboring percentiles carry is taken as a
    straight line in the normal score of its rank, which turns that share into yards. The errors of golfers' own medians
    and of the model are not in it; rounding outwards makes up for them in part.
    """
    middle = percentiles_yd[50]
    if gaps is None or middle is None:
        return dict.fromkeys(PERCENTILES, (None, None))
    # Golfers with a fault leave a gap about the 25th percentile, and it may lie at either end of it: the wider counts.
    wide = max(gaps[0], gaps[1])
    below, above = (wide, *gaps[1:]), (wide, *gaps[2:], gaps[-1])
    worth = float(weights.sum() ** 2 / (weights @ weights))
    found: dict[int, tuple[float | None, float | None]] = {}
    for percent, under, over in zip(PERCENTILES, below, above, strict=True):
        value, off = percentiles_yd[percent], _score_error(percent, worth) * middle
        found[percent] = (None, None) if value is None else _outwards(value - under * off, value + over * off)
    return found


def _score_error(percent: float, golfers: float) -> float:
    """Give half the width of a percentile's 90 % interval in normal scores: by the delta method."""
    share = percent / 100
    density = np.exp(-(ndtri(share) ** 2) / 2) / np.sqrt(2 * np.pi)
    return float(ndtri(LEVEL) * np.sqrt(share * (1 - share) / golfers) / density)


def _outwards(low: float, high: float) -> tuple[float, float]:
    # Rounded first: the last digits of a product are not to push an end by a yard.
    return float(np.floor(round(low, 6))), float(np.ceil(round(high, 6)))
