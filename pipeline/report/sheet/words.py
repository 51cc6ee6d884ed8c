"""Sentences of a golfer's sheet: what to work on first, how sure that is, where the golfer stands."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Literal

from pipeline.report.sheet.facts import Target
from pipeline.report.shown_sums import shown_losses
from pipeline.shown import ANGLE_STEP_DEG, SPIN_STEP_RPM, angle_text, inward, rounded, spin_text, whole

# Fewer than 1 wrong flag in 1000 golfers flagged as clearly.
SURE_BELOW = 0.001
CAUSES = ("contact", "launch", "spin", "consistency")
MEANINGS = {
    "contact": "how much ball speed the strike takes out of club speed",
    "launch": "the angle at which the ball starts",
    "spin": "backspin",
    "consistency": "what the poorer drives cost",
    "other": "what the model can't explain",
}


def first_work(row: Mapping[str, Any], target: Target | None, threshold_yd: float) -> str:
    """Say in one sentence what to work on first and how sure it is that too much is lost.

    Parameters
    ----------
    row : mapping
        A row of `Golfers`.
    target : Target or None
        What is efficient at the golfer's club speed.
    threshold_yd : float
        Yards lost above which a golfer is flagged.

    Returns
    -------
    str
        It claims no more than the q value gives: a share of wrong flags is rounded up, and for a golfer who is not
        flagged it says that the loss may be small.
    """
    if row["status"] == "not_assessed":
        return f"We can't say what to work on first: {row['note'] or 'the golfer was not assessed'}."
    if row["flagged"]:
        return f"{_what(row, target)} {how_sure(row['q_value'])}"
    if row["main_cause"] in ("none", "mixed"):
        return f"{_what(row, target)} It isn't clear that more than {threshold_yd:g} yd are lost."
    cause = row["main_cause"].capitalize()
    return f"{cause} is the likeliest place to gain, but the loss may be smaller than {threshold_yd:g} yd."


def _what(row: Mapping[str, Any], target: Target | None) -> str:
    cause, shown = row["main_cause"], shown_losses(row)
    lost = shown["lost_yd"]
    if cause == "none" or lost is None:
        return f"Nothing stands out to work on: {yards_lost(row)}."
    known = [(name, row[f"lost_{name}_yd"], shown[f"lost_{name}_yd"]) for name in (*CAUSES, "other")]
    parts = {name: yards for name, _, yards in known if yards is not None}
    if cause == "mixed":
        first, second = (name for name, _, _ in sorted((one for one in known if one[1] is not None), key=_least)[:2])
        return (
            f"No single part of the {lost} yd lost stands out. "
            f"The largest are {first} ({parts[first]} yd) and {second} ({parts[second]} yd)."
        )
    return f"{_start(cause, row, target)} first. It costs {_cost(cause, parts, lost)}."


def _least(part: tuple[str, float, int | None]) -> float:
    return -part[1]


def _start(cause: str, row: Mapping[str, Any], target: Target | None) -> str:
    """Say what to do, and which way where the sheet's own figures show it."""
    if target is not None and cause == "launch":
        return "Launch the ball higher" if row["launch_deg"] < target.launch_deg else "Launch the ball lower"
    if target is not None and cause == "spin":
        return "Add spin" if row["spin_rpm"] < target.spin_rpm else "Take spin off"
    return f"Work on {cause}"


def _cost(cause: str, parts: Mapping[str, int], lost: int) -> str:
    """Word what the main cause costs, in yards that add up as shown."""
    part = parts[cause]
    if part < lost:
        return f"about {part} of the {lost} yd lost"
    if part == lost:
        return f"about all of the {lost} yd lost"
    back = part - lost
    by_contact = cause != "contact" and -parts.get("contact", 0) == back
    giver = "better contact than most" if by_contact else "the rest of the drive"
    return f"about {part} yd; {giver} gives {back} yd back"


