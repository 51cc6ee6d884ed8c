"""What the next weeks of a golfer's speed practice may bring, and when the goal's club speed is due."""

from collections.abc import Mapping
from typing import Any

from pipeline.report.page.ground import Chunk, Ground
from pipeline.report.page.said import remarks_of
from pipeline.tables.practice import Practice, PracticePlan, SpeedGoals

Row = Mapping[str, Any]
Part = dict[str, Any]
DIGITS = 4  # of speeds, which are shown in whole mph: three more, and none is rounded twice


def plans_of(chunk: Chunk) -> dict[str, Part]:
    """Give the plan of each golfer who practices speed.

    Returns
    -------
    dict
        By golfer: weeks (weeks, on, speed_mph with value, lo and hi, sessions), with_ball, notes as sentences; goal
        (goal_yd, speed_mph, due, due_on, due_lo_on, light_mph), None without a row; sets, rising_sets and
        rest_days. Days are ISO texts.
    """
    weeks, goals, practice = chunk.all_of(PracticePlan), chunk.by_golfer(SpeedGoals), chunk.by_golfer(Practice)
    return {
        golfer: _plan(
            sorted(weeks.get(golfer, []), key=lambda row: row["weeks_ahead"]),
            goals.get(golfer),
            practice.get(golfer),
            chunk.ground,
        )
        for golfer in dict.fromkeys([*weeks, *goals])
    }


def _plan(weeks: list[Row], goal: Row | None, practice: Row | None, ground: Ground) -> Part:
    return {
        "weeks": [
            {
                "weeks": row["weeks_ahead"],
                "on": row["on"].isoformat(),
                "speed_mph": _estimate(row, "speed"),
                "sessions": row["sessions"],
            }
            for row in weeks
        ],
        "with_ball": any(row["with_ball"] for row in weeks),
        "notes": remarks_of(row["note"] for row in weeks),
        "goal": None if goal is None else _goal(goal, ground),
        **{name: practice and practice[name] for name in ("sets", "rising_sets", "rest_days")},
    }


def _goal(row: Row, ground: Ground) -> Part:
    days = {name: row[f"due{end}_on"] for name, end in (("due_on", ""), ("due_lo_on", "_lo90"))}
    goal = row["goal_yd"]
    return {
        "goal_yd": None if goal is None else ground.yd(ground.units.distance_whole(goal)),
        "speed_mph": _estimate(row, "goal_speed"),
        "due": row["due"],
        **{name: None if day is None else day.isoformat() for name, day in days.items()},
        "light_mph": _estimate(row, "light_target"),
    }


def _estimate(row: Row, name: str) -> Part:
    ends = {"value": row[f"{name}_mph"], "lo": row[f"{name}_lo90_mph"], "hi": row[f"{name}_hi90_mph"]}
    return {end: None if value is None else round(value, DIGITS) for end, value in ends.items()}
