"""The usual delivery and speed ratio at a club speed, and the ratio that the better quarter of golfers reach."""

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.statistics.arrays import Array
from pipeline.statistics.quantile import Around, around_subsample

BETTER_QUARTER = 0.75

# Variance of a median over that of a mean, for readings near normal: pi / 2.
MEDIAN_VARIANCE = np.pi / 2

EXACT_FROM = 2000  # from so many golfers on, quantile regressions are solved exactly: it is quicker there
NO_SPREAD = 1e-9  # values with a smaller standard deviation are all the same


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
    """Fit the trends by quantile regression (statsmodels).

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
    spin = quantile_line(speed, typical.get_column("spin_rpm").to_numpy(), 0.5)
    speed_ratio, better_ratio = ratio_lines(typical)
    return UsualDelivery(speed_ratio, better_ratio, launch, spin)


def ratio_lines(typical: pl.DataFrame) -> tuple[Line | None, Line | None]:
    """Fit the median and the upper quartile of golfers' speed ratios; None where too few are known."""
    middle, known = pulled_ratios(typical)
    return middle, None if middle is None else better_line(known)


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
    error = MEDIAN_VARIANCE * known.select(pl.col("speed_ratio_var").fill_null(0) / pl.col("shots")).to_series()
    pulled = middle(speed) + spread_without_error(ratio - middle(speed), error.to_numpy())
    return middle, known.with_columns(pl.Series("pulled", pulled))


def better_line(known: pl.DataFrame, step: float = 1e-9) -> Line:
    """Fit the upper quartile of `pulled` on club speed; `step` ends the search, in thousandths of its spread."""
    speed, pulled = (known.get_column(name).to_numpy() for name in ("club_speed_mph", "pulled"))
    return quantile_line(speed, pulled, BETTER_QUARTER, step)


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


def quantile_line(
    speed: Array,
    values: Array,
    quantile: float,
    step: float = 1e-9,
    weights: npt.NDArray[Any] | None = None,
    start: Line | None = None,
) -> Line:
    """Fit a quantile of values on club speed by a straight line.

    Parameters
    ----------
    speed, values : ndarray, shape (n,)
        Speed in mph.
    quantile : float
    step : float
        Ends the search, in thousandths of the values' standard deviation.
    weights : ndarray of int, shape (n,), optional
        How often each entry counts, at least one of them once; each once if not given.
    start : Line, optional
        A line near the one sought, of about as many entries; it saves time and changes nothing else.

    Returns
    -------
    Line
        By statsmodels' QuantReg; from `EXACT_FROM` entries on exactly, by `pipeline.statistics.quantile`.
    """
    if len(speed) >= EXACT_FROM:
        return _Exact.of(speed, values, quantile, start).line(weights)
    if weights is not None:
        speed, values = np.repeat(speed, weights), np.repeat(values, weights)
    return _searched_line(speed, values, quantile, step)


def quantile_lines(
    speed: Array,
    values: Array,
    quantile: float,
    counts: npt.NDArray[Any],
    step: float = 1e-9,
    start: Line | None = None,
) -> tuple[Array, Array, Array]:
    """Fit a quantile of values on club speed on each of many draws of the entries.

    Parameters
    ----------
    speed, values : ndarray, shape (n,)
        Speed in mph.
    quantile : float
    counts : ndarray of int, shape (draws, n)
        How often each draw holds each entry; any type of integer.
    step, start
        As for `quantile_line`.

    Returns
    -------
    tuple of ndarray
        Of each draw's line, shape (draws,): at_centre, slope and centre_mph; NaN for a draw that holds nothing.
    """
    found = np.full((len(counts), 3), np.nan)
    exact = None
    if len(speed) >= EXACT_FROM:
        whole = quantile_line(speed, values, quantile, step, start=start)
        exact = _Exact.of(speed, values, quantile, whole)
    for row, drawn in zip(found, counts, strict=True):
        if np.any(drawn):
            line = exact.line(drawn) if exact else quantile_line(speed, values, quantile, step, drawn)
            row[:] = line.at_centre, line.slope, line.centre_mph
    return found[:, 0], found[:, 1], found[:, 2]


def _searched_line(speed: Array, values: Array, quantile: float, step: float) -> Line:
    from statsmodels.regression.quantile_regression import QuantReg
    from statsmodels.tools.sm_exceptions import IterationLimitWarning

    centre = float(np.mean(speed))
    spread = float(np.std(speed)) or 1.0
    # statsmodels stops by absolute steps, so the values are stretched to thousands first.
    size = float(np.std(values)) / 1000
    if size < 1e-12:
        return Line(centre, float(values[0]), 0.0)
    X = np.column_stack([np.ones_like(speed), (speed - centre) / spread])
    if np.ptp(speed) == 0:
        return Line(centre, float(np.quantile(values, quantile)), 0.0)
    # Where many lines fit equally well the steps never end; the last one is as good. The standard errors that
    # statsmodels works out on the way, dividing by nil where the fit is exact, are not used here.
    with np.errstate(divide="ignore", invalid="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", IterationLimitWarning)
        fit = QuantReg(values / size, X).fit(q=quantile, max_iter=1000, p_tol=step)
    at_centre, slope = fit.params * size
    return Line(centre, float(at_centre), float(slope / spread))


@dataclass(frozen=True)
class _Exact:
    """Entries made ready for exact fits: speed and values centred, scaled and ordered about a preliminary line."""

    speed: Array
    values: Array
    quantile: float
    centre_mph: float
    spread_mph: float
    middle: float
    size: float
    around: Around | None  # None where all entries have one speed or one value

    @classmethod
    def of(cls, speed: Array, values: Array, quantile: float, start: Line | None) -> "_Exact":
        centre, spread, middle, size = (float(f(a)) for a in (speed, values) for f in (np.mean, np.std))
        if spread == 0 or size < NO_SPREAD:
            return cls(speed, values, quantile, centre, spread, middle, size, None)
        x, y = (speed - centre) / spread, (values - middle) / size
        if start is None:
            around = around_subsample(x, y, quantile)
        else:
            line = (float(start(centre)) - middle) / size, start.slope * spread / size
            around = Around.of(x, y, line, len(x))
        return cls(speed, values, quantile, centre, spread, middle, size, around)

    def line(self, weights: npt.NDArray[Any] | None) -> Line:
        """Fit the line with these weights, each 1 if None."""
        weights = np.ones(len(self.speed)) if weights is None else weights.astype(float)
        centre = float(weights @ self.speed / weights.sum())
        drawn = weights > 0
        if self.around is None or np.ptp(self.speed[drawn]) == 0:
            values = np.repeat(self.values, weights.astype(np.int64))
            return Line(centre, float(np.quantile(values, self.quantile)), 0.0)
        at, slope = self.around.fit(self.quantile, weights)
        whole = Line(self.centre_mph, self.middle + at * self.size, slope * self.size / self.spread_mph)
        return Line(centre, float(whole(centre)), whole.slope)
