"""The back of a golfer's sheet: goal, speed or delivery first, what to change, progress, speed practice.

It turns rows of the coach's tables into lines of text; a template lays them out.
"""

from collections.abc import Callable, Mapping
from typing import Any

import polars as pl

from pipeline.coach.progress.measures import MEASURES
from pipeline.report.sheet.words import spaced
from pipeline.report.shown_sums import shown_change, shown_goal
from pipeline.shown import (
    ANGLE_STEP_DEG,
    angle_text,
    number_text,
    rounded,
    signed_text,
    spin_text,
    typed_text,
    whole,
)
from pipeline.tables.columns import ColumnFacts, Table, facts_of
from pipeline.tables.delivery import Delivery
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.practice import Practice
from pipeline.tables.progress import NO_CHANGE, VERDICTS, Progress
from pipeline.tables.table_set import TableSet

KEYS = ("golfer", "quarter")
Row = Mapping[str, Any]

ASSOCIATIONS = (
    "These are associations, not promises: what went together in drives. "
    "Try a change of loft or of ball position with a coach."
)
_GOAL_FROM = {
    "study": "set by the academy",
    "own speed": "the efficient carry at today's club speed",
    "a year's gain": "what a year's usual gain in club speed allows",
    "a small step": "what 1 mph more club speed allows",
    "next band": "the efficient carry of the next speed band, which is near",
}
_GOAL_ROWS = (
    "carry_yd",
    "gap_yd",
    "delivery_yd",
    "speed_yd",
    "efficient_speed_mph",
    "present_speed_mph",
    "quarters",
)
_VERDICTS = {word: word.replace("_", " ") for word in VERDICTS} | {None: "not known"}
_FIRSTS = {
    "delivery": "Work on the strike before speed: it's likely to gain more.",
    "speed": "Work on speed before the strike: it's likely to gain more.",
    "either": "Work on the strike or on speed: about as many yards are likely from each.",
    "cant_tell": "We can't say yet whether the strike or speed would gain more.",
}


def back_rows(tables: TableSet, sheets: pl.DataFrame, newest: str) -> dict[tuple[str, str], dict[str, Row]]:
    """Pick what the tables say of the golfers and quarters that have a sheet.

    Parameters
    ----------
    tables : TableSet
        Those of `BACK`; a study without speed logs has no `Practice`.
    sheets : DataFrame
        golfer and quarter.
    newest : str
        The study's newest quarter: the only one whose sheets show speed practice.

    Returns
    -------
    dict
        For a golfer and quarter the row of each table that has one, by the name of the part that it fills.
    """
    keys = list(KEYS)
    found: dict[tuple[str, str], dict[str, Row]] = {}
    for part, schema, _ in BACK:
        if schema not in tables.frames:
            continue
        frame = tables[schema]
        dated = frame if "quarter" in frame.columns else frame.with_columns(quarter=pl.lit(newest))
        for row in dated.join(sheets.select(keys), on=keys, how="semi").iter_rows(named=True):
            found.setdefault((row["golfer"], row["quarter"]), {})[part] = row
    return found


def back_of(rows: Mapping[str, Row]) -> dict[str, Any]:
    """Word the back of a sheet.

    Parameters
    ----------
    rows : mapping
        Rows by the part that they fill, from `back_rows`; any may be missing.

    Returns
    -------
    dict
        The parts of `BACK`: what is missing is None.
    """
    return {part: write(rows[part]) if part in rows else None for part, _, write in BACK}


def goal_words(row: Row) -> dict[str, Any]:
    """Word a row of `Goals`: `head`, `rows` (what, figure, interval) and `note`."""
    note = _sentence(row["note"])
    if row["goal_yd"] is None:
        return {"head": "No goal.", "rows": [], "note": note}
    head = f"Goal: {number_text(row['goal_yd'])} yd of carry, {_GOAL_FROM[row['goal_from']]}."
    shown = {**row, **shown_goal(row)}
    told = [
        (one.short, f"{number_text(shown[one.name], one.decimals)} {one.unit}".strip(), _edges(row, one))
        for one in (facts_of(Goals)[name] for name in _GOAL_ROWS)
        if row[one.name] is not None and not _pointless(row, one.name)
    ]
    return {"head": head, "rows": told, "note": note}


def _pointless(row: Row, name: str) -> bool:
    """Say whether a figure says nothing: the gap to a goal that is reached, more speed where none is needed."""
    if name in ("quarters", "efficient_speed_mph"):
        return row["reach"] == "delivery" or (name == "quarters" and row[name] == 0)
    return name == "gap_yd" and row["reach"] == "reached"


