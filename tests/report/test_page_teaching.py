"""Landing, directions and the speed plan in the page's data: figures are the tables', sides are said right."""

import pytest
from golfer_cases import CONTACT, LAUNCH, RESOLVED, golfers_study, taught
from page_cases import FRONTIER, SETTINGS, chunk_of, directed, drives_of, played, tables_of
from teaching_cases import band_landed, landed, speed_goal, teaching_tables
from whole_pages import payload_of

from pipeline.report.page.direction_part import direction_of, turn_of, way, ways
from pipeline.report.page.ground import Ground
from pipeline.report.page.landing_part import band_landings_of, landings_of
from pipeline.report.page.said import remarks_of
from pipeline.shown import METRIC, whole
from pipeline.tables.delivery import Delivery
from pipeline.tables.landing import TURFS, Landings
from pipeline.tables.practice import PracticePlan, SpeedGoals
from pipeline.tables.table_set import TableSet


@pytest.fixture(scope="module")
def stories():
    return golfers_study()["stories"]


def rows_of(schema, golfer):
    return [row for row in taught()[schema].to_dicts() if row["golfer"] == golfer]


# --- landing


@pytest.mark.parametrize("golfer", [LAUNCH, CONTACT, RESOLVED])
def test_a_golfers_landing_equals_the_table(stories, golfer):
    told = stories[golfer]["landing"]
    rows = rows_of(Landings, golfer)
    assert [one["turf"] for one in told["turfs"]] == [row["turf"] for row in rows] == list(TURFS)
    assert told["descent_deg"] == rows[0]["descent_deg"]
    assert told["carry_yd"] == stories[golfer]["quarters"][-1]["carry_yd"] == whole(rows[0]["carry_yd"])
    for one, row in zip(told["turfs"], rows, strict=True):
        for name in ("run", "total"):
            ends = {end: row[f"{name}_{end}90_yd"] for end in ("lo", "hi")}
            assert {end: one[name][end] for end in ends} == {end: whole(yards) for end, yards in ends.items()}
        assert one["total"]["value"] == whole(row["total_yd"])
        assert one["run"]["value"] == pytest.approx(row["run_yd"], abs=1.0)
        assert told["carry_yd"] + one["run"]["value"] == one["total"]["value"]
        for name, column in (("gain_yd", "total_gain_yd"), ("cost_yd", "carry_cost_yd")):
            assert one[name] == (None if row[column] is None else whole(row[column]))
        if row["best_launch_deg"] is None:
            assert one["best"] is None
        else:
            assert one["best"]["launch_deg"] == row["best_launch_deg"]
            assert one["best"]["spin_rpm"] == pytest.approx(row["best_spin_rpm"], abs=5)


def ground_with(rows, settings=SETTINGS, **given):
    tables = TableSet({**tables_of(rows).frames, **teaching_tables(**given)})
    return Ground(tables, FRONTIER, drives_of(rows), settings)


def test_metres_of_run_add_up_too():
    # 218.3 yd are 199.6 m and the run of 13.8 yd 12.6 m: rounded on their own they'd be 200 and 13, but 212 in all.
    rows = [played("1", launch=-0.3)]
    ground = ground_with(rows, SETTINGS | {"units": "metres"}, landings=[landed("1", rows[0]["carry_yd"])])
    (told,) = landings_of(chunk_of(ground)).values()
    normal = told["turfs"][1]
    carry, run, total = (
        round(METRIC.distance_whole(yd), 6)
        for yd in (told["carry_yd"], normal["run"]["value"], normal["total"]["value"])
    )
    assert (carry, run, total) == (200, 12, 212)


def test_an_interval_narrower_than_rounding_still_holds_its_figure():
    # 217.55 yd are shown as 218 and 231.45 as 231: that leaves 13 of run, though 13.9 and its ends are 14.
    same = dict.fromkeys(TURFS, 13.9)
    rows = landed("1", 217.55, same, run_lo90_yd=13.9, run_hi90_yd=13.9)
    (told,) = landings_of(chunk_of(ground_with([played("1", launch=0.45)], landings=[rows]))).values()
    assert told["turfs"][0]["run"] == {"value": 13, "lo": 13, "hi": 14}


