"""Speed or delivery first: the yards that delivery leaves, against those that a realistic gain in speed brings.

Realistic is what this academy's golfers gained from one quarter to the next: their changes of mean club speed, less
what the luck of a quarter's drives and days adds to them, as a normal distribution. Which of the two gives more is then
a matter of probability, since neither is known well.
"""

import numpy as np
import polars as pl

from pipeline.coach.goals.needed_speed import Present
from pipeline.coach.goals.pace import MIN_GOLFERS, Gain
from pipeline.drives import Drives
from pipeline.fit.model import HALF_STEP_MPH, CarryModel
from pipeline.golfers.day_form import figure_errors
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90
from pipeline.statistics.shrinkage import between_golfers, moderated_variance
from pipeline.tables.goals import Priorities

# Delivery or speed is named when it is at least this likely to give more (as sure as a window's edge is).
SURE = 0.80

# Under this difference of what is to be expected the two are about as good; a part of yards lost is named from it too,
# and a goal nearer than this counts as reached.
ALIKE_YD = 2.0


def speed_variance(drives: pl.DataFrame | Drives) -> pl.DataFrame:
    """Give the variance of each golfer's mean club speed in a quarter by the luck of the drives and of their days.

    Parameters
    ----------
    drives : DataFrame or Drives
        golfer, quarter, struck_on, club_speed_mph.

    Returns
    -------
    DataFrame
        golfer, quarter, speed_variance (mph^2); a golfer's spread is steadied by that of the others
        (`moderated_variance`). Where hardly any quarter has several days, what days add stays out: nobody could tell
        it from a real gain.
    """
    errors, form = figure_errors(drives, "club_speed_mph", median=False)
    shots = errors.get_column("known").to_numpy()
    own = errors.get_column("own_variance").cast(pl.Float64).to_numpy() * shots
    variance, _ = moderated_variance(own, shots)
    luck = variance / shots
    if form.source == "days":
        luck = luck + errors.select(pl.col("exposure") * pl.col("form_variance")).to_series().to_numpy()
    return errors.select("golfer", pl.col("quarter"), pl.Series("speed_variance", luck))


def usual_gain(changes: pl.DataFrame, variance: pl.DataFrame) -> Gain | None:
    """Work out what golfers gain in speed from one quarter to the very next.

    Parameters
    ----------
    changes : DataFrame
        The table `Changes`.
    variance : DataFrame
        From `speed_variance`.

    Returns
    -------
    Gain or None
        None where under `MIN_GOLFERS` golfers have two quarters in a row.

    Notes
    -----
    The spread is what is left of the changes' without the luck of the drives (Paule and Mandel's estimate, see
    `between_golfers`). What a device that reads fast adds is in it.
    """
    then = variance.rename({"quarter": "since", "speed_variance": "variance_before"})
    pairs = (
        changes.filter(_number("quarter") - _number("since") == 1, pl.col("club_speed_change_mph").is_not_null())
        .join(variance, on=["golfer", "quarter"])
        .join(then, on=["golfer", "since"])
        .sort("golfer", "quarter")
    )
    golfers = pairs.get_column("golfer").n_unique()
    if golfers < MIN_GOLFERS:
        return None
    change = pairs.get_column("club_speed_change_mph").to_numpy()
    noise = pairs.select(pl.col("speed_variance") + pl.col("variance_before")).to_series().to_numpy()
    spread2, coefficients, _ = between_golfers(change, noise, np.ones((len(change), 1)))
    mean = float(coefficients[0])
    weight = 1 / (spread2 + noise)
    sums = (
        pairs.select("golfer", pl.Series("pull", weight * (change - mean))).group_by("golfer").agg(pl.col("pull").sum())
    )
    squares = float((sums.get_column("pull").sort() ** 2).sum()) * golfers / (golfers - 1)
    return Gain.of(mean, float(np.sqrt(squares) / weight.sum()), float(np.sqrt(spread2)), golfers, len(change))


def _number(quarter: str) -> pl.Expr:
    """Count quarters from one to the next, 2026Q1 being one after 2025Q4."""
    return pl.col(quarter).str.slice(0, 4).cast(pl.Int64) * 4 + pl.col(quarter).str.slice(5, 1).cast(pl.Int64)


