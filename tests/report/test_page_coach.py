import re
from dataclasses import replace
from html import unescape

import polars as pl
import pytest
from coach_tables import (
    LIGHT_TOOL,
    changed,
    cohorts_of,
    goals_of,
    newest,
    page_tables,
    practice_of,
    priorities_of,
    slopes,
)
from rows import table_of

from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.report.display import EMPTY
from pipeline.report.page.coach_part import (
    coach_facts,
    goal_facts,
    practice_facts,
    progress_facts,
    show_groups,
    show_verdicts,
    slope_lines,
)
from pipeline.tables.goals import Goals
from pipeline.tables.table_set import TableSet


def test_verdicts_have_mean_changes_and_counts_of_all_golfers():
    assert show_verdicts(cohorts_of(), "2026Q3").table.rows() == [
        ("Club speed, mph", "+0.6", "+0.4 to +0.8", "9", "2"),
        ("Speed ratio", EMPTY, EMPTY, "1", "0"),
        ("Launch, deg", "+0.1", "-0.1 to +0.3", "3", "1"),
        ("Spin, rpm", "-12", "-32 to +8", "0", "0"),
        ("Carry, yd", "+2.3", "+1.8 to +2.8", "7", "4"),
        ("Yards lost, yd", "-0.8", "-1.2 to -0.4", "5", "6"),
    ]


def test_verdicts_of_too_few_golfers_are_not_shown():
    none = cohorts_of().filter("suppressed").with_columns(group=pl.lit(None, pl.String))
    assert show_verdicts(none, "2026Q3").table.is_empty()
    assert progress_facts(none, "2026Q3")["suppressed"]
    assert progress_facts(cohorts_of(), "2026Q4") is None
    assert show_verdicts(cohorts_of(), "2026Q4").table.is_empty()


def test_groups_are_listed_and_a_suppressed_one_says_so_alone():
    first, second = show_groups(cohorts_of(), "2026Q3").table.rows(named=True)

    assert list(first.values()) == [
        "<b>juniors</b>", *[EMPTY] * 8, "not shown (fewer than 5 golfers: their figures are suppressed)",
    ]  # fmt: skip
    assert second["Group"] == "evening"
    assert second["Golfers"] == "21"
    assert second["Carry, yd"] == "2.3 (1.8 to 2.8)"
    assert second["by the strike, yd"] == "0.5 (-0.1 to 1.1)"
    assert (second["Carry better"], second["Carry worse"], second["Note"]) == ("7", "4", "")


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


def test_slopes_are_told_within_golfers_and_by_impact_where_too_few_tell():
    attack, loft = slope_lines(slopes())
    assert attack == (
        "One degree more upward attack goes with launch +0.84 deg (+0.78 to +0.90), spin -31 rpm (-43 to -19), speed "
        "ratio +0.002 (+0.001 to +0.003): swing to swing within 44 golfers, with 90 % intervals."
    )
    assert loft == (
        "One degree more stated loft: too few golfers here show it. The physics of impact says launch +0.80 deg, spin "
        "+208 rpm, speed ratio -0.007."
    )
    assert slope_lines(slopes(loft_used=True))[1].startswith("One degree more stated loft goes with launch +0.70 deg")
    assert slope_lines(slopes().head(0)) == []


def test_facts_are_of_the_quarter(golfers):
    facts = coach_facts(page_tables(golfers), None, "2026Q3")
    count = newest(golfers).height
    assert facts["loft"] == {"golfers": count, "more": count, "less": 0}
    assert coach_facts(page_tables(golfers), None, "2026Q4")["loft"]["golfers"] == 0


@pytest.fixture
def sections(academy_tables, model, settings):
    """Give a function that builds the page and cuts out the coach's sections, as plain words."""
    from test_write_report import NAMES

    from pipeline.report.page.page import build_page

    def build(coach):
        text = build_page(
            tables=TableSet({**academy_tables.frames, **coach.frames}),
            images=dict.fromkeys(NAMES, b""), card="", model=model, light_tool=LIGHT_TOOL, settings=settings,
        )  # fmt: skip
        cut = text[text.index("<h2>Progress") : text.index("<h2>Speed bands")]
        return cut, unescape(" ".join(re.sub(r"<style>.*?</style>|<[^>]*>", " ", cut, flags=re.DOTALL).split()))

    return build


def test_page_tells_progress_goals_slopes_and_practice(sections, golfers):
    markup, told = sections(page_tables(golfers))

    assert "30 golfers assessed in this quarter and an earlier one" in told
    assert "4 golfers drove mostly on another device than before" in told
    assert "another ball" not in told
    assert "On average carry changed by +2.3 yd: +1.5 by club speed, +0.5 by delivery, +0.3 that can't be" in told
    assert (
        "40 of 40 assessed golfers have a goal: the efficient carry of the next speed band, which is near (40)." in told
    )
    assert (
        "40 golfers need more club speed for the goal: at the pace of golfers here it takes 4 quarters in the median "
        "(90 % interval 3 to 7)."
    ) in told
    assert "The median gap to a goal not reached yet is 40 yd; an efficient delivery" in told
    assert "What to work on first: the strike 40." in told
    assert "more loft is worth a try for 40, less loft for 0. These are associations, not promises" in told
    assert "Best speed: 40 gaining, 0 losing, 0 no more than chance, 0 with too few sessions." in told
    assert [caution in told for caution in SPEED_PRACTICE_CAUTIONS] == [True] * len(SPEED_PRACTICE_CAUTIONS)
    assert "<b>juniors" not in markup
    assert "&lt;b&gt;juniors" in markup


def test_page_says_why_nobody_knows_how_long_a_goal_takes(sections, golfers):
    tables = page_tables(golfers)
    never = dict.fromkeys(("quarters", "quarters_lo90", "quarters_hi90"), pl.lit(None, pl.Float64))
    _, told = sections(changed(tables, goals=tables[Goals].with_columns(**never)))
    assert (
        "40 golfers need more club speed for the goal. Nobody can say how long that takes: golfers here gain no speed "
        "that we can see."
    ) in told
    tables = page_tables(golfers)
    goals = tables[Goals].with_columns(quarters_hi90=pl.lit(None, pl.Float64))
    _, told = sections(changed(tables, goals=goals))
    assert "4 quarters in the median (90 % interval 3 or more)." in told


def test_page_says_what_is_not_there(sections, golfers):
    tables = page_tables(golfers, practice=False)
    alone = changed(tables, cohorts=cohorts_of("2026Q2"), delivery_slopes=slopes().head(0))

    _, told = sections(alone)

    assert "No golfer was assessed in an earlier quarter, so there is no progress to show." in told
    assert "The logs have no attack readings that show it." in told
    assert "Speed practice" not in told
    hidden = cohorts_of().with_columns(pl.col("group").replace({"<b>juniors</b>": None}))
    few = changed(tables, cohorts=hidden.filter("suppressed"))
    assert "Fewer than 5 golfers were assessed in an earlier quarter too" in sections(few)[1]
