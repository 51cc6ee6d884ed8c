"""What the summary of a run tells of progress, goals and speed practice."""

import math
from typing import Any

import dataframely as dy
import polars as pl

from pipeline.coach.practice.light_tool import LightTool
from pipeline.shown import number_text
from pipeline.tables.goals import FIRSTS, REACHES, SOURCES
from pipeline.tables.practice import PROJECTIONS, TRENDS
from pipeline.tables.progress import Cohorts

FIRST_WORDS = {
    "delivery": "the strike",
    "speed": "speed",
    "either": "either about as good",
    "cant_tell": "can't tell yet",
}


def progress_facts(cohorts: dy.DataFrame[Cohorts], quarter: str) -> dict[str, Any] | None:
    """Give the quarter's row of all golfers; None where nobody has an earlier quarter."""
    every = cohorts.filter((pl.col("quarter") == quarter) & pl.col("group").is_null())
    return every.row(0, named=True) if every.height else None


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


def _many(words: pl.Series, word: str) -> int:
    return int((words == word).sum())
