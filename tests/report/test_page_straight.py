"""How often golfers reach their goal and how straight they drive: the page's data equal the tables."""

import numpy as np
import polars as pl
import pytest
from page_cases import FRONTIER, SETTINGS, code, drives_of, goal, played, progress, tables_of
from rows import table_of
from small_academy import FLIGHT
from straight_cases import changed, landings, not_straight, straight
from whole_pages import payload_of

from pipeline.coach.straightness.offline import COLUMNS, SideFlight, landings_of
from pipeline.drives import Drives
from pipeline.report.page.facts import MOST_DRIVES
from pipeline.report.page.straight_part import TOGETHER, is_known, landings_to_draw
from pipeline.tables.goals import SHARE_SOURCES, Goals
from pipeline.tables.logs import DriveTable
from pipeline.tables.straightness import Straightness

NEWEST = "2026Q3"
SIDE = SideFlight.of(FLIGHT, FRONTIER.air)


def stories(*rows, drawn=None, drives=None, **others):
    drives = drives_of(rows) if drives is None else drives
    inputs = {"frontier": FRONTIER, "drives": drives, "settings": SETTINGS, "landings": drawn}
    return payload_of(tables=tables_of(rows, **others), **inputs)["stories"]


# --- how often


@pytest.mark.parametrize("source", SHARE_SOURCES)
def test_shares_of_drives_are_those_of_the_goals(source):
    given = {
        "share_reaching": 0.31234, "share_reaching_lo90": 0.2, "share_reaching_hi90": 0.44, "share_efficient": 0.52,
        "share_at_goal_speed": 0.61, "nine_of_ten_yd": 170.2, "five_of_ten_yd": 200.4, "one_of_ten_yd": 222.6,
        "share_from": source,
    }  # fmt: skip
    told = stories(played("1"), Goals=[goal("1", **given)])[code("1")]["goal"]["reaching"]
    [row] = table_of(Goals, [goal("1", **given)]).to_dicts()
    assert (told["today"], told["lo"], told["hi"]) == (0.3123, row["share_reaching_lo90"], row["share_reaching_hi90"])
    assert (told["efficient"], told["at_goal_speed"]) == (row["share_efficient"], row["share_at_goal_speed"])
    assert [told[f"{number}_yd"] for number in ("nine", "five", "one")] == [170.2, 200.4, 222.6]
    assert told["from"] == source


def test_a_goal_without_shares_says_nothing_of_them():
    assert stories(played("1"), Goals=[goal("1")])[code("1")]["goal"]["reaching"] is None


# --- how straight


def test_figures_of_straightness_are_those_of_the_table():
    row = straight("1", calculated=20, cross_wind_yd=4.0)
    told = stories(played("1"), Straightness=[row])[code("1")]["straight"]
    assert told["known"]
    assert told["corridor_yd"] == row["corridor_yd"]
    for name, column, unit in (
        ("offline_yd", "offline_mean", "_yd"),
        ("spread_yd", "offline_sd", "_yd"),
        ("in_corridor", "in_corridor_share", ""),
    ):
        ends = {"value": "", "lo": "_lo90", "hi": "_hi90"}
        assert told[name] == {key: row[f"{column}{end}{unit}"] for key, end in ends.items()}
    assert [told["ellipse"][name] for name in ("long_yd", "short_yd", "tilt_deg")] == [19.0, 9.0, 70.0]
    assert told["notes"] == ["calculated", "wind"]
    assert (told["together"], told["drives"]) == (None, [])


def test_drives_and_ellipse_lie_about_the_golfers_carry_together():
    """Device and ball add 5 yd here: taken out of the drives and of the ellipse alike."""
    row, straightness = played("1"), straight("1", carry_yd=221.0)
    drives = drives_of([row]).with_columns(pl.col("carry_standard_yd") + 5.0)
    drawn = landings(straightness)
    told = stories(row, drives=drives, drawn=drawn, Straightness=[straightness])[code("1")]["straight"]
    assert told["ellipse"]["carry_yd"] == pytest.approx(216.0)
    shown = np.array(told["drives"])
    assert shown[:, 0] == pytest.approx(drawn["offline_yd"].to_numpy(), abs=0.0501)
    assert shown[:, 1] == pytest.approx(drawn["carry_yd"].to_numpy() - 5.0, abs=0.0501)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (None, "offline"),
        (not_straight("1"), "offline"),
        (not_straight("1", shots=7, known=7), "few"),
        (not_straight("1", known=9), "partly"),
    ],
)
def test_a_golfer_without_straightness_is_told_why(row, why):
    rows = [straight("2"), *([] if row is None else [row])]
    told = stories(played("1"), played("2"), Straightness=rows)
    assert told[code("1")]["straight"] == {"known": False, "why": why}
    assert told[code("2")]["straight"]["known"]


