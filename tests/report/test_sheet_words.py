import pytest

from pipeline.report.sheet.facts import Target
from pipeline.report.sheet.words import (
    against_window,
    change_since,
    first_work,
    how_sure,
    standing,
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
        "Launch the ball higher first. It costs about 15 of the 20 yd lost. "
        "Of golfers flagged at least this clearly, about 5 in 100 are expected to be flagged wrongly."
    )


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"launch_deg": 18.0}, "Launch the ball lower first. "),
        ({"main_cause": "spin", "spin_rpm": 3400.0}, "Take spin off first. It costs about 2 of the 20 yd lost."),
        ({"main_cause": "spin", "spin_rpm": 1900.0}, "Add spin first. "),
        ({"main_cause": "contact"}, "Work on contact first. It costs about 1 of the 20 yd lost."),
        ({"main_cause": "consistency"}, "Work on consistency first. It costs about 2 of the 20 yd lost."),
        (
            {"lost_launch_yd": 23.0, "lost_other_yd": -7.5},
            "It costs about 23 yd; the rest of the drive gives 3 yd back.",
        ),
        (
            {"lost_launch_yd": 23.0, "lost_contact_yd": -2.6, "lost_other_yd": -3.9},
            "It costs about 23 yd; better contact than most gives 3 yd back.",
        ),
        (
            {"lost_launch_yd": 23.0, "lost_contact_yd": None, "lost_other_yd": -6.5},
            "the rest of the drive gives 3 yd back.",
        ),
        ({"lost_launch_yd": 20.45, "lost_contact_yd": -4.2}, "It costs about all of the 20 yd lost."),
        (
            {"main_cause": "mixed", "lost_contact_yd": None},
            "No single part of the 20 yd lost stands out. The largest are launch (15 yd) and spin (2 yd).",
        ),
    ],
)
def test_cause_and_direction_are_named(changes, told):
    assert told in first_work(row(**changes), TARGET, 10)


def test_direction_needs_a_target():
    told = [first_work(row(main_cause=cause), None, 10) for cause in ("launch", "spin")]
    assert [one.split(" first. ")[0] for one in told] == ["Work on launch", "Work on spin"]


@pytest.mark.parametrize(
    ("q_value", "told"),
    [
        (0.001, "fewer than 1 in 100"),
        (0.0099, "fewer than 1 in 100"),
        (0.01, "about 1 in 100"),
        (0.0101, "about 2 in 100"),
        (0.0954, "about 10 in 100"),
    ],
)
def test_share_of_wrong_flags_is_never_told_smaller_than_q(q_value, told):
    assert how_sure(q_value) == (
        f"Of golfers flagged at least this clearly, {told} are expected to be flagged wrongly."
    )
    of, among = told.split()[-3::2]
    assert int(of) / int(among) >= q_value


@pytest.mark.parametrize("q_value", [1e-20, 0.00099])
def test_a_flag_is_called_sure_below_one_wrong_in_a_thousand(q_value):
    assert how_sure(q_value) == "We're sure of this."
    assert first_work(row(q_value=q_value), TARGET, 10).endswith("of the 20 yd lost. We're sure of this.")


def test_golfer_who_is_not_flagged_reads_that_the_loss_may_be_small():
    clear = row(status="clear", flagged=False, q_value=0.3401)
    assert first_work(clear, TARGET, 12.5) == (
        "Launch is the likeliest place to gain, but the loss may be smaller than 12.5 yd."
    )
    assert first_work(clear | {"main_cause": "none", "lost_yd": 0.6, "lost_lo90_yd": -0.4}, TARGET, 10) == (
        "Nothing stands out to work on: 1 yd lost (90 % interval 0 to 25 yd lost). "
        "It isn't clear that more than 10 yd are lost."
    )


def test_unassessed_golfer_gets_no_advice():
    told = first_work(row(status="not_assessed", flagged=False, q_value=None, note="8 drives, too few"), None, 10)
    assert told == "We can't say what to work on first: 8 drives, too few."


def test_gain_is_told_as_gain():
    assert yards_lost(row(lost_yd=-2.2, lost_lo90_yd=None)) == "2 yd gained"
    assert yards_lost(row(lost_yd=None)) == "yards lost are not known"


@pytest.mark.parametrize(
    ("moved", "told"),
    [
        (199.4, "below the 25th percentile"),
        (199.5, "between the 25th and the 50th percentile"),  # 200 yd, as the sheet shows both
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
    assert against_window(7.34, 13.75, 16.0, "deg") == "7.5 deg, 6.5 deg below the window (14.0 to 16.0 deg)"
    assert against_window(3204.0, 2700.0, 2900.0, "rpm") == "3,200 rpm, 300 rpm above the window (2,700 to 2,900 rpm)"
    assert against_window(2903.0, 2700.0, 2900.0, "rpm") == "2,900 rpm, just above the window (2,700 to 2,900 rpm)"
    assert against_window(2900.0, 2700.0, 2900.0, "rpm") == "2,900 rpm, inside the window (2,700 to 2,900 rpm)"


def test_change_is_called_real_only_where_intervals_are_apart():
    before = row(quarter="2026Q1", lost_yd=30.0, lost_lo90_yd=25.0, lost_hi90_yd=35.0)
    apart = row(quarter="2026Q2", lost_yd=20.0, lost_lo90_yd=16.0, lost_hi90_yd=24.0)
    near = apart | {"lost_hi90_yd": 25.0}
    assert change_since([before, apart]) == "10 yd fewer lost than in 2026 Q1: likely a real change."
    assert change_since([before, near]) == "10 yd fewer lost than in 2026 Q1: this may be chance."
    assert change_since([apart, before]) == "10 yd more lost than in 2026 Q2: likely a real change."
    assert change_since([before]) == "There is no earlier quarter to compare with."
    assert change_since([before, near | {"status": "not_assessed"}]) == "Too few assessed quarters to compare."
