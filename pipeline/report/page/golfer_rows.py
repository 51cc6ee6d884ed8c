"""The table of golfers: one row for each golfer ever seen, by the newest quarter with drives of the golfer."""

from collections.abc import Iterator
from typing import Any

from pipeline.report.page.advice import task_of
from pipeline.report.page.ground import Chunk, Ground, Row
from pipeline.report.page.quarter_view import yards_of
from pipeline.report.page.straight_figures import NONE, golfers_figures
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


def rows_of(ground: Ground) -> Iterator[list[Any]]:
    """Make the table's rows, one for each golfer, as they are asked for.

    Yields
    ------
    list
        Plain values in the order of `COLUMNS`. Yards are whole and add up as shown: lost_yd is efficient_yd less
        carry_yd. status and movement are those of the newest quarter (see `pipeline.report.page.counts`); other figures
        are of `quarter`, the newest with drives. history has the yards lost of each of the study's quarters, None where
        the golfer wasn't assessed.
    """
    for chunk in ground.chunks():
        yield from _rows(chunk)


def _rows(chunk: Chunk) -> Iterator[list[Any]]:
    ground = chunk.ground
    goals, firsts = chunk.by_golfer(Goals, "goal_yd"), chunk.by_golfer(Priorities, "first")
    practice = chunk.by_golfer(Practice, "golfer")
    straight = golfers_figures(chunk)
    for golfer, history in chunk.histories.items():
        row = history[-1]
        now = row["quarter"] == ground.newest
        goal, first = goals.get(golfer), firsts.get(golfer)
        told = {
            "golfer": golfer,
            "short": ground.short(golfer),
            "status": row["status"] if now else NOT_SEEN,
            "movement": row["movement"] if now else NOT_SEEN if row["quarter"] == ground.before else AWAY,
            "cause": row["main_cause"] if row["status"] != "not_assessed" else None,
            **shown_row(row, ground),
            "sure": ground.sure(row),
            **straight.get((golfer, row["quarter"]), NONE),
            "band_mph": row["band_mph"],
            "group": row["group"],
            "device": row["device"],
            "practice": golfer in practice,
            "first": FIRST_WORDS[first["first"]] if first else None,
            "goal_yd": ground.yd(ground.units.distance_whole(goal["goal_yd"]))
            if goal and goal["goal_yd"] is not None
            else None,
            "do": task_of(row, ground.about(row)) if now else None,
            "history": history_of(ground, history),
        }
        yield [told[name] for name in COLUMNS]


def shown_row(row: Row, ground: Ground) -> dict[str, Any]:
    """Give the figures of a row of `Ground.golfers` as shown; yards lost of who wasn't assessed are left out."""
    yards = yards_of(row, ground)
    if row["status"] == "not_assessed":
        yards = dict.fromkeys(yards)
    return {
        "lost_yd": yards["value"],
        "lost_lo90_yd": yards["lo"],
        "lost_hi90_yd": yards["hi"],
        "carry_yd": ground.yd(row["shown_carry_yd"]),
        "efficient_yd": ground.yd(row["shown_efficient_yd"]),
        "club_speed_mph": round(row["club_speed_mph"], 4),
        "quarter": row["quarter"],
        "shots": row["shots"],
    }


def history_of(ground: Ground, history: list[Row]) -> list[float | None]:
    """Give the shown yards lost by the study's quarters, None where the golfer wasn't assessed."""
    shown = {row["quarter"]: row["shown_lost_yd"] for row in history if row["status"] != "not_assessed"}
    return [ground.yd(shown.get(quarter)) for quarter in ground.quarters]