@pytest.mark.parametrize("others", [{}, {"Straightness": []}])
def test_a_study_whose_logs_do_not_say_it_says_nothing(others):
    assert stories(played("1"), **others)[code("1")]["straight"] is None
    assert not is_known(tables_of([played("1")], **others))


def test_straightness_is_that_of_the_last_quarter_with_drives():
    rows = [straight("1", "2026Q2", offline_mean_yd=1.9), straight("2", "2026Q2"), straight("2", offline_mean_yd=9.0)]
    told = stories(played("1", "2026Q2"), played("2", "2026Q2"), played("2"), Straightness=rows)
    assert [told[code(name)]["straight"]["offline_yd"]["value"] for name in "12"] == [1.9, 9.0]


@pytest.mark.parametrize("carry", ["better", "worse", "no_clear_change"])
@pytest.mark.parametrize("spread", ["better", "worse", "no_clear_change"])
def test_carry_and_spread_are_said_together_where_both_are_clear(carry, spread):
    row = changed(progress("1") | {"carry_verdict": carry}, offline_sd=spread)
    told = stories(played("1"), Progress=[row], Straightness=[straight("1")])[code("1")]
    expected = {
        ("better", "worse"): "longer_wilder",
        ("worse", "better"): "shorter_straighter",
        ("better", "better"): "longer_straighter",
    }
    assert told["straight"]["together"] == expected.get((carry, spread))
    assert expected == TOGETHER
    changes = {one["measure"]: one for one in told["changes"]}
    assert (changes["carry"]["verdict"], changes["offline_sd"]["verdict"]) == (carry, spread)
    assert [changes["offline_sd"][name] for name in ("change", "lo", "hi")] == [4.0, 2.5, 5.5]


def test_the_curve_is_a_part_of_the_yards_lost():
    parts = stories(played("1", curve=4.0, launch=6.0))[code("1")]["quarters"][-1]["parts"]
    assert (parts["curve"], parts["launch"]) == (4.0, 6.0)


# --- drives to draw


def struck(count=100, quarter=NEWEST, **given):
    """Make a golfer's drives: 5 yd farther right with each, in a cross wind where one is given."""
    rows = [
        {"golfer": code("1"), "quarter": quarter, "club_speed_mph": 95.0, "ball_speed_mph": 138.0, "launch_deg": 13.0,
         "spin_rpm": 2700.0, "carry_standard_yd": 210.0 + k, "offline_yd": 5.0 * (k % 21) - 50.0, "row": k + 1} | given
        for k in range(count)
    ]  # fmt: skip
    return table_of(DriveTable, rows).select(COLUMNS)


def test_logged_drives_are_drawn_where_they_came_down_and_thinned_evenly():
    drives = pl.concat([struck(), struck(quarter="2026Q2")])
    drawn = landings_to_draw(Drives.of(drives), NEWEST, SIDE)
    assert drawn.height == MOST_DRIVES
    place = (drawn["carry_yd"] - 210).to_list()
    assert set(np.diff(place)) == {1, 2}
    assert drawn["offline_yd"].to_list() == [5.0 * (k % 21) - 50.0 for k in place]


def test_cross_wind_is_taken_out_and_unlogged_drives_are_flown_as_in_the_table():
    blown = struck(20, wind_cross_mps=4.0)
    flown = struck(20, offline_yd=None, launch_side_deg=1.0, spin_axis_deg=8.0)
    silent = struck(20, offline_yd=None, launch_side_deg=1.0)
    for drives in (blown, flown):
        drawn = landings_to_draw(Drives.of(drives), NEWEST, SIDE)
        assert drawn["offline_yd"].to_list() == landings_of(drives, SIDE)["offline_yd"].to_list()
        assert drawn.height == 20
    calm = landings_to_draw(Drives.of(struck(20)), NEWEST, SIDE)
    windless = landings_to_draw(Drives.of(blown), NEWEST, SIDE)
    assert (calm["offline_yd"] - windless["offline_yd"]).min() > 5
    assert landings_to_draw(Drives.of(silent), NEWEST, SIDE).is_empty()


def test_the_rows_of_the_cases_are_rows_of_the_table():
    assert table_of(Straightness, [straight("1"), not_straight("2")]).height == 2
