import pytest

from pipeline.report.sheet.facts import Target
from pipeline.report.sheet.words import (
    against_window,
    change_since,
    figure,
    first_work,
    standing,
    wrong_share,
    yards_lost,
)

TARGET = Target(14.0, 2600.0, None, 1.47)


def row(**changes):
    made = {
        "status": "flagged", "flagged": True, "q_value": 0.0423, "main_cause": "launch", "note": None,
        "launch_deg": 9.0, "spin_rpm": 2600.0, "lost_yd": 20.4, "lost_lo90_yd": 16.0, "lost_hi90_yd": 24.8,
        "lost_contact_yd": 1.0, "lost_launch_yd": 15.2, "lost_spin_yd": 2.0, "lost_consistency_yd": 1.9,
        "lost_other_yd": 0.3,
    }  # fmt: skip
    return made | changes


def test_flagged_golfer_is_told_what_first_and_how_sure():
    assert first_work(row(), TARGET, 10) == (
        "Work on launch first, aiming higher: launch costs about 15 of the 20 yd lost; "
        "of all golfers flagged at least as clearly, about 5 in 100 are expected to be flagged wrongly."
    )


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"launch_deg": 18.0}, "Work on launch first, aiming lower: "),
        (
            {"main_cause": "spin", "spin_rpm": 3400.0},
            "Work on spin first, for less of it: spin costs about 2 of the 20",
        ),
        ({"main_cause": "spin", "spin_rpm": 1900.0}, "Work on spin first, for more of it: "),
        ({"main_cause": "contact"}, "Work on contact first, for more ball speed: contact costs about 1 of the 20 yd"),
        ({"main_cause": "consistency"}, "Work on consistency first: consistency costs about 2 of the 20 yd lost"),
        ({"lost_launch_yd": 23.0}, "launch alone costs about 23 yd (20 yd are lost in all)"),
        (
            {"main_cause": "mixed", "lost_contact_yd": None},
            "No one part of the 20 yd lost stands out; the largest are launch (15 yd) and spin (2 yd)",
        ),
    ],
)
def test_cause_and_direction_are_named(changes, told):
    assert told in first_work(row(**changes), TARGET, 10)


@pytest.mark.parametrize(
    ("q_value", "told"),
    [
        (1e-20, "fewer than 1 in 1000"),
        (0.00099, "fewer than 1 in 1000"),
        (0.001, "fewer than 1 in 100"),
        (0.0099, "fewer than 1 in 100"),
        (0.01, "about 1 in 100"),
        (0.0101, "about 2 in 100"),
        (0.0954, "about 10 in 100"),
    ],
)
def test_share_of_wrong_flags_is_never_told_smaller_than_q(q_value, told):
    assert wrong_share(q_value) == told
    of, among = told.split()[-3::2]
    assert int(of) / int(among) >= q_value


def test_golfer_who_is_not_flagged_is_told_that_nothing_was_shown():
    clear = row(status="clear", flagged=False, q_value=0.3401)
    assert first_work(clear, TARGET, 12.5) == (
        "If anything, work on launch first, aiming higher: launch costs about 15 of the 20 yd lost; "
        "but it is not shown that more than 12.5 yd are lost (q = 0.35)."
    )
    assert first_work(clear | {"main_cause": "none", "lost_yd": 0.6, "lost_lo90_yd": -0.4}, TARGET, 10) == (
        "Nothing stands out to work on: 1 yd lost (90 % interval 0 to 25 yd lost); "
        "it is not shown that more than 10 yd are lost (q = 0.35)."
    )


def test_unassessed_golfer_gets_no_advice():
    told = first_work(row(status="not_assessed", flagged=False, q_value=None, note="8 drives, too few"), None, 10)
    assert told == "Nothing can be said about what to work on first: 8 drives, too few."


def test_gain_is_told_as_gain():
    assert yards_lost(row(lost_yd=-2.2, lost_lo90_yd=None)) == "2 yd gained"
    assert yards_lost(row(lost_yd=None)) == "yards lost are not known"


@pytest.mark.parametrize(
    ("value", "decimals", "text"), [(-0.04, 1, "0.0"), (2855.0, -1, "2860"), (13.26, 1, "13.3"), (-3.0, 0, "-3")]
)
def test_figures_are_rounded_without_a_negative_nil(value, decimals, text):
    assert figure(value, decimals) == text


@pytest.mark.parametrize(
    ("moved", "told"),
    [
        (199.9, "below the 25th percentile"),
        (200.0, "between the 25th and the 50th percentile"),
        (225.0, "between the 75th and the 90th percentile"),
        (230.0, "at or above the 90th percentile"),
        (None, ""),
    ],
)
def test_standing_lies_between_the_right_percentiles(moved, told):
    band = {f"band_carry_p{p}_yd": value for p, value in ((25, 200.0), (50, 210.0), (75, 220.0), (90, 230.0))}
    assert standing(band | {"moved_yd": moved}) == told
    assert standing(dict.fromkeys(band, None) | {"moved_yd": moved}) == ""


def test_standing_goes_by_the_percentiles_that_are_told():
    band = {
        "band_carry_p25_yd": None,
        "band_carry_p50_yd": 210.0,
        "band_carry_p75_yd": 220.0,
        "band_carry_p90_yd": None,
    }
    told = [standing(band | {"moved_yd": moved}) for moved in (199.0, 215.0, 240.0)]
    assert told == [
        "below the 50th percentile",
        "between the 50th and the 75th percentile",
        "at or above the 75th percentile",
    ]


def test_delivery_is_told_against_the_window():
    assert against_window(7.34, 13.75, 16.0, 1, "deg") == "7.3 deg, 6.4 deg below the window (13.8 to 16.0 deg)"
    assert against_window(3204.0, 2700.0, 2900.0, -1, "rpm") == "3200 rpm, 300 rpm above the window (2700 to 2900 rpm)"
    assert against_window(2903.0, 2700.0, 2900.0, -1, "rpm") == "2900 rpm, just above the window (2700 to 2900 rpm)"
    assert against_window(2900.0, 2700.0, 2900.0, -1, "rpm") == "2900 rpm, inside the window (2700 to 2900 rpm)"


def test_change_is_called_more_than_chance_only_where_intervals_are_apart():
    before = row(quarter="2026Q1", lost_yd=30.0, lost_lo90_yd=25.0, lost_hi90_yd=35.0)
    apart = row(quarter="2026Q2", lost_yd=20.0, lost_lo90_yd=16.0, lost_hi90_yd=24.0)
    near = apart | {"lost_hi90_yd": 25.0}
    assert change_since([before, apart]) == (
        "10 yd fewer lost than in 2026Q1; the two intervals don't overlap: likely more than chance."
    )
    assert change_since([before, near]) == "10 yd fewer lost than in 2026Q1; the intervals overlap: may be chance."
    assert change_since([apart, before]).startswith("10 yd more lost than in 2026Q2; the two intervals don't")
    assert change_since([before]) == "There is no earlier quarter to compare with."
    assert change_since([before, near | {"status": "not_assessed"}]) == "Too few assessed quarters to compare."
