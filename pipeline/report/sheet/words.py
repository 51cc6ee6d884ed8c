"""Sentences of a golfer's sheet: what to work on first, how sure that is, where the golfer stands."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.report.sheet.facts import Target

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
        flagged it says that nothing was shown.
    """
    if row["status"] == "not_assessed":
        return f"Nothing can be said about what to work on first: {row['note'] or 'the golfer was not assessed'}."
    what = _what(row, target)
    if row["flagged"]:
        return (
            f"{what}; of all golfers flagged at least as clearly, {wrong_share(row['q_value'])} "
            "are expected to be flagged wrongly."
        )
    shown = f"it is not shown that more than {threshold_yd:g} yd are lost (q = {_q(row['q_value'])})"
    if row["main_cause"] in ("none", "mixed"):
        return f"{what}; {shown}."
    return f"If anything, {what[0].lower()}{what[1:]}; but {shown}."


def _what(row: Mapping[str, Any], target: Target | None) -> str:
    cause, lost = row["main_cause"], row["lost_yd"]
    if cause == "none":
        return f"Nothing stands out to work on: {yards_lost(row)}"
    parts = {name: row[f"lost_{name}_yd"] for name in (*CAUSES, "other") if row[f"lost_{name}_yd"] is not None}
    if cause == "mixed":
        first, second = sorted(parts, key=lambda name: -parts[name])[:2]
        return (
            f"No one part of the {_yd(lost)} lost stands out; "
            f"the largest are {first} ({_yd(parts[first])}) and {second} ({_yd(parts[second])})"
        )
    part = parts[cause]
    way = _direction(cause, row, target)
    if part > lost:
        return f"Work on {cause} first{way}: {cause} alone costs about {_yd(part)} ({_yd(lost)} are lost in all)"
    return f"Work on {cause} first{way}: {cause} costs about {part:.0f} of the {_yd(lost)} lost"


def _direction(cause: str, row: Mapping[str, Any], target: Target | None) -> str:
    """Say which way to go, where the sheet's own figures show it."""
    if target is None:
        return ""
    if cause == "launch":
        return ", aiming higher" if row["launch_deg"] < target.launch_deg else ", aiming lower"
    if cause == "spin":
        return ", for more of it" if row["spin_rpm"] < target.spin_rpm else ", for less of it"
    return ", for more ball speed" if cause == "contact" else ""


def wrong_share(q_value: float) -> str:
    """Word a q value as a share of wrong flags, always rounded to the unsure side."""
    for limit, words in ((0.001, "fewer than 1 in 1000"), (0.01, "fewer than 1 in 100")):
        if q_value < limit:
            return words
    return f"about {math.ceil(round(100 * q_value, 9))} in 100"


def _q(q_value: float) -> str:
    return f"{min(math.ceil(round(100 * q_value, 9)), 100) / 100:.2f}"


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
    way = f"{_yd(abs(step))} {'more' if step > 0 else 'fewer'} lost than in {before['quarter']}"
    edges = [row[f"lost_{end}90_yd"] for row in (before, now) for end in ("lo", "hi")]
    if any(edge is None for edge in edges):
        return f"{way}."
    apart = edges[0] > edges[3] or edges[2] > edges[1]
    told = (
        "the two intervals don't overlap: likely more than chance" if apart else "the intervals overlap: may be chance"
    )
    return f"{way}; {told}."
