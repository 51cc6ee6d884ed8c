"""Each golfer's whole story: all quarters, what changed, drives, goal, practice, advice."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from pipeline.benchmark.window import Window
from pipeline.coach.progress.measures import MEASURES, STRAIGHT, Measure
from pipeline.report.page.advice import CAUSES, shown_parts, worked_on
from pipeline.report.page.direction_part import direction_of
from pipeline.report.page.golfer_rows import FIRST_WORDS
from pipeline.report.page.ground import Chunk, Ground, Row
from pipeline.report.page.landing_part import landings_of
from pipeline.report.page.plan_part import plans_of
from pipeline.report.page.quarter_view import BEYOND, reason_of, shown_steps, yards_of
from pipeline.report.page.reaching_part import reaching_of
from pipeline.report.page.said import say
from pipeline.report.page.straight_part import straight_of
from pipeline.report.shown_sums import shown_goal
from pipeline.shown import ANGLE_STEP_DEG, SPIN_STEP_RPM, Units, rounded_one, shown_edges
from pipeline.tables.columns import facts_of
from pipeline.tables.delivery import Delivery
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.practice import Practice
from pipeline.tables.progress import Progress

Story = dict[str, Any]
PARTS = ("contact", "launch", "spin", "consistency", "curve", "other")


def stories_of(ground: Ground) -> Iterator[tuple[str, Story]]:
    """Make each golfer's story, as they are asked for.

    Yields
    ------
    str
        Pseudonym.
    dict
        The story; see `pipeline.report.page.payload` for what is in one.
    """
    for chunk in ground.chunks():
        yield from _stories(chunk)


def _stories(chunk: Chunk) -> Iterator[tuple[str, Story]]:
    ground, changes, straight = chunk.ground, _changes(chunk), straight_of(chunk)
    goals, practice = chunk.by_golfer(Goals), chunk.by_golfer(Practice)
    firsts = chunk.by_golfer(Priorities, "first", "confidence")
    deliveries, landings, plans = chunk.by_golfer(Delivery), landings_of(chunk), plans_of(chunk)
    last = [history[-1] for history in chunk.histories.values()]
    windows = ground.frontier.windows_at(np.array([row["club_speed_mph"] for row in last], dtype=float))
    for (golfer, history), row, window in zip(chunk.histories.items(), last, windows, strict=True):
        now = row["quarter"] == ground.newest
        yield (
            golfer,
            {
                "quarters": [_quarter(ground, one) for one in history],
                "changes": changes.get(golfer, []),
                "drives": chunk.drives[golfer] if now else [],
                "place": _place(ground, row, window),
                "goal": _goal(goals.get(golfer), ground),
                "straight": straight.get(golfer),
                "practice": _practice(practice.get(golfer)),
                "advice": chunk.advice[golfer] if now else [],
                "first": _first(firsts.get(golfer), row, ground),
                "direction": direction_of(deliveries.get(golfer)),
                "landing": landings.get(golfer),
                "plan": plans.get(golfer),
            },
        )


def _quarter(ground: Ground, row: Row) -> dict[str, Any]:
    yards = yards_of(row, ground)
    assessed = row["status"] != "not_assessed"
    parts = shown_parts(row) if assessed else {}
    ball = row["ball_speed_mph"]
    return {
        "quarter": row["quarter"],
        "shots": row["shots"],
        "days": row["days"],
        "device": row["device"],
        "ball": row["ball"],
        "club_speed_mph": round(row["club_speed_mph"], 4),
        "speed_ratio": None if ball is None else round(ball / row["club_speed_mph"], 5),
        "launch_deg": round(row["launch_deg"], 1),
        "spin_rpm": None if row["spin_rpm"] is None else _tens(row["spin_rpm"]),
        "carry_yd": ground.yd(row["shown_carry_yd"]),
        "efficient_yd": ground.yd(row["shown_efficient_yd"]),
        "lost_yd": yards["value"] if assessed else None,
        "lo": yards["lo"] if assessed else None,
        "hi": yards["hi"] if assessed else None,
        "parts": {name: ground.yd(parts.get(name)) for name in PARTS},
        "cause": row["main_cause"] if assessed else None,
        "status": row["status"],
        "sure": ground.sure(row),
        "movement": row["movement"],
        "note": note_of(row, ground.min_shots, ground.units),
    }


def _tens(rpm: float) -> int:
    return int(rounded_one(rpm, 10.0))


def note_of(row: Row, min_shots: int, units: Units) -> str | None:
    """Say in words what the note of a row of `Golfers` says; what has no words of its own stands as it is."""
    if row["status"] == "not_assessed":
        if reason_of(row, min_shots) == BEYOND:
            return say("note_beyond", units, speed=units.speed_figure(row["club_speed_mph"]))
        key = "note_few_one" if row["shots"] == 1 else "note_few"
        return say(key, shots=f"{row['shots']}", min_shots=f"{min_shots}")
    if not row["note"]:
        return None
    return " ".join(_note(part) for part in row["note"].split("; "))


_NOTES = {
    "ball speed is not known": "note_ball",
    "spin is guessed": "note_spin",
    "the interval doesn't cover it": "note_unknown",
    "are assumed in the interval": "note_assumed",
}


def _note(part: str) -> str:
    for words, key in _NOTES.items():
        if words in part:
            return say(key)
    return f"{part[:1].upper()}{part[1:]}."


class _Columns(NamedTuple):
    """The columns of a measure in `Progress`, and the digits of its change."""

    name: str
    change: str
    lo: str
    hi: str
    verdict: str
    digits: int


def _columns(measure: Measure) -> _Columns:
    change = measure.change()
    edges = (measure.change("lo90"), measure.change("hi90"))
    return _Columns(measure.name, change, *edges, f"{measure.name}_verdict", facts_of(Progress)[change].decimals + 1)


_MEASURES = tuple(map(_columns, (*MEASURES, *STRAIGHT)))
_OF_PROGRESS = ("since", *(name for one in _MEASURES for name in (one.change, one.lo, one.hi, one.verdict)))


def _changes(chunk: Chunk) -> dict[str, list[dict[str, Any]]]:
    """Give what changed to each later quarter, oldest first: one entry for each measure that is known."""
    found: dict[str, list[dict[str, Any]]] = {}
    for golfer, rows in chunk.all_of(Progress, *_OF_PROGRESS).items():
        quarters = {one["quarter"]: one for one in chunk.histories.get(golfer, [])}
        entries = found.setdefault(golfer, [])
        for row in sorted(rows, key=lambda row: row["quarter"]):
            steps = shown_steps(row, quarters.get(row["quarter"]), quarters.get(row["since"]), chunk.ground.units)
            entries += [
                _change(row, measure, steps, chunk.ground) for measure in _MEASURES if row[measure.change] is not None
            ]
    return found


def _change(row: Row, measure: _Columns, steps: Mapping[str, int | None], ground: Ground) -> dict[str, Any]:
    """Give a measure's change; yards are whole, and differ as the two quarters' shown figures do (`shown_steps`)."""
    yards, lo, hi = measure.name in steps, row[measure.lo], row[measure.hi]
    if yards:
        change = ground.yd(steps[measure.name])
        lo, hi = (None if end is None else ground.yd(ground.units.distance_whole(end)) for end in (lo, hi))
    else:
        change = round(row[measure.change], measure.digits)
        lo, hi = (None if end is None else round(end, measure.digits) for end in (lo, hi))
    return {
        "measure": measure.name,
        "quarter": row["quarter"],
        "since": row["since"],
        "change": change,
        "lo": lo,
        "hi": hi,
        "verdict": row[measure.verdict],
    }


def _place(ground: Ground, row: Row, window: Window | None) -> dict[str, Any]:
    """Say where the best delivery and the window lie at the golfer's club speed; None out of reach."""
    edges = shown_edges(window)
    best = (row["best_launch_deg"], row["best_spin_rpm"])
    return {
        "window": None if edges is None else {"launch_deg": list(edges[0]), "spin_rpm": list(edges[1])},
        "best": None
        if None in best
        else {
            "launch_deg": rounded_one(best[0], ANGLE_STEP_DEG),
            "spin_rpm": rounded_one(best[1], SPIN_STEP_RPM),
        },
        "efficient_yd": ground.yd(row["shown_efficient_yd"]),
    }


