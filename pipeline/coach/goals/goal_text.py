"""A goal's answer as a coach reads it on a screen: what it takes in a sentence, then the figures."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.benchmark.reaching import reaching_text
from pipeline.coach.goals.goal_shares import AT_SPEED, EFFICIENT, TENTHS
from pipeline.coach.goals.pace import TIMES
from pipeline.shown import Units, number_text, percent_text, typed_text, whole
from pipeline.texts.catalogue import texts, told

_LABEL, _FIGURE = 18, 9  # characters
_GAP = ("gap", "delivery", "speed")
_EDGES = ("lo90_", "hi90_")


@dataclass(frozen=True)
class Shown:
    """An answer's figures as they are shown, so that they add up.

    Attributes
    ----------
    yards : dict of str to int
        present, efficient, gap, delivery and speed, whole in somebody's unit of distance; those that are known.
    speeds : dict of str to int or float
        efficient_speed and present_speed in somebody's unit of speed; those that are known.
    more : dict of str to float
        How much more than today's club speed as shown those are.
    """

    yards: dict[str, int]
    speeds: dict[str, float]
    more: dict[str, float]


def shown(answer: dict[str, Any], units: Units, typed_speed: bool) -> Shown:
    """Round an answer's figures.

    Parameters
    ----------
    answer : dict
        From `answer_goal`.
    units : Units
    typed_speed : bool
        Whether the club speed was typed, and stands as typed; else it is shown whole.

    Notes
    -----
    The gap is the goal less today's distance, both as shown; delivery and speed are whole parts of it.
    """
    yards = {
        name: units.distance_whole(answer[f"{name}_yd"])
        for name in ("present", "efficient")
        if answer[f"{name}_yd"] is not None
    }
    if answer["gap_yd"] is not None:
        yards["gap"] = units.distance_whole(answer["goal_yd"]) - yards["present"]
    parts = [answer[f"{name}_yd"] for name in _GAP[1:]]
    if None not in parts:
        yards |= dict(zip(_GAP[1:], units.parts_whole(parts, yards["gap"]), strict=True))
    speeds = {
        name: float(number_text(answer[f"{name}_mph"] / units.mph_each, units.speed_decimals).replace(",", ""))
        for name in ("efficient_speed", "present_speed")
        if answer[f"{name}_mph"] is not None
    }
    club = _club(answer, units, typed_speed)
    return Shown(yards, speeds, {} if club is None else {name: value - club for name, value in speeds.items()})


def _club(answer: dict[str, Any], units: Units, typed: bool) -> float | None:
    mph = answer["club_speed_mph"]
    if mph is None:
        return None
    there = mph / units.mph_each
    return float(typed_text(there)) if typed else float(whole(there))


def goal_text(
    study: str, answer: dict[str, Any], asked: Sequence[str], notes: Sequence[str], units: Units, typed_speed: bool
) -> str:
    """Write an answer that has figures as a sentence and a small table.

    Parameters
    ----------
    study : str
    answer : dict
        From `answer_goal`.
    asked : sequence of str
        What was asked.
    notes : sequence of str
        Sentences to put below.
    units, typed_speed
        See `shown`.
    """
    found = shown(answer, units, typed_speed)
    say = texts("command")
    rows = [
        *(_speed_row(say[label], name, answer, found, units) for label, name in _SPEEDS if name in found.speeds),
        *(_yards_row(say[label], name, answer, found, units) for label, name in _YARDS if name in found.yards),
        *_time_rows(answer, say["time"]),
        *_share_rows(answer, units),
    ]
    lines = (reach_sentence(answer, found, units, typed_speed), *rows, *notes)
    return "\n".join([f"{study}: {', '.join(asked)}", *(f"  {line}" for line in lines)])


_SPEEDS = (("speed_efficient", "efficient_speed"), ("speed_as_now", "present_speed"))
_YARDS = (
    ("today", "present"),
    ("efficient_today", "efficient"),
    ("gap", "gap"),
    ("by_delivery", "delivery"),
    ("by_speed", "speed"),
)


def _yards_row(label: str, name: str, answer: dict[str, Any], found: Shown, units: Units) -> str:
    edges = [answer[f"{name}_{edge}yd"] for edge in _EDGES]
    ends = ["..." if edge is None else units.distance_figure(edge) for edge in edges]
    return _row(label, f"{found.yards[name]:,}", units.distance_unit, ends)


def _speed_row(label: str, name: str, answer: dict[str, Any], found: Shown, units: Units) -> str:
    edges = [answer[f"{name}_{edge}mph"] for edge in _EDGES]
    ends = ["..." if edge is None else units.speed_figure(edge) for edge in edges]
    figure = number_text(found.speeds[name], units.speed_decimals)
    return _row(label, figure, units.speed_unit, ends, _more_than_today(found.more.get(name), units))


def _row(label: str, figure: str, unit: str, ends: list[str], remark: str = "") -> str:
    interval = told("command", "interval", range=f"{ends[0]} to {ends[1]} {unit}")
    return f"{label:<{_LABEL}}{f'{figure} {unit}':>{_FIGURE}}   {remark}{interval}"


def _time_rows(answer: dict[str, Any], label: str) -> list[str]:
    """Give the row that says how long more speed takes; none where no more is needed or nobody can say."""
    quarters, lo, hi = (answer[name] for name in TIMES)
    if quarters is None or whole(quarters) == 0:
        return []
    ends = ["..." if edge is None else number_text(edge) for edge in (lo, hi)]
    return [_row(label, number_text(quarters), told("command", "quarters"), ends)]


def _share_rows(answer: dict[str, Any], units: Units) -> list[str]:
    """Give the rows that say how many drives reach the goal; none where nobody can say."""
    say = texts("command")
    if answer.get("share_reaching") is None:
        return []
    rows = [f"{say['reach_today']:<{_LABEL}}{reaching_text(answer)}"]
    for label, name in (("reach_efficient", EFFICIENT), ("reach_at_speed", AT_SPEED)):
        if answer[name] is not None:
            share = told("command", "share_alone", share=percent_text(answer[name]))
            rows.append(f"{say[label]:<{_LABEL}}{share}")
    distances = {name: units.distance_figure(answer[name]) for name in TENTHS}
    rows.append(f"{say['tenths']:<{_LABEL}}{told('command', 'tenths_of', unit=units.distance_unit, **distances)}")
    return rows


def _more_than_today(more: float | None, units: Units) -> str:
    if more is None:
        return ""
    value = f"{typed_text(abs(more))} {units.speed_unit}"
    return told("command", "same" if more == 0 else "more" if more > 0 else "less", value=value) + "; "


def reach_sentence(answer: dict[str, Any], found: Shown, units: Units, typed_speed: bool) -> str:
    """Say in a sentence what the goal takes."""
    reach, yard, speed = answer["reach"], units.distance_unit, units.speed_unit
    if reach == "reached":
        spare = -found.yards["gap"]
        return told("notes", "reached" if spare > 0 else "reached_just", spare=f"{spare:,} {yard}")
    if reach == "both":
        more = found.more["efficient_speed"]
        parts = {name: f"{found.yards[name]:,} {yard}" for name in _GAP[1:]}
        key, rise = ("both", typed_text(more)) if more > 0 else ("both_nearly", "1")
        return told("notes", key, more=f"{rise} {speed}", **parts)
    if reach in ("delivery", "speed"):
        return told("notes", reach)
    if "efficient" in found.yards:
        short = units.distance_whole(answer["goal_yd"]) - found.yards["efficient"]
        club = _club(answer, units, typed_speed) or 0.0
        words = {"club": f"{typed_text(club)} {speed}", "distance": f"{found.yards['efficient']:,} {yard}"}
        if short > 0:
            return told("notes", "efficient_short", short=f"{short:,} {yard}", **words)
        return told("notes", "efficient_enough", **words)
    needed = number_text(found.speeds["efficient_speed"], units.speed_decimals)
    return told("notes", "takes", speed=f"{needed} {speed}")
