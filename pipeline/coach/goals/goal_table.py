"""The goals of golfers: what each takes, and how long."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.coach.goals.default_goal import choose_goals
from pipeline.coach.goals.goal_shares import goal_shares, rows_of
from pipeline.coach.goals.needed_speed import (
    DistanceCurve,
    Present,
    needed_efficient,
    needed_present,
    reach_words,
    shares,
)
from pipeline.coach.goals.pace import TIMES, Gain, quarters_to_goal, step_to, time_words
from pipeline.coach.reaching.reaching_drives import GolfersDrives
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array
from pipeline.statistics.drive_spread import DriveSpread
from pipeline.tables.goals import Goals

CHUNK = 2000  # golfers at a time: each is looked at over all speeds


def newest_assessed(golfers: pl.DataFrame) -> pl.DataFrame:
    """Keep the golfers assessed in the newest quarter."""
    newest = pl.col("quarter") == pl.col("quarter").max()
    return golfers.filter(newest & (pl.col("status") != "not_assessed")).sort("golfer")


def goal_table(
    model: CarryModel,
    coefficients: Array,
    curve: DistanceCurve,
    golfers: pl.DataFrame,
    bands: SpeedBands,
    asked: Mapping[float, float],
    gain: Gain | None,
    scatter: GolfersDrives,
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
        The study's goals, yd, by the centers of bands.
    gain : Gain or None
        What golfers here usually gain.
    scatter : GolfersDrives
        How far golfers' drives carry.

    Returns
    -------
    DataFrame
        The table `Goals`, rows in the order of the golfers.
    """
    # Found once for all, not for every part: as many golfers are looked up in each.
    spread = rows_of(scatter.spread, scatter.golfer, golfers["golfer"])
    sources = dict(zip(scatter.golfer, scatter.source, strict=True))
    golfers = golfers.with_columns(
        pl.Series("share_from", [sources.get(one) for one in golfers["golfer"].cast(pl.String)], pl.String)
    )
    parts = [
        _planned(model, coefficients, curve, part, bands, asked, gain, spread.rows(first + np.arange(part.height)))
        for first, part in zip(range(0, golfers.height, CHUNK), golfers.iter_slices(CHUNK), strict=True)
    ]
    return pl.concat(parts) if parts else Goals.create_empty()


def _planned(
    model: CarryModel,
    coefficients: Array,
    curve: DistanceCurve,
    golfers: pl.DataFrame,
    bands: SpeedBands,
    asked: Mapping[float, float],
    gain: Gain | None,
    spread: DriveSpread,
) -> pl.DataFrame:
    present = Present.of(golfers, curve.frontier, model)
    speed, lasting = present.club_speed_mph, present.lasting_yd
    chosen = choose_goals(present, bands, asked, curve, gain)
    goal = chosen.goal_yd
    luck = np.sqrt(golfers.get_column("speed_variance").to_numpy())
    gap = shares(curve, speed, present.carry_yd, present.lo90_yd, present.hi90_yd, goal, luck, lasting)
    efficient = needed_efficient(curve, goal, lasting)
    own = needed_present(model, coefficients, curve, present, goal)
    step = step_to(speed, luck, efficient, own)
    times = quarters_to_goal(step, gap["gap_yd"], gap["speed_yd"], gain)
    columns = {
        "band_mph": chosen.band_mph,
        "carry_lo90_yd": present.lo90_yd,
        "carry_hi90_yd": present.hi90_yd,
        "goal_yd": goal,
        **gap,
        **_with_edges("efficient_speed_{}mph", efficient),
        **_with_edges("present_speed_{}mph", own),
        **dict(zip(TIMES, times, strict=True)),
        **goal_shares(curve, spread, speed, goal, efficient[0], lasting),
    }
    table = golfers.select("golfer", "quarter", "club_speed_mph", "carry_yd", "share_from").with_columns(
        pl.Series(name, values).fill_nan(None) for name, values in columns.items()
    )
    words = reach_words(goal, gap["gap_yd"], gap["delivery_yd"], gap["speed_yd"], efficient[0])
    # Their own delivery is better than efficient, and takes them there within the data.
    words = np.where((words == "beyond_data") & (gap["delivery_yd"] <= 0) & ~np.isnan(own[0]), "speed", words)
    words_of_time = [time_words(quarters, gain) for quarters in times.quarters]
    table = table.with_columns(
        pl.Series("goal_from", chosen.source).replace("", None).cast(Goals.goal_from.dtype),
        pl.Series("reach", words).cast(Goals.reach.dtype),
        pl.col("share_from").cast(Goals.share_from.dtype),
        pl.Series("time", words_of_time, dtype=pl.String),
    )
    return table.with_columns(_note(curve).alias("note")).select(Goals.column_names())


def _with_edges(name: str, values: tuple[Array, Array, Array]) -> dict[str, Array]:
    return {name.format(end): edge for end, edge in zip(("", "lo90_", "hi90_"), values, strict=True)}


def _more_speed(needed: str) -> pl.Expr:
    """Word how much more club speed is needed, as the whole mph differ that are shown (`pipeline.shown`)."""
    now, then = ((pl.col(name) + 0.5).floor().cast(pl.Int64) for name in ("club_speed_mph", needed))
    told = pl.when(then - now >= 1).then(pl.format("about {} mph", then - now)).otherwise(pl.lit("less than 1 mph"))
    return pl.when(pl.col(needed).is_not_null()).then(told)


def _note(curve: DistanceCurve) -> pl.Expr:
    """Say in plain words what the goal takes, and how long."""
    top_mph = float(curve.speeds_mph[-1]) if len(curve.speeds_mph) else np.nan
    reach = pl.col("reach").cast(pl.String)
    more, as_now = (_more_speed(f"{kind}_speed_mph") for kind in ("efficient", "present"))
    both = pl.format("an efficient delivery and {} more club speed reach the goal", more)
    alone = pl.format("{} more club speed reach the goal", as_now)
    beyond = pl.lit(f"no golfers here are fast enough to say: the data end at {top_mph:g} mph")
    none = f"the efficient carry at this club speed is reached, and the data end at {top_mph:g} mph, short of the next"
    words = (
        pl.when(reach == "reached")
        .then(pl.lit("the mean drive already carries the goal"))
        .when(reach == "delivery")
        .then(pl.lit("an efficient delivery reaches the goal: no more club speed is needed"))
        .when(reach == "both")
        .then(both)
        .when(reach == "speed")
        .then(pl.coalesce(alone, pl.lit("the delivery has nothing left to give: only more club speed helps")))
        .when(reach == "beyond_data")
        .then(beyond)
        .otherwise(pl.lit(none))
    )
    time = pl.when(reach.is_in(["both", "speed"])).then("time")
    unknown = pl.col("present_speed_mph").is_null() & pl.col("goal_yd").is_not_null() & (reach != "beyond_data")
    stays = pl.when(unknown).then(pl.lit("too few drives are that fast to say what speed today's delivery would need"))
    return pl.concat_str([words, time, stays], separator="; ", ignore_nulls=True)
