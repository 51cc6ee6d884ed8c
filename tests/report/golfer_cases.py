"""A hand-made study with a golfer for every odd case of the view #golfer, through the package's own payload."""

from datetime import date

import polars as pl
from page_cases import FRONTIER, SETTINGS, beyond, code, directed, drives_of, played, tables_of
from rows import table_of
from straight_cases import changed, landings, not_straight, straight
from teaching_cases import landed, planned, speed_goal, teaching_tables
from whole_pages import payload_of

from pipeline.tables.practice import Practice
from pipeline.tables.table_set import TableSet

LAUNCH, CONTACT, FIRST, FEW, BEYOND, NO_BALL, NO_SPIN, RESOLVED, AWAY = map(code, "abcdef012")
QUARTERS = ("2025Q4", "2026Q1", "2026Q2", "2026Q3")
MEASURES = {"club_speed": "mph", "speed_ratio": None, "launch": "deg", "spin": "rpm", "carry": "yd", "lost": "yd"}

REACHING = {
    "share_reaching": 0.034, "share_reaching_lo90": 0.01, "share_reaching_hi90": 0.12, "share_efficient": 0.31,
    "share_at_goal_speed": 0.56, "nine_of_ten_yd": 162.4, "five_of_ten_yd": 187.1, "one_of_ten_yd": 214.6,
    "share_from": "shrunk",
}  # fmt: skip
# One golfer straight as most are, one who fans to the left with mishits, one whose drives were watched before alone.
STRAIGHT = (
    straight("a"),
    straight("b", offline_mean_yd=-11.4, offline_mean_lo90_yd=-16.2, offline_mean_hi90_yd=-6.6, axis_tilt_deg=-50.0,
             long_axis_yd=48.0, short_axis_yd=10.0, in_corridor_share=0.33, in_corridor_share_lo90=0.26,
             in_corridor_share_hi90=0.41, offline_sd_yd=37.3, offline_sd_lo90_yd=33.0, offline_sd_hi90_yd=43.0,
             carry_yd=180.0, calculated=30, cross_wind_yd=-3.0),
    straight("2", "2026Q2", offline_mean_yd=0.2, offline_mean_lo90_yd=-4.0, offline_mean_hi90_yd=4.4),
)  # fmt: skip


def launched_low(quarter, launch_deg):
    parts = {"contact": -1.4, "launch": 31.3, "spin": -0.6, "consistency": 2.45, "other": 0.3}
    given = {"launch_deg": launch_deg, "spin_rpm": 3104.0, "club_speed_mph": 90.0 + QUARTERS.index(quarter)}
    return played("a", quarter, flagged=True, cause="launch", **parts, **given)


def mishit(quarter):
    parts = {"contact": 14.2, "launch": 5.6, "spin": 6.7, "consistency": 5.5, "other": 0.2}
    return played("b", quarter, flagged=True, cause="contact", launch_deg=15.7, spin_rpm=2540.0, shots=90, **parts)


def change(name, **verdicts):
    """Make a row of Progress: a change of 1 in each measure with a range of 2 to each side."""
    row = {"golfer": code(name), "quarter": "2026Q3", "since": "2026Q2"}
    for measure, unit in MEASURES.items():
        for end, value in (("", 1.0), ("_lo90", -1.0), ("_hi90", 3.0)):
            row["_".join(filter(None, (f"{measure}_change{end}", unit)))] = 0.01 * value if unit is None else value
        row |= {f"{measure}_p_value": 0.5, f"{measure}_q_value": 0.5}
        row[f"{measure}_verdict"] = verdicts.get(measure, "no_clear_change")
    return row


def goal(name, **given):
    row = {"golfer": code(name), "goal_yd": 231.0, "goal_from": "study", "carry_yd": 185.9, "gap_yd": 45.1}
    row |= {"carry_lo90_yd": 180.0, "carry_hi90_yd": 190.0, "delivery_yd": 32.05, "speed_yd": 13.05}
    row |= {"efficient_speed_mph": 95.4, "present_speed_mph": 108.2}
    return row | {"quarters": 8.2, "quarters_lo90": 4.1, "quarters_hi90": 30.0, "reach": "both"} | given


def practice(name, **given):
    row = {"golfer": code(name), "sessions": 49, "swings": 1814, "misreads": 8, "basis": "driver"}
    row |= {"first_on": date(2026, 4, 8), "last_on": date(2026, 9, 16), "sessions_per_week": 2.04, "trend": "gaining"}
    row |= {"sets": 120, "rising_sets": 41, "rest_days": 2.0}
    row |= {"best_mph": 96.6, "best_lo90_mph": 95.2, "best_hi90_mph": 98.3, "best_trend_mph_per_week": 0.154}
    row |= {"best_trend_lo90_mph_per_week": 0.1, "best_trend_hi90_mph_per_week": 0.2, "next_band_mph": 100.0}
    return (
        row | {"projection": "dated", "projected_on": date(2027, 7, 18), "projected_lo90_on": date(2027, 1, 5)} | given
    )