def _goal(row: Row | None, ground: Ground) -> dict[str, Any] | None:
    """Word a row of `Goals`."""
    if row is None or row["goal_yd"] is None:
        return None
    shown = {name: ground.yd(yards) for name, yards in shown_goal(row, ground.units).items()}
    return {
        "goal_yd": shown["goal_yd"],
        "from": row["goal_from"],
        "carry_yd": shown["carry_yd"],
        "gap_yd": shown["gap_yd"],
        "strike_yd": shown["delivery_yd"],
        "speed_yd": shown["speed_yd"],
        "efficient_speed_mph": _tenth(row["efficient_speed_mph"]),
        "present_speed_mph": _tenth(row["present_speed_mph"]),
        "quarters": _tenth(row["quarters"]),
        "quarters_lo": _tenth(row["quarters_lo90"]),
        "quarters_hi": _tenth(row["quarters_hi90"]),
        "reach": row["reach"],
        "reaching": reaching_of(row),
    }


def _practice(row: Row | None) -> dict[str, Any] | None:
    if row is None:
        return None
    days = {
        name: row[name] for name in ("first_on", "last_on", "projected_on", "projected_lo90_on", "projected_hi90_on")
    }
    return {
        "sessions": row["sessions"],
        "swings": row["swings"],
        "misreads": row["misreads"],
        "per_week": _tenth(row["sessions_per_week"]),
        "basis": row["basis"],
        "best_mph": {name: _tenth(row[f"best{end}_mph"]) for name, end in _ENDS},
        "per_week_mph": {name: _hundredth(row[f"best_trend{end}_mph_per_week"]) for name, end in _ENDS},
        "trend": row["trend"],
        "next_band_mph": row["next_band_mph"],
        "projection": row["projection"],
        **{name: None if day is None else day.isoformat() for name, day in days.items()},
    }


_ENDS = (("value", ""), ("lo", "_lo90"), ("hi", "_hi90"))


def _first(first: Row | None, row: Row, ground: Ground) -> dict[str, Any] | None:
    """Say what comes first by a row of `Priorities`, and with which part of the strike to start."""
    if first is None:
        return None
    word, parts = (
        FIRST_WORDS[first["first"]],
        worked_on(row, shown_parts(row), ground.threshold),
    )
    text = say(f"first_{word}")
    if word == "strike" and not parts:
        text = say("first_strike_little")
    elif word == "strike" and parts[0] in CAUSES:
        text = say("first_strike_cause", cause=say(f"cause_{parts[0]}"))
    confidence = first["confidence"]
    return {"word": word, "confidence": None if confidence is None else round(confidence, 3), "text": text}


def _tenth(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _hundredth(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
