"""The pace at which golfers here gain club speed, and how many quarters a step in club speed takes at it.

The pace is the mean of golfers' gains, so its time is that of golfers here on average. One golfer's own pace differs by
the gains' spread, of which a quarter or two can't say how much lasts; that isn't in the interval, and the words say
"at the pace of golfers here". That the pace goes on is taken for granted: gains often level off.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90, t_reach

# Fewer golfers with two quarters in a row don't show what is usual: their spread would be off by a third or more.
MIN_GOLFERS = 8

UNKNOWN = f"under {MIN_GOLFERS} golfers here have two quarters in a row, so nobody can say how long it takes"
UNSEEN = "nobody can say how long: golfers here gain no speed that we can see"


@dataclass(frozen=True)
class Gain:
    """What golfers gain in club speed from a quarter to the next.

    Attributes
    ----------
    mean_mph, mean_error_mph : float
        With the standard error of the mean, clustered by golfer.
    mean_lo90_mph, mean_hi90_mph : float
        90 % interval of the mean, by Student's t with as many degrees of freedom as golfers less one.
    spread_mph : float
        Standard deviation of golfers' true gains.
    golfers, pairs : int
        That it rests on.
    """

    mean_mph: float
    mean_error_mph: float
    mean_lo90_mph: float
    mean_hi90_mph: float
    spread_mph: float
    golfers: int
    pairs: int

    @classmethod
    def of(cls, mean_mph: float, mean_error_mph: float, spread_mph: float, golfers: int, pairs: int) -> "Gain":
        """Make it of a mean and its standard error."""
        reach = float(t_reach(golfers - 1)) * mean_error_mph
        return cls(mean_mph, mean_error_mph, mean_mph - reach, mean_mph + reach, spread_mph, golfers, pairs)

    @property
    def sd_mph(self) -> float:
        """Standard deviation of one more golfer's gain, the doubt of the mean included."""
        return float(np.hypot(self.spread_mph, self.mean_error_mph))

    @property
    def seen(self) -> bool:
        """Whether it is clearly above zero: its interval doesn't reach zero."""
        return self.mean_lo90_mph > 0


@dataclass(frozen=True)
class Pace:
    """The file pace.json.

    Attributes
    ----------
    gain : Gain or None
        None where under `MIN_GOLFERS` golfers have two quarters in a row.
    """

    gain: Gain | None


TIMES = ("quarters", "quarters_lo90", "quarters_hi90")  # as tables and answers call the parts of `Quarters`


class Quarters(NamedTuple):
    """How many quarters steps in club speed take, each of the steps' shape.

    An interval's upper edge is NaN where nobody can say when it ends; so is the number where the pace isn't clearly
    above zero.
    """

    quarters: Array
    lo90: Array
    hi90: Array


class Step(NamedTuple):
    """Steps in club speed with the edges of their 90 % intervals, mph, each of shape (n,); an edge is NaN without end.

    Below zero where a goal needs less speed than there is.
    """

    step_mph: Array
    lo90_mph: Array
    hi90_mph: Array


def step_to(
    speed_mph: Array,
    speed_error_mph: Array | float,
    efficient: tuple[Array, Array, Array],
    present: tuple[Array, Array, Array] | None = None,
) -> Step:
    """Give the step from today's club speed to the one that a goal needs.

    Parameters
    ----------
    speed_mph : ndarray, shape (n,)
        Today's.
    speed_error_mph : ndarray, shape (n,), or float
        Its standard error by the luck of the drives.
    efficient : tuple of three ndarrays, each of shape (n,)
        From `needed_efficient`: the speed with an efficient delivery, and its edges.
    present : tuple of three ndarrays, each of shape (n,), optional
        From `needed_present`: it counts where it is less, for golfers whose delivery is better than efficient.

    Notes
    -----
    The speed with an efficient delivery doesn't depend on today's, whose error widens the step's interval. The one with
    the present delivery moves with today's speed, so that the step to it doesn't.
    """
    more = [edge - speed_mph for edge in efficient]
    luck = Z90 * np.broadcast_to(speed_error_mph, speed_mph.shape)
    step = Step(more[0], more[0] - np.hypot(more[0] - more[1], luck), more[0] + np.hypot(more[2] - more[0], luck))
    if present is None:
        return step
    as_now = [edge - speed_mph for edge in present]
    less = (as_now[0] < step.step_mph) | np.isnan(step.step_mph)
    return Step(*(np.where(less, a, b) for a, b in zip(as_now, step, strict=True)))


def why_no_time(gain: Gain | None) -> str | None:
    """Say in plain words why no step has a number of quarters; None where the pace is clearly above zero."""
    if gain is None:
        return UNKNOWN
    return None if gain.seen else UNSEEN