def how_sure(q_value: float) -> str:
    """Word a q value: sure, or the share of wrong flags, always rounded to the unsure side."""
    if q_value < SURE_BELOW:
        return "We're sure of this."
    share = "fewer than 1" if q_value < 0.01 else f"about {math.ceil(round(100 * q_value, 9))}"
    return f"Of golfers flagged at least this clearly, {share} in 100 are expected to be flagged wrongly."


def spaced(quarter: str) -> str:
    """Write a quarter for people: 2026Q3 gives 2026 Q3."""
    return quarter.replace("Q", " Q")


def yards_lost(row: Mapping[str, Any]) -> str:
    """Word the yards lost with their interval."""
    lost, low, high = shown_losses(row)["lost_yd"], row["lost_lo90_yd"], row["lost_hi90_yd"]
    if lost is None:
        return "yards lost are not known"
    text = f"{lost} yd lost" if lost >= 0 else f"{-lost} yd gained"
    if low is None or high is None:
        return text
    return f"{text} (90 % interval {whole(low)} to {whole(high)} yd lost)"


def standing(row: Mapping[str, Any]) -> str:
    """Say between which percentiles of the band the golfer's carry lies; empty where that is not known."""
    moved = row["moved_yd"]
    # Bands of few golfers have not all of them.
    known = [(p, row[f"band_carry_p{p}_yd"]) for p in (25, 50, 75, 90) if row[f"band_carry_p{p}_yd"] is not None]
    if moved is None or not known:
        return ""
    # By the yards that the sheet shows: no figure stands below another that is the same on paper.
    below = [p for p, value in known if whole(moved) >= whole(value)]
    above = [p for p, value in known if whole(moved) < whole(value)]
    if not below:
        return f"below the {above[0]}th percentile"
    if not above:
        return f"at or above the {below[-1]}th percentile"
    return f"between the {below[-1]}th and the {above[0]}th percentile"


def against_window(value: float, low: float, high: float, unit: Literal["deg", "rpm"]) -> str:
    """Word where a launch or a spin lies against the window's range of it.

    Returns
    -------
    str
        Such as `7.5 deg, 6.5 deg below the window (14.0 to 16.0 deg)`: the steps add up as shown.
    """
    step, text = (ANGLE_STEP_DEG, angle_text) if unit == "deg" else (SPIN_STEP_RPM, spin_text)
    low, high = inward(low, high, step) or (low, high)
    window = f"the window ({text(low).removesuffix(f' {unit}')} to {text(high)})"
    if low <= value <= high:
        return f"{text(value)}, inside {window}"
    shown = float(rounded(value, step))
    side, away = ("below", low - shown) if value < low else ("above", shown - high)
    if away == 0:
        return f"{text(value)}, just {side} {window}"
    return f"{text(value)}, {text(away)} {side} {window}"


def lost_step(before: Mapping[str, Any], now: Mapping[str, Any]) -> int:
    """Give the change of the yards lost between two assessed rows of `Golfers`, as the shown figures differ."""
    return (shown_losses(now)["lost_yd"] or 0) - (shown_losses(before)["lost_yd"] or 0)


def change_since(history: Sequence[Mapping[str, Any]]) -> str:
    """Say how the yards lost moved since the quarter before, and whether that may be chance.

    Parameters
    ----------
    history : sequence of mapping
        Rows of `Golfers` of one golfer, oldest first.
    """
    known = [row for row in history if row["status"] != "not_assessed"]
    if len(history) < 2:
        return "There is no earlier quarter to compare with."
    if len(known) < 2 or known[-1] is not history[-1]:
        return "Too few assessed quarters to compare."
    before, now = known[-2:]
    step = lost_step(before, now)
    if step == 0:
        way = f"About as many yards lost as in {spaced(before['quarter'])}"
    else:
        way = f"{abs(step)} yd {'more' if step > 0 else 'fewer'} lost than in {spaced(before['quarter'])}"
    edges = [row[f"lost_{end}90_yd"] for row in (before, now) for end in ("lo", "hi")]
    if any(edge is None for edge in edges):
        return f"{way}."
    apart = edges[0] > edges[3] or edges[2] > edges[1]
    return f"{way}: {'likely a real change' if apart else 'this may be chance'}."
