"""How much faster a light tool moves than the driver: from sessions in which a golfer swung both."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.coach.practice.session_lines import numbers
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90, t_reach
from pipeline.statistics.shrinkage import between_golfers, shrink
from pipeline.tables.practice import Pairs

COMMON_FACTOR = 1.2  # a light tool moves about 20 % faster than the driver: common practice, no source
COMMON_PRACTICE = "common practice, no source"
OWN_PAIRS = "own paired sessions"
MIN_PAIRS = 10  # sessions with both tools
MIN_GOLFERS = 3  # who swung both: with fewer, how golfers differ can't be told
MIN_FREEDOM = 5  # of the scatter between the sessions of a golfer


@dataclass(frozen=True)
class LightTool:
    """light_tool.json: what is known of a study's light tool.

    Attributes
    ----------
    factor : float
        Its speed over the driver's, of the usual golfer.
    factor_lo90, factor_hi90 : float or None
        Of the factor itself; None where it is common practice.
    golfer_lo90, golfer_hi90 : float or None
        Of the factor of a golfer who never swung both in a session.
    source : str
    pairs, golfers : int
        Sessions with both tools, and golfers with such sessions.
    note : str
    """

    factor: float
    factor_lo90: float | None
    factor_hi90: float | None
    golfer_lo90: float | None
    golfer_hi90: float | None
    source: str
    pairs: int
    golfers: int
    note: str


class LightToolFit(NamedTuple):
    """The mapping, and what it is for each golfer."""

    tool: LightTool
    factors: pl.DataFrame
    """One row per golfer: light_factor, and log_error, the standard error of its logarithm (null: not known)."""


def pairs_of(speeds: pl.DataFrame) -> pl.DataFrame:
    """Find the sessions in which a golfer swung both tools often enough to tell the best speed of each.

    Best speeds are compared, not typical ones: with one tool the easy swings may be more than with the other.

    Parameters
    ----------
    speeds : DataFrame
        From `sessions.day_speeds`.

    Returns
    -------
    DataFrame
        Schema Pairs, sorted by golfer and day.
    """
    keys = ["golfer", "swung_on"]
    told = speeds.filter(pl.col("best_mph").is_not_null())
    light, driver = (
        told.filter(pl.col("tool") == tool).select(
            *keys, pl.col("sound").alias(f"{tool}_swings"), pl.col("best_mph").alias(f"{tool}_best_mph")
        )
        for tool in ("light", "driver")
    )
    both = light.join(driver, on=keys).with_columns(ratio=pl.col("light_best_mph") / pl.col("driver_best_mph"))
    return Pairs.validate(both.sort(keys).select(Pairs.column_names()))


def fit_light_tool(pairs: pl.DataFrame, golfers: pl.Series) -> LightToolFit:
    """Fit the factor of the usual golfer and of each one.

    The logarithms of a golfer's ratios scatter about the golfer's own, and those scatter about the usual one: golfers
    with many pairs have their own factor, the others are drawn to the usual one, those without pairs have it.

    Parameters
    ----------
    pairs : DataFrame
        Schema Pairs.
    golfers : Series
        Pseudonyms of all golfers who practise.

    Returns
    -------
    LightToolFit
        Below `MIN_PAIRS` sessions of `MIN_GOLFERS` golfers the factor is `COMMON_FACTOR`, without any interval.

    References
    ----------
    `golfers.shrinkage`: Paule and Mandel (1982) for the variance between golfers, Morris (1983) for the shrinkage.
    """
    log = pl.col("ratio").log()
    own = (
        pairs.sort("golfer", "swung_on")
        .group_by("golfer", maintain_order=True)
        .agg(ratio=log.mean(), squares=log.var(ddof=0) * pl.len(), pairs=pl.len().cast(pl.Int64))
    )
    freedom = pairs.height - own.height
    if pairs.height < MIN_PAIRS or own.height < MIN_GOLFERS or freedom < MIN_FREEDOM:
        return _by_common_practice(pairs.height, own.height, golfers)
    count = own.get_column("pairs").to_numpy()
    variance = np.maximum(float(own.get_column("squares").sum()) / freedom, 1e-10) / count
    return _by_own_pairs(own, variance, golfers, pairs.height)


def light_readings(golfers: pl.DataFrame, target_mph: Array, name: str) -> list[pl.Series]:
    """Give the light tool's reading that goes with a driver speed: it less what the ball takes, times the factor.

    Parameters
    ----------
    golfers : DataFrame
        with_ball, light_factor, log_error, ball_gap_mph, ball_gap_hi90_mph, one row per golfer.
    target_mph : ndarray, shape (n,)
        With a ball where `with_ball`.
    name : str
        Columns are `<name>_mph`, `<name>_lo90_mph` and `<name>_hi90_mph`.

    Notes
    -----
    The errors of factor and gap are taken as independent, which makes the interval somewhat wide: where the practice
    rests on the light tool, they partly cancel.
    """
    with_ball = golfers.get_column("with_ball").to_numpy()
    factor, log_error = numbers(golfers, "light_factor"), numbers(golfers, "log_error")
    free = target_mph - np.where(with_ball, numbers(golfers, "ball_gap_mph"), 0.0)
    gap = np.where(with_ball, numbers(golfers, "ball_gap_hi90_mph") - numbers(golfers, "ball_gap_mph"), 0.0)
    value, wide = factor * free, factor * np.hypot(Z90 * log_error * free, gap)
    columns = {name: value, f"{name}_lo90": value - wide, f"{name}_hi90": value + wide}
    return [pl.Series(f"{column}_mph", values).fill_nan(None) for column, values in columns.items()]


def _by_common_practice(pairs: int, paired: int, golfers: pl.Series) -> LightToolFit:
    faster = f"{100 * (COMMON_FACTOR - 1):.0f} % faster than the driver, by common practice without a source"
    note = (
        f"{pairs} sessions of {paired} golfers with both tools, and {MIN_PAIRS} of {MIN_GOLFERS} are needed: a light "
        f"tool is taken to move {faster}"
    )
    factors = pl.DataFrame({"golfer": golfers.unique().sort()}).with_columns(
        light_factor=pl.lit(COMMON_FACTOR), log_error=pl.lit(None, pl.Float64)
    )
    return LightToolFit(LightTool(COMMON_FACTOR, None, None, None, None, COMMON_PRACTICE, pairs, paired, note), factors)


def _by_own_pairs(own: pl.DataFrame, variance: Array, golfers: pl.Series, pairs: int) -> LightToolFit:
    value = own.get_column("ratio").to_numpy()
    one = np.ones((own.height, 1))
    tau2, coefficients, covariance = between_golfers(value, variance, one)
    shrunk = shrink(value, variance, one)
    usual, usual_error = float(coefficients[0]), float(np.sqrt(covariance[0, 0]))
    other_error = float(np.sqrt(tau2 + covariance[0, 0]))
    reach = float(t_reach(own.height - 1))
    lo, hi, other_lo, other_hi = np.exp(
        usual + reach * np.array([-usual_error, usual_error, -other_error, other_error])
    ).tolist()
    paired = own.select("golfer").with_columns(
        pl.Series("light_factor", np.exp(shrunk.value)), pl.Series("log_error", shrunk.std_error)
    )
    # Student's t for few paired golfers, so that 1.645 standard errors are 90 % for everybody.
    factors = pl.DataFrame({"golfer": golfers.unique().sort()}).join(paired, on="golfer", how="left")
    factors = factors.with_columns(
        pl.col("light_factor").fill_null(float(np.exp(usual))), pl.col("log_error").fill_null(other_error * reach / Z90)
    ).sort("golfer")
    note = f"{pairs} sessions of {own.height} golfers with both tools"
    tool = LightTool(float(np.exp(usual)), lo, hi, other_lo, other_hi, OWN_PAIRS, pairs, own.height, note)
    return LightToolFit(tool, factors)
