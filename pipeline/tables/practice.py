"""Tables of speed practice: swings without a ball, sessions, what they say of each golfer."""

from datetime import date

import dataframely as dy
import polars as pl

SWING_REQUIRED = ("golfer", "swung_at", "club_speed_mph")
SWING_COLUMNS = (*SWING_REQUIRED, "set_no", "tool")
TOOLS = ("driver", "light")

# The same wide human bound as for drives; a light tool moves about a fifth faster (common practice, no source).
DRIVER_SPEED_MAX_MPH = 165.0

# The column that each rule across columns is charged to in rejects.csv.
COLUMN_OF_SWING_RULE = {"driver_speed_too_high": "club_speed_mph"}

BASES = ("driver", "light", "both")
TRENDS = ("gaining", "losing", "no_more_than_chance", "not_assessed")
PROJECTIONS = ("dated", "cannot_tell_yet", "beyond_a_year", "no_band_above")


class Swings(dy.Schema):
    """Accepted swings without a ball, one row each, as collected."""

    source = dy.String(nullable=False, primary_key=True, description="log file inside the study folder")
    row = dy.Int64(nullable=False, primary_key=True, min=1, description="row in the log, the first is 1")
    golfer = dy.String(nullable=False, regex="^g[0-9a-f]{16}$", description="pseudonym, as of drives")
    swung_on = dy.Date(nullable=False, min=date(1990, 1, 1), max=date(2099, 12, 31), description="local day")
    quarter = dy.String(nullable=False, regex="^[0-9]{4}Q[1-4]$", description="calendar quarter")
    club_speed_mph = dy.Float64(nullable=False, min=30, max=210, description="of the tool that was swung")
    tool = dy.Enum(list(TOOLS), nullable=False)
    set_no = dy.Int64(
        nullable=True, min=0, max=1_000_000, description="within golfer and day; null where neither log nor times tell"
    )
    swing_no = dy.Int64(nullable=True, min=1, description="place in the set by time, the first is 1")

    @dy.rule()
    def driver_speed_too_high(cls) -> pl.Expr:
        """Check that a driver was swung by a human."""
        return (pl.col("tool") == "light") | (pl.col("club_speed_mph") <= DRIVER_SPEED_MAX_MPH)


class PracticeSwings(Swings):
    """The same with what the cleaning made of them: practice/swings.parquet."""

    misread = dy.Bool(nullable=False, description="too far from the golfer's own swings to be one like them; not used")
    driver_speed_mph = dy.Float64(nullable=False, description="a light tool's mapped to driver speed")


class Pairs(dy.Schema):
    """Sessions with both tools, one row per golfer and day: practice/paired.csv."""

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    swung_on = dy.Date(nullable=False, primary_key=True)
    light_swings = dy.Int64(nullable=False, min=1)
    driver_swings = dy.Int64(nullable=False, min=1)
    light_best_mph = dy.Float64(nullable=False)
    driver_best_mph = dy.Float64(nullable=False)
    ratio = dy.Float64(nullable=False, min=0, description="light tool's best over the driver's")


class Sessions(dy.Schema):
    """Sessions, one row per golfer and day with swings: practice/sessions.csv."""

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    swung_on = dy.Date(nullable=False, primary_key=True)
    quarter = dy.String(nullable=False)
    swings = dy.Int64(nullable=False, min=1)
    misreads = dy.Int64(nullable=False, min=0)
    tool = dy.Enum(list(TOOLS), nullable=True, description="whose swings the speeds rest on; null: too few of either")
    best_mph = dy.Float64(nullable=True, description="90th percentile of the session's swings, in driver speed")
    typical_mph = dy.Float64(nullable=True, description="their median, in driver speed")
    set_rise_mph = dy.Float64(nullable=True, description="over its sets: last two swings less first two")


