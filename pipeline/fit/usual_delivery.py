"""The usual delivery and speed ratio at a club speed, and the ratio of an efficient strike."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.fit.trend import Line as Line
from pipeline.fit.trend import Trend
from pipeline.statistics.arrays import Array

# Variance of a median over that of a mean, for readings near normal: pi / 2.
MEDIAN_VARIANCE = np.pi / 2


@dataclass(frozen=True)
class UsualDelivery:
    """Quantile regressions over golfers on their club speed.

    Attributes
    ----------
    speed_ratio, better_ratio : Line or None
        Median of golfers' typical speed ratios, and their quantile `strike`; None where ball speed is not known.
    launch, spin : Line
        Medians of golfers' typical launch, deg, and backspin, rpm.
    strike : float
        Share of golfers about a club speed whose speed ratio is below that of an efficient drive.
    """

    speed_ratio: Line | None
    better_ratio: Line | None
    launch: Line
    spin: Line
    strike: float = 0.75  # as `Efficient` has it, and as every model had it before studies could choose

    @property
    def lines(self) -> dict[str, Line | None]:
        """The lines by their names."""
        return {name: value for name, value in vars(self).items() if name != "strike"}


def fit_usual_delivery(typical: pl.DataFrame, strike: float = UsualDelivery.strike) -> UsualDelivery:
    """Fit the trends by quantile regression; each is straight unless a bend clearly shows.

    Parameters
    ----------
    typical : DataFrame
        One row per golfer, from `typical_drives`; a row may stand there many times (resampling).
    strike : float
        See `UsualDelivery`.

    Returns
    -------
    UsualDelivery

    Notes
    -----
    A golfer's typical ratio is known with an error that spreads golfers out and would push an upper quantile
    up. Ratios are pulled towards the median trend so that their spread is that of the golfers alone
    (constrained empirical Bayes: Louis, J. Am. Stat. Assoc. 79 (1984) 393, doi 10.1080/01621459.1984.10478062).
    """
    speed = typical.get_column("club_speed_mph").to_numpy()
    known = typical.drop_nulls("spin_rpm")
    launch = Trend.of(speed, typical.get_column("launch_deg").to_numpy(), 0.5).line()
    measured = [known.get_column(name).to_numpy() for name in ("club_speed_mph", "spin_rpm")]
    spin = Trend.of(measured[0], measured[1], 0.5).line()
    speed_ratio, better_ratio = ratio_lines(typical, strike)
    return UsualDelivery(speed_ratio, better_ratio, launch, spin, strike)


def ratio_lines(typical: pl.DataFrame, strike: float = UsualDelivery.strike) -> tuple[Line | None, Line | None]:
    """Fit the median and the quantile `strike` of golfers' speed ratios; None where too few are known."""
    middle, known = pulled_ratios(typical)
    if middle is None:
        return None, None
    speed, pulled = (known.get_column(name).to_numpy() for name in ("club_speed_mph", "pulled"))
    return middle, Trend.of(speed, pulled, strike).line()


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
    middle = Trend.of(speed, ratio, 0.5).line()
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