def time_words(quarters: float | None, gain: Gain | None) -> str:
    """Word the time that a step above zero takes, such as "about 3 quarters at the pace of golfers here".

    Parameters
    ----------
    quarters : float or None
        From `quarters_needed`; None or NaN where nobody can say.
    gain : Gain or None
    """
    if quarters is None or np.isnan(quarters):
        return why_no_time(gain) or "nobody can say how long it takes"
    whole = int(np.floor(quarters + 0.5))
    number = {0: "less than a quarter", 1: "about a quarter"}.get(whole, f"about {whole} quarters")
    return f"{number} at the pace of golfers here"


def quarters_needed(
    step_mph: npt.ArrayLike,
    gain: Gain | None,
    lo90_mph: npt.ArrayLike | None = None,
    hi90_mph: npt.ArrayLike | None = None,
) -> Quarters:
    """Give how many quarters steps in club speed take at the usual pace, with the edges of their 90 % intervals.

    Parameters
    ----------
    step_mph : array_like
        Zero or below where no more speed is needed; NaN where it isn't known.
    gain : Gain or None
        The usual pace.
    lo90_mph, hi90_mph : array_like, optional
        The steps' own 90 % intervals, of their shape; an edge that is NaN has no end. Without them steps are exact.

    Returns
    -------
    Quarters
        At least 0. Where the pace isn't clearly above zero (see `why_no_time`) a step above zero has no number and no
        upper edge; its lower edge, the least time that the pace's interval allows, is NaN only where nothing is known
        of the pace or the pace is surely zero or below.

    Notes
    -----
    With step X and gain G the number is X / G. Its edges are the numbers q at which the interval of X - q G just holds
    zero (Fieller's argument), that interval being made of those of X and G by adding squares of their arms (Zou and
    Donner, Stat. Med. 27 (2008) 1693, doi 10.1002/sim.3095). For an exact step they are X over the gain's own edges,
    and as for every interval of Fieller's the upper one is open where the gain's interval reaches zero.
    """
    step = np.asarray(step_mph, dtype=float)
    none_needed = np.where(step <= 0, 0.0, np.nan)
    low, high = (step if edge is None else np.asarray(edge, dtype=float) for edge in (lo90_mph, hi90_mph))
    low, high = np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
    if gain is None:
        sure = np.where(high <= 0, 0.0, np.nan)
        return Quarters(none_needed, np.where(np.isnan(step), np.nan, np.where(low <= 0, 0.0, np.nan)), sure)
    number = step / gain.mean_mph if gain.seen else none_needed
    found = (number, _least(step, low, gain), _most(step, high, gain))
    known = [np.where(np.isnan(step), np.nan, np.maximum(values, 0.0)) for values in found]
    return Quarters(*known)


def quarters_to_goal(step: Step, gap_yd: Array, speed_yd: Array, gain: Gain | None) -> Quarters:
    """Give how many quarters goals take whose gap and its part of speed are known.

    Parameters
    ----------
    step : Step
        From `step_to`.
    gap_yd, speed_yd : ndarray, shape (n,)
        From `pipeline.coach.goals.needed_speed.shares`.
    gain : Gain or None

    Notes
    -----
    No more speed is needed where the gap is closed or delivery alone closes it, even where the data don't show with how
    little speed it can be done.
    """
    enough = (gap_yd <= 0) | (speed_yd <= 0)
    least = np.where(enough, np.fmin(step.step_mph, 0), step.step_mph)
    return quarters_needed(least, gain, step.lo90_mph, step.hi90_mph)


def _least(step: Array, low: Array, gain: Gain) -> Array:
    """Give the least q at which X - q G, less its arm, is zero: arm^2 = (X - low)^2 + q^2 (hi - G)^2."""
    mean, fast = gain.mean_mph, gain.mean_hi90_mph
    if fast <= 0:
        return np.where(low <= 0, 0.0, np.nan)
    behind = low > 0  # else no time at all is inside
    edge = np.where(behind, low, 1.0)
    x = np.where(behind, step, 1.0)
    square = x**2 - (x - edge) ** 2
    root = np.sqrt(np.maximum((mean * x) ** 2 - (mean**2 - (fast - mean) ** 2) * square, 0))
    return np.where(behind, square / (mean * x + root), 0.0)


def _most(step: Array, high: Array, gain: Gain) -> Array:
    """Give the q at which X - q G, with its arm, is zero: arm^2 = (high - X)^2 + q^2 (G - lo)^2; NaN without one."""
    mean, slow = gain.mean_mph, gain.mean_lo90_mph
    ends = np.isfinite(high) & np.isfinite(step)
    x, arm = np.where(ends, step, 0.0), np.where(ends, high - step, 0.0)
    if slow <= 0:
        return np.where(ends & (high <= 0), 0.0, np.nan)
    rest = mean**2 - (mean - slow) ** 2
    root = np.sqrt((mean * x) ** 2 - rest * (x**2 - arm**2))
    return np.where(ends, (mean * x + root) / rest, np.nan)
