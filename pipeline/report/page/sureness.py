"""How sure a figure of yards lost is, in one of three words, by one rule for every page.

The rule asks on which side of the study's threshold (10 yd by default) the yards lost lie:

- sure: the whole 90 % range lies on one side of it;
- likely: at least 8 chances in 10 are on the side of the figure itself;
- can't tell: anything less, or a range that isn't known.

A loss beyond the threshold is never surer than "can't tell" for a golfer who isn't flagged: the flag also allows for
how many golfers were looked at.
"""

from pipeline.statistics.intervals import Z90

SURE, LIKELY, CANT_TELL = "sure", "likely", "can't tell"

# Standard normal, 80 % point: 8 chances in 10 to one side, as sure as a window's edge is and as what to work on first
# (`pipeline.coach.goals.priority.SURE`). Of the demo's 78 golfers 24 are sure, 3 likely and 8 can't be told among those
# who aren't flagged; at 75 % (0.674) 4 are likely, at 90 % (1.28) 1 is. All 43 flagged are sure at each.
Z80 = 0.8416212335729143


def how_sure(
    value_yd: float | None, lo_yd: float | None, hi_yd: float | None, threshold_yd: float, *, flagged: bool
) -> str:
    """Say how sure it is on which side of the threshold the yards lost lie.

    Parameters
    ----------
    value_yd, lo_yd, hi_yd : float or None
        Yards lost and the 90 % interval of it; each side of the interval is taken as half a normal distribution.
    threshold_yd : float
    flagged : bool

    Returns
    -------
    str
        sure, likely or can't tell.
    """
    if value_yd is None or lo_yd is None or hi_yd is None:
        return CANT_TELL
    if value_yd >= threshold_yd and not flagged:
        return CANT_TELL
    if lo_yd >= threshold_yd or hi_yd <= threshold_yd:
        return SURE
    side = value_yd - lo_yd if value_yd >= threshold_yd else hi_yd - value_yd
    return LIKELY if abs(value_yd - threshold_yd) >= Z80 / Z90 * side else CANT_TELL