def yards_per_mph(model: CarryModel, present: Present) -> Array:
    """Give what a mph of club speed adds to mean carry at today's speed, the delivery as it is, shape (n,)."""
    club = present.club_speed_mph
    ahead, behind = (present.carry_at(model, club + step) for step in (HALF_STEP_MPH, -HALF_STEP_MPH))
    return np.asarray((ahead - behind) / (2 * HALF_STEP_MPH))


def priorities(golfers: pl.DataFrame, per_mph: Array, gain: Gain | None) -> pl.DataFrame:
    """Hold delivery against speed for each golfer.

    Parameters
    ----------
    golfers : DataFrame
        Rows of the table `Golfers`, all assessed.
    per_mph : ndarray, shape (n,)
        From `yards_per_mph`.
    gain : Gain or None

    Returns
    -------
    DataFrame
        The table `Priorities`, rows in the order of the golfers.
    """
    table = golfers.select("golfer", "quarter", "club_speed_mph", *_delivery()).with_columns(
        pl.Series("yards_per_mph", per_mph), *_speed(per_mph, gain)
    )
    # Sums of two normal figures: how far delivery lies ahead in units of the doubt.
    doubt = (pl.col("delivery_sd") ** 2 + pl.col("speed_sd") ** 2).sqrt()
    ahead = ((pl.col("delivery_yd") - pl.col("speed_yd")) / doubt).alias("ahead")
    return _judged(table.with_columns(ahead), gain).select(Priorities.column_names())


def _delivery() -> list[pl.Expr]:
    """Yards lost with luck taken out; where nobody could be shrunk, as they are."""
    edges = {"delivery_yd": "yd", "delivery_lo90_yd": "lo90_yd", "delivery_hi90_yd": "hi90_yd"}
    shrunk = {"yd": "ranked_lost_yd", "lo90_yd": "ranked_lo90_yd", "hi90_yd": "ranked_hi90_yd"}
    plain = {"yd": "lost_yd", "lo90_yd": "lost_lo90_yd", "hi90_yd": "lost_hi90_yd"}
    known = pl.col("ranked_lost_yd").is_not_null()
    found = [
        pl.when(known).then(pl.col(shrunk[end]).cast(pl.Float64)).otherwise(pl.col(plain[end])).alias(name)
        for name, end in edges.items()
    ]
    width = pl.when(known).then(pl.col("ranked_hi90_yd") - pl.col("ranked_lo90_yd")).otherwise(
        pl.col("lost_hi90_yd") - pl.col("lost_lo90_yd")
    )  # fmt: skip
    return [*found, (width / (2 * Z90)).alias("delivery_sd")]


def _speed(per_mph: Array, gain: Gain | None) -> list[pl.Series]:
    mean, sd = (np.nan, np.nan) if gain is None else (gain.mean_mph, gain.sd_mph)
    columns = {
        "speed_gain_mph": np.full_like(per_mph, mean),
        "speed_gain_lo90_mph": np.full_like(per_mph, mean - Z90 * sd),
        "speed_gain_hi90_mph": np.full_like(per_mph, mean + Z90 * sd),
        "speed_yd": per_mph * mean,
        "speed_lo90_yd": per_mph * (mean - Z90 * sd),
        "speed_hi90_yd": per_mph * (mean + Z90 * sd),
        "speed_sd": per_mph * sd,
    }
    return [pl.Series(name, values).fill_nan(None) for name, values in columns.items()]


def _judged(table: pl.DataFrame, gain: Gain | None) -> pl.DataFrame:
    from scipy.special import ndtr

    ahead = table.get_column("ahead").cast(pl.Float64).to_numpy()
    table = table.with_columns(pl.Series("delivery_more_probability", ndtr(ahead)).fill_nan(None))
    p = pl.col("delivery_more_probability")
    alike = (pl.col("delivery_yd") - pl.col("speed_yd")).abs() <= ALIKE_YD
    named = pl.when(p >= SURE).then(pl.lit("delivery")).when(p <= 1 - SURE).then(pl.lit("speed"))
    word = named.when(alike).then(pl.lit("either")).otherwise(pl.lit("cant_tell"))
    sure = pl.when(p >= SURE).then(p).when(p <= 1 - SURE).then(1 - p)
    if gain is None:
        note = pl.lit(f"under {MIN_GOLFERS} golfers have two quarters in a row, so the gain in speed isn't known")
    else:
        note = pl.lit(None, dtype=pl.String)
    return table.with_columns(
        word.cast(Priorities.first.dtype).alias("first"), sure.alias("confidence"), note.alias("note")
    )
