"""Tables of speed practice: swings without a ball, sessions, what they say of each golfer."""

import dataframely as dy
import polars as pl

from pipeline.tables import columns as cols
from pipeline.tables.logs import FIRST_DAY, LAST_DAY, PSEUDONYM, QUARTER

SWING_REQUIRED = ("golfer", "swung_at", "club_speed_mph")
SWING_COLUMNS = (*SWING_REQUIRED, "set_no", "tool")
OF_SPEED_LOGS = {
    "golfer": "As in a shot log; the same name or number gives the same pseudonym.",
    "swung_at": "Time of the swing, in ISO 8601 or by the format of a layout. Only the day is stored.",
}
TOOLS = ("driver", "light")

# The same wide human bound as for drives; a light tool moves about a fifth faster (common practice, no source).
DRIVER_SPEED_MAX_MPH = 165.0

# The column that each rule across columns is charged to in rejects.csv.
COLUMN_OF_SWING_RULE = {"driver_speed_too_high": "club_speed_mph"}

BASES = ("driver", "light", "both")
TRENDS = ("gaining", "losing", "no_more_than_chance", "not_assessed")
WEEKS_AHEAD = (4, 8, 12)
GOAL_DUES = ("reached", "dated", "cannot_tell_yet", "beyond_practice", "beyond_a_year", "no_goal")
PROJECTIONS = ("dated", "cannot_tell_yet", "beyond_a_year", "no_band_above")


def _sets() -> tuple[dy.Int64, dy.Int64]:
    return (
        cols.count("Sets", "Sets of four or more swings that are no misreads."),
        cols.count("Rising sets", "Of them, with every swing faster than the one before."),
    )


class Swings(cols.Table):
    """Accepted swings without a ball, as collected."""

    FILES = ("collected/swings.parquet",)
    ROW = "swing"

    source = cols.source(primary_key=True)
    row = cols.row(primary_key=True)
    golfer = cols.pseudonym(primary_key=False, regex=PSEUDONYM)
    swung_on = cols.day("Day", "Local day of the swing.", min=FIRST_DAY, max=LAST_DAY)
    quarter = cols.quarter(regex=QUARTER)
    club_speed_mph = cols.number("Club speed", "Speed of the tool that was swung.", min=30, max=210)
    tool = cols.word("Tool", "What was swung: the driver, or a lighter tool for speed practice.", TOOLS)
    set_no = cols.count(
        "Set", "Number of the set within golfer and day; empty where neither log nor times show it.",
        nullable=True, max=1_000_000,
    )  # fmt: skip
    swing_no = cols.count("Swing", "Place in the set by time, the first is 1.", nullable=True, min=1)

    @dy.rule()
    def driver_speed_too_high(cls) -> pl.Expr:
        """Check that a driver was swung by a human."""
        return (pl.col("tool") == "light") | (pl.col("club_speed_mph") <= DRIVER_SPEED_MAX_MPH)


class PracticeSwings(Swings):
    """The same with what the cleaning made of them."""

    FILES = ("practice/swings.parquet",)

    misread = cols.flag("Misread", "Whether it is too far from the golfer's own swings to be one; it is not used.")
    driver_speed_mph = cols.number("Driver speed", "Club speed, a light tool's mapped to that of the driver.")


class Pairs(cols.Table):
    """Sessions with both tools."""

    FILES = ("practice/paired.csv",)
    ROW = "golfer and day with both tools"

    golfer = cols.pseudonym()
    swung_on = cols.day("Day", "Local day of the session.", primary_key=True)
    light_swings = cols.count("Light swings", "Swings of the light tool.", min=1)
    driver_swings = cols.count("Driver swings", "Swings of the driver.", min=1)
    light_best_mph = cols.number("Best, light tool", "Best speed of the light tool in the session.")
    driver_best_mph = cols.number("Best, driver", "Best speed of the driver in the session.")
    ratio = cols.number("Ratio", "Light tool's best over the driver's.", decimals=2, min=0)


class Sessions(cols.Table):
    """Sessions of speed practice."""

    FILES = ("practice/sessions.csv",)
    ROW = "golfer and day with swings"

    golfer = cols.pseudonym()
    swung_on = cols.day("Day", "Local day of the session.", primary_key=True)
    quarter = cols.quarter()
    swings = cols.count("Swings", "Accepted swings.", min=1)
    misreads = cols.count("Misread", "Of them, marked as misread and not used.")
    tool = cols.word("Tool", "Whose swings the speeds rest on; empty: too few of either.", TOOLS, nullable=True)
    best_mph = cols.number("Best speed", "90th percentile of the swings, in driver speed.", nullable=True)
    typical_mph = cols.number("Typical speed", "Median of the swings, in driver speed.", nullable=True)
    set_rise_mph = cols.number(
        "Rise in a set", "Mean over its sets: last two swings less first two.", decimals=1, nullable=True
    )
    sets, rising_sets = _sets()


