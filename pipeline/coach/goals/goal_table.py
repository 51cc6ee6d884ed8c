"""The goals of golfers: the study's or the next band's efficient carry, and what each takes."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.coach.goals.needed_speed import (
    DistanceCurve,
    Present,
    needed_efficient,
    needed_present,
    reach_words,
    shares,
)
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array
from pipeline.tables.goals import Goals

CHUNK = 2000  # golfers at a time: each is looked at over all speeds


def newest_assessed(golfers: pl.DataFrame) -> pl.DataFrame:
    """Keep the golfers assessed in the newest quarter."""
    newest = pl.col("quarter") == pl.col("quarter").max()
    return golfers.filter(newest & (pl.col("status") != "not_assessed")).sort("golfer")


def band_goals(
    speed_mph: Array, bands: SpeedBands, asked: Mapping[float, float], curve: DistanceCurve
) -> tuple[Array, Array, Array, Array]:
    """Set a goal for golfers by their band: the study's, else the efficient carry of the next band.

    Parameters
    ----------
    speed_mph : ndarray, shape (n,)
    bands : SpeedBands
    asked : mapping of float to float
        The study's goals, yd, by the centres of bands.
    curve : DistanceCurve

    Returns
    -------
    tuple of four ndarrays, each of shape (n,)
        Centre of the golfer's band, NaN between bands; the goal, yd, NaN where there is none; whether the study set
        it; centre of the next band, NaN for the last.
    """
    band = bands.band_of(speed_mph)
    following = bands.next_above(speed_mph)
    own = np.full(speed_mph.shape, np.nan)
    for centre, carry_yd in asked.items():
        own[band == centre] = carry_yd
    by_study = ~np.isnan(own)
    return band, np.where(by_study, own, curve.at(curve.yards, following)), by_study, following


def goal_table(
    model: CarryModel,
    coefficients: Array,
    curve: DistanceCurve,
    golfers: pl.DataFrame,
    bands: SpeedBands,
    asked: Mapping[float, float],
) -> pl.DataFrame:
    """Plan each golfer's goal.

    Parameters
    ----------
    model : CarryModel
    coefficients : ndarray, shape (replicates, terms)
        Of the surface, refitted on resampled golfers.
    curve : DistanceCurve
        Of carry.
    golfers : DataFrame
        Rows of the table `Golfers`, all assessed, with `speed_variance` (see `speed_variance`).
    bands : SpeedBands
    asked : mapping of float to float
        See `band_goals`.

    Returns
    -------
    DataFrame
        The table `Goals`, rows in the order of the golfers.
    """
    parts = [_planned(model, coefficients, curve, part, bands, asked) for part in golfers.iter_slices(CHUNK)]
    return pl.concat(parts) if parts else Goals.create_empty()


def _planned(
    model: CarryModel,
    coefficients: Array,
    curve: DistanceCurve,
    golfers: pl.DataFrame,
    bands: SpeedBands,
    asked: Mapping[float, float],
) -> pl.DataFrame:
    present = Present.of(golfers, curve.frontier, model)
    speed = present.club_speed_mph
    band, goal, by_study, following = band_goals(speed, bands, asked, curve)
    luck = np.sqrt(golfers.get_column("speed_variance").to_numpy())
    gap = shares(curve, speed, present.carry_yd, present.lo90_yd, present.hi90_yd, goal, luck, present.lasting_yd)
    efficient = needed_efficient(curve, goal, present.lasting_yd)
    own = needed_present(model, coefficients, curve, present, goal)
    columns = {
        "band_mph": band,
        "carry_lo90_yd": present.lo90_yd,
        "carry_hi90_yd": present.hi90_yd,
        "goal_yd": goal,
        **gap,
        **dict(zip((f"efficient_speed_{end}mph" for end in ("", "lo90_", "hi90_")), efficient, strict=True)),
        **dict(zip((f"present_speed_{end}mph" for end in ("", "lo90_", "hi90_")), own, strict=True)),
        "following": following,
    }
    table = golfers.select("golfer", "quarter", "club_speed_mph", "carry_yd").with_columns(
        pl.Series(name, values).fill_nan(None) for name, values in columns.items()
    )
    source = pl.when(pl.Series(by_study)).then(pl.lit("study")).when(pl.col("goal_yd").is_not_null()).then(
        pl.lit("next band")
    )  # fmt: skip
    words = reach_words(goal, gap["gap_yd"], gap["delivery_yd"], gap["speed_yd"], efficient[0])
    table = table.with_columns(
        source.cast(Goals.goal_from.dtype).alias("goal_from"), pl.Series("reach", words).cast(Goals.reach.dtype)
    )
    top = curve.speeds_mph[-1] if len(curve.speeds_mph) else np.nan
    return table.with_columns(_note(float(top)).alias("note")).select(Goals.column_names())


def _more_speed(needed: str) -> pl.Expr:
    """Word how much more club speed is needed, as the whole mph differ that are shown (`pipeline.shown`)."""
    now, then = ((pl.col(name) + 0.5).floor().cast(pl.Int64) for name in ("club_speed_mph", needed))
    told = pl.when(then - now >= 1).then(pl.format("about {} mph", then - now)).otherwise(pl.lit("less than 1 mph"))
    return pl.when(pl.col(needed).is_not_null()).then(told)


def _note(top_mph: float) -> pl.Expr:
    """Say in plain words what the goal takes."""
    reach = pl.col("reach").cast(pl.String)
    more, as_now = (_more_speed(f"{kind}_speed_mph") for kind in ("efficient", "present"))
    both = pl.format("an efficient delivery and {} more club speed reach the goal", more)
    alone = pl.format("{} more club speed reach the goal", as_now)
    beyond = pl.lit(f"no golfers here are fast enough to say: the data end at {top_mph:g} mph")
    missing = pl.when(pl.col("following").is_null()).then(pl.lit("no band above, and the study sets no goal"))
    words = (
        pl.when(reach == "reached")
        .then(pl.lit("the mean drive already carries the goal"))
        .when(reach == "delivery")
        .then(pl.lit("an efficient delivery at today's club speed reaches the goal"))
        .when(reach == "both")
        .then(both)
        .when(reach == "speed")
        .then(pl.coalesce(alone, pl.lit("the delivery has nothing left to give: only more club speed helps")))
        .when(reach == "beyond_data")
        .then(beyond)
        .otherwise(missing.otherwise(pl.lit("too few golfers in the next band for a goal")))
    )
    unknown = pl.col("present_speed_mph").is_null() & pl.col("goal_yd").is_not_null() & (reach != "beyond_data")
    stays = pl.when(unknown).then(pl.lit("too few drives are that fast to say what speed today's delivery would need"))
    return pl.concat_str([words, stays], separator="; ", ignore_nulls=True)
