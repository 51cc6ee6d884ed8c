"""Slopes of residuals along columns that the model doesn't know: attack, altitude, temperature, side spin, day."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import golfer_codes
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Estimate
from pipeline.statistics.least_squares import Factor, clustered_fit, solve

LEAST_GOLFERS = 8  # with fewer, clustered errors are too small
SIGNIFICANT = 0.05  # of p values put right for the number of columns


@dataclass(frozen=True)
class Along:
    """A column of the residuals' table to look along.

    Attributes
    ----------
    name : str
        What the page calls it.
    axis : str
        The same with its unit, as a figure has it.
    step : float
        Over which the slope is given, in the column's unit.
    per : str
        What the step is called.
    needs : tuple of str
        Columns of the logs that it comes from.
    """

    name: str
    axis: str
    step: float
    per: str
    needs: tuple[str, ...]


ALONG: Mapping[str, Along] = {
    "attack_deg": Along("attack", "Attack, deg", 1.0, "deg", ("attack_deg",)),
    "altitude_m": Along("altitude", "Altitude, m", 100.0, "100 m", ("altitude_m",)),
    "temp_c": Along("temperature", "Temperature, deg C", 10.0, "10 deg C", ("temp_c",)),
    "side_spin_rpm": Along("side spin", "Side spin, either way, rpm", 100.0, "100 rpm", ("spin_axis_deg",)),
    "day": Along("day", "Days since the first, d", 30.0, "30 days", ("struck_on",)),
}


@dataclass(frozen=True)
class Slope:
    """How residuals go with a column.

    Attributes
    ----------
    drives, golfers : int
        Where it is known.
    slope, std_error, lo90, hi90 : float
        Yd per step of the column, clustered by golfer.
    p_value, adjusted : float
        Against no slope; put right for the number of columns by Holm's method.
    """

    drives: int
    golfers: int
    slope: float
    std_error: float
    lo90: float
    hi90: float
    p_value: float
    adjusted: float = 1.0


def with_columns_along(residuals: pl.DataFrame) -> pl.DataFrame:
    """Add what is looked along and comes of the logs' columns: `side_spin_rpm`, either way, and `day`, from the first.

    The side part of spin is spin times the sine of its axis' tilt.
    """
    made = []
    if "spin_axis_deg" in residuals.columns:
        tilt = pl.col("spin_axis_deg").cast(pl.Float64).radians()
        made.append((pl.col("spin_rpm") * tilt.sin()).abs().alias("side_spin_rpm"))
    if "struck_on" in residuals.columns:
        day = pl.col("struck_on")
        made.append((day - day.min()).dt.total_days().cast(pl.Float64).alias("day"))
    return residuals.with_columns(made)


def why_not(residuals: pl.DataFrame, column: str) -> str | None:
    """Say in a sentence why a column can't be looked along; None where it can."""
    one = ALONG[column]
    known = residuals.get_column(column).drop_nulls() if column in residuals.columns else None
    if known is None or known.is_empty():
        return f"{one.name.capitalize()} isn't in the logs ({', '.join(one.needs)})."
    if known.n_unique() < 2:
        return f"{one.name.capitalize()} is the same for all drives that have it."
    golfers = residuals.filter(pl.col(column).is_not_null()).get_column("golfer").n_unique()
    if golfers < LEAST_GOLFERS:
        return f"{one.name.capitalize()} is known for {golfers} golfers; a slope needs {LEAST_GOLFERS}."
    return None


def slope_along(residuals: pl.DataFrame, column: str) -> Slope:
    """Fit a straight line of residuals along a column, with standard errors clustered by golfer."""
    known = residuals.filter(pl.col(column).is_not_null()).sort("golfer", maintain_order=True)
    x = known.get_column(column).cast(pl.Float64).to_numpy() / ALONG[column].step
    y, golfer = known.get_column("residual_yd").to_numpy(), golfer_codes(known)
    found, error = clustered_line(x, y, golfer)
    golfers = int(golfer.max()) + 1
    estimate = Estimate(np.array([found]), np.array([error]), np.array([golfers - 1.0]))
    low, high = (float(edge[0]) for edge in estimate.edges90)
    return Slope(known.height, golfers, found, error, low, high, float(estimate.p_value[0]))


def clustered_line(x: Array, y: Array, golfer: npt.NDArray[np.int64]) -> tuple[float, float]:
    """Give the slope of a straight line through points, and its standard error clustered by golfer."""
    X = np.column_stack([np.ones(len(x)), x - x.mean()])
    fit = clustered_fit(solve(Factor.of(X, y)), [(X, y, golfer)])
    return float(fit.coefficients[1]), float(fit.std_errors[1])


def slopes(residuals: pl.DataFrame, columns: Sequence[str]) -> dict[str, Slope]:
    """Fit a slope along each column and put p values right for their number.

    Source: Holm, Scand. J. Stat. 6 (1979) 65 (from memory), as statsmodels has it.
    """
    from statsmodels.stats.multitest import multipletests

    found = {column: slope_along(residuals, column) for column in columns}
    if not found:
        return {}
    adjusted = multipletests([one.p_value for one in found.values()], method="holm")[1]
    return {name: replace(one, adjusted=float(p)) for (name, one), p in zip(found.items(), adjusted, strict=True)}


def of_device_alone(residuals: pl.DataFrame, column: str) -> bool:
    """Say whether each device has one value of a column, so that the devices' shares take up what goes with it."""
    values = residuals.filter(pl.col(column).is_not_null()).group_by("device").agg(pl.col(column).n_unique())
    return values.height > 1 and bool((values.get_column(column) == 1).all())
