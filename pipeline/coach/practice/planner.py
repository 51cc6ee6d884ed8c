"""What the next weeks of practice may bring each golfer, and when the goal's speed is due."""

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.coach.practice.dates import MAX_DAYS, crossing
from pipeline.coach.practice.light_tool import COMMON_PRACTICE, OWN_PAIRS, light_readings
from pipeline.coach.practice.outlook import Outlook, interval_at, weeks_until
from pipeline.coach.practice.practice import LAPSE_DAYS
from pipeline.coach.practice.session_lines import MIN_SESSIONS, MIN_SPAN_DAYS, numbers
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL, t_reach
from pipeline.tables.practice import WEEKS_AHEAD, PracticePlan, SpeedGoals

MIN_DAYS_APART = 2  # from one session to the next: a day of rest between (common practice, no source)

_NO_TREND = f"a trend needs {MIN_SESSIONS} sessions over {MIN_SPAN_DAYS // 7} weeks"
_LAPSED = f"no practice in the {LAPSE_DAYS // 7} weeks before the newest log"
_ASSUMED = "driver speed is the light tool's by common practice, without a source: swing both in one session"
_TOO_FAR = "farther ahead than the practice looks back"
_CHANCE = "the trend is no more than chance: the speed is that of now"
_NO_BALL = "no drives in a quarter with practice: speed with a ball may well differ"
_NOT_COMPARED = "no drives in a quarter with practice: the goal's speed is one with a ball, and that is not known"
_REST = "practices more often than every other day: the sessions leave a day of rest between"
_MAY_STOP = "the gain may level off: then it comes later or never"


def plan_of(practice: pl.DataFrame, outlook: Outlook) -> pl.DataFrame:
    """Forecast the speed of every golfer who practices.

    Parameters
    ----------
    practice : DataFrame
        Schema Practice.
    outlook : Outlook
        Of the same golfers in the same order.

    Returns
    -------
    DataFrame
        Schema PracticePlan, in the golfers' order, by weeks ahead.

    Notes
    -----
    The speed is that of now and the steadied gain, as in practice.csv's projected day. A trend that is no more than
    chance moves nothing: the speed is that of now, and the interval says how far it may have gone.
    """
    _check(practice, outlook)
    frames = [_weeks_ahead(practice, outlook, weeks) for weeks in WEEKS_AHEAD]
    place = pl.int_range(pl.len()).over("weeks_ahead").alias("place")
    plan = pl.concat(frames).with_columns(place).sort("place", "weeks_ahead").drop("place")
    return PracticePlan.validate(plan)


def _check(practice: pl.DataFrame, outlook: Outlook) -> None:
    if practice.get_column("golfer").cast(pl.String).to_list() != outlook.golfer.tolist():
        raise ValueError("practice and outlook are not of the same golfers in the same order")


def _weeks_ahead(practice: pl.DataFrame, outlook: Outlook, weeks: int) -> pl.DataFrame:
    now = numbers(practice, "speed_now_mph")
    sure = _sure(practice)
    told = ~np.isnan(outlook.slope) & ~_barred(practice, outlook) & (weeks <= outlook.practiced)
    speed = now + np.where(sure, outlook.slope, 0.0) * weeks
    lo, hi = interval_at(outlook, weeks)
    columns = {"speed_mph": speed, "speed_lo90_mph": np.minimum(lo, speed), "speed_hi90_mph": np.maximum(hi, speed)}
    per_week = pl.col("sessions_per_week") * weeks
    most = 7 * weeks // MIN_DAYS_APART
    notes = [
        pl.when(_without_trend(outlook)).then(pl.lit(_NO_TREND)),
        pl.when(pl.Series(outlook.lapsed)).then(pl.lit(_LAPSED)),
        pl.when(_without_level(practice, outlook)).then(pl.lit(_ASSUMED)),
        pl.when(pl.Series(~np.isnan(outlook.slope) & (weeks > outlook.practiced))).then(pl.lit(_TOO_FAR)),
        pl.when(pl.Series(told & ~sure)).then(pl.lit(_CHANCE)),
        pl.when(pl.Series(told) & ~pl.col("with_ball")).then(pl.lit(_NO_BALL)),
        pl.when(per_week > most).then(pl.lit(_REST)),
    ]
    return practice.select(
        "golfer",
        pl.lit(weeks, pl.Int64).alias("weeks_ahead"),
        pl.col("last_on").dt.offset_by(f"{weeks}w").alias("on"),
        *(pl.Series(name, np.where(told, values, np.nan)).fill_nan(None) for name, values in columns.items()),
        "with_ball",
        per_week.round().clip(0, most).cast(pl.Int64).alias("sessions"),
        _joined(notes),
    )