def test_a_band_has_its_landing_unless_it_is_suppressed():
    bands = [
        band_landed(90, 218.0),
        [{"band_mph": 100.0, "turf": turf, "suppressed": True, "note": "fewer than 5 golfers"} for turf in TURFS],
    ]
    told = band_landings_of(ground_with([played("1")], bands=bands))
    assert list(told) == ["90"]
    assert [one["total"]["value"] for one in told["90"]["turfs"]] == [224, 232, 243]
    assert [one["run"]["value"] for one in told["90"]["turfs"]] == [6, 14, 25]


def test_a_study_without_these_tables_says_nothing_of_them():
    rows = [played("1")]
    made = payload_of(tables=tables_of(rows), frontier=FRONTIER, drives=drives_of(rows), settings=SETTINGS)
    (story,) = made["stories"].values()
    assert (story["landing"], story["direction"], story["plan"]) == (None, None, None)
    assert made["landings"] == {}


# --- directions


def test_sides_are_said_from_the_sign_to_the_half_degree():
    assert [way(deg) for deg in (-3.1, -0.3, -0.2, 0.0, 0.24, 0.25, 2.6)] == [
        "3 deg left", "0.5 deg left", "straight", "straight", "straight", "0.5 deg right", "2.5 deg right",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (-1, -3, "1 to 3 deg left"),
        (1, 2.5, "1 to 2.5 deg right"),
        (1, -2, "1 deg right to 2 deg left"),
        (0, -2, "0 to 2 deg left"),
        (2, 0, "2 to 0 deg right"),
        (-1.9, -2.1, "2 deg left"),
        (0.1, -0.1, "straight"),
    ],
)
def test_a_way_from_one_direction_to_another(start, end, words):
    assert ways(start, end) == words


def test_directions_equal_the_table(stories):
    for golfer in (LAUNCH, CONTACT, RESOLVED):
        told, (row,) = stories[golfer]["direction"], rows_of(Delivery, golfer)
        figures = [name for name in told if name.endswith("_deg")]
        assert len(figures) == 10
        assert {name: told[name] for name in figures} == {
            name: row[name] if row[name] is None else pytest.approx(row[name], abs=5e-4) for name in figures
        }


def test_the_golfers_own_swings_need_no_hand(stories):
    told = stories[LAUNCH]["direction"]
    assert told["what"] == "To hit up and stay straight, turn the swing 3 deg right"
    assert told["why"] == (
        "Hitting up 3 deg more would turn the path from 1 to 3 deg left (likely 2 to 4 deg left), if nothing else "
        "changes. That's how path and attack went together in this golfer's own swings."
    )
    assert told["hand"] is None
    assert told["start"] == (
        "With today's face and path the ball should start about 1 deg right of the line and bend right (spin axis "
        "about 4.5 deg)."
    )
    assert "with a coach" in told["try"]


def test_geometry_is_told_for_both_hands(stories):
    told = stories[CONTACT]["direction"]
    assert told["what"] == "To hit up and stay straight, a right-hander turns the swing 1.5 deg right"
    assert "from 1 deg right to 1.5 deg left (likely 0.5 to 2.5 deg left)" in told["why"]
    assert "usual plane, 45 deg (common practice, no source)" in told["why"]
    # The mirror image: 2.8 deg to the other side, from 1.2 to 4 deg right.
    assert told["hand"] == "A left-hander's path would go to 4 deg right: turn the swing 4 deg left."
    assert told["start"].endswith("should start on the line and hardly bend.")
    read = stories[RESOLVED]["direction"]
    assert "in the plane as read, 47.5 deg" in read["why"]
    assert "likely" not in read["why"]
    assert read["start"] is None


def test_a_left_handers_path_may_come_out_straight():
    told = direction_of(directed("1", "plane read", path=-2.0, change=-2.1))
    assert told["hand"] == "A left-hander's path would come out straight."