def scattered(drives):
    """Scatter launch and spin of the drives about the golfer's; one drive in 31 flies far out."""
    place = pl.col("row").cast(pl.Float64)
    far = pl.when(place % 31 == 0).then(4000).otherwise(0)
    return drives.with_columns(
        (pl.col("launch_deg") + 0.3 * (7 * place % 11 - 5)).alias("launch_deg"),
        (pl.col("spin_rpm") + 60 * (5 * place % 13 - 6) + far).alias("spin_rpm"),
    )


def taught():
    """Give tables of landing, directions and the speed plan, each odd case once."""
    carry = {name: 2.6 * speed - 16 for name, speed in {"a": 93.0, "b": 90.0, "1": 90.0}.items()}
    return teaching_tables(
        delivery=[
            directed("a"),
            directed("b", "plane assumed", path=1.2, change=-2.8, plane_deg=45.0, start_direction_deg=0.1,
                     spin_axis_deg=-0.1),
            directed("1", "plane read", path_after_attack_lo90_deg=None, path_after_attack_hi90_deg=None,
                     start_direction_deg=None, spin_axis_deg=None, face_deg=None),
        ],
        landings=[
            landed("a", carry["a"] - 32.05),
            landed("b", carry["b"] - 32.2, total_gain_yd=0.3, carry_cost_yd=0.2),
            landed("1", carry["1"] - 3.4, best_launch_deg=None, best_total_yd=None, total_gain_yd=None,
                   carry_cost_yd=None, note="too few golfers near this speed for a best delivery"),
        ],
        plan=[planned("a", with_ball=True), planned("b", speed_mph=None, note="a trend needs 8 sessions over 6 weeks")],
        goals=[
            speed_goal("a"),
            speed_goal("b", "cannot_tell_yet", light_target_lo90_mph=None, light_target_hi90_mph=None),
        ],
    )  # fmt: skip


def golfers_study(units="yards"):
    """Give the payload of the study."""
    measured = [
        *(launched_low(quarter, 7.1 + 0.4 * at) for at, quarter in enumerate(QUARTERS)),
        *(mishit(quarter) for quarter in QUARTERS[2:]),
        played("c", launch=0.4, contact=0.3),
        played("d", "2026Q2"), played("d", shots=7),
        beyond("e", "2026Q2"), beyond("e"),
        played("f", flagged=True, cause="launch", ball_speed_mph=None, contact=None, launch=15.2,
               note="ball speed is not known"),
        played("1", "2026Q2", flagged=True, cause="spin", spin=21.0), played("1", spin=1.2, consistency=2.2),
        played("2", "2026Q2", flagged=True, cause="contact", contact=12.0),
    ]  # fmt: skip
    guessed = [
        played("0", flagged=True, cause="contact", contact=13.0, spin=None, spin_rpm=None, note="spin is guessed")
    ]
    wilder = change("a", club_speed="better", carry="better", lost="worse", launch="changed")
    others = {
        "Progress": [
            changed(wilder, offline_sd="worse"),
            change("b"),
            change("1", lost="better") | {"carry_change_yd": 17.2, "carry_change_hi90_yd": 22.0},
        ],
        "Goals": [
            goal("a", **REACHING),
            goal("1", reach="reached", gap_yd=-5.9, delivery_yd=None, speed_yd=None, goal_yd=180.0),
        ],
        "Straightness": [*STRAIGHT, not_straight("f"), not_straight("d", shots=7)],
        "Priorities": [{"golfer": code("a"), "first": "delivery", "confidence": 0.99}],
    }
    plain = tables_of(measured + guessed, **others)
    trend = {"best_trend": -0.1, "best_trend_lo90": -0.2, "best_trend_hi90": -0.01}
    falling = {f"{name}_mph_per_week": value for name, value in trend.items()}
    falling |= {"projection": "cannot_tell_yet", "projected_on": None, "projected_lo90_on": None}
    practiced = [practice("a"), practice("b", trend="losing", **falling)]
    return payload_of(
        tables=TableSet({**plain.frames, Practice: table_of(Practice, practiced), **taught()}),
        frontier=FRONTIER,
        drives=scattered(pl.concat([drives_of(measured), drives_of(guessed, spin_measured=False)])),
        settings=SETTINGS | {"title": "Hill School", "units": units},
        landings=landings(*STRAIGHT[:2]),
    )


def repeated(payload, count):
    """Give a payload of as many golfers, the study's own again and again under new codes."""
    columns, rows = payload["golfers"]["columns"], payload["golfers"]["rows"]
    many, stories = [], {}
    for place in range(count):
        row = dict(zip(columns, rows[place % len(rows)], strict=True))
        new = f"g{place:016x}"
        stories[new] = payload["stories"][row["golfer"]]
        many.append([{**row, "golfer": new, "short": f"n{place:05d}"}[name] for name in columns])
    return payload | {"golfers": {"columns": columns, "rows": many}, "stories": stories}
