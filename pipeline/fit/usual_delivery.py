"""The usual delivery and speed ratio at a club speed, and the ratio that the better quarter of golfers reach."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.statistics.arrays import Array
from pipeline.statistics.quantile import Points

BETTER_QUARTER = 0.75

# Variance of a median over that of a mean, for readings near normal: pi / 2.
MEDIAN_VARIANCE = np.pi / 2


@dataclass(frozen=True)
class Line:
    """A straight line in club speed: `at_centre + slope * (club speed - centre_mph)`."""

    centre_mph: float
    at_centre: float
    slope: float

    def __call__(self, club_speed_mph: npt.ArrayLike) -> Array:
        """Evaluate at club speeds, mph."""
        return self.at_centre + self.slope * (np.asarray(club_speed_mph, dtype=float) - self.centre_mph)


@dataclass(frozen=True)
class UsualDelivery:
    """Quantile regressions over golfers on their club speed.

    Attributes
    ----------
    speed_ratio, better_ratio : Line or None
        Median and upper quartile of golfers' typical speed ratios; None where ball speed is not known.
    launch, spin : Line
        Medians of golfers' typical launch, deg, and backspin, rpm.
    """

    speed_ratio: Line | None
    better_ratio: Line | None
    launch: Line
    spin: Line


def fit_usual_delivery(typical: pl.DataFrame) -> UsualDelivery:
    """Fit the trends by quantile regression.

    Parameters
    ----------
    typical : DataFrame
        One row per golfer, from `typical_drives`; a row may stand there many times (resampling).

    Returns
    -------
    UsualDelivery

    Notes
    -----
    A golfer's typical ratio is known with an error that spreads golfers out and would push the upper quartile
    up. Ratios are pulled towards the median trend so that their spread is that of the golfers alone
    (constrained empirical Bayes: Louis, J. Am. Stat. Assoc. 79 (1984) 393, doi 10.1080/01621459.1984.10478062).
    """
    speed = typical.get_column("club_speed_mph").to_numpy()
    launch = quantile_line(speed, typical.get_column("launch_deg").to_numpy(), 0.5)
    known = typical.drop_nulls("spin_rpm")
    spin = quantile_line(known.get_column("club_speed_mph").to_numpy(), known.get_column("spin_rpm").to_numpy(), 0.5)
    speed_ratio, better_ratio = ratio_lines(typical)
    return UsualDelivery(speed_ratio, better_ratio, launch, spin)


def ratio_lines(typical: pl.DataFrame) -> tuple[Line | None, Line | None]:
    """Fit the median and the upper quartile of golfers' speed ratios; None where too few are known."""
    middle, known = pulled_ratios(typical)
    if middle is None:
        return None, None
    speed, pulled = (known.get_column(name).to_numpy() for name in ("club_speed_mph", "pulled"))
    return middle, quantile_line(speed, pulled, BETTER_QUARTER)


def pulled_ratios(typical: pl.DataFrame) -> tuple[Line | None, pl.DataFrame]:
    """Fit the median of golfers' speed ratios and take the error of each golfer's own ratio out of their spread.

    Returns
    -------
    tuple
        The median line, None where too few ratios are known; the golfers whose ratio is known, with `pulled`.
    """
    known = typical.filter(pl.col("speed_ratio").is_not_null())
    if known.height < 3:
        return None, known.with_columns(pl.col("speed_ratio").alias("pulled"))
    speed = known.get_column("club_speed_mph").to_numpy()
    ratio = known.get_column("speed_ratio").to_numpy()
    middle = quantile_line(speed, ratio, 0.5)
    error = known.select(pl.col("speed_ratio_var").fill_null(0) / pl.col("shots")).to_series()
    pulled = middle(speed) + spread_without_error(ratio - middle(speed), error.to_numpy())
    return middle, known.with_columns(pl.Series("pulled", pulled))


def strikes_of(drives: pl.DataFrame, departure: Array) -> pl.DataFrame:
    """Sum up by golfer how far beyond expected drives go.

    Parameters
    ----------
    drives : DataFrame
        Needs `golfer`.
    departure : ndarray, shape (n,)
        Each drive's carry over its expected carry, less 1.

    Returns
    -------
    DataFrame
        One row per golfer, sorted: golfer, middle (median departure), var (of one drive), len.
    """
    table = drives.select("golfer").with_columns(pl.Series("departure", departure))
    middle, var = pl.col("departure").median().alias("middle"), pl.col("departure").var().fill_null(0).alias("var")
    return table.group_by("golfer").agg(middle, var, pl.len()).sort("golfer")


def strike_effects(strikes: pl.DataFrame) -> pl.DataFrame:
    """Work out how far beyond expected each golfer's typical drive goes, where ball speed can't tell.

    Parameters
    ----------
    strikes : DataFrame
        From `strikes_of`.

    Returns
    -------
    DataFrame
        golfer, effect (a share of carry): medians over drives, with the spread over golfers that is left without
        their error, as for speed ratios.
    """
    middle = strikes.get_column("middle").to_numpy()
    error = MEDIAN_VARIANCE * strikes.select(pl.col("var") / pl.col("len")).to_series().to_numpy()
    centre = float(np.median(middle))
    return strikes.select("golfer", pl.Series("effect", centre + spread_without_error(middle - centre, error)))


def spread_without_error(departure: Array, error_variance: Array) -> Array:
    """Pull departures towards nil so that their variance is what remains without the measurement error.

    Parameters
    ----------
    departure : ndarray, shape (n,)
        Estimates minus their centre.
    error_variance : ndarray, shape (n,)
        Variance of each estimate's own error.

    Returns
    -------
    ndarray, shape (n,)
    """
    true_variance = max(float(np.mean(departure**2) - np.mean(error_variance)), 0.0)
    total = true_variance + error_variance
    share = np.divide(true_variance, total, out=np.ones_like(total), where=total > 0)
    return np.asarray(departure * np.sqrt(share), dtype=float)


def quantile_line(speed: Array, values: Array, quantile: float) -> Line:
    """Fit a quantile of values on club speed, mph, by a straight line; arrays of shape (n,)."""
    return Line(*Points.of(speed, values, quantile).line(np.ones(len(speed))))


def quantile_lines(speed: Array, values: Array, quantile: float, counts: npt.NDArray[np.integer[Any]]) -> Array:
    """Fit a quantile of values on club speed on each of many draws of the entries.

    Parameters
    ----------
    speed, values : ndarray, shape (n,)
        Speed in mph.
    quantile : float
    counts : ndarray of int, shape (draws, n)
        How often each draw holds each entry; any type of integer.

    Returns
    -------
    ndarray, shape (draws, 3)
        Of each draw's line: centre_mph, at_centre and slope, as in `Line`; NaN for a draw that holds nothing.
    """
    found = np.full((len(counts), 3), np.nan)
    if np.any(counts):
        points = Points.of(speed, values, quantile).about_their_line()
        for row, drawn in zip(found, counts, strict=True):
            if np.any(drawn):
                row[:] = points.line(drawn.astype(float))
    return found
