from datetime import date

import polars as pl
import pytest
from coach_tables import delivery_of, goals_of, practice_of, priorities_of, progress_of, sheet_tables

from pipeline.report.sheet.back import (
    ASSOCIATIONS,
    back_of,
    back_rows,
    change_words,
    first_words,
    goal_words,
    lost_change,
    practice_words,
    progress_words,
)
from pipeline.tables.goals import SOURCES

ONE = pl.DataFrame(
    {
        "golfer": ["g1"], "quarter": ["2026Q3"], "shots": [30], "club_speed_mph": [91.0], "carry_yd": [201.4],
        "launch_deg": [11.0], "spin_rpm": [2900.0], "status": ["clear"],
    }
)  # fmt: skip


def row_of(make, **changes):
    return make(ONE).row(0, named=True) | changes


def test_goal_is_told_with_gap_parts_and_speeds():
    words = goal_words(row_of(goals_of))

    assert words["head"] == "Goal: 241 yd of carry, the efficient carry of the next speed band, which is near."
    assert words["note"] == (
        "An efficient delivery and about 9 mph more club speed reach the goal; about 4 quarters at the pace of "
        "golfers here."
    )
    assert words["rows"] == [
        ("Carry now", "201 yd", "198 to 204"),
        ("Gap to the goal", "40 yd", "37 to 43"),
        ("of it by the strike, at this club speed", "12 yd", "9 to 15"),
        ("of it by more club speed", "28 yd", "25 to 31"),
        ("Club speed for the goal, efficient delivery", "100 mph", "99 to 101"),
        ("Club speed for the goal, delivery as now", "104 mph", "103 to 105"),
        ("Quarters at the pace of golfers here", "4", "3 to 7"),
    ]


def test_goal_beyond_the_data_or_reached_or_missing_is_told_as_such():
    open_end = {label: end for label, _, end in goal_words(row_of(goals_of, present_speed_hi90_mph=None))["rows"]}
    assert open_end["Club speed for the goal, delivery as now"] == "103 to beyond the data"
    reached = row_of(
        goals_of, reach="reached", gap_yd=-3.0, delivery_yd=None, speed_yd=None, present_speed_mph=None, quarters=0.0
    )
    labels = [label for label, *_ in goal_words(reached)["rows"]]
    assert labels == ["Carry now", "Club speed for the goal, efficient delivery"]
    assert goal_words(row_of(goals_of, goal_from="study"))["head"].endswith("of carry, set by the academy.")
    none = goal_words(row_of(goals_of, goal_yd=None, note="the data end at 119 mph"))
    assert none == {"head": "No goal.", "rows": [], "note": "The data end at 119 mph."}


def test_where_the_pace_may_be_zero_the_time_has_no_end():
    def time(**changes):
        rows = goal_words(row_of(goals_of, **changes))["rows"]
        return [row[1:] for row in rows if row[0] == "Quarters at the pace of golfers here"]

    assert time(quarters_hi90=None) == [("4", "3 or more")]
    assert time(quarters=None, quarters_lo90=None, quarters_hi90=None) == []
    assert time(quarters=0.0) == []


def test_where_delivery_alone_reaches_the_goal_no_speed_for_it_is_shown():
    labels = [label for label, *_ in goal_words(row_of(goals_of, reach="delivery", quarters=0.0))["rows"]]
    assert labels[-1] == "Club speed for the goal, delivery as now"
    assert "Club speed for the goal, efficient delivery" not in labels


@pytest.mark.parametrize("source", SOURCES)
def test_every_source_of_a_goal_has_words(source):
    assert goal_words(row_of(goals_of, goal_from=source))["head"].startswith("Goal: 241 yd of carry, ")


def test_what_comes_first_is_said():
    assert first_words(row_of(priorities_of)) == {
        "head": "Work on the strike before speed: it's likely to gain more.",
        "text": "At this club speed a better delivery has about 12 yd to give (90 % interval 9 to 15 yd). In a quarter "
        "golfers here gain +0.5 mph of club speed on average, 9 in 10 -1.0 to +2.0 mph; for this golfer that is "
        "worth +1 yd (-3 to +5 yd).",
    }
    speed = first_words(row_of(priorities_of, first="speed", confidence=0.85, delivery_yd=-0.2))
    assert speed["head"] == "Work on speed before the strike: it's likely to gain more."
    assert "has nothing to give" in speed["text"]
    unsure = first_words(row_of(priorities_of, first="cant_tell", confidence=None))
    assert unsure["head"] == "We can't say yet whether the strike or speed would gain more."
    either = first_words(row_of(priorities_of, first="either", confidence=None))
    assert either["head"] == "Work on the strike or on speed: about as many yards are likely from each."


def test_unknown_gain_in_speed_gives_the_reason():
    unknown = row_of(priorities_of, first="cant_tell", confidence=None, speed_gain_mph=None, note="too few golfers")
    words = first_words(unknown)
    assert words["head"] == "We can't say yet whether the strike or speed would gain more."
    assert words["text"].endswith("(90 % interval 9 to 15 yd). Too few golfers.")


def test_advice_on_loft_and_attack_has_its_caution():
    assert change_words(row_of(delivery_of)) == [
        "Try 2.5 degrees more loft. With today's attack it gives about 7 yd (90 % interval 5 to 9 yd) more "
        "carry, with launch 14.0 deg and spin 2,800 rpm.",
        "3 deg more upward attack (now -1.0 deg), with 1.5 degrees less loft, might add 2 yd on top (90 % interval "
        "1 to 3 yd).",
        "What loft does is calculated from the physics of impact, not from golfers here.",
        ASSOCIATIONS,
    ]