class Practice(cols.Table):
    """Golfers who practice speed, by their last half year of it. Speeds are driver speeds without a ball."""

    FILES = ("practice/practice.csv",)
    ROW = "golfer who practices speed"

    golfer = cols.pseudonym()
    sessions = cols.count("Sessions", "Days with swings.", min=1)
    swings = cols.count("Swings", "Accepted swings.", min=1)
    misreads = cols.count("Misread", "Of them, marked as misread and not used.")
    first_on = cols.day("First session", "Day of the first session.")
    last_on = cols.day("Last session", "Day of the last session.")
    weeks = cols.count("Weeks", "Calendar weeks from the first session to the last.", min=1)
    sessions_per_week = cols.number("Sessions a week", "Sessions over weeks.", decimals=1, min=0)
    basis = cols.word("Tools", "Tools that the speeds rest on; empty: too few swings.", BASES, nullable=True)
    light_factor, light_factor_lo90, light_factor_hi90 = cols.estimate(
        "Light tool's factor", "Light tool's speed over the driver's, for this golfer.",
        why_empty="Empty where the factor is common practice, without a source.", decimals=2,
    )  # fmt: skip
    best_mph, best_lo90_mph, best_hi90_mph = cols.estimate(
        "Best speed", "At the last session, by the trend; the mean where there is none."
    )
    best_trend_mph_per_week, best_trend_lo90_mph_per_week, best_trend_hi90_mph_per_week = cols.estimate(
        "Best speed, gain", "Gain of the best speed a week.", decimals=2
    )
    typical_mph, typical_lo90_mph, typical_hi90_mph = cols.estimate(
        "Typical speed", "At the last session, by the trend; the mean where there is none."
    )
    typical_trend_mph_per_week, typical_trend_lo90_mph_per_week, typical_trend_hi90_mph_per_week = cols.estimate(
        "Typical speed, gain", "Gain of the typical speed a week.", decimals=2
    )
    trend = cols.word("Trend", "Of the best speed. gaining or losing: its interval leaves zero out.", TRENDS)
    set_rise_mph, set_rise_lo90_mph, set_rise_hi90_mph = cols.estimate(
        "Rise in a set", "Last two swings of a set less its first two.", decimals=1
    )
    sets, rising_sets = _sets()
    rest_days = cols.number(
        "Days of rest", "Days without practice between one session and the next: their median.", decimals=1,
        nullable=True, min=0,
    )  # fmt: skip
    drive_quarter = cols.text("Quarter with drives", "Newest quarter with both practice and drives.", nullable=True)
    drives = cols.count("Drives", "In that quarter.")
    drive_speed_mph = cols.number(
        "Club speed with a ball", "Mean club speed of those drives, a day counting once.", nullable=True
    )
    ball_gap_mph, ball_gap_lo90_mph, ball_gap_hi90_mph = cols.estimate(
        "Ball gap", "Club speed with a ball less the practice trend's best on those days.", decimals=1
    )
    speed_now_mph = cols.number("Speed now", "What is projected, at the last session.", nullable=True)
    with_ball = cols.flag("With a ball", "Whether that is speed with a ball, from drives and the trend.")
    next_band_mph = cols.number("Next band", "Center of the next band above.", nullable=True, trim=True)
    next_band_from_mph = cols.number("Next band from", "Where that band begins.", nullable=True, trim=True)
    light_target_mph, light_target_lo90_mph, light_target_hi90_mph = cols.estimate(
        "Light tool for the next band",
        "Where the light tool's best speed should stand for the next band's center with the driver; with a ball, if "
        "drives are known.",
        why_empty="Empty where the factor is common practice, without a source.",
    )
    projection = cols.word(
        "Projection",
        "dated: a day can be given. cannot_tell_yet: the trend is not clear. beyond_a_year: it takes longer. "
        "no_band_above: the speed is in the highest band.",
        PROJECTIONS,
    )
    projected_on = cols.day("Projected day", "When the band is reached if the trend goes on.", nullable=True)
    projected_lo90_on = cols.day("Projected day, early", "Early end of its 90 % interval.", nullable=True)
    projected_hi90_on = cols.day(
        "Projected day, late", "Late end of its 90 % interval; empty with a day: it could take more than a year.",
        nullable=True,
    )  # fmt: skip
    note = cols.note()

    @dy.rule()
    def rising_sets_are_sets(cls) -> pl.Expr:
        """Check that no more sets rise than there are."""
        return pl.col("rising_sets") <= pl.col("sets")

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


