"""What the academy's page tells of progress, goals, speed practice, and of what attack and loft go with."""

import math
from collections.abc import Mapping
from typing import Any

import dataframely as dy
import polars as pl

from pipeline.coach.practice.light_tool import LightTool
from pipeline.coach.progress.measures import MEASURES
from pipeline.report.display import EMPTY, Item, ShownTable, show
from pipeline.report.shown_sums import mean_change
from pipeline.shown import number_text, signed_text
from pipeline.tables.columns import facts_of
from pipeline.tables.delivery import Delivery, DeliverySlopes
from pipeline.tables.goals import FIRSTS, REACHES, SOURCES, Goals, Priorities
from pipeline.tables.practice import PROJECTIONS, TRENDS, Practice
from pipeline.tables.progress import Cohorts
from pipeline.tables.table_set import TableSet

FIRST_WORDS = {
    "delivery": "the strike",
    "speed": "speed",
    "either": "either about as good",
    "cant_tell": "can't tell yet",
}
SOURCE_WORDS = {
    "study": "what the study sets",
    "own speed": "the efficient carry at their own club speed",
    "a year's gain": "what a year's usual gain in club speed allows",
    "a small step": "what 1 mph more club speed allows",
    "next band": "the efficient carry of the next speed band, which is near",
}
REACH_WORDS = {
    "reached": "reached already",
    "delivery": "an efficient delivery reaches it at today's club speed",
    "both": "it takes an efficient delivery and more club speed",
    "speed": "it takes more club speed; the delivery has nothing left to give",
    "beyond_data": "it takes more club speed than golfers here have",
    "no_goal": "no goal",
}
# What a slope's responses are called, with unit and decimals.
RESPONSES = (
    ("launch_deg", "launch", " deg", 2),
    ("spin_rpm", "spin", " rpm", 0),
    ("speed_ratio", "speed ratio", "", 3),
)
GROUPS: tuple[Item, ...] = (
    "group",
    "golfers",
    ("club_speed_change_mph", "club_speed_change_lo90_mph", "club_speed_change_hi90_mph"),
    ("carry_change_yd", "carry_change_lo90_yd", "carry_change_hi90_yd"),
    ("carry_from_speed_yd", "carry_from_speed_lo90_yd", "carry_from_speed_hi90_yd"),
    ("carry_from_delivery_yd", "carry_from_delivery_lo90_yd", "carry_from_delivery_hi90_yd"),
    ("lost_change_yd", "lost_change_lo90_yd", "lost_change_hi90_yd"),
    "carry_better",
    "carry_worse",
    "note",
)


def coach_facts(tables: TableSet, light_tool: LightTool | None, quarter: str) -> dict[str, Any]:
    """Sum the coach's tables up for the page's template.

    Parameters
    ----------
    tables : TableSet
        A study without speed logs has no `Practice`.
    light_tool : LightTool or None
    quarter : str
        The page's, such as 2026Q3.

    Returns
    -------
    dict
        `progress` (from `progress_facts`), `mean_change` (from `pipeline.report.shown_sums.mean_change`), `goals` (from
        `goal_facts`), `loft` (counts of advice), `slopes` (lines) and `practice` (from `practice_facts`, or None).
    """
    advice = tables[Delivery].filter(pl.col("quarter") == quarter)["advice"].cast(pl.String)
    return {
        "progress": progress_facts(tables[Cohorts], quarter),
        "mean_change": mean_change(progress_facts(tables[Cohorts], quarter) or {}),
        "goals": goal_facts(tables[Goals], tables[Priorities]),
        "loft": {"golfers": advice.len(), "more": _many(advice, "more loft"), "less": _many(advice, "less loft")},
        "slopes": slope_lines(tables[DeliverySlopes]),
        "practice": practice_facts(tables.get(Practice), light_tool),
    }


def progress_facts(cohorts: dy.DataFrame[Cohorts], quarter: str) -> dict[str, Any] | None:
    """Give the quarter's row of all golfers; None where nobody has an earlier quarter."""
    every = cohorts.filter((pl.col("quarter") == quarter) & pl.col("group").is_null())
    return every.row(0, named=True) if every.height else None


def show_verdicts(cohorts: dy.DataFrame[Cohorts], quarter: str) -> ShownTable:
    """Show the quarter's row of all golfers, one row per measure; empty where it is missing or suppressed."""
    row, facts = progress_facts(cohorts, quarter) or {"suppressed": True}, facts_of(Cohorts)
    lines = []
    for measure in () if row["suppressed"] else MEASURES:
        one = facts[measure.change()]
        digits = one.decimals
        change, low, high = (row[measure.change(edge)] for edge in ("", "lo90", "hi90"))
        lines.append(
            (
                one.with_unit(one.short),
                EMPTY if change is None else signed_text(change, digits),
                EMPTY if low is None or high is None else f"{signed_text(low, digits)} to {signed_text(high, digits)}",
                str(row[f"{measure.name}_better"]),
                str(row[f"{measure.name}_worse"]),
            )
        )
    names = ("What", "Mean change", "its 90 % interval", "Golfers better", "Golfers worse")
    return ShownTable(pl.DataFrame(lines, schema=dict.fromkeys(names, pl.String), orient="row"), names[:1])


def show_groups(cohorts: dy.DataFrame[Cohorts], quarter: str) -> ShownTable:
    """Show the quarter's rows of groups, by name; a suppressed row says so and nothing else."""
    table = cohorts.filter((pl.col("quarter") == quarter) & pl.col("group").is_not_null()).sort("group")
    hidden = pl.format("not shown ({})", pl.col("note").fill_null("few golfers"))
    return show(
        table.with_columns(note=pl.when("suppressed").then(hidden).otherwise("note")), Cohorts, GROUPS, short=True
    )


