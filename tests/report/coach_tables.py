"""The coach's tables for the golfers of an invented academy, by plain arithmetic on the table of golfers."""

from datetime import date
from pathlib import Path

import polars as pl
from rows import table_of

from pipeline.coach.practice.light_tool import LightTool
from pipeline.tables.delivery import Delivery, DeliverySlopes
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Cohorts, Progress
from pipeline.tables.table_set import TableSet

LIGHT_TOOL = LightTool(1.2, 1.18, 1.22, 1.1, 1.3, "own paired sessions", 40, 5, "40 sessions")


def edges(name, unit, reach):
    """Give the ends of an interval about a column."""
    value = pl.col(f"{name}_{unit}")
    return [(value - reach).alias(f"{name}_lo90_{unit}"), (value + reach).alias(f"{name}_hi90_{unit}")]


def goals_of(golfers):
    made = golfers.select(
        "golfer", "quarter", "club_speed_mph", "carry_yd", goal_yd=pl.col("carry_yd") + 40, gap_yd=pl.lit(40.0),
        delivery_yd=pl.lit(12.0), speed_yd=pl.lit(28.0), efficient_speed_mph=pl.col("club_speed_mph") + 9.0,
        present_speed_mph=pl.col("club_speed_mph") + 13.0, reach=pl.lit("both"), goal_from=pl.lit("next band"),
        quarters=pl.lit(4.2), quarters_lo90=pl.lit(3.0), quarters_hi90=pl.lit(6.6),
        note=pl.lit("an efficient delivery and about 9 mph more club speed reach the goal; about 4 quarters at the "
                    "pace of golfers here"),
    )  # fmt: skip
    yards = [edge for name in ("carry", "gap", "delivery", "speed") for edge in edges(name, "yd", 3.0)]
    made = made.with_columns((pl.col("goal_yd") - pl.col("carry_yd")).alias("gap_yd"))
    made = made.with_columns((pl.col("gap_yd") - pl.col("delivery_yd")).alias("speed_yd"))
    speeds = [edge for name in ("efficient_speed", "present_speed") for edge in edges(name, "mph", 1.0)]
    return table_of(Goals, made.with_columns(*yards, *speeds))


def priorities_of(golfers):
    made = golfers.select(
        "golfer", "quarter", "club_speed_mph", delivery_yd=pl.lit(12.0), yards_per_mph=pl.lit(2.6),
        speed_gain_mph=pl.lit(0.5), speed_yd=pl.lit(1.3), delivery_more_probability=pl.lit(0.979),
        first=pl.lit("delivery"), confidence=pl.lit(0.979),
    )  # fmt: skip
    ends = [*edges("delivery", "yd", 3.0), *edges("speed", "yd", 4.0), *edges("speed_gain", "mph", 1.5)]
    return table_of(Priorities, made.with_columns(*ends))


def delivery_of(golfers):
    made = golfers.select(
        "golfer", "quarter", "shots", "club_speed_mph", "launch_deg", "spin_rpm", attack_deg=pl.lit(-1.2),
        carry_now_yd=pl.lit(200.0), loft_least_deg=pl.lit(-2.0), loft_most_deg=pl.lit(4.0),
        loft_change_deg=pl.lit(2.5), best_launch_deg=pl.lit(14.2), best_spin_rpm=pl.lit(2804.0),
        best_carry_yd=pl.lit(206.5), gain_yd=pl.lit(6.5), advice=pl.lit("more loft"), loft_by=pl.lit("impact"),
        attack_change_deg=pl.lit(3.0), attack_loft_change_deg=pl.lit(-1.5), attack_gain_yd=pl.lit(2.25),
    )  # fmt: skip
    return table_of(Delivery, made.with_columns(*edges("gain", "yd", 2.0), *edges("attack_gain", "yd", 1.0)))


def progress_of(golfers, since="2026Q2"):
    """Make the newest quarter's golfers better in speed, carry and yards lost."""
    made = golfers.select(
        "golfer", "quarter", "shots", since=pl.lit(since), shots_before=pl.lit(25), club_speed_change_mph=pl.lit(1.4),
        speed_ratio_change=pl.lit(-0.002), speed_ratio_change_lo90=pl.lit(-0.01), speed_ratio_change_hi90=pl.lit(0.006),
        launch_change_deg=pl.lit(0.31), spin_change_rpm=pl.lit(-44.0), carry_change_yd=pl.lit(7.5),
        lost_change_yd=pl.lit(-4.0), carry_from_speed_yd=pl.lit(4.0), carry_from_delivery_yd=pl.lit(3.0),
        carry_from_contact_yd=pl.lit(1.0), carry_from_launch_yd=pl.lit(2.5), carry_from_spin_yd=pl.lit(-1.0),
        carry_from_consistency_yd=pl.lit(0.5), carry_from_other_yd=pl.lit(0.5),
        note=pl.lit("another device than before: a part of any change may be the device's"),
    )  # fmt: skip
    sure = {"club_speed": True, "speed_ratio": False, "launch": False, "spin": False, "carry": True, "lost": True}
    told = [
        column
        for name, yes in sure.items()
        for column in (
            pl.lit(0.001 if yes else 0.6).alias(f"{name}_p_value"),
            pl.lit(0.01 if yes else 0.8).alias(f"{name}_q_value"),
            pl.lit("better" if yes else "no_clear_change").alias(f"{name}_verdict"),
        )
    ]
    ends = [("club_speed_change", "mph", 0.5), ("launch_change", "deg", 0.6), ("spin_change", "rpm", 120.0)]
    ends += [("carry_change", "yd", 2.0), ("lost_change", "yd", 2.0), ("carry_from_speed", "yd", 1.0)]
    ends += [("carry_from_delivery", "yd", 1.5)]
    return table_of(Progress, made.with_columns(*told, *(edge for end in ends for edge in edges(*end))))


