"""Remarks beside a goal's answer, in the catalogue's words."""

from typing import Any

from pipeline.coach.goals.needed_speed import DistanceCurve
from pipeline.shown import IMPERIAL, Units
from pipeline.texts.catalogue import told
from pipeline.texts.sentences import Sentence
from pipeline.typed import Limits, refusal_of


def reached_yd(curve: DistanceCurve) -> Limits | None:
    """Give the least and the largest distance for which the benchmarks show a club speed, yd; None without any."""
    return (float(curve.yards[0]), float(curve.yards.max())) if len(curve.speeds_mph) else None


def goal_refusal(curve: DistanceCurve, answer: dict[str, Any], units: Units = IMPERIAL) -> str | None:
    """Say why an answer of `plan_one` has no club speed; None where it has one."""
    if answer["supported"]:
        return None
    limits = reached_yd(curve)
    return told("refusals", "no_benchmarks") if limits is None else refusal_of("distance", limits, units)


def goal_notes(curve: DistanceCurve, answer: dict[str, Any]) -> list[Sentence]:
    """Say what an answer of `plan_one` leaves open, and why.

    Parameters
    ----------
    curve : DistanceCurve
    answer : dict
        With the figures of `plan_one`.
    """
    notes: list[Sentence] = []
    speeds = curve.speeds_mph
    if len(speeds) == 0:
        return notes
    if answer["club_speed_mph"] is not None and answer["efficient_yd"] is None:
        notes.append(Sentence("notes", "gap_whole", {"lo_mph": float(speeds[0]), "hi_mph": float(speeds[-1])}))
    if answer["present_yd"] is not None and answer["present_speed_mph"] is None:
        notes.append(Sentence("notes", "no_present_speed"))
    open_ends = [
        answer[f"{name}_mph"] is not None and None in (answer[f"{name}_lo90_mph"], answer[f"{name}_hi90_mph"])
        for name in ("efficient_speed", "present_speed")
    ]
    if any(open_ends):
        notes.append(Sentence("notes", "open_interval"))
    if answer["distance"] == "total":
        notes.append(Sentence("notes", "roll"))
    return notes
