"""Residuals by golfer and by day against luck: what days and drives alone would make of their means."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.statistics.arrays import Array

RESAMPLES = 999  # of golfers, for the interval of a ratio
LUCKY = 400  # drawn sets of golfers' means, for the envelope
SHUFFLES = 199  # of days within golfers: the least p value is 1 in 200
LEAST_GOLFERS = 6  # for a ratio with an interval


@dataclass(frozen=True)
class Scatter:
    """How residuals scatter within golfers.

    Attributes
    ----------
    drive_sd_yd : float
        Of drives within a golfer's day.
    day_sd_yd : float or None
        Of a golfer's days about the golfer's mean; None where no golfer has two days.
    """

    drive_sd_yd: float
    day_sd_yd: float | None

    def of_means(self, drives: Array, squares: Array) -> Array:
        """Give the standard deviation of golfers' means by luck; `squares` sums the days' drives squared."""
        day = self.day_sd_yd or 0.0
        return np.sqrt(self.drive_sd_yd**2 / drives + day**2 * squares / drives**2)


@dataclass(frozen=True)
class GolferSpread:
    """Golfers' mean residuals, sorted, beside what luck alone would make of them; arrays of shape (golfers,).

    Attributes
    ----------
    mean_yd : ndarray
        Rising.
    low_yd, middle_yd, high_yd : ndarray
        5th, 50th and 95th percentile of the sorted means of golfers who don't differ.
    ratio, lo90, hi90 : float
        Mean square of the golfers' means, each over its variance by luck, with the interval of resampled golfers. 1 is
        luck.
    sd_yd, luck_sd_yd : float
        Spread of the means, and that by luck.
    scatter : Scatter
    """

    mean_yd: Array
    low_yd: Array
    middle_yd: Array
    high_yd: Array
    ratio: float
    lo90: float
    hi90: float
    sd_yd: float
    luck_sd_yd: float
    scatter: Scatter

    @property
    def beyond_luck_yd(self) -> float:
        """Spread of golfers that luck doesn't explain, yd; 0 where it explains all."""
        return float(np.sqrt(max(self.sd_yd**2 - self.luck_sd_yd**2, 0.0)))


@dataclass(frozen=True)
class DaySpread:
    """Mean residuals of calendar days beside those of days shuffled within golfers.

    Attributes
    ----------
    days : int
    ratio : float
        Mean square of the days' means, after each golfer's own, over that of shuffled days.
    luck_lo90, luck_hi90 : float
        What shuffled days give.
    p_value : float
    """

    days: int
    ratio: float
    luck_lo90: float
    luck_hi90: float
    p_value: float


def golfer_days(residuals: pl.DataFrame) -> pl.DataFrame:
    """Sum residuals by golfer and day: golfer, day, drives, mean, squares (sum of squares about the mean)."""
    # Without days, quarters are the finest that is known.
    day = "struck_on" if "struck_on" in residuals.columns else "quarter"
    yd = pl.col("residual_yd")
    means = residuals.group_by("golfer", pl.col(day).alias("day")).agg(
        pl.len().cast(pl.Int64).alias("drives"),
        yd.sort().mean().alias("mean"),  # sums of floats hang on their order
        (yd.sort() - yd.mean()).pow(2).sum().alias("squares"),
    )
    return means.sort("golfer", "day")


def scatter_of(days: pl.DataFrame) -> Scatter:
    """Split the scatter of residuals within golfers into days and drives, by the method of moments.

    Source: Searle, Casella and McCulloch, Variance Components (1992), chapter 5 (nested classification, unequal
    numbers; from memory).
    """
    own = (pl.col("mean") * pl.col("drives")).sum().over("golfer") / pl.col("drives").sum().over("golfer")
    n = pl.col("drives")
    about = days.with_columns(own.alias("own")).select(
        pl.col("squares").sum().alias("within"),
        (n * (pl.col("mean") - pl.col("own")) ** 2).sum().alias("between"),
        n.sum().alias("drives"),
        (n * n / n.sum().over("golfer")).sum().alias("lost"),
        pl.len().alias("days"),
        pl.col("golfer").n_unique().alias("golfers"),
    )
    within, between, drives, lost, count, golfers = about.row(0)
    drive = within / (drives - count) if drives > count else 0.0
    if count == golfers:
        return Scatter(float(np.sqrt(drive)), None)
    day = max((between - (count - golfers) * drive) / (drives - lost), 0.0)
    return Scatter(float(np.sqrt(drive)), float(np.sqrt(day)))