def test_a_path_that_stays_and_a_start_alone_have_their_words():
    steady = direction_of(directed("1", path=0.1, change=-0.1))
    assert steady["what"] == "Hitting up more keeps the path straight"
    assert "would leave the path about as it is, straight (likely 1 deg left to 1 deg right)" in steady["why"]
    alone = direction_of(
        directed("1", path_after_attack_deg=None, path_by=None, swing_direction_turn_deg=None, spin_axis_deg=-3.1)
    )
    assert alone["what"].endswith("and bend left (spin axis about 3 deg).")
    assert (alone["why"], alone["hand"], alone["start"]) == (None, None, None)
    assert direction_of(None) is None
    nothing = dict.fromkeys(("path_after_attack_deg", "start_direction_deg"))
    assert direction_of(directed("1", **nothing)) is None


def test_advice_to_hit_up_says_how_to_stay_straight(stories):
    assert stories[LAUNCH]["advice"][0]["try"].endswith("To stay straight, turn the swing 3 deg right with it.")
    by_plane = [one["try"] for one in stories[CONTACT]["advice"] if "Hitting up" in one["try"]]
    assert by_plane
    assert {
        text.endswith("To stay straight, a right-hander turns the swing 1.5 deg right with it.") for text in by_plane
    } == {True}
    assert turn_of(directed("1", path=0.1, change=0.0)) is None
    assert turn_of(directed("1", swing_direction_turn_deg=None)) is None


# --- the plan


def test_the_plan_equals_the_tables(stories):
    for golfer in (LAUNCH, CONTACT):
        told, rows = stories[golfer]["plan"], rows_of(PracticePlan, golfer)
        assert [one["weeks"] for one in told["weeks"]] == [row["weeks_ahead"] for row in rows] == [4, 8, 12]
        for one, row in zip(told["weeks"], rows, strict=True):
            assert (one["on"], one["sessions"]) == (row["on"].isoformat(), row["sessions"])
            for end, column in (("value", "speed_mph"), ("lo", "speed_lo90_mph"), ("hi", "speed_hi90_mph")):
                value = row[column]
                assert one["speed_mph"][end] == (None if value is None else pytest.approx(value, abs=1e-4))
        (goal,) = rows_of(SpeedGoals, golfer)
        days = [None if day is None else day.isoformat() for day in (goal[f"due{end}_on"] for end in ("", "_lo90"))]
        assert [told["goal"][name] for name in ("due_on", "due_lo_on")] == days
        assert told["goal"]["due"] == goal["due"]
        assert told["goal"]["goal_yd"] == goal["goal_yd"]
        for name, column in (("speed_mph", "goal_speed"), ("light_mph", "light_target")):
            ends = {"value": "", "lo": "_lo90", "hi": "_hi90"}
            assert told["goal"][name] == {key: goal[f"{column}{end}_mph"] for key, end in ends.items()}
        assert (told["sets"], told["rising_sets"], told["rest_days"]) == (120, 41, 2.0)
    assert stories[RESOLVED]["plan"] is None
    assert stories[LAUNCH]["plan"]["with_ball"]
    assert not stories[CONTACT]["plan"]["with_ball"]


def test_remarks_stand_once_as_sentences(stories):
    assert remarks_of(["one; two", None, "two", ""]) == ["One.", "Two."]
    assert stories[CONTACT]["plan"]["notes"] == ["A trend needs 8 sessions over 6 weeks."]


def test_a_goal_alone_makes_a_plan():
    rows = [played("1")]
    made = TableSet({**tables_of(rows).frames, **teaching_tables(goals=[speed_goal("1", "no_goal", goal_yd=None)])})
    payload = payload_of(tables=made, frontier=FRONTIER, drives=drives_of(rows), settings=SETTINGS)
    (story,) = payload["stories"].values()
    assert story["plan"]["weeks"] == []
    assert story["plan"]["goal"]["goal_yd"] is None
    assert story["plan"]["sets"] is None
