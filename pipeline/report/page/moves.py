"""How quarters move: share of golfers flagged, median yards lost, median club speed, with 90 % intervals.

All three are of the golfers assessed in the quarter. The share has Wilson's interval (Wilson 1927, JASA 22, 209-212,
doi:10.1080/01621459.1927.10502953); the medians have that of order statistics, which needs no shape of a distribution
and covers at least 90 % (David and Nagaraja 2003, Order Statistics, section 7.1). They say what other golfers of the
kind would show: with the same golfers in two quarters, a change is surer than two intervals that overlap make it look.
"""

from typing import Any

import numpy as np
import polars as pl

from pipeline.report.page.counts import quarters_of
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL, Z90

Estimate = dict[str, float | None]


def moves_of(golfers: pl.DataFrame) -> list[dict[str, Any]]:
    """Give each quarter's figures, oldest first.

    Parameters
    ----------
    golfers : DataFrame
        The table `Golfers`.

    Returns
    -------
    list of dict
        quarter; golfers, those assessed; flagged_share, lost_yd and speed_mph, each with value, lo and hi, None where
        nobody was assessed or, for the ends of a median, where fewer than 5 golfers were.
    """
    told = []
    for quarter in quarters_of(golfers):
        here = golfers.filter((pl.col("quarter") == quarter) & (pl.col("status").cast(pl.String) != "not_assessed"))
        told.append(
            {
                "quarter": quarter,
                "golfers": here.height,
                "flagged_share": share_interval(int(here["flagged"].sum()), here.height),
                "lost_yd": median_interval(here["lost_yd"].cast(pl.Float64).to_numpy()),
                "speed_mph": median_interval(here["club_speed_mph"].cast(pl.Float64).to_numpy()),
            }
        )
    return told


def share_interval(count: int, of: int) -> Estimate:
    """Give a share with Wilson's 90 % interval, to three decimals; None of nobody."""
    if of == 0:
        return {"value": None, "lo": None, "hi": None}
    share, weight = count / of, Z90**2 / of
    middle = (share + weight / 2) / (1 + weight)
    reach = Z90 / (1 + weight) * np.sqrt(share * (1 - share) / of + weight / (4 * of))
    # Of none or all, rounding may leave the interval a hair beside the share.
    ends = (min(middle - reach, share), max(middle + reach, share))
    return {"value": round(share, 6), "lo": round(float(ends[0]), 6), "hi": round(float(ends[1]), 6)}


def median_interval(values: Array) -> Estimate:
    """Give a median with the 90 % interval of order statistics, to tenths.

    Parameters
    ----------
    values : ndarray, shape (n,)

    Returns
    -------
    dict
        value, lo and hi; None for the ends of fewer than 5 values, which no order statistics can enclose that surely.
    """
    from scipy.special import bdtr

    known = np.sort(values[np.isfinite(values)])
    count = len(known)
    if count == 0:
        return {"value": None, "lo": None, "hi": None}
    middle = round(float(np.median(known)), 4)
    # From the place-th least to the place-th largest: outside lies the median with twice this chance.
    outside = 2 * bdtr(np.arange(count // 2), count, 0.5)
    place = int(np.count_nonzero(outside <= 1 - LEVEL))
    if place == 0:
        return {"value": middle, "lo": None, "hi": None}
    return {
        "value": middle,
        "lo": round(float(known[place - 1]), 4),
        "hi": round(float(known[count - place]), 4),
    }
