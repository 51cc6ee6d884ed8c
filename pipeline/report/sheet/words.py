"""Sentences of a golfer's sheet: what to work on first, how sure that is, where the golfer stands."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.report.sheet.facts import Target

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
    cause, lost = row["main_cause"], row["lost_yd"]
    if cause == "none":
        return f"Nothing stands out to work on: {yards_lost(row)}."
    parts = {name: row[f"lost_{name}_yd"] for name in (*CAUSES, "other") if row[f"lost_{name}_yd"] is not None}
    if cause == "mixed":
        first, second = sorted(parts, key=lambda name: -parts[name])[:2]
        return (
            f"No single part of the {_yd(lost)} lost stands out. "
            f"The largest are {first} ({_yd(parts[first])}) and {second} ({_yd(parts[second])})."
        )
    return f"{_start(cause, row, target)} first. It costs {_cost(cause, parts, lost)}."


def _start(cause: str, row: Mapping[str, Any], target: Target | None) -> str:
    """Say what to do, and which way where the sheet's own figures show it."""
    if target is not None and cause == "launch":
        return "Launch the ball higher" if row["launch_deg"] < target.launch_deg else "Launch the ball lower"
    if target is not None and cause == "spin":
        return "Add spin" if row["spin_rpm"] < target.spin_rpm else "Take spin off"
    return f"Work on {cause}"


def _cost(cause: str, parts: Mapping[str, float], lost: float) -> str:
    """Word what the main cause costs; whole yards add up as shown."""
    part, whole = round(parts[cause]), round(lost)
    if part < whole:
        return f"about {part} of the {whole} yd lost"
    if part == whole:
        return f"about all of the {whole} yd lost"
    back = part - whole
    by_contact = cause != "contact" and round(-parts.get("contact", 0.0)) == back
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


def _yd(yards: float) -> str:
    return f"{figure(yards, 0)} yd"


def figure(value: float, decimals: int) -> str:
    """Write a rounded figure; -1 decimals means tens, and a rounded small negative is 0, not -0."""
    return f"{round(value, decimals) + 0.0:.{max(decimals, 0)}f}"


def yards_lost(row: Mapping[str, Any]) -> str:
    """Word the yards lost with their interval."""
    lost, low, high = row["lost_yd"], row["lost_lo90_yd"], row["lost_hi90_yd"]
    if lost is None:
        return "yards lost are not known"
    text = f"{_yd(lost)} lost" if lost >= 0 else f"{_yd(-lost)} gained"
    if low is None or high is None:
        return text
    return f"{text} (90 % interval {figure(low, 0)} to {figure(high, 0)} yd lost)"


def standing(row: Mapping[str, Any]) -> str:
    """Say between which percentiles of the band the golfer's carry lies; empty where that is not known."""
    moved = row["moved_yd"]
    # Bands of few golfers have not all of them.
    known = [(p, row[f"band_carry_p{p}_yd"]) for p in (25, 50, 75, 90) if row[f"band_carry_p{p}_yd"] is not None]
    if moved is None or not known:
        return ""
    below = [p for p, value in known if moved >= value]
    above = [p for p, value in known if moved < value]
    if not below:
        return f"below the {above[0]}th percentile"
    if not above:
        return f"at or above the {below[-1]}th percentile"
    return f"between the {below[-1]}th and the {above[0]}th percentile"


def against_window(value: float, low: float, high: float, decimals: int, unit: str) -> str:
    """Word where a value lies against a range: `7.3 deg, 6.4 deg below the window (13.8 to 16.0 deg)`."""
    window = f"the window ({figure(low, decimals)} to {figure(high, decimals)} {unit})"
    if low <= value <= high:
        return f"{figure(value, decimals)} {unit}, inside {window}"
    side, away = ("below", low - value) if value < low else ("above", value - high)
    if round(away, decimals) == 0:
        return f"{figure(value, decimals)} {unit}, just {side} {window}"
    return f"{figure(value, decimals)} {unit}, {figure(away, decimals)} {unit} {side} {window}"


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
    step = now["lost_yd"] - before["lost_yd"]
    way = f"{_yd(abs(step))} {'more' if step > 0 else 'fewer'} lost than in {spaced(before['quarter'])}"
    edges = [row[f"lost_{end}90_yd"] for row in (before, now) for end in ("lo", "hi")]
    if any(edge is None for edge in edges):
        return f"{way}."
    apart = edges[0] > edges[3] or edges[2] > edges[1]
    return f"{way}: {'likely a real change' if apart else 'this may be chance'}."
