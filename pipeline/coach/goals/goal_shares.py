"""How often golfers reach their goals: today, and with an efficient delivery at today's club speed and the goal's.

With an efficient delivery the typical drive goes as far as the efficient one, and the drives scatter about it as they
do now, mishits and all: so less than half of the drives reach the efficient distance itself.
"""

from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.coach.goals.needed_speed import DistanceCurve
from pipeline.statistics.arrays import Array
from pipeline.statistics.drive_spread import DriveSpread
from pipeline.statistics.intervals import Z90

TENTHS = {"nine_of_ten_yd": 0.9, "five_of_ten_yd": 0.5, "one_of_ten_yd": 0.1}
EFFICIENT, AT_SPEED = "share_efficient", "share_at_goal_speed"


def efficient_spread(
    curve: DistanceCurve, spread: DriveSpread, speed_mph: Array, lasting_yd: Array | float = 0.0
) -> DriveSpread:
    """Give golfers' drives with an efficient delivery.

    Parameters
    ----------
    curve : DistanceCurve
    spread : DriveSpread
        Today's, of n golfers.
    speed_mph : ndarray, shape (n,)
        The club speed; where it is NaN or the benchmarks don't reach it, so is what comes of it.
    lasting_yd : ndarray, shape (n,), or float
        See `Present`.
    """
    center, lo, hi = (curve.at(values, speed_mph) for values in (curve.yards, curve.lo90_yd, curve.hi90_yd))
    return spread.about(center, np.hypot((hi - lo) / (2 * Z90), lasting_yd))


def goal_shares(
    curve: DistanceCurve,
    spread: DriveSpread,
    speed_mph: Array,
    goal_yd: Array,
    goal_speed_mph: Array,
    lasting_yd: Array | float = 0.0,
) -> dict[str, Array]:
    """Give the shares of drives that reach goals, and the distances that nine, five and one of ten drives reach.

    Parameters
    ----------
    curve : DistanceCurve
    spread : DriveSpread
        Today's.
    speed_mph, goal_yd, goal_speed_mph : ndarray, each of shape (n,)
        Today's speed, the goal, and the speed that it takes with an efficient delivery; NaN where it isn't known.
    lasting_yd : ndarray, shape (n,), or float
        See `Present`.

    Returns
    -------
    dict of ndarray, each of shape (n,)
        share_reaching with the edges of its 90 % interval, share_efficient, share_at_goal_speed, and `TENTHS`; NaN
        where something isn't known.
    """
    today = dict(zip(("", "_lo90", "_hi90"), spread.share_reaching(goal_yd), strict=True))
    efficient, faster = (
        efficient_spread(curve, spread, speed, lasting_yd).share_reaching(goal_yd)[0]
        for speed in (speed_mph, goal_speed_mph)
    )
    return {
        **{f"share_reaching{end}": values for end, values in today.items()},
        EFFICIENT: efficient,
        AT_SPEED: faster,
        **{name: spread.distance_reached(share) for name, share in TENTHS.items()},
    }


def rows_of(spread: DriveSpread, golfer: list[str], wanted: pl.Series) -> DriveSpread:
    """Take golfers' drives in an order asked for; NaN for a golfer without any.

    Parameters
    ----------
    spread : DriveSpread
        Of n golfers.
    golfer : list of str
        Their pseudonyms.
    wanted : Series of str
    """
    place = {code: row for row, code in enumerate(golfer)}
    rows = np.array([place.get(code, -1) for code in wanted.cast(pl.String).to_list()], dtype=np.int64)
    if not golfer:
        return DriveSpread(*(np.full((len(rows), *values.shape[1:]), np.nan) for values in vars(spread).values()))
    found = spread.rows(rows)
    return replace(found, quantile_yd=np.where(rows[:, None] < 0, np.nan, found.quantile_yd))
