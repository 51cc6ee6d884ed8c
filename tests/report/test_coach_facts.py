from dataclasses import replace

import polars as pl
from coach_tables import (
    LIGHT_TOOL,
    goals_of,
    newest,
    practice_of,
    priorities_of,
)
from rows import table_of

from pipeline.report.summary.coach_facts import (
    goal_facts,
    practice_facts,
)
from pipeline.tables.goals import Goals


def test_goals_are_counted_and_the_median_is_over_open_goals(golfers):
    now = newest(golfers)
    goals = goals_of(now.head(4)).with_columns(gap_yd=pl.Series([10.0, 20.0, 60.0, -5.0]))
    goals = goals.with_columns(reach=pl.Series(["both", "delivery", "both", "reached"]))
    none = now[4:5].select(
        "golfer", "quarter", "club_speed_mph", "carry_yd", reach=pl.lit("no_goal"), carry_lo90_yd="carry_yd",
        carry_hi90_yd="carry_yd",
    )  # fmt: skip
    missing = table_of(Goals, none)
    goals = pl.concat([goals, missing.with_columns(pl.col("reach").cast(pl.String))])
    firsts = priorities_of(now.head(3)).with_columns(first=pl.Series(["speed", "delivery", "delivery"]))

    facts = goal_facts(goals, firsts)

    assert (facts["golfers"], facts["with_goal"], facts["open"], facts["gap_yd"]) == (5, 4, 3, 20.0)
    assert facts["delivery_yd"] == 12.0
    assert facts["reaches"] == [("reached", 1), ("delivery", 1), ("both", 2), ("no_goal", 1)]
    assert facts["sources"] == [("next band", 4)]
    assert (facts["faster"], facts["quarters"]) == (2, (4.2, 3.0, 6.6))
    assert facts["firsts"] == [("delivery", 2), ("speed", 1)]
    assert facts["gain"] == (0.5, -1.0, 2.0)


def test_no_golfer_has_no_median_and_no_gain(golfers):
    facts = goal_facts(goals_of(golfers.head(0)), priorities_of(golfers.head(0)))
    assert (facts["golfers"], facts["gap_yd"], facts["gain"], facts["firsts"]) == (0, None, None, [])
    assert (facts["sources"], facts["faster"], facts["quarters"]) == ([], 0, None)


def test_an_end_that_nobody_knows_is_later_than_any_other(golfers):
    goals = goals_of(newest(golfers).head(3)).with_columns(quarters_hi90=pl.Series([5.0, None, None]))
    assert goal_facts(goals, priorities_of(golfers.head(0)))["quarters"] == (4.2, 3.0, None)
    one = goals.with_columns(quarters_hi90=pl.Series([5.0, 9.0, None]))
    assert goal_facts(one, priorities_of(golfers.head(0)))["quarters"] == (4.2, 3.0, 9.0)
    never = goals.with_columns(quarters=pl.lit(None, pl.Float64))
    assert goal_facts(never, priorities_of(golfers.head(0)))["quarters"] is None


def test_speed_practice_is_counted_and_the_light_tool_told(golfers):
    table = practice_of(golfers.unique("golfer").head(3))
    table = table.with_columns(trend=pl.Series(["gaining", "losing", "gaining"]))

    facts = practice_facts(table, LIGHT_TOOL)

    assert facts["golfers"] == 3
    assert facts["trends"] == {"gaining": 2, "losing": 1, "no_more_than_chance": 0, "not_assessed": 0}
    assert facts["projections"]["dated"] == 3
    assert facts["light_tool"] == (
        "A light tool's speed counts as 1.20 times the driver's (90 % interval 1.18 to 1.22), from 40 sessions in "
        "which 5 golfers swung both."
    )
    common = replace(LIGHT_TOOL, factor_lo90=None, factor_hi90=None)
    assert practice_facts(table, common)["light_tool"].endswith(
        "common practice without a source, as too few golfers swung both in one session."
    )
    assert practice_facts(table.with_columns(basis=pl.lit("driver")), LIGHT_TOOL)["light_tool"] == ""
    assert practice_facts(None, None) is None