def first_words(row: Row) -> dict[str, str]:
    """Word a row of `Priorities`: `head` and `text`."""
    head = _FIRSTS[row["first"]]
    low, high = number_text(row["delivery_lo90_yd"]), number_text(row["delivery_hi90_yd"])
    yards = whole(row["delivery_yd"])
    some = f"about {yards} yd" if yards > 0 else "nothing"
    text = f"At this club speed a better delivery has {some} to give (90 % interval {low} to {high} yd). "
    if row["speed_gain_mph"] is None:
        return {"head": head, "text": text + (_sentence(row["note"]) or "")}
    text += (
        f"In a quarter golfers here gain {signed_text(row['speed_gain_mph'], 1)} mph of club speed on average, 9 in 10 "
        f"{_span(row, 'speed_gain', 'mph', 1)} mph; for this golfer that is worth {signed_text(row['speed_yd'])} yd "
        f"({_span(row, 'speed', 'yd', 0)} yd)."
    )
    return {"head": head, "text": text}


def change_words(row: Row) -> list[str]:
    """Word a row of `Delivery` in sentences."""
    if row["gain_yd"] is None:
        return [f"We can't say what a change of loft or attack might bring: {row['note']}."]
    gain = f"about {number_text(row['gain_yd'])} yd (90 % interval {_plain(row, 'gain')} yd)"
    end = row["loft_change_deg"] in (row["loft_least_deg"], row["loft_most_deg"])
    if row["advice"] == "keep the loft":
        nothing = row["loft_change_deg"] == 0 or whole(row["gain_yd"]) == 0
        best = "" if nothing else f" At best, {_loft(row['loft_change_deg'])} gives {gain}."
        loft = f"Leave the loft alone.{best}"
    else:
        loft = (
            f"Try {_loft(row['loft_change_deg'])}{', the most we could test' if end else ''}. With today's attack it "
            f"gives {gain} more carry, with launch {angle_text(row['best_launch_deg'])} and spin "
            f"{spin_text(row['best_spin_rpm'])}."
        )
    told = [loft, _attack(row)]
    if row["loft_by"] == "impact":
        told.append("What loft does is calculated from the physics of impact, not from golfers here.")
    return [*told, ASSOCIATIONS]


def _attack(row: Row) -> str:
    if row["attack_gain_yd"] is None:
        return f"We can't say what more attack would add: {row['note']}."
    more = f"{typed_text(row['attack_change_deg'])} deg more upward attack"
    now = f" (now {angle_text(row['attack_deg'])})" if row["attack_deg"] is not None else ""
    return (
        f"{more}{now}, with {_loft(row['attack_loft_change_deg'])}, might add {number_text(row['attack_gain_yd'])} yd "
        f"on top (90 % interval {_plain(row, 'attack_gain')} yd)."
    )


def _loft(change_deg: float) -> str:
    if change_deg == 0:
        return "today's loft"
    size = typed_text(float(rounded(abs(change_deg), ANGLE_STEP_DEG)))
    return f"{size} degree{'' if size == '1' else 's'} {'less' if change_deg < 0 else 'more'} loft"


def progress_words(row: Row) -> dict[str, Any]:
    """Word a row of `Progress`: `since`, `rows` (what, change, interval, verdict), `carry` and `note`."""
    told = []
    for measure in MEASURES:
        one = facts_of(Progress)[measure.change()]
        change, low, high = (row[measure.change(edge)] for edge in ("", "lo90", "hi90"))
        if change is None:
            told.append((one.short, "not known", "", "not known"))
            continue
        ends = "" if low is None or high is None else f"{_signed(low, one)} to {_signed(high, one)}"
        text = f"{_signed(change, one)} {one.unit}".strip()
        told.append((one.short, text, ends, _VERDICTS[row[f"{measure.name}_verdict"]]))
    return {"since": row["since"], "rows": told, "carry": _carry(row), "note": _sentence(row["note"])}


def _carry(row: Row) -> str:
    if row["carry_from_speed_yd"] is None or row["carry_from_delivery_yd"] is None:
        return ""
    shown = {name: "0" if yards is None else signed_text(yards) for name, yards in shown_change(row).items()}
    parts = [name for name in ("contact", "launch", "spin", "consistency") if row[f"carry_from_{name}_yd"] is not None]
    within = ", ".join(f"{name} {shown[f'carry_from_{name}_yd']}" for name in parts)

    def part(name: str) -> str:
        told = f"{shown[f'carry_from_{name}_yd']} yd"
        edges = [row[f"carry_from_{name}_{end}_yd"] for end in ("lo90", "hi90")]
        return told if None in edges else f"{told} ({signed_text(edges[0])} to {signed_text(edges[1])})"

    return (
        f"Of the change in carry, {shown['carry_change_yd']} yd, club speed brought {part('speed')}, delivery "
        f"{part('delivery')}; {shown['carry_from_other_yd']} yd can't be explained. Delivery: {within}."
    )


