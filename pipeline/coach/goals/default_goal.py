"""Which goal a golfer gets: the study's, or the next one within reach.

Without one of the study's, the goal is the efficient carry at the golfer's own club speed. Once the golfer's mean carry
can't be told from it, the goal is what a year's usual gain in club speed allows with an efficient delivery; and the
efficient carry of the next band as soon as the center of that band is within the year's gain.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.bands import SpeedBands
from pipeline.coach.goals.needed_speed import DistanceCurve, Present
from pipeline.coach.goals.pace import Gain
from pipeline.coach.goals.priority import ALIKE_YD
from pipeline.statistics.arrays import Array

QUARTERS_A_YEAR = 4

# In place of a year's gain where golfers' pace isn't known or isn't clearly above zero: the least whole number of mph.
# An efficient drive goes 2.5 to 3.6 yd farther for it over the demo's speeds, so it is worth more than `ALIKE_YD`.
# Common practice, no source.
SMALL_STEP_MPH = 1.0

Words = npt.NDArray[np.str_]


@dataclass(frozen=True)
class Chosen:
    """Goals of n golfers.

    Attributes
    ----------
    band_mph : ndarray, shape (n,)
        Center of the golfer's band, NaN between bands.
    goal_yd : ndarray, shape (n,)
        NaN where the benchmarks don't reach the speed that it asks for.
    source : ndarray of str, shape (n,)
        A word of `pipeline.tables.goals.SOURCES`; empty where there is no goal.
    """

    band_mph: Array
    goal_yd: Array
    source: Words


def years_step(gain: Gain | None) -> tuple[float, str]:
    """Give the step in club speed that comes after one's own efficient carry, mph, and what it is called."""
    if gain is None or not gain.seen:
        return SMALL_STEP_MPH, "a small step"
    return QUARTERS_A_YEAR * gain.mean_mph, "a year's gain"


def choose_goals(
    present: Present, bands: SpeedBands, asked: Mapping[float, float], curve: DistanceCurve, gain: Gain | None
) -> Chosen:
    """Choose a goal for each golfer.

    Parameters
    ----------
    present : Present
        Of n golfers, all within the benchmarks' speeds.
    bands : SpeedBands
    asked : mapping of float to float
        The study's goals, yd, by the centers of bands.
    curve : DistanceCurve
        Of carry.
    gain : Gain or None
        What golfers here usually gain.

    Notes
    -----
    The efficient carry at one's own speed counts as reached when the gap to it is under `ALIKE_YD`, or when the 90 %
    interval of the gap reaches zero: a goal is something that the golfer is shown to be short of, and the next one
    still has what the delivery may leave in it. Golfers who carry more than the efficient carry keep their lead: what
    the gain in speed adds to efficient carry is added to their own, or their goal would lie behind them.
    """
    speed, carry = present.club_speed_mph, present.carry_yd
    step, called = years_step(gain)
    own, ahead = (curve.at(curve.yards, at) for at in (speed, speed + step))
    following = bands.next_above(speed)
    next_band = curve.at(curve.yards, following)
    short = (own - carry >= ALIKE_YD) & (own - present.hi90_yd > 0)
    near = (following - speed <= step) & (next_band - carry >= ALIKE_YD)
    by_study, band = _of_study(bands, asked, speed)
    choices = {
        "study": (~np.isnan(by_study), by_study),
        "own speed": (short, own),
        "next band": (near, next_band),
        called: (~np.isnan(ahead), np.maximum(ahead, carry + ahead - own)),
    }
    applies, goals = ([pair[i] for pair in choices.values()] for i in (0, 1))
    goal = np.select(applies, goals, np.nan)
    source = np.select(applies, list(choices), "")
    return Chosen(band, goal, source)


def _of_study(bands: SpeedBands, asked: Mapping[float, float], speed_mph: Array) -> tuple[Array, Array]:
    """Give the study's own goals, yd, NaN where it sets none, and the bands' centers."""
    band = bands.band_of(speed_mph)
    found = np.full(speed_mph.shape, np.nan)
    for center, carry_yd in asked.items():
        found[band == center] = carry_yd
    return found, band
