"""What speed practice did for each golfer: trend of best and typical speed, rise within sets, the next band.

The unit is the session, not the swing: swings of one day share the day's form, so a hundred of them tell little more of
a trend than ten. How long form lasts is learnt from all golfers together (`practice_form`). That gains level off is in
no interval: a projected day says what happens if the trend goes on, no more.
"""

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.coach.practice.dates import assumed, project
from pipeline.coach.practice.light_tool import light_readings
from pipeline.coach.practice.session_lines import (
    MIN_SESSIONS,
    MIN_SPAN_DAYS,
    line_at,
    lines_of,
    numbers,
    reach_of,
    slope_variance,
)
from pipeline.drives import Drives
from pipeline.statistics.intervals import Z90, t_reach
from pipeline.tables.practice import Practice

SPEED_PRACTICE_CAUTIONS = (
    "Local rules and a licensed coach's advice come before these figures. They are not a training plan.",
    "Warm up before the first fast swing, and rest between sets and between days.",
    "Stop when something hurts, and see a doctor before going on.",
    "Swing only where nobody can come within reach of the club, and check before each session that its head is tight.",
    "Children and young people practice speed only with a qualified coach, by local rules.",
)

WINDOW_DAYS = 26 * 7  # what the figures look back on: the golfer's last half year of practice
MIN_RISES = 3  # sessions for the interval of the rise within sets
LAPSE_DAYS = 42  # without a session before the study's newest one: the trend is of the past
MIN_DRIVES = 5  # in a quarter, for the golfer's speed with a ball
MIN_DAY_FREEDOM = 5  # days less golfers and quarters, for how a golfer's days with a ball differ
MANY_MISREADS = 0.1


def practice_of(
    sessions: pl.DataFrame, factors: pl.DataFrame, drives: pl.DataFrame | Drives, bands: SpeedBands
) -> pl.DataFrame:
    """Work out what practice did for each golfer: the table of `practice_figures`, whose parameters these are."""
    return practice_table(practice_figures(sessions, factors, drives, bands))


def practice_figures(
    sessions: pl.DataFrame, factors: pl.DataFrame, drives: pl.DataFrame | Drives, bands: SpeedBands
) -> pl.DataFrame:
    """Work out what practice did for each golfer, and the lines that this rests on.

    Parameters
    ----------
    sessions : DataFrame
        Schema Sessions.
    factors : DataFrame
        From `fit_light_tool`.
    drives : DataFrame or Drives
        golfer, quarter, struck_on, club_speed_mph of the study's drives; may be empty.
    bands : SpeedBands
        The study's.

    Returns
    -------
    DataFrame
        The columns of schema Practice but the note, and the lines that they rest on (`session_lines.lines_of`), sorted
        by golfer.

    Notes
    -----
    Speed with a ball is the golfer's mean drive of a quarter, moved from its mean day by the slope of practice: it is
    taken that a mile per hour gained without a ball is one gained with it, which nothing here proves.
    """
    sessions = sessions.sort("golfer", "swung_on")  # sums of floats depend on the order in their last digits
    newest = sessions.get_column("swung_on").max()
    recent = sessions.filter(
        pl.col("swung_on") > pl.col("swung_on").max().over("golfer").dt.offset_by(f"-{WINDOW_DAYS}d")
    )
    golfers = _counts(recent).join(factors, on="golfer", how="left", validate="1:1")
    used = _used(recent, golfers)
    for name in ("best", "typical"):
        golfers = golfers.join(lines_of(used, name), on="golfer", how="left")
        golfers = golfers.with_columns(_figures(golfers, name))
    golfers = golfers.join(_basis(used), on="golfer", how="left").with_columns(_factor())
    golfers = golfers.join(_rises(recent), on="golfer", how="left")
    golfers = golfers.with_columns(_trend()).join(_with_ball(recent, drives), on="golfer", how="left")
    golfers = golfers.with_columns(pl.col("drives").fill_null(0), lapsed=_lapsed(newest))
    golfers = golfers.with_columns(_ball_gap(golfers))
    golfers = golfers.with_columns(
        pl.when(~assumed()).then(f"{name}_{end}_mph").alias(f"{name}_{end}_mph")
        for name in ("best", "typical", "ball_gap")
        for end in ("lo90", "hi90")
    )
    golfers = project(golfers.sort("golfer"), bands)
    return golfers.with_columns(light_readings(golfers, numbers(golfers, "next_band_mph"), "light_target"))


