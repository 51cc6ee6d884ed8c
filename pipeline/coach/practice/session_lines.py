"""UsualDelivery of speed over sessions: a line per golfer, all golfers at once.

A trend is a least-squares line that knows how long form lasts (`practice_form`), with Student's t of n - 2 degrees of
freedom; where the sessions are too few to tell, it is the ordinary one. An error of the light tool's
factor shifts all those of a golfer's sessions that rest on the light tool; it is carried into level and slope.
"""

import numpy as np
import polars as pl

from pipeline.coach.practice.lasting_form import INDEPENDENT, fit_form, lines, padded
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach

MIN_SESSIONS = 6  # for a trend
MIN_SPAN_DAYS = 21

KEPT = ("at", "level", "slope", "level_unit", "slope_unit", "variance", "freedom", "light_level", "light_slope")
WANDER = "wander"  # beside them, for forecasts alone


def lines_of(used: pl.DataFrame, name: str) -> pl.DataFrame:
    """Fit a line to each golfer's sessions.

    Parameters
    ----------
    used : DataFrame
        golfer, t (weeks), light (1 where the session rests on the light tool, else 0) and the speed `<name>_mph`.
    name : str
        best or typical.

    Returns
    -------
    DataFrame
        One row per golfer, columns `<name>_*`: at (the time at which level and slope have independent errors), level,
        slope (null below `MIN_SESSIONS` sessions or `MIN_SPAN_DAYS`), level_unit and slope_unit (their variances over
        that of a session), variance (of a session), freedom, light_level and light_slope (the same line through
        `light`), wander (variance of form that lasts; null where there is no slope).
    """
    used = used.sort("golfer", "t")
    who = used.select("golfer").with_row_index("first").group_by("golfer", maintain_order=True).agg(
        pl.col("first").first(), n=pl.len().cast(pl.Int64)
    )  # fmt: skip
    starts = np.append(who.get_column("first").to_numpy(), used.height).astype(np.int64)
    t, y, light = (used.get_column(column).to_numpy() for column in ("t", f"{name}_mph", "light"))
    n = np.diff(starts)
    base = np.add.reduceat(y, starts[:-1]) / n if len(n) else np.empty(0)  # taken off: squares of 100 mph lose digits
    sessions = padded(starts, t, np.column_stack([y - np.repeat(base, n), light]))
    span = np.array([t[starts[1:] - 1] - t[starts[:-1]]]).ravel() * 7
    told = (n >= MIN_SESSIONS) & (span >= MIN_SPAN_DAYS)
    form = fit_form(sessions.of(told)) if told.any() else INDEPENDENT
    columns = {one: np.full(len(n), np.nan) for one in (*KEPT, WANDER)}
    for slope, rows in ((True, told), (False, ~told)):
        if rows.any():
            found = lines(sessions.of(rows), form, slope=slope)
            freedom = n[rows] - (2 if slope else 1)
            nothing = np.full(len(freedom), np.nan)
            variance = np.divide(found.squares[:, 0], freedom, out=nothing.copy(), where=freedom > 0)
            values = (
                found.at, found.level[:, 0] + base[rows], found.slope[:, 0] if slope else nothing, found.level_unit,
                found.slope_unit, variance, freedom, found.level[:, 1], found.slope[:, 1],
            )  # fmt: skip
            for one, value in zip(KEPT, values, strict=True):
                columns[one][rows] = value
            columns[WANDER][rows] = form.share * variance if slope else nothing
    return who.select("golfer").with_columns(
        pl.Series(f"{name}_{one}", values).fill_nan(None) for one, values in columns.items()
    )


def line_at(golfers: pl.DataFrame, name: str, t: Array) -> tuple[Array, Array]:
    """Give a trend's value at a time and its variance; the mean where there is no trend.

    Parameters
    ----------
    golfers : DataFrame
        With the columns of `lines_of` and `log_error`.
    name : str
        best or typical.
    t : ndarray, shape (n,)
        Weeks since each golfer's first session.

    Returns
    -------
    value, variance : ndarray, shape (n,)
        mph and mph^2; NaN where nothing is known.
    """
    at, level, slope, level_unit, slope_unit, variance, _, light, light_slope = (
        numbers(golfers, f"{name}_{one}") for one in KEPT
    )
    away = np.where(np.isnan(slope), 0.0, t - at)
    unit = level_unit + np.nan_to_num(slope_unit) * away**2
    shifted = level * np.nan_to_num(numbers(golfers, "log_error")) * (light + light_slope * away)
    return level + np.nan_to_num(slope) * away, variance * unit + shifted**2


def slope_variance(golfers: pl.DataFrame, name: str) -> Array:
    """Give the variance of a trend's slope, (mph/week)^2; NaN where there is none."""
    _, level, slope, _, slope_unit, variance, _, light, light_slope = (
        numbers(golfers, f"{name}_{one}") for one in KEPT
    )
    log_error = np.nan_to_num(numbers(golfers, "log_error"))
    return variance * slope_unit + log_error**2 * ((level * light_slope) ** 2 + (slope * light) ** 2)


def reach_of(golfers: pl.DataFrame, name: str) -> Array:
    """Give Student's t of a trend's 90 % interval; NaN with a single session."""
    freedom = numbers(golfers, f"{name}_freedom")
    return t_reach(np.where(freedom > 0, freedom, np.nan))


def numbers(golfers: pl.DataFrame, name: str) -> Array:
    """Give a column as floats, null as NaN."""
    return golfers.get_column(name).cast(pl.Float64).to_numpy().copy()
