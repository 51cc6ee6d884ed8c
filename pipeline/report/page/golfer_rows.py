"""The table of golfers: one row for each golfer ever seen, by the newest quarter with drives of the golfer."""

from typing import Any

from pipeline.report.page.ground import Ground, Row
from pipeline.report.page.quarter_view import yards_of
from pipeline.report.page.straight_figures import NONE, golfers_figures
from pipeline.report.shown_sums import shown_losses
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.practice import Practice

COLUMNS = (
    "golfer",
    "short",
    "status",
    "movement",
    "cause",
    "lost_yd",
    "lost_lo90_yd",
    "lost_hi90_yd",
    "sure",
    "carry_yd",
    "efficient_yd",
    "club_speed_mph",
    "band_mph",
    "group",
    "device",
    "practice",
    "first",
    "goal_yd",
    "do",
    "quarter",
    "shots",
    "spread_yd",
    "in_corridor",
    "history",
)
# A golfer without drives in the newest quarter has no status of it. Such a golfer moved from the quarter before
# (not_seen) or went earlier (away).
NOT_SEEN, AWAY = "not_seen", "away"
# What the table `Priorities` calls delivery is all that is lost at today's speed. On pages delivery is launch and spin
# alone, so it is the strike there.
FIRST_WORDS = {"delivery": "strike", "speed": "speed", "either": "either", "cant_tell": "cant_tell"}


def golfers_of(ground: Ground) -> dict[str, Any]:
    """Give the table's columns and rows, by golfer.

    Returns
    -------
    dict
        columns, and rows of plain values. Yards are whole and add up as shown: lost_yd is efficient_yd less carry_yd.
        status and movement are those of the newest quarter (see `pipeline.report.page.counts`); other figures are of
        `quarter`, the newest with drives. history has the yards lost of each of the study's quarters, None where the
        golfer wasn't assessed.
    """
    goals, firsts, practice = (ground.by_golfer(schema) for schema in (Goals, Priorities, Practice))
    straight = golfers_figures(ground)
    rows = []
    for golfer, history in ground.histories.items():
        row = history[-1]
        now = row["quarter"] == ground.newest
        goal, first = goals.get(golfer), firsts.get(golfer)
        told = {
            "golfer": golfer,
            "short": ground.short(golfer),
            "status": row["status"] if now else NOT_SEEN,
            "movement": ground.state.get((golfer, ground.newest), AWAY),
            "cause": row["main_cause"] if row["status"] != "not_assessed" else None,
            **shown_row(row, ground),
            "sure": ground.sure(row),
            **straight.get((golfer, row["quarter"]), NONE),
            "band_mph": row["band_mph"],
            **said_of(ground, golfer, row["quarter"]),
            "practice": golfer in practice,
            "first": FIRST_WORDS[first["first"]] if first else None,
            "goal_yd": ground.yd(ground.units.distance_whole(goal["goal_yd"]))
            if goal and goal["goal_yd"] is not None
            else None,
            "do": ground.advice[golfer][0]["what"] if now else None,
            "history": history_of(ground, history),
        }
        rows.append([told[name] for name in COLUMNS])
    return {"columns": list(COLUMNS), "rows": rows}


def shown_row(row: Row, ground: Ground) -> dict[str, Any]:
    """Give the figures of a row of `Golfers` as they are shown; yards lost of who wasn't assessed are left out."""
    shown, yards = shown_losses(row, ground.units), yards_of(row, ground)
    if row["status"] == "not_assessed":
        yards = dict.fromkeys(yards)
    return {
        "lost_yd": yards["value"],
        "lost_lo90_yd": yards["lo"],
        "lost_hi90_yd": yards["hi"],
        "carry_yd": ground.yd(shown["carry_yd"]),
        "efficient_yd": ground.yd(shown["efficient_yd"]),
        "club_speed_mph": round(row["club_speed_mph"], 4),
        "quarter": row["quarter"],
        "shots": row["shots"],
    }


def said_of(ground: Ground, golfer: str, quarter: str) -> dict[str, str | None]:
    """Give the group and the device of most of a golfer's drives in a quarter."""
    facts = ground.facts.get((golfer, quarter), {})
    return {name: facts.get(name) for name in ("group", "device")}


def history_of(ground: Ground, history: list[Row]) -> list[float | None]:
    """Give the shown yards lost by the study's quarters, None where the golfer wasn't assessed."""
    shown = {row["quarter"]: shown_losses(row, ground.units) for row in history if row["status"] != "not_assessed"}
    return [ground.yd(shown.get(quarter, {}).get("lost_yd")) for quarter in ground.quarters]