def test_loft_to_keep_and_the_end_of_what_was_looked_at_are_told():
    keep = change_words(row_of(delivery_of, advice="keep the loft", loft_change_deg=-0.5, gain_yd=0.6))
    assert keep[0].startswith("Leave the loft alone. At best, 0.5 degrees less loft gives about 1 yd (90 % interval")
    nothing = change_words(row_of(delivery_of, advice="keep the loft", loft_change_deg=-0.5, gain_yd=0.4))
    assert nothing[0] == "Leave the loft alone."
    still = change_words(row_of(delivery_of, advice="keep the loft", loft_change_deg=0.0, loft_by="golfers"))
    assert still[0] == "Leave the loft alone."
    assert len(still) == 3
    for change, size in ((4.0, "Try 4 degrees more loft, the most we could test. "), (1.0, "Try 1 degree more loft. ")):
        assert change_words(row_of(delivery_of, loft_change_deg=change))[0].startswith(size)


def test_what_cannot_be_told_of_loft_and_attack_gives_its_reason():
    unread = row_of(delivery_of, gain_yd=None, note="no attack readings")
    assert change_words(unread) == ["We can't say what a change of loft or attack might bring: no attack readings."]
    beyond = change_words(row_of(delivery_of, attack_gain_yd=None, note="more attack would leave the data"))
    assert beyond[1] == "We can't say what more attack would add: more attack would leave the data."


def test_progress_has_change_interval_verdict_and_where_the_carry_came_from():
    words = progress_words(row_of(progress_of))

    assert words["since"] == "2026Q2"
    assert words["rows"] == [
        ("Club speed", "+1.4 mph", "+0.9 to +1.9", "better"),
        ("Speed ratio", "0.00", "-0.01 to +0.01", "no clear change"),
        ("Launch", "+0.5 deg", "-0.5 to +1.0", "no clear change"),
        ("Spin", "-50 rpm", "-150 to +100", "no clear change"),
        ("Carry", "+8 yd", "+6 to +10", "better"),
        ("Yards lost", "-4 yd", "-6 to -2", "better"),
    ]
    assert words["carry"] == (
        "Of the change in carry, +8 yd, club speed brought +4 yd (+3 to +5), delivery +3 yd (+2 to +5); "
        "+1 yd can't be explained. Delivery: contact +1, launch +3, spin -1, consistency 0."
    )


def test_unknown_ball_speed_is_told_as_unknown():
    row = row_of(progress_of, speed_ratio_change=None, speed_ratio_verdict=None, carry_from_contact_yd=None)
    words = progress_words(row)
    assert words["rows"][1] == ("Speed ratio", "not known", "", "not known")
    assert "Delivery: launch +3" in words["carry"]


def test_change_of_yards_lost_needs_a_verdict():
    worse = row_of(progress_of, lost_change_yd=4.0, lost_verdict="worse")
    assert lost_change(worse).startswith("4 yd more lost than in 2026 Q2 (90 % interval of the change ")
    assert lost_change(worse).endswith(" yd): worse.")
    same = row_of(progress_of, lost_change_yd=4.0, lost_verdict="no_clear_change")
    assert lost_change(same) == "About the same as in 2026 Q2."
    assert lost_change(row_of(progress_of, lost_verdict=None)) is None
    assert lost_change(None) is None


def test_speed_practice_is_told_with_gain_sessions_and_day():
    assert practice_words(row_of(practice_of)) == [
        "40 sessions with 700 swings without a ball, 3 of them misread and left out, from 2026-04-10 to 2026-09-19: "
        "1.7 sessions a week.",
        "Best driver speed, from the light tool, 101 mph (90 % interval 100 to 103 mph), +0.25 mph a week (+0.13 "
        "to +0.38 mph): gaining.",
        "Next speed band, 110 mph (from 105 mph): about 2027-01-08 if the gain goes on (90 % interval 2026-12-01 with "
        "no end in a year). Gains often level off.",
        "At the slow end it takes more than a year.",
    ]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"projection": "cannot_tell_yet"}, "Next speed band, 110 mph (from 105 mph): can't tell yet."),
        (
            {"projection": "beyond_a_year"},
            "Next speed band, 110 mph (from 105 mph): more than a year away at this gain.",
        ),
        ({"projection": "no_band_above", "next_band_mph": None}, "No speed band lies above this speed."),
        ({"projected_hi90_on": date(2027, 3, 1)}, "(90 % interval 2026-12-01 to 2027-03-01)"),
        ({"trend": "no_more_than_chance"}, "(+0.13 to +0.38 mph): no more than chance."),
        ({"best_trend_mph_per_week": None, "trend": "not_assessed"}, "103 mph); gain a week: can't tell yet."),
        ({"basis": "driver"}, "Best driver speed 101 mph"),
        ({"best_mph": None}, "Too few swings to give a speed."),
    ],
)
def test_speed_practice_that_cannot_be_told_is_told_so(changes, told):
    assert told in " ".join(practice_words(row_of(practice_of, **changes)))


def test_rows_go_to_their_golfer_and_quarter():
    two = pl.concat([ONE, ONE.with_columns(golfer=pl.lit("g2"))])
    sheets = pl.DataFrame({"golfer": ["g2", "g1"], "quarter": ["2026Q3", "2026Q2"]})

    found = back_rows(sheet_tables(two), sheets, "2026Q3")

    assert set(found) == {("g2", "2026Q3")}
    assert set(found["g2", "2026Q3"]) == {"goal", "first", "change", "progress", "practice"}
    assert set(back_rows(sheet_tables(two, practice=False), sheets, "2026Q3")["g2", "2026Q3"]) == {
        "goal", "first", "change", "progress",
    }  # fmt: skip
    alone = back_of({"progress": row_of(progress_of)})
    assert [name for name, words in alone.items() if words is not None] == ["progress"]