def practice_table(golfers: pl.DataFrame) -> pl.DataFrame:
    """Give the table of practice.

    Parameters
    ----------
    golfers : DataFrame
        From `practice_figures`.

    Returns
    -------
    DataFrame
        Schema Practice, in the same order.
    """
    return Practice.validate(golfers.with_columns(_note()).select(Practice.column_names()))


def _counts(recent: pl.DataFrame) -> pl.DataFrame:
    day = pl.col("swung_on")
    weeks = ((day.max().dt.truncate("1w") - day.min().dt.truncate("1w")).dt.total_days() // 7 + 1).cast(pl.Int64)
    return recent.group_by("golfer").agg(
        sessions=pl.len().cast(pl.Int64),
        swings=pl.col("swings").sum(),
        misreads=pl.col("misreads").sum(),
        first_on=day.min(),
        last_on=day.max(),
        weeks=weeks,
        sessions_per_week=pl.len() / weeks,
        sets=pl.col("sets").sum(),
        rising_sets=pl.col("rising_sets").sum(),
        rest_days=day.sort().diff().dt.total_days().median() - 1,
    )


def _used(recent: pl.DataFrame, golfers: pl.DataFrame) -> pl.DataFrame:
    """Give the sessions that tell a speed, with `t` in weeks from the golfer's first and `light` as 0 or 1.

    Where the light tool's factor is common practice, one tool's sessions alone count, the more frequent one's: else the
    factor's unknown error would look like a trend when a golfer goes from one tool to the other.
    """
    joined = recent.filter(pl.col("best_mph").is_not_null()).join(
        golfers.select("golfer", "first_on", "log_error"), on="golfer"
    )
    light = (pl.col("tool") == "light").cast(pl.Float64)
    frame = joined.with_columns(t=(pl.col("swung_on") - pl.col("first_on")).dt.total_days() / 7, light=light)
    main = pl.col("light").mean().over("golfer") > 0.5
    return frame.filter(pl.col("log_error").is_not_null() | (pl.col("light") == main.cast(pl.Float64)))


def _basis(used: pl.DataFrame) -> pl.DataFrame:
    light = pl.col("light").mean()
    word = pl.when(light == 0).then(pl.lit("driver")).when(light == 1).then(pl.lit("light")).otherwise(pl.lit("both"))
    return used.group_by("golfer").agg(basis=word.cast(Practice.basis.dtype))


def _figures(golfers: pl.DataFrame, name: str) -> list[pl.Series]:
    last = (golfers.get_column("last_on") - golfers.get_column("first_on")).dt.total_days().to_numpy() / 7
    value, variance = line_at(golfers, name, last)
    reach, slope = reach_of(golfers, name), numbers(golfers, f"{name}_slope")
    wide, steep = reach * np.sqrt(variance), reach * np.sqrt(slope_variance(golfers, name))
    trend = f"{name}_trend"
    columns = {
        f"{name}_mph": value,
        f"{name}_lo90_mph": value - wide,
        f"{name}_hi90_mph": value + wide,
        f"{trend}_mph_per_week": slope,
        f"{trend}_lo90_mph_per_week": slope - steep,
        f"{trend}_hi90_mph_per_week": slope + steep,
    }
    return [pl.Series(column, values).fill_nan(None) for column, values in columns.items()]


def _trend() -> pl.Expr:
    lo, hi = pl.col("best_trend_lo90_mph_per_week"), pl.col("best_trend_hi90_mph_per_week")
    word = (
        pl.when(lo > 0)
        .then(pl.lit("gaining"))
        .when(hi < 0)
        .then(pl.lit("losing"))
        .when(lo.is_not_null())
        .then(pl.lit("no_more_than_chance"))
        .otherwise(pl.lit("not_assessed"))
    )
    return word.cast(Practice.trend.dtype).alias("trend")


def _factor() -> list[pl.Expr]:
    """Show the light tool's factor where it was used, with the interval of what it is for the golfer."""
    used = pl.col("basis").is_in(["light", "both"])
    wide = Z90 * pl.col("log_error")
    factor = pl.when(used).then("light_factor")
    return [
        factor,
        (factor * (-wide).exp()).alias("light_factor_lo90"),
        (factor * wide.exp()).alias("light_factor_hi90"),
    ]


def _rises(recent: pl.DataFrame) -> pl.DataFrame:
    """Give the mean rise within sets and its interval, a session counting once."""
    rise = pl.col("set_rise_mph")
    told = recent.filter(rise.is_not_null()).group_by("golfer").agg(rise.mean(), n=pl.len(), sd=rise.std())
    n = numbers(told, "n")
    reach = t_reach(np.maximum(n - 1, 1)) * numbers(told, "sd") / np.sqrt(n)
    wide = pl.Series(np.where(n >= MIN_RISES, reach, np.nan)).fill_nan(None)
    return told.select("golfer", "set_rise_mph", set_rise_lo90_mph=rise - wide, set_rise_hi90_mph=rise + wide)


def _with_ball(recent: pl.DataFrame, drives: pl.DataFrame | Drives) -> pl.DataFrame:
    """Give each golfer's mean drive speed in the newest quarter with both practice and drives, and its variance.

    A golfer's days differ; how much is taken from all golfers' days together, for one golfer has few in a quarter.
    """
    keys = ["golfer", "quarter"]
    means = (pl.col("club_speed_mph").mean(), pl.len().cast(pl.Int64).alias("drives"))
    days = Drives.of(drives).gathered(lambda frame: frame.group_by(*keys, "struck_on", maintain_order=True).agg(*means))
    quarters = days.group_by(keys, maintain_order=True).agg(
        pl.col("drives").sum(),
        drive_speed_mph=pl.col("club_speed_mph").mean(),
        drive_on=pl.col("struck_on").cast(pl.Int32).mean(),
        days=pl.len().cast(pl.Int64),
        squares=pl.col("club_speed_mph").var(ddof=0) * pl.len(),
    )
    freedom = days.height - quarters.height
    if freedom < MIN_DAY_FREEDOM:
        return quarters.clear().select("golfer", *_BALL, drive_variance=pl.lit(None, pl.Float64))
    variance = quarters.get_column("squares").sum() / freedom
    both = quarters.filter(pl.col("drives") >= MIN_DRIVES).join(recent.select(keys).unique(), on=keys)
    newest = both.sort("quarter").unique("golfer", keep="last", maintain_order=True)
    return newest.select("golfer", *_BALL, drive_variance=variance / pl.col("days"))


_BALL = (pl.col("quarter").alias("drive_quarter"), "drives", "drive_speed_mph", "drive_on")


def _ball_gap(golfers: pl.DataFrame) -> list[pl.Series]:
    first = golfers.get_column("first_on").cast(pl.Int32).to_numpy()
    on_weeks = (numbers(golfers, "drive_on") - first) / 7
    value, variance = line_at(golfers, "best", on_weeks)
    gap = numbers(golfers, "drive_speed_mph") - value
    wide = reach_of(golfers, "best") * np.sqrt(variance + numbers(golfers, "drive_variance"))
    columns = {"ball_gap_mph": gap, "ball_gap_lo90_mph": gap - wide, "ball_gap_hi90_mph": gap + wide}
    return [pl.Series(name, values).fill_nan(None) for name, values in columns.items()] + [
        pl.Series("drive_weeks", on_weeks)
    ]


def _lapsed(newest: object) -> pl.Expr:
    return (pl.lit(newest, pl.Date) - pl.col("last_on")).dt.total_days() > LAPSE_DAYS


def _note() -> pl.Expr:
    few = pl.col("best_trend_mph_per_week").is_null()
    notes = [
        pl.when(few).then(pl.lit(f"a trend needs {MIN_SESSIONS} sessions over {MIN_SPAN_DAYS // 7} weeks")),
        pl.when("lapsed").then(pl.lit(f"no practice in the {LAPSE_DAYS // 7} weeks before the newest log")),
        pl.when(assumed()).then(
            pl.lit("driver speed is the light tool's by common practice, without a source: swing both in one session")
        ),
        pl.when(~pl.col("with_ball")).then(
            pl.lit("no drives in a quarter with practice: speed with a ball may well differ")
        ),
        pl.when((pl.col("projection") == "dated") & pl.col("projected_hi90_on").is_null()).then(
            pl.lit("at the slow end it takes more than a year")
        ),
        pl.when(pl.col("misreads") > MANY_MISREADS * pl.col("swings")).then(
            pl.format("{} of {} swings look misread: check the device", "misreads", "swings")
        ),
    ]
    joined = pl.concat_str(notes, separator="; ", ignore_nulls=True)
    return pl.when(joined != "").then(joined).alias("note")