def golfer_spread(days: pl.DataFrame, seed: int) -> GolferSpread | None:
    """Compare the spread of golfers' mean residuals with what their days and drives alone would give.

    Parameters
    ----------
    days : DataFrame
        From `golfer_days`.
    seed : int

    Returns
    -------
    GolferSpread or None
        None for fewer than `LEAST_GOLFERS` golfers with two drives.
    """
    n = pl.col("drives")
    golfers = days.group_by("golfer").agg(
        n.sum().alias("shots"), (n * n).sum().alias("squares"), ((pl.col("mean") * n).sum() / n.sum()).alias("mean")
    )
    golfers = golfers.filter(pl.col("shots") > 1).sort("golfer")
    scatter = scatter_of(days)
    if golfers.height < LEAST_GOLFERS or scatter.drive_sd_yd == 0:
        return None
    mean, shots, squares = (golfers[c].to_numpy().astype(float) for c in ("mean", "shots", "squares"))
    luck = scatter.of_means(shots, squares)
    # About their mean, weighted as luck alone would have it.
    away = mean - np.average(mean, weights=luck**-2)
    over = (away / luck) ** 2
    freed = len(mean) / (len(mean) - 1)
    rng = np.random.default_rng([seed, 8])
    resampled = [over[rng.integers(0, len(over), len(over))].mean() * freed for _ in range(RESAMPLES)]
    drawn = rng.standard_normal((LUCKY, len(mean))) * luck
    drawn = np.sort(drawn - np.average(drawn, axis=1, weights=luck**-2)[:, None], axis=1)
    low, middle, high = np.quantile(drawn, [0.05, 0.5, 0.95], axis=0)
    lo90, hi90 = np.quantile(resampled, [0.05, 0.95])
    return GolferSpread(
        np.sort(away), low, middle, high, float(over.mean() * freed), float(lo90), float(hi90),
        float(np.std(away, ddof=1)), float(np.sqrt(np.mean(luck**2))), scatter,
    )  # fmt: skip


def day_spread(days: pl.DataFrame, min_golfers: int, seed: int) -> DaySpread | None:
    """Compare the scatter of calendar days, after each golfer's own mean, with that of days shuffled within golfers.

    Parameters
    ----------
    days : DataFrame
        From `golfer_days`.
    min_golfers : int
        Fewest golfers of a day that counts.
    seed : int

    Returns
    -------
    DaySpread or None
        None where fewer than two days have so many golfers who hit on several days.

    Notes
    -----
    A golfer's days carry their means along with their drives when they are shuffled, so that all golfers stay as they
    are. What is common to a day shows as a larger scatter than shuffled days have.
    """
    n = pl.col("drives")
    own = (pl.col("mean") * n).sum().over("golfer") / n.sum().over("golfer")
    several = days.filter(pl.len().over("golfer") > 1).with_columns((pl.col("mean") - own).alias("away"))
    places = several["day"].rank("dense").to_numpy().astype(np.int64) - 1 if several.height else np.zeros(0, np.int64)
    counts = np.bincount(places)
    counted = counts >= max(min_golfers, 2)
    if counted.sum() < 2:
        return None
    golfer = several["golfer"].rank("dense").to_numpy().astype(float)
    away, drives = several["away"].to_numpy(), several["drives"].to_numpy().astype(float)

    def scattered(order: npt.NDArray[np.int64]) -> float:
        weight, moved = drives[order], (drives * away)[order]
        mean = np.bincount(places, moved)[counted] / np.bincount(places, weight)[counted]
        return float(np.average(mean**2, weights=np.bincount(places, weight)[counted]))

    rng = np.random.default_rng([seed, 9])
    found = scattered(np.arange(len(places)))
    shuffled = [scattered(np.argsort(golfer + rng.uniform(0, 0.5, len(golfer)))) for _ in range(SHUFFLES)]
    usual = np.mean(shuffled)
    lo90, hi90 = np.quantile(shuffled, [0.05, 0.95]) / usual
    beyond = 1 + sum(one >= found for one in shuffled)
    return DaySpread(int(counted.sum()), float(found / usual), float(lo90), float(hi90), float(beyond / (SHUFFLES + 1)))
