"""Figures behind the researcher's diagnostics: residuals, calibration and coverage on golfers held out, influence."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.drives import Drives, golfer_codes, inputs, straightened
from pipeline.fit.held_out import DRIVE_KEYS
from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.resampled import per_golfer_sums
from pipeline.statistics.arrays import Array

LEVELS = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99)
BINS = 24
UNSTATED = "unstated"

# Column of the predictions: what they were made from.
KNOWN = {
    "predicted_yd": "all inputs known",
    "predicted_by_club_speed_yd": "club speed alone known",
}


def held_out_residuals(drives: pl.DataFrame, held_out: pl.DataFrame, bands: SpeedBands) -> pl.DataFrame:
    """Join the drives of the fit with their predictions on golfers held out.

    Parameters
    ----------
    drives : DataFrame, n rows
        The drives of the fit, in the order of `held_out`, with the columns of `FIT_COLUMNS`.
    held_out : DataFrame, n rows
        The table `HeldOut`.
    bands : SpeedBands

    Returns
    -------
    DataFrame, n rows
        Both, and `residual_yd` (measured minus predicted), `inside` (in the 90 % interval, whose edges come from
        the other folds) and `band_mph` (by the drive's own club speed; null outside every band).
    """
    joined = pl.concat([drives, held_out.drop(DRIVE_KEYS)], how="horizontal")
    return joined.with_columns(
        (pl.col("measured_yd") - pl.col("predicted_yd")).alias("residual_yd"),
        pl.Series("inside", inside_interval(held_out, "predicted_yd", (0.9,))[:, 0]),
        pl.Series("band_mph", bands.band_of(drives["club_speed_mph"].to_numpy()), dtype=pl.Float64).fill_nan(None),
        pl.col("device", "ball").fill_null(UNSTATED),
    )


def inside_interval(held_out: pl.DataFrame, predicted: str, levels: Sequence[float]) -> npt.NDArray[np.bool_]:
    """Say which drives lie inside the interval of a drive, made as the lookup's is: from quantiles of departures.

    Parameters
    ----------
    held_out : DataFrame, n rows
        measured_yd, the column `predicted`, and fold.
    predicted : str
    levels : sequence of float, m of them
        From 0 to 1.

    Returns
    -------
    ndarray of bool, shape (n, m)
        The edges come from the other folds, so no drive judges itself.
    """
    measured, expected = (held_out[name].to_numpy() for name in ("measured_yd", predicted))
    fold = held_out["fold"].to_numpy()
    departure = measured / np.maximum(expected, 1.0) - 1.0
    inside = np.empty((len(departure), len(levels)), dtype=bool)
    tails = (1 - np.array(levels)) / 2
    for k in np.unique(fold):
        out = fold == k
        lo, hi = np.quantile(departure[~out], [tails, 1 - tails])
        inside[out] = (departure[out, None] >= lo) & (departure[out, None] <= hi)
    return inside


def clustered_means(frame: pl.DataFrame, by: str, value: str) -> pl.DataFrame:
    """Average a column over drives by group, with a standard error clustered by golfer.

    Parameters
    ----------
    frame : DataFrame
        Columns `golfer`, `by` and `value`.
    by : str
        Column of the groups.
    value : str
        Column to be averaged.

    Returns
    -------
    DataFrame
        One row per group, sorted: `by`, golfers, drives, mean, std_error (null for a single golfer).
    """
    numbers = pl.col(value).cast(pl.Float64)
    sums = frame.group_by(by, "golfer").agg(numbers.sum().alias("sum"), pl.len().cast(pl.Int64).alias("n"))
    mean = pl.col("sum").sum().over(by) / pl.col("n").sum().over(by)
    golfers = pl.len().cast(pl.Int64)
    spread = ((pl.col("sum") - pl.col("n") * pl.col("mean")) ** 2).sum().sqrt() / pl.col("n").sum()
    return (
        sums.sort(by, "golfer")  # sums of floats hang on their order
        .with_columns(mean.alias("mean"))
        .group_by(by, maintain_order=True)
        .agg(
            golfers.alias("golfers"),
            pl.col("n").sum().alias("drives"),
            pl.col("mean").first(),
            pl.when(golfers > 1).then(spread * (golfers / (golfers - 1)).sqrt()).alias("std_error"),
        )
        .sort(by)
    )


def residuals_by_level(residuals: pl.DataFrame, column: str, min_golfers: int) -> pl.DataFrame:
    """Sum up residuals by device, ball or quarter.

    Parameters
    ----------
    residuals : DataFrame
        From `held_out_residuals`.
    column : str
    min_golfers : int
        Levels of fewer golfers are taken together as one; where even that has fewer it is left out.

    Returns
    -------
    DataFrame
        level, golfers, drives, mean and std_error of the residual, rmse_yd, inside (share of drives inside the 90 %
        interval); by level, the small ones last.
    """
    counted = residuals.with_columns((pl.col("golfer").n_unique().over(column) < min_golfers).alias("few"))
    small = f"levels of fewer than {min_golfers} golfers"
    named = counted.with_columns(pl.when("few").then(pl.lit(small)).otherwise(pl.col(column)).alias("level"))
    more = named.group_by("level").agg(
        (pl.col("residual_yd") ** 2).mean().sqrt().alias("rmse_yd"),
        pl.col("inside").mean(),
        pl.col("few").first(),
    )
    table = clustered_means(named, "level", "residual_yd").join(more, on="level", validate="1:1")
    return table.filter(pl.col("golfers") >= min_golfers).sort("few", "level").drop("few")


def residuals_along(residuals: pl.DataFrame, column: str, min_golfers: int) -> pl.DataFrame:
    """Sum up residuals along an input, in bins of about as many drives.

    Returns
    -------
    DataFrame
        middle (mean of the input), mean and std_error of the residual, lo and hi (5th and 95th percentile), golfers;
        bins of fewer golfers than `min_golfers` are left out.
    """
    known = residuals.filter(pl.col(column).is_not_null())
    rank = pl.col(column).rank("min") - 1
    binned = known.with_columns((rank * BINS // pl.len()).cast(pl.Int64).alias("bin"))
    more = binned.group_by("bin").agg(
        pl.col(column).mean().alias("middle"),
        pl.col("residual_yd").quantile(0.05, "linear").alias("lo"),
        pl.col("residual_yd").quantile(0.95, "linear").alias("hi"),
    )
    table = clustered_means(binned, "bin", "residual_yd").join(more, on="bin", validate="1:1")
    return table.filter(pl.col("golfers") >= min_golfers).sort("middle")


def calibration(held_out: pl.DataFrame, golfer: pl.Series) -> pl.DataFrame:
    """Compare the share of drives inside the interval of a drive with its level, at several levels.

    Parameters
    ----------
    held_out : DataFrame, n rows
    golfer : Series, shape (n,)

    Returns
    -------
    DataFrame
        known, level, inside (share), std_error (clustered by golfer).
    """
    parts = []
    for predicted, known in KNOWN.items():
        inside = inside_interval(held_out, predicted, LEVELS)
        for place, level in enumerate(LEVELS):
            frame = pl.DataFrame({"golfer": golfer, "level": level, "inside": inside[:, place]})
            table = clustered_means(frame, "level", "inside")
            parts.append(
                table.select(pl.lit(known).alias("known"), "level", pl.col("mean").alias("inside"), "std_error")
            )
    return pl.concat(parts)


def coverage_by_band(residuals: pl.DataFrame, min_golfers: int) -> pl.DataFrame:
    """Share of drives inside the 90 % interval by band.

    Returns
    -------
    DataFrame
        band_mph, golfers, drives, mean (the share) and std_error; bands of fewer golfers than `min_golfers` are left
        out.
    """
    table = clustered_means(residuals.filter(pl.col("band_mph").is_not_null()), "band_mph", "inside")
    return table.filter(pl.col("golfers") >= min_golfers)


def influence(
    model: CarryModel,
    drives: pl.DataFrame,
    efficient: Delivery,
    whole: Drives | None = None,
) -> pl.DataFrame:
    """Work out how far expected carry at each band's efficient delivery moves when one golfer is left out.

    Parameters
    ----------
    model : CarryModel
    drives : DataFrame
        The drives of the golfers who are left out, one golfer at a time.
    efficient : Delivery
        The efficient drive at each band's centre.
    whole : Drives, optional
        All drives of the fit, if these aren't all.

    Returns
    -------
    DataFrame
        One row per golfer and band: golfer, shots, club_speed_mph (mean), band_mph, move_yd (without the golfer minus
        with).

    Notes
    -----
    Exact for surface and offsets, by taking a golfer's sums off the normal equations. Delivery and the better
    quarter's strike stay those of all golfers; at the maximum a moved delivery changes carry in second order alone.
    """
    golfers = drives.group_by("golfer").agg(pl.len().cast(pl.Int64).alias("shots"), pl.col("club_speed_mph").mean())
    golfers = golfers.sort("golfer")
    gram, moment = per_golfer_sums(*_equations(model, drives), golfer_codes(drives), golfers.height)
    all_gram, all_moment = gram.sum(axis=0), moment.sum(axis=0)
    if whole is not None:
        parts = [(X.T @ X, X.T @ y) for X, y in (_equations(model, frame) for frame in whole.read())]
        all_gram, all_moment = sum(part[0] for part in parts), sum(part[1] for part in parts)
    with_all = np.linalg.lstsq(all_gram, all_moment, rcond=1e-12)[0]
    # A golfer who alone used a device takes its term along; the pseudo-inverse leaves the term at nil.
    inverse = np.linalg.pinv(all_gram - gram, rcond=1e-12, hermitian=True)
    without = np.einsum("gij,gj->gi", inverse, all_moment - moment)
    centres, terms = efficient.club_speed_mph, model.surface.size
    at = model.surface.design(*model.inputs(efficient, "better")) * (1 + model.better_share)
    moves = (without - with_all)[:, :terms] @ at.T
    wide = golfers.hstack(pl.DataFrame(moves, schema=[f"{c:g}" for c in centres], orient="row"))
    keys = ["golfer", "shots", "club_speed_mph"]
    long = wide.unpivot(index=keys, variable_name="band_mph", value_name="move_yd")
    return long.with_columns(pl.col("band_mph").cast(pl.Float64)).sort("golfer", "band_mph")


def _equations(model: CarryModel, drives: pl.DataFrame) -> tuple[Array, Array]:
    x = inputs(drives, model.surface.speed)
    base, design = model.surface.base_and_design(*x)
    X = np.hstack([design, model.offsets.terms(drives)])
    return X, straightened(drives)["carry_standard_yd"].to_numpy() - base


def most_influential(moves: pl.DataFrame, count: int) -> pl.DataFrame:
    """Pick the golfers with the largest moves, each at the band where it is largest, the largest first."""
    ranked = moves.sort(pl.col("move_yd").abs(), "golfer", "band_mph", descending=[True, False, False])
    return ranked.unique("golfer", keep="first", maintain_order=True).head(count)