def goal_facts(goals: pl.DataFrame, priorities: pl.DataFrame) -> dict[str, Any]:
    """Count goals and what comes first.

    Parameters
    ----------
    goals, priorities : DataFrame
        The tables `Goals` and `Priorities`.

    Returns
    -------
    dict
        `golfers`; `with_goal`; `open`, those who haven't reached it; `gap_yd` and `delivery_yd`, medians over the open
        goals (None where not known); `sources`, `reaches` and `firsts`, lists of name and count; `gain`, the usual gain
        in speed with what 9 golfers in 10 gain between, mph, or None; `faster`, those whose goal takes more speed,
        and `quarters`, the median of their time with the medians of its ends, the last None where there is none; None
        where nobody can say.
    """
    reach, first = goals["reach"].cast(pl.String), priorities["first"].cast(pl.String)
    unmet = goals.filter(~reach.is_in(["reached", "no_goal"]))
    gains = ("speed_gain_mph", "speed_gain_lo90_mph", "speed_gain_hi90_mph")
    known = priorities.select(gains).drop_nulls()
    faster = goals.filter(reach.is_in(["both", "speed"]))
    timed = faster.drop_nulls("quarters")
    source = goals["goal_from"].cast(pl.String)
    return {
        "golfers": goals.height,
        "with_goal": goals.height - _many(reach, "no_goal"),
        "open": unmet.height,
        "gap_yd": unmet["gap_yd"].median(),
        "delivery_yd": unmet["delivery_yd"].median(),
        "sources": [(name, _many(source, name)) for name in SOURCES if _many(source, name)],
        "faster": faster.height,
        "quarters": _median_time(timed) if timed.height else None,
        "reaches": [(name, _many(reach, name)) for name in REACHES if _many(reach, name)],
        "firsts": [(name, _many(first, name)) for name in FIRSTS if _many(first, name)],
        "gain": known.row(0) if known.height else None,
    }


def _median_time(timed: pl.DataFrame) -> tuple[float, float, float | None]:
    """Give the medians of the quarters and of their ends; an open end counts as later than any other."""
    every = timed.select(pl.col("quarters", "quarters_lo90"), pl.col("quarters_hi90").fill_null(float("inf"))).median()
    middle, low, high = every.row(0)
    return middle, low, high if math.isfinite(high) else None


def practice_facts(practice: pl.DataFrame | None, light_tool: LightTool | None) -> dict[str, Any] | None:
    """Count who practices speed and how it goes.

    Returns
    -------
    dict or None
        `golfers`; `trends` and `projections`, counts by name; `per_week`, the median of sessions a week; `light_tool`,
        a sentence where any golfer's speeds rest on it, else empty. None where the study has no speed logs.
    """
    if practice is None:
        return None
    trend, projection = practice["trend"].cast(pl.String), practice["projection"].cast(pl.String)
    lighter = practice["basis"].cast(pl.String).is_in(["light", "both"]).any()
    return {
        "golfers": practice.height,
        "trends": {name: _many(trend, name) for name in TRENDS},
        "projections": {name: _many(projection, name) for name in PROJECTIONS},
        "per_week": practice["sessions_per_week"].median(),
        "light_tool": _light(light_tool) if lighter and light_tool is not None else "",
    }


def _light(tool: LightTool) -> str:
    told = f"A light tool's speed counts as {number_text(tool.factor, 2)} times the driver's"
    if tool.factor_lo90 is None or tool.factor_hi90 is None:
        return f"{told}: common practice without a source, as too few golfers swung both in one session."
    return (
        f"{told} (90 % interval {number_text(tool.factor_lo90, 2)} to {number_text(tool.factor_hi90, 2)}), from "
        f"{tool.pairs} sessions in which {tool.golfers} golfers swung both."
    )


def slope_lines(slopes: pl.DataFrame) -> list[str]:
    """Say in a line each what more attack and more loft go with.

    Parameters
    ----------
    slopes : DataFrame
        The table `DeliverySlopes`.
    """
    within = slopes.filter(pl.col("scope").cast(pl.String) == "within")
    lines = []
    for predictor, name in (("attack_deg", "upward attack"), ("loft_deg", "stated loft")):
        rows = {row["response"]: row for row in within.filter(pl.col("predictor") == predictor).to_dicts()}
        if rows:
            lines.append(_line(rows, name))
    return lines


def _line(rows: Mapping[str, Mapping[str, Any]], name: str) -> str:
    used = any(row["used"] for row in rows.values())
    told = [
        _slope(rows[response], label, unit, decimals, measured=used)
        for response, label, unit, decimals in RESPONSES
        if response in rows and (not used or rows[response]["slope"] is not None)
    ]
    one = f"One degree more {name}"
    if used:
        most = max(row["golfers"] for row in rows.values())
        return f"{one} goes with {', '.join(told)}: swing to swing within {most} golfers, with 90 % intervals."
    return f"{one}: too few golfers here show it. The physics of impact says {', '.join(told)}."


def _slope(row: Mapping[str, Any], label: str, unit: str, decimals: int, *, measured: bool) -> str:
    if not measured:
        return f"{label} {signed_text(row['impact_slope'], decimals)}{unit}"
    low, high = row["lo90"], row["hi90"]
    edges = "" if low is None or high is None else f" ({signed_text(low, decimals)} to {signed_text(high, decimals)})"
    return f"{label} {signed_text(row['slope'], decimals)}{unit}{edges}"


def _many(words: pl.Series, word: str) -> int:
    return int((words == word).sum())
