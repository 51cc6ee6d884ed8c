"""Where golfers' drives lie in the next quarter: the center of sound drives, shrunk, with how well it is known."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.drives import KEYS, Drives
from pipeline.golfers.day_form import figure_errors
from pipeline.golfers.ranking import design
from pipeline.statistics.arrays import Array
from pipeline.statistics.shrinkage import MIN_ESTIMATES, between_golfers, moderated_variance, paule_mandel, shrink
from pipeline.statistics.sound_center import ERROR_A, ERROR_B, sound_centers

# Fewer golfers with two quarters don't show how much quarters differ: it would be off by a third or more.
MIN_CHANGES = 8

SIZE_YD = 10.0  # readings of distance are taken to have a step of a tenth of it at most, see `figure_errors`


@dataclass(frozen=True)
class Centers:
    """Of the n golfers of the newest quarter, by golfer; all of shape (n,) unless said otherwise.

    Attributes
    ----------
    table : DataFrame
        golfer, quarter, club_speed_mph, drives, center_yd and spread_yd: own ones, of sound drives.
    center_yd : ndarray
        Shrunk.
    doubt_yd : ndarray
        Its standard error, without the luck of the drives: by days, by what other golfers leave open, and by what a
        golfer's drives change from quarter to quarter.
    luck_variance : ndarray
        Of the own center, by drives and days together, yd^2.
    spread_yd : ndarray
        Of sound drives, steadied by the other golfers' at their speed; NaN where no golfer shows any.
    more_yd : ndarray
        Standard deviation of what these days lack of many days' scatter.
    between_share : float
        Standard deviation of golfers' centers about what is usual at their speed, as a share.
    """

    table: pl.DataFrame
    center_yd: Array
    doubt_yd: Array
    luck_variance: Array
    spread_yd: Array
    more_yd: Array
    between_share: float


def centers_of(drives: pl.DataFrame | Drives, name: str) -> Centers:
    """Find the centers of golfers' drives.

    Parameters
    ----------
    drives : DataFrame or Drives
        golfer, quarter, struck_on, club_speed_mph and the distance.
    name : str
        The distance's column, yd.
    """
    every = Drives.of(drives)
    # Days' own form by the means of their drives: medians of few drives, some of them mishits, tell it less well.
    errors, _ = figure_errors(every, name, median=False, size=SIZE_YD)
    found = every.gathered(lambda frame: _sound(frame, name)).join(errors, on=KEYS, how="left").sort(KEYS)
    drives_each = found.get_column("drives").to_numpy()
    center, spread = (found.get_column(column).to_numpy() for column in ("center_yd", "spread_yd"))
    # In percent of the center: faster golfers scatter by more yards.
    percent = center / 100
    steadied, _ = moderated_variance((spread / percent) ** 2, found.get_column("longer").to_numpy())
    steadied = steadied * percent**2
    days = (found.get_column("exposure") * found.get_column("form_variance")).fill_null(0.0).to_numpy()
    # Fitted to the smaller spread of the drives near the center, so that this is a little too much: it shrinks by more.
    luck = steadied * (ERROR_A + ERROR_B / drives_each) / drives_each
    found = found.with_columns(pl.Series("luck", luck + days), pl.Series("days_variance", days))
    found = found.with_columns(pl.Series("steadied", np.sqrt(steadied)))
    change = change_variance(found.select(*KEYS, "center_yd", "luck"))
    return _shrunk(found.filter(pl.col("quarter") == pl.col("quarter").max()).sort("golfer"), change)


def _sound(frame: pl.DataFrame, name: str) -> pl.DataFrame:
    """Give each golfer and quarter: drives, mean club speed, center and spread of sound drives, and the longer drives.

    The spread is that of the drives beyond the center alone, about it: no mishit is among them, and they are as many as
    `longer` says. That of all drives near the center is too small, by a third of the variance with 20 drives.
    """
    ranked = frame.select(*KEYS, "club_speed_mph", pl.col(name).cast(pl.Float64)).drop_nulls(name).sort(*KEYS, name)
    starts = ranked.select(pl.struct(KEYS).rle_id()).to_series().arg_unique().to_numpy()
    values = ranked.get_column(name).to_numpy()
    center, _ = sound_centers(values, starts)
    summed = ranked.group_by(KEYS, maintain_order=True).agg(
        pl.len().cast(pl.Int64).alias("drives"), pl.col("club_speed_mph").mean()
    )
    beyond = np.maximum(values - np.repeat(center, summed.get_column("drives").to_numpy()), 0.0)
    longer = np.add.reduceat((beyond > 0).astype(np.int64), starts) if len(starts) else starts
    squares = np.add.reduceat(beyond**2, starts) if len(starts) else np.zeros(0)
    several = (longer > 1) | (summed.get_column("drives").to_numpy() > 1)
    spread = np.sqrt(np.divide(squares, np.maximum(longer, 1)), out=np.full(len(longer), np.nan), where=several)
    return summed.with_columns(
        pl.Series("center_yd", center),
        pl.Series("spread_yd", spread),
        pl.Series("longer", np.where(several, np.maximum(longer, 2), 1)),
    )


def change_variance(centers: pl.DataFrame) -> float:
    """Estimate by how much golfers' centers truly change from quarter to quarter, beside the mean change, yd^2.

    Parameters
    ----------
    centers : DataFrame
        golfer, quarter, center_yd and luck, the variance of its error.

    Returns
    -------
    float
        0 where under `MIN_CHANGES` golfers have the two newest quarters.
    """
    quarters = centers.get_column("quarter").cast(pl.String).unique().sort().to_list()[-2:]
    if len(quarters) < 2:
        return 0.0
    then, now = (centers.filter(pl.col("quarter").cast(pl.String) == one) for one in quarters)
    both = now.join(then, on="golfer", suffix="_then").sort("golfer")
    if both.height < MIN_CHANGES:
        return 0.0
    change = (both.get_column("center_yd") - both.get_column("center_yd_then")).to_numpy()
    error = (both.get_column("luck") + both.get_column("luck_then")).to_numpy()
    if not (np.ptp(change) > 0 and (error > 0).all()):
        return 0.0

    def squares(between: float) -> float:
        weight = 1 / (between + error)
        return float(np.sum(weight * (change - np.average(change, weights=weight)) ** 2))

    return paule_mandel(squares, len(change) - 1, float(np.var(change)))


def _shrunk(newest: pl.DataFrame, change: float) -> Centers:
    """Shrink the centers of one quarter towards what is usual at the golfers' speed."""
    names = ("center_yd", "luck", "days_variance", "steadied", "club_speed_mph")
    center, luck, days, spread, speed = (newest.get_column(name).to_numpy() for name in names)
    by_drives, between = luck - days, 0.0
    value, variance = center, days.copy()
    if len(center) >= MIN_ESTIMATES and (luck > 0).all():
        X = design(speed, np.zeros(len(speed)))
        shrunk = shrink(center, luck, X)
        value = shrunk.value
        variance = np.maximum(shrunk.std_error**2 - shrunk.own_share**2 * by_drives, 0.0)
        between = float(np.sqrt(between_golfers(center, luck, X)[0]) / center.mean())
    return Centers(
        newest.select("golfer", "quarter", "club_speed_mph", "drives", "center_yd", "spread_yd"),
        value,
        np.sqrt(variance + change),
        luck,
        spread,
        np.sqrt(days),
        between,
    )