class PracticePlan(cols.Table):
    """What the next weeks of speed practice may bring. Speeds are as practice.csv's speed now."""

    FILES = ("practice/plan.csv",)
    ROW = "golfer who practices speed, and weeks ahead"

    golfer = cols.pseudonym()
    weeks_ahead = cols.count("Weeks ahead", "From the last session.", primary_key=True, min=1)
    on = cols.day("Day", "Day that many weeks after the last session.")
    speed_mph, speed_lo90_mph, speed_hi90_mph = cols.estimate(
        "Club speed then",
        "Mean over sessions around that day: if the trend goes on, or as now where the trend is no more than chance. "
        "The interval grows with the weeks ahead. That the trend may stop, or may have stopped, is in it.",
        why_empty="Empty: nobody can say, as the note explains.",
    )  # fmt: skip
    with_ball = cols.flag("With a ball", "Whether that is speed with a ball, from drives and the trend.")
    sessions = cols.count(
        "Sessions until then", "At today's sessions a week, but with a day of rest between one and the next."
    )
    note = cols.note()

    @dy.rule()
    def intervals_hold_their_figures(cls) -> pl.Expr:
        """Check that no speed lies outside its interval and none stands without one."""
        speed = pl.col("speed_mph")
        inside = speed.is_between("speed_lo90_mph", "speed_hi90_mph").fill_null(False)
        return inside | (speed.is_null() & pl.col("speed_lo90_mph").is_null() & pl.col("speed_hi90_mph").is_null())


class SpeedGoals(cols.Table):
    """When the club speed of each practicing golfer's goal is due, and where the light tool should stand for it."""

    FILES = ("practice/speed_goals.csv",)
    ROW = "golfer who practices speed"

    golfer = cols.pseudonym()
    goal_yd = cols.number("Goal", "Carry to reach, as in goals.csv.", nullable=True)
    goal_speed_mph, goal_speed_lo90_mph, goal_speed_hi90_mph = cols.estimate(
        "Club speed for the goal", "With an efficient delivery, as in goals.csv."
    )
    speed_now_mph = cols.number("Speed now", "As in practice.csv.", nullable=True)
    with_ball = cols.flag("With a ball", "Whether that is speed with a ball. Only then is it compared with the goal's.")
    due = cols.word(
        "Due",
        "reached: the speed is there. dated: a day can be given. cannot_tell_yet: the trend is not clear, or speed "
        "with a ball is not known. beyond_practice: within a year, but farther ahead than the practice looks back. "
        "beyond_a_year: it takes longer. no_goal: no goal, or no speed is known for it.",
        GOAL_DUES,
    )
    due_on = cols.day("Due day", "When the goal's speed is reached if the trend goes on.", nullable=True)
    due_lo90_on = cols.day(
        "Due day, early",
        "Early end of its 90 % interval, for the goal's speed as it stands. There is no late end: the gain may level "
        "off, and then the day comes later or never.",
        nullable=True,
    )
    light_target_mph, light_target_lo90_mph, light_target_hi90_mph = cols.estimate(
        "Light tool for the goal",
        "Where the light tool's best speed should stand for the goal's speed, which is taken as it stands.",
        why_empty="Empty where the factor is common practice, without a source.",
    )  # fmt: skip
    note = cols.note()

    @dy.rule()
    def only_a_dated_goal_has_a_day(cls) -> pl.Expr:
        """Check that a day with its early end stands exactly where the goal is dated."""
        dated = pl.col("due") == "dated"
        return (pl.col("due_on").is_not_null() == dated) & (pl.col("due_lo90_on").is_not_null() == dated)

    @dy.rule()
    def days_are_in_order(cls) -> pl.Expr:
        """Check that the early end is no later than the due day; null passes."""
        return (pl.col("due_lo90_on") <= pl.col("due_on")).fill_null(True)

    @dy.rule()
    def reached_is_speed_now(cls) -> pl.Expr:
        """Check that the goal's speed is reached exactly where speed now, with a ball, is no less."""
        there = pl.col("with_ball") & (pl.col("goal_speed_mph") <= pl.col("speed_now_mph"))
        return there.fill_null(False) == (pl.col("due") == "reached")
