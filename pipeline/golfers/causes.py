"""The main cause of a golfer's yards lost: the part that stands out from what golfers usually lose by it.

Everybody is short of the best delivery at their speed, so some yards go to launch or contact in every sound golfer. A
fault shows as a part far beyond that. If one part has a fault of unknown size and all others are as usual (normal,
each with its own spread over golfers), the likeliest fault is where a part lies the most spreads beyond the usual.
"""

import numpy as np
import polars as pl

from pipeline.statistics.arrays import Array

# Yards on which a part is worth naming, beyond what is usual.
NAMED_FROM_YD = 2.0
# Golfers and quarters from which what is usual can be told; with fewer, parts are compared in yards.
USUAL_FROM = 10
# The usual part is a median, as a share of efficient carry: parts grow with it. Its spread is taken from golfers who
# lose less than that, since faults only add to a part: from the distance of two quantiles, as of a normal distribution.
# With the median absolute deviation, 90 instead of 92 of 100 planted mishits are named in the plain world, and 47
# instead of 63 where three golfers in ten mishit and the others differ without a gap (three academies each).
LOWER = (0.10, 0.35)
LOWER_APART = 0.8962  # of a standard normal distribution
# A spread below half a percent (1 yd in 200) is below what 20 drives can show of a part.
LEAST_SPREAD = 0.005

# Where no part is this many spreads beyond the usual, nothing is wrong that others don't have: yards decide then.
UNUSUAL = 1.0
# A part is named alone if the next one stands out by less than this share of it. In the proving ground's plain worlds
# planted faults are named right equally often from 0.8 to 1; lower, one golfer in ten becomes mixed.
NEXT_SHARE = 0.9
# In yards: at least half of all that is lost in parts, or half as much again as the next one.
NAMED_SHARE = 0.5
NAMED_LEAD = 1.5
CAUSES = ("contact", "launch", "spin", "consistency")
OTHER = "other"


def main_cause(golfers: pl.DataFrame) -> pl.Series:
    """Name the part that stands out.

    Parameters
    ----------
    golfers : DataFrame
        A row per golfer and quarter, with efficient_yd, lost_yd and the parts; a part may be null.

    Returns
    -------
    Series of str
        contact, launch, spin or consistency; mixed where none stands out; none where hardly anything is lost or
        nothing is known.
    """
    parts = np.stack([_column(golfers, f"lost_{name}_yd") for name in (*CAUSES, OTHER)])
    # What the curve costs is shown and not named: it counts as it does where no log has the spin axis.
    if "lost_curve_yd" in golfers.columns:
        parts[-1] += np.nan_to_num(_column(golfers, "lost_curve_yd"))
    lost = np.nan_to_num(_column(golfers, "lost_yd"))
    names = np.array([*CAUSES, "mixed"])[_standing_out(parts, _column(golfers, "efficient_yd"))]
    nothing = (lost < NAMED_FROM_YD) | (np.nan_to_num(parts).max(axis=0) < NAMED_FROM_YD)
    return pl.Series("main_cause", np.where(nothing, "none", names))


def _standing_out(parts_yd: Array, efficient_yd: Array) -> Array:
    """Give the place of the cause that stands out, their number where none does.

    Parameters
    ----------
    parts_yd : ndarray, shape (parts, golfers)
        The causes and, last, other.
    efficient_yd : ndarray, shape (golfers,)
    """
    by_yards = _by_yards(np.nan_to_num(parts_yd))
    known = np.isfinite(parts_yd).any(axis=0) & (efficient_yd > 0)
    if np.count_nonzero(known) < USUAL_FROM:
        return by_yards
    share = parts_yd / efficient_yd
    usual, low, high = (_quantiles(share[:, known], one) for one in (0.5, *LOWER))
    spread = np.maximum((high - low) / LOWER_APART, LEAST_SPREAD)
    beyond = np.nan_to_num((share - usual) / spread)
    yards = np.nan_to_num((share - usual) * efficient_yd)
    # What isn't worth naming in yards stands out in nothing.
    beyond = np.where(yards >= NAMED_FROM_YD, beyond, 0.0)
    place, top, following = _largest(beyond)
    by_fault = np.where(following < NEXT_SHARE * top, place, len(CAUSES))
    return np.where(beyond.max(axis=0) >= UNUSUAL, by_fault, by_yards)


def _by_yards(parts_yd: Array) -> Array:
    place, top, following = _largest(parts_yd)
    alone = (top >= NAMED_SHARE * parts_yd.clip(0).sum(axis=0)) | (top >= NAMED_LEAD * following)
    return np.where(alone & (top >= NAMED_FROM_YD), place, len(CAUSES))


def _largest(parts: Array) -> tuple[Array, Array, Array]:
    """Give the place of the largest cause, its value, and the largest of all the others, "other" among them.

    "other" is no cause to work on, but where it is larger than every cause none of them stands out.
    """
    place = np.argmax(parts[:-1], axis=0)
    rest = parts.copy()
    np.put_along_axis(rest, place[None], -np.inf, axis=0)
    return place, np.take_along_axis(parts, place[None], axis=0)[0], rest.max(axis=0)


def _quantiles(values: Array, quantile: float) -> Array:
    """Give each part's quantile over the golfers who have it, shape (parts, 1); zero where nobody has."""
    known = np.isfinite(values).any(axis=1)
    found = np.zeros((len(values), 1))
    found[known, 0] = np.nanquantile(values[known], quantile, axis=1)
    return found


def _column(golfers: pl.DataFrame, name: str) -> Array:
    return golfers.get_column(name).cast(pl.Float64).to_numpy()