def practice_of(golfers):
    """Make every golfer gain, with a day for the next band."""
    made = golfers.select(
        "golfer", sessions=pl.lit(40), swings=pl.lit(700), misreads=pl.lit(3), first_on=pl.lit(date(2026, 4, 10)),
        last_on=pl.lit(date(2026, 9, 19)), weeks=pl.lit(24), sessions_per_week=pl.lit(1.667), basis=pl.lit("light"),
        best_mph=pl.lit(101.26), best_trend_mph_per_week=pl.lit(0.25), trend=pl.lit("gaining"), drives=pl.lit(30),
        with_ball=pl.lit(True), next_band_mph=pl.lit(110.0), next_band_from_mph=pl.lit(105.0),
        projection=pl.lit("dated"), projected_on=pl.lit(date(2027, 1, 8)), projected_lo90_on=pl.lit(date(2026, 12, 1)),
        note=pl.lit("at the slow end it takes more than a year"),
    )  # fmt: skip
    ends = [*edges("best", "mph", 1.5), *edges("best_trend", "mph_per_week", 0.125)]
    return table_of(Practice, made.with_columns(*ends))


def cohorts_of(quarter="2026Q3", golfers=30):
    """Make all golfers, a group, and a suppressed group."""
    every = pl.DataFrame(
        {
            "quarter": [quarter] * 3, "group": [None, "evening", "<b>juniors</b>"], "golfers": [golfers, 21, None],
            "device_changed": [4, 1, None], "ball_changed": [0, 0, None], "suppressed": [False, False, True],
            "note": [None, None, "fewer than 5 golfers: their figures are suppressed"],
        }
    )  # fmt: skip
    told = ~pl.col("suppressed")
    changes = (("club_speed_change", "mph", 0.62, 0.2), ("launch_change", "deg", 0.11, 0.2))
    changes += (
        ("spin_change", "rpm", -12.4, 20.0),
        ("carry_change", "yd", 2.25, 0.5),
        ("lost_change", "yd", -0.85, 0.4),
    )
    changes += (("carry_from_speed", "yd", 1.5, 0.3), ("carry_from_delivery", "yd", 0.5, 0.6))
    for name, unit, value, reach in changes:
        every = every.with_columns(pl.when(told).then(pl.lit(value)).alias(f"{name}_{unit}"))
        every = every.with_columns(*edges(name, unit, reach))
    counts = {"club_speed": (9, 2), "speed_ratio": (1, 0), "launch": (3, 1), "spin": (0, 0), "carry": (7, 4)}
    counts |= {"lost": (5, 6)}
    words = [
        pl.when(told).then(pl.lit(count)).alias(f"{name}_{word}")
        for name, pair in counts.items()
        for word, count in zip(("better", "worse"), pair, strict=True)
    ]
    return table_of(Cohorts, every.with_columns(*words, carry_from_other_yd=pl.when(told).then(pl.lit(0.25))))


def slopes(*, loft_used=False):
    rows = [
        ("launch_deg", "attack_deg", 0.84, 0.06, 0.2), ("spin_rpm", "attack_deg", -31.0, 12.0, -208.0),
        ("speed_ratio", "attack_deg", 0.002, 0.001, 0.007), ("launch_deg", "loft_deg", 0.7, 0.1, 0.8),
        ("spin_rpm", "loft_deg", 190.0, 30.0, 208.0), ("speed_ratio", "loft_deg", -0.006, 0.002, -0.007),
    ]  # fmt: skip
    frame = pl.DataFrame(rows, schema=["response", "predictor", "slope", "reach", "impact_slope"], orient="row")
    used = (pl.col("predictor") == "attack_deg") | pl.lit(loft_used)
    value = pl.when(used).then("slope")
    frame = frame.with_columns(
        slope=value, lo90=value - pl.col("reach"), hi90=value + pl.col("reach"), used=used, scope=pl.lit("within"),
        golfers=pl.lit(44), drives=pl.lit(2000),
    ).drop("reach")  # fmt: skip
    between = frame.with_columns(scope=pl.lit("between"), used=pl.lit(False), slope=9.0, lo90=8.0, hi90=10.0)
    return table_of(DeliverySlopes, pl.concat([frame, between]))


def newest(golfers):
    """Pick the newest quarter's assessed golfers."""
    return golfers.filter((pl.col("quarter") == "2026Q3") & (pl.col("status").cast(pl.String) != "not_assessed"))


def page_tables(golfers, *, practice=True):
    """Give the tables for the academy's page."""
    now = newest(golfers)
    made = {Cohorts: cohorts_of(), Goals: goals_of(now), Priorities: priorities_of(now), Delivery: delivery_of(now)}
    return TableSet(made | {DeliverySlopes: slopes()} | ({Practice: practice_of(now)} if practice else {}))


def changed(tables, **made):
    """Give the tables with others in place of those whose files are named, such as goals."""
    named = {Path(schema.FILES[0]).stem: schema for schema in tables.frames}
    return TableSet({**tables.frames, **{named[name]: frame for name, frame in made.items()}})
