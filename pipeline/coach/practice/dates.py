"""The day on which a golfer's speed reaches the next band, if the trend of practice goes on, and the range of it."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.coach.practice.session_lines import line_at, numbers, reach_of, slope_variance
from pipeline.statistics.arrays import Array
from pipeline.statistics.shrinkage import shrink
from pipeline.tables.practice import Practice

Flags = npt.NDArray[np.bool_]

MIN_STEADIED = 5  # golfers with a trend, for what is usual to mean something
MAX_DAYS = 365  # nothing is projected farther from the last session


class Crossing(NamedTuple):
    """When a line crosses a level, in units of its time."""

    at: Array
    lo90: Array
    hi90: Array


class TrendLines(NamedTuple):
    """Lines of speed over time, shapes (golfers,); level and slope have independent errors."""

    with_ball: Flags
    """Whether it is speed with a ball."""
    start: Array
    """Weeks since the first session, at which the line has its level."""
    level: Array
    level_variance: Array
    slope: Array
    """A week, steadied."""
    slope_variance: Array


def crossing(rise: Array, rise_variance: Array, slope: Array, slope_variance: Array, reach: Array) -> Crossing:
    """Give the time that a rise takes at an uncertain slope.

    Parameters
    ----------
    rise, rise_variance : ndarray, shape (n,)
        What is to be gained, above nil, and the variance of where the line stands.
    slope, slope_variance : ndarray, shape (n,)
        Gain per unit of time, its error independent of the other.
    reach : ndarray, shape (n,)
        Student's t of the interval.

    Returns
    -------
    Crossing
        Fieller's interval; NaN where the slope's own interval holds nil or lies below it, for then there is none.

    References
    ----------
    Fieller, J. R. Stat. Soc. B 16 (1954) 175, doi 10.1111/j.2517-6161.1954.tb00159.x.
    """
    lead = slope**2 - reach**2 * slope_variance
    told = (lead > 0) & (slope > 0)
    safe = np.where(told, lead, 1.0)
    inner = reach**2 * (rise_variance * safe + rise**2 * slope_variance)
    half = np.sqrt(np.where(told, inner, 0.0)) / safe
    centre = rise * slope / safe
    at = np.divide(rise, slope, out=np.full_like(rise, np.nan), where=told)
    return Crossing(at, np.where(told, centre - half, np.nan), np.where(told, centre + half, np.nan))


def project(golfers: pl.DataFrame, bands: SpeedBands) -> pl.DataFrame:
    """Add the next band and the day on which it is reached.

    Parameters
    ----------
    golfers : DataFrame
        One row per golfer: the columns that `practice.practice_of` has gathered.
    bands : SpeedBands
        The study's.

    Returns
    -------
    DataFrame
        With speed_now_mph, with_ball, next_band_mph, next_band_from_mph, projection, projected_on, projected_lo90_on
        and projected_hi90_on added.

    Notes
    -----
    With drives, the line starts from their mean on their mean day, whose error has nothing to do with that of the
    slope; without, from the line at the time at which its level's error has nothing to do with the slope's.

    The slopes are those of `steadied`. Without that the golfers whose gain can be told from nil are those with luck on
    their side, and their days come too early: of the ranges of few sessions (tests/proving_ground/coach_practice.py)
    76 in 100 held the truth.
    """
    first = golfers.get_column("first_on").cast(pl.Int32).to_numpy()
    last = golfers.get_column("last_on").cast(pl.Int32).to_numpy()
    with_ball, start, level, level_variance, slope, variance = trend_lines(golfers)
    sure = golfers.get_column("trend").is_in(["gaining", "losing"]).to_numpy()
    now = level + np.where(sure, slope, 0.0) * np.where(sure, (last - first) / 7 - start, 0.0)
    centre = bands.next_above(now)
    edge = bands.begins_at(centre)
    found = crossing(edge - level, level_variance, slope, variance, reach_of(golfers, "best"))
    gaining = (golfers.get_column("trend") == "gaining").to_numpy()
    barred = ~gaining | golfers.get_column("lapsed").to_numpy() | (golfers.select(assumed()).to_series().to_numpy() & ~with_ball)
    days = [first + 7 * (start + weeks) for weeks in found]
    return golfers.with_columns(
        *(pl.Series(name, values).fill_nan(None) for name, values in (
            ("speed_now_mph", now), ("next_band_mph", centre), ("next_band_from_mph", edge),
        )),
        pl.Series("with_ball", with_ball),
        *_dates(days, last, np.isnan(edge) & ~np.isnan(now), barred),
    )  # fmt: skip


def trend_lines(golfers: pl.DataFrame) -> TrendLines:
    """Give the lines that are projected: through drives where there are any, else through the sessions.

    Parameters
    ----------
    golfers : DataFrame
        As for `project`.
    """
    with_ball = golfers.get_column("drive_speed_mph").is_not_null().to_numpy()
    own_at = numbers(golfers, "best_at")
    own, own_variance = line_at(golfers, "best", own_at)
    return TrendLines(
        with_ball,
        np.where(with_ball, numbers(golfers, "drive_weeks"), own_at),
        np.where(with_ball, numbers(golfers, "drive_speed_mph"), own),
        np.where(with_ball, numbers(golfers, "drive_variance"), own_variance),
        *steadied(numbers(golfers, "best_slope"), slope_variance(golfers, "best")),
    )


def assumed() -> pl.Expr:
    """Tell whose driver speed is the light tool's by common practice, which has no interval."""
    return pl.col("log_error").is_null() & pl.col("basis").is_in(["light", "both"]).fill_null(False)


def steadied(slope: Array, variance: Array) -> tuple[Array, Array]:
    """Draw each golfer's slope to that of all who practise, as far as luck can have made it; NaN stays.

    Parameters
    ----------
    slope, variance : ndarray, shape (n,)
        Least-squares slopes with their variances.

    Returns
    -------
    slope, variance : ndarray, shape (n,)
        Empirical Bayes, as in `golfers.shrinkage`; unchanged where fewer than `MIN_STEADIED` golfers have a trend.
    """
    known = np.flatnonzero(np.isfinite(slope) & (np.nan_to_num(variance) > 0))
    if len(known) < MIN_STEADIED:
        return slope, variance
    shrunk = shrink(slope[known], variance[known], np.ones((len(known), 1)))
    slope, variance = slope.copy(), variance.copy()
    slope[known], variance[known] = shrunk.value, shrunk.std_error**2
    return slope, variance


def _dates(days: list[Array], last: Array, above: Flags, barred: Flags) -> list[pl.Series]:
    """Turn days since 1970 into dates and a status; a range begins no earlier than the last session."""
    at, lo, hi = np.ceil(days[0]), np.floor(np.maximum(days[1], last)), np.ceil(days[2])
    told = ~np.isnan(at) & ~barred & ~above
    limit = last + MAX_DAYS
    dated = told & (at <= limit)
    later = np.where(told, "beyond_a_year", "cannot_tell_yet")
    status = np.where(above, "no_band_above", np.where(dated, "dated", later))
    shown = (
        ("projected_on", at, dated),
        ("projected_lo90_on", lo, told & (lo <= limit)),
        ("projected_hi90_on", hi, dated & (hi <= limit)),
    )
    dates = [
        pl.Series(name, np.where(keep, np.nan_to_num(value), np.nan)).fill_nan(None).cast(pl.Int32).cast(pl.Date)
        for name, value, keep in shown
    ]
    return [pl.Series("projection", status).cast(Practice.projection.dtype), *dates]