class Practice(dy.Schema):
    """Golfers who practise speed, one row each: practice/practice.csv. Speeds are driver speeds without a ball.

    It looks at the golfer's last half year of practice.
    """

    golfer = dy.String(nullable=False, primary_key=True, description="pseudonym")
    sessions = dy.Int64(nullable=False, min=1, description="days with swings")
    swings = dy.Int64(nullable=False, min=1)
    misreads = dy.Int64(nullable=False, min=0, description="swings marked as misread and not used")
    first_on = dy.Date(nullable=False)
    last_on = dy.Date(nullable=False)
    weeks = dy.Int64(nullable=False, min=1, description="calendar weeks from the first session to the last")
    sessions_per_week = dy.Float64(nullable=False, min=0)
    basis = dy.Enum(list(BASES), nullable=True, description="the tools that the speeds rest on")
    light_factor = dy.Float64(nullable=True, description="light tool's speed over the driver's, for this golfer")
    light_factor_lo90 = dy.Float64(nullable=True, description="null where it is common practice, without a source")
    light_factor_hi90 = dy.Float64(nullable=True)
    best_mph = dy.Float64(nullable=True, description="at the last session, by the trend; the mean where there is none")
    best_lo90_mph = dy.Float64(nullable=True)
    best_hi90_mph = dy.Float64(nullable=True)
    best_trend_mph_per_week = dy.Float64(nullable=True)
    best_trend_lo90_mph_per_week = dy.Float64(nullable=True)
    best_trend_hi90_mph_per_week = dy.Float64(nullable=True)
    typical_mph = dy.Float64(nullable=True)
    typical_lo90_mph = dy.Float64(nullable=True)
    typical_hi90_mph = dy.Float64(nullable=True)
    typical_trend_mph_per_week = dy.Float64(nullable=True)
    typical_trend_lo90_mph_per_week = dy.Float64(nullable=True)
    typical_trend_hi90_mph_per_week = dy.Float64(nullable=True)
    trend = dy.Enum(list(TRENDS), nullable=False, description="of the best; gaining or losing: its interval is off nil")
    set_rise_mph = dy.Float64(nullable=True, description="last two swings of a set less its first two")
    set_rise_lo90_mph = dy.Float64(nullable=True)
    set_rise_hi90_mph = dy.Float64(nullable=True)
    drive_quarter = dy.String(nullable=True, description="newest quarter with both practice and drives")
    drives = dy.Int64(nullable=False, min=0, description="in that quarter")
    drive_speed_mph = dy.Float64(nullable=True, description="mean club speed of those drives, a day counting once")
    ball_gap_mph = dy.Float64(nullable=True, description="that less the practice trend's best on those days")
    ball_gap_lo90_mph = dy.Float64(nullable=True)
    ball_gap_hi90_mph = dy.Float64(nullable=True)
    speed_now_mph = dy.Float64(nullable=True, description="what is projected, at the last session")
    with_ball = dy.Bool(nullable=False, description="whether that is speed with a ball, from drives and the trend")
    next_band_mph = dy.Float64(nullable=True, description="centre of the next band above")
    next_band_from_mph = dy.Float64(nullable=True, description="where that band begins")
    projection = dy.Enum(list(PROJECTIONS), nullable=False)
    projected_on = dy.Date(nullable=True, description="day on which the band is reached if the trend goes on")
    projected_lo90_on = dy.Date(nullable=True)
    projected_hi90_on = dy.Date(nullable=True, description="null with a date: it could take more than a year")
    note = dy.String(nullable=True)

    @dy.rule()
    def only_a_gain_is_dated(cls) -> pl.Expr:
        """Check that a date stands only where the trend's interval lies above nil."""
        gaining = pl.col("best_trend_lo90_mph_per_week").fill_null(-1) > 0
        return pl.col("projected_on").is_null() | (gaining & (pl.col("projection") == "dated"))

    @dy.rule()
    def dates_are_in_order(cls) -> pl.Expr:
        """Check that the projected day lies in its range, after the last session and within a year of it."""
        day = pl.col("projected_on")
        inside = (pl.col("projected_lo90_on") <= day) & (day <= pl.col("projected_hi90_on").fill_null(day))
        within = (day >= pl.col("last_on")) & (day <= pl.col("last_on").dt.offset_by("366d"))
        return day.is_null() | (inside & within).fill_null(False)