def speed_goals_of(practice: pl.DataFrame, outlook: Outlook, goals: pl.DataFrame) -> pl.DataFrame:
    """Say when the club speed of each golfer's goal is due, and what the light tool should read for it.

    Parameters
    ----------
    practice : DataFrame
        Schema Practice.
    outlook : Outlook
        Of the same golfers in the same order.
    goals : DataFrame
        Schema Goals.

    Returns
    -------
    DataFrame
        Schema SpeedGoals, in the golfers' order.

    Notes
    -----
    The goal's speed is one with a ball, so it is compared with speed with a ball alone.
    """
    _check(practice, outlook)
    speed = "efficient_speed"
    wanted = goals.select(
        "golfer", "goal_yd", *(pl.col(f"{speed}_{end}mph").alias(f"goal_speed_{end}mph") for end in ("", "lo90_", "hi90_"))
    )  # fmt: skip
    joined = practice.join(wanted, on="golfer", how="left", maintain_order="left", validate="1:1")
    joined = joined.with_columns(pl.Series("log_error", outlook.log_error).fill_nan(None))
    goal, with_ball = numbers(joined, "goal_speed_mph"), joined.get_column("with_ball").to_numpy()
    due, days = _due(joined, outlook, goal)
    last = joined.get_column("last_on").cast(pl.Int32).to_numpy()
    with_ball_goal = np.where(with_ball, goal, np.nan)
    joined = joined.with_columns(
        pl.Series("due", due).cast(SpeedGoals.due.dtype),
        *(
            pl.Series(name, np.where(np.isfinite(each) & (due == "dated"), last + each, np.nan))
            .fill_nan(None).cast(pl.Int32).cast(pl.Date)
            for name, each in zip(("due_on", "due_lo90_on", "due_hi90_on"), days, strict=True)
        ),
        *light_readings(joined, with_ball_goal, "light_target"),
    )  # fmt: skip
    return SpeedGoals.validate(joined.with_columns(_goal_note(joined, outlook)).select(SpeedGoals.column_names()))


def _due(joined: pl.DataFrame, outlook: Outlook, goal: Array) -> tuple[npt.NDArray[np.str_], tuple[Array, Array, Array]]:
    """Give each goal's word, and the days from the last session: expected, early and late."""
    now = numbers(joined, "speed_now_mph")
    with_ball = joined.get_column("with_ball").to_numpy()
    gaining = (joined.get_column("trend") == "gaining").to_numpy() & ~_barred(joined, outlook)
    reach = t_reach(np.where(outlook.freedom > 0, outlook.freedom, np.nan))
    rise = goal - outlook.level
    found = crossing(rise, outlook.level_variance, outlook.slope, outlook.slope_variance, reach)
    # A day begins with its morning: the speed is there on the day after the line crosses it.
    at = np.ceil(np.maximum(7 * (found.at + outlook.start), 0.0))
    early, late = (weeks_until(outlook, goal, chance, MAX_DAYS / 7) for chance in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    told = with_ball & gaining & np.isfinite(at)
    due = np.select(
        [
            np.isnan(goal),
            with_ball & (goal <= now),
            ~told,
            at > MAX_DAYS,
            at > 7 * outlook.practiced,
        ],
        ["no_goal", "reached", "cannot_tell_yet", "beyond_a_year", "beyond_practice"],
        "dated",
    )
    return due, (at, np.minimum(np.floor(7 * early), at), np.maximum(np.ceil(7 * late), at))


def _goal_note(joined: pl.DataFrame, outlook: Outlook) -> pl.Expr:
    asked = pl.col("due") != "no_goal"
    measured = pl.when(pl.col("log_error").is_null()).then(pl.lit(COMMON_PRACTICE)).otherwise(pl.lit(OWN_PAIRS))
    notes = [
        pl.when(asked & _without_trend(outlook)).then(pl.lit(_NO_TREND)),
        pl.when(asked & pl.Series(outlook.lapsed)).then(pl.lit(_LAPSED)),
        pl.when(asked & ~pl.col("with_ball")).then(pl.lit(_NOT_COMPARED)),
        pl.when((pl.col("due") == "dated") & pl.col("due_hi90_on").is_null()).then(pl.lit(_MAY_STOP)),
        pl.when(pl.col("light_target_mph").is_not_null()).then(pl.format("light tool's factor: {}", measured)),
    ]
    return _joined(notes)


def _joined(notes: list[pl.Expr]) -> pl.Expr:
    text = pl.concat_str(notes, separator="; ", ignore_nulls=True)
    return pl.when(text != "").then(text).alias("note")


def _sure(practice: pl.DataFrame) -> npt.NDArray[np.bool_]:
    return practice.get_column("trend").is_in(["gaining", "losing"]).to_numpy()


def _barred(practice: pl.DataFrame, outlook: Outlook) -> npt.NDArray[np.bool_]:
    """Say whose trend tells nothing of what comes: it is of the past, or its level is common practice's."""
    return np.asarray(outlook.lapsed | (outlook.assumed & ~practice.get_column("with_ball").to_numpy()))


def _without_trend(outlook: Outlook) -> pl.Series:
    return pl.Series(np.isnan(outlook.slope))


def _without_level(practice: pl.DataFrame, outlook: Outlook) -> pl.Series:
    return pl.Series(outlook.assumed & ~practice.get_column("with_ball").to_numpy())