def lost_change(row: Row | None) -> str | None:
    """Say how the yards lost moved by the verdict of `Progress`; None where there is no row or no test."""
    if row is None or row["lost_verdict"] is None or row["lost_change_yd"] is None:
        return None
    step, verdict = row["lost_change_yd"], row["lost_verdict"]
    if verdict == NO_CHANGE:
        return f"About the same as in {spaced(row['since'])}."
    way = "more" if step > 0 else "fewer"
    return (
        f"{number_text(abs(step))} yd {way} lost than in {spaced(row['since'])} (90 % interval of the change "
        f"{signed_text(row['lost_change_lo90_yd'])} to {signed_text(row['lost_change_hi90_yd'])} yd): {verdict}."
    )


def practice_words(row: Row) -> list[str]:
    """Word a row of `Practice` in sentences."""
    misread = f", {row['misreads']} of them misread and left out" if row["misreads"] else ""
    told = [
        f"{_count(row['sessions'], 'session')} with {_count(row['swings'], 'swing')} without a ball{misread}, from "
        f"{row['first_on']} to {row['last_on']}: {number_text(row['sessions_per_week'], 1)} sessions a week.",
        _trend(row),
        _projected(row),
    ]
    return [line for line in (*told, _sentence(row["note"])) if line]


def _trend(row: Row) -> str:
    if row["best_mph"] is None:
        return "Too few swings to give a speed."
    low, high = row["best_lo90_mph"], row["best_hi90_mph"]
    tool = {"light": ", from the light tool,", "both": ", from driver and light tool,"}.get(row["basis"], "")
    best = f"Best driver speed{tool} {number_text(row['best_mph'])} mph"
    best += "" if low is None or high is None else f" (90 % interval {number_text(low)} to {number_text(high)} mph)"
    slope = row["best_trend_mph_per_week"]
    if slope is None:
        return f"{best}; gain a week: can't tell yet."
    name, end = "best_trend", "mph_per_week"
    told = f"{best}, {signed_text(slope, 2)} mph a week ({_span(row, name, end, 2)} mph)"
    return f"{told}: {row['trend'].replace('_', ' ')}."


def _projected(row: Row) -> str:
    if row["projection"] == "no_band_above":
        return "No speed band lies above this speed."
    if row["next_band_mph"] is None:
        return "Next speed band: can't tell yet."
    band = f"Next speed band, {row['next_band_mph']:g} mph (from {row['next_band_from_mph']:g} mph)"
    if row["projection"] == "beyond_a_year":
        return f"{band}: more than a year away at this gain."
    if row["projection"] != "dated":
        return f"{band}: can't tell yet."
    late = "with no end in a year" if row["projected_hi90_on"] is None else f"to {row['projected_hi90_on']}"
    return (
        f"{band}: about {row['projected_on']} if the gain goes on (90 % interval {row['projected_lo90_on']} {late}). "
        "Gains often level off."
    )


def _signed(value: float, facts: ColumnFacts) -> str:
    return signed_text(float(rounded(value, facts.step)), facts.decimals)


def _span(row: Row, name: str, unit: str, decimals: int) -> str:
    return " to ".join(signed_text(row[f"{name}_{end}_{unit}"], decimals) for end in ("lo90", "hi90"))


def _plain(row: Row, name: str) -> str:
    return " to ".join(number_text(row[f"{name}_{end}_yd"]) for end in ("lo90", "hi90"))


def _edges(row: Row, facts: ColumnFacts) -> str:
    if facts.name == "quarters":
        return _time(row)
    stem, _, unit = facts.name.rpartition("_")
    if f"{stem}_lo90_{unit}" not in row:
        return ""
    edges = [row[f"{stem}_{end}_{unit}"] for end in ("lo90", "hi90")]
    low, high = ("beyond the data" if edge is None else number_text(edge, facts.decimals) for edge in edges)
    return "beyond the data" if edges == [None, None] else f"{low} to {high}"


def _time(row: Row) -> str:
    low, high = row["quarters_lo90"], row["quarters_hi90"]
    if low is None:
        return ""
    return f"{number_text(low, 0)} or more" if high is None else f"{number_text(low, 0)} to {number_text(high, 0)}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _sentence(note: str | None) -> str | None:
    return f"{note[0].upper()}{note[1:]}." if note else None


# The parts of the back: what the template calls each, the table that fills it, and what words a row.
BACK: tuple[tuple[str, type[Table], Callable[[Row], Any]], ...] = (
    ("goal", Goals, goal_words),
    ("first", Priorities, first_words),
    ("change", Delivery, change_words),
    ("progress", Progress, progress_words),
    ("practice", Practice, practice_words),
)
