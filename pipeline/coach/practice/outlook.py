"""How fast a golfer may be weeks from now: the trend, its error, form that lasts, and the chance that the trend stops.

No gain goes on forever, and nothing here can see the day it ends. A trend seen over so many weeks is taken to go on for
w weeks more with chance weeks / (weeks + w): even odds that it lasts as long again, which is all that its age says if it
is looked at on no special day of its life. So nothing is forecast farther ahead than the practice looks back: from
there on it is likelier that the trend has stopped than that it goes on.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.coach.practice.dates import assumed, trend_lines
from pipeline.coach.practice.session_lines import WANDER, numbers
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL, t_reach

STOPS = 24  # days on which a trend may stop, equally likely, for one on each of them
LEAST_VARIANCE = 1e-9  # mph^2: sessions that lie on a line have no error, which has no distribution
_HALVINGS = 50


class Outlook(NamedTuple):
    """What forecasts rest on, a golfer each: practice/outlook.npz. Shapes are (golfers,)."""

    golfer: npt.NDArray[np.str_]
    start: Array
    """Weeks from the last session to where the line has its level; below 0 before it."""
    practiced: Array
    """Weeks from the first session to the last."""
    level: Array
    """mph, with a ball where practice.csv says so; its error is independent of the slope's."""
    level_variance: Array
    slope: Array
    """mph a week, drawn to that of all who practice (`dates.steadied`); NaN where no trend is assessed."""
    slope_variance: Array
    wander_variance: Array
    """Of form that lasts for weeks (`lasting_form`)."""
    freedom: Array
    log_error: Array
    """Standard error of the logarithm of the light tool's factor; NaN where that is common practice."""
    lapsed: npt.NDArray[np.bool_]
    """Whether the practice ended long before the study's newest session."""
    assumed: npt.NDArray[np.bool_]
    """Whether driver speed is the light tool's by common practice."""


def outlook_of(golfers: pl.DataFrame) -> Outlook:
    """Gather what forecasts rest on.

    Parameters
    ----------
    golfers : DataFrame
        From `practice.practice_figures`.

    Returns
    -------
    Outlook
        In the same order.
    """
    first, last = (golfers.get_column(f"{end}_on").cast(pl.Int32).to_numpy() for end in ("first", "last"))
    practiced = (last - first) / 7
    lines = trend_lines(golfers)
    return Outlook(
        golfers.get_column("golfer").cast(pl.String).to_numpy().astype(str),
        lines.start - practiced,
        practiced,
        lines.level,
        lines.level_variance,
        lines.slope,
        lines.slope_variance,
        numbers(golfers, f"best_{WANDER}"),
        numbers(golfers, "best_freedom"),
        numbers(golfers, "log_error"),
        golfers.get_column("lapsed").to_numpy(),
        golfers.select(assumed()).to_series().to_numpy(),
    )


def chance_of(outlook: Outlook, speed_mph: Array, weeks: Array, *, wander: bool) -> Array:
    """Give the chance that golfers are at a speed or above it so many weeks after the last session.

    Parameters
    ----------
    outlook : Outlook
    speed_mph, weeks : ndarray, shape (golfers,)
    wander : bool
        Whether form that lasts is in it, as in the mean of sessions around one day; else the trend alone is meant.

    Returns
    -------
    ndarray, shape (golfers,)
        NaN where there is no trend.

    Notes
    -----
    The wander that the last sessions show is taken as over by then. Where it isn't, the interval is somewhat wide.

    References
    ----------
    Gott, Nature 363 (1993) 315, doi 10.1038/363315a0, on how long something lasts of which only the age is known (from
    memory).
    """
    from scipy.special import stdtr

    goes_on = outlook.practiced / np.maximum(outlook.practiced + weeks, 1e-9)
    share = (1 - goes_on)[:, None] * (np.arange(STOPS) + 0.5) / STOPS
    stop = np.column_stack([outlook.practiced[:, None] * share / (1 - share), weeks])
    weights = np.column_stack([np.repeat(((1 - goes_on) / STOPS)[:, None], STOPS, axis=1), goes_on])
    away = stop - outlook.start[:, None]
    mean = outlook.level[:, None] + outlook.slope[:, None] * away
    variance = outlook.level_variance[:, None] + outlook.slope_variance[:, None] * away**2
    variance = variance + (outlook.wander_variance[:, None] if wander else 0.0)
    off = (mean - speed_mph[:, None]) / np.sqrt(np.maximum(variance, LEAST_VARIANCE))
    return np.asarray((weights * stdtr(outlook.freedom[:, None], off)).sum(axis=1))


def interval_at(outlook: Outlook, weeks: float) -> tuple[Array, Array]:
    """Give the 90 % interval of the mean of sessions around a day.

    Parameters
    ----------
    outlook : Outlook
    weeks : float
        From the last session.

    Returns
    -------
    lo90, hi90 : ndarray, shape (golfers,)
        mph; NaN where there is no trend.
    """
    when = np.full(len(outlook.level), float(weeks))
    told = ~np.isnan(outlook.slope)
    both = [outlook.level + outlook.slope * (ahead - outlook.start) for ahead in (0.0, weeks)]
    error = outlook.level_variance + outlook.slope_variance * (weeks - outlook.start) ** 2 + outlook.wander_variance
    # No part of the mixture is wider than that at the end, so twice its reach holds both ends.
    far = 2 * t_reach(np.where(told, outlook.freedom, np.nan)) * np.sqrt(error) + 1e-3
    ends = []
    for chance in ((1 + LEVEL) / 2, (1 - LEVEL) / 2):
        low, high = np.minimum(*both) - far, np.maximum(*both) + far
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            above = chance_of(outlook, middle, when, wander=True) > chance
            low, high = np.where(above, middle, low), np.where(above, high, middle)
        ends.append(np.where(told, (low + high) / 2, np.nan))
    return ends[0], ends[1]


def weeks_until(outlook: Outlook, speed_mph: Array, chance: float, most_weeks: float) -> Array:
    """Give when a speed is reached with a chance, in weeks from the last session.

    Parameters
    ----------
    outlook : Outlook
        Of golfers who gain.
    speed_mph : ndarray, shape (golfers,)
    chance, most_weeks : float

    Returns
    -------
    ndarray, shape (golfers,)
        0 where it is reached with that chance already, infinite where it takes more than `most_weeks`.
    """
    low, high = np.zeros(len(speed_mph)), np.full(len(speed_mph), float(most_weeks))
    now, then = (chance_of(outlook, speed_mph, when, wander=False) >= chance for when in (low, high))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        there = chance_of(outlook, speed_mph, middle, wander=False) >= chance
        low, high = np.where(there, low, middle), np.where(there, middle, high)
    return np.where(now, 0.0, np.where(then, high, np.inf))
