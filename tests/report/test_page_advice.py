"""Advice fits the cause, its yards are those shown, and loft is spoken of where it helps alone."""

from dataclasses import replace

import pytest
from page_cases import beyond, chunk_of, code, ground_of, loft, played

from pipeline.report.page.advice import CAUSES
from pipeline.report.page.payload import study_of

FITS = {
    "contact": r"face",
    "launch": "Launch it",
    "spin": "spin",
    "consistency": "alike",
}


def advice(row, **others):
    ground = ground_of(row, **others)
    return chunk_of(ground).advice[row["golfer"]]


@pytest.mark.parametrize("flagged", [True, False])
@pytest.mark.parametrize("cause", CAUSES)
def test_the_first_advice_fits_the_main_cause(cause, flagged):
    off = {"launch_deg": 8.0, "spin_rpm": 4000.0}
    parts = dict.fromkeys(CAUSES, 6.0) | {cause: 5.0}  # another part may be larger in yards
    told = advice(played("1", flagged=flagged, cause=cause, **parts, **off))
    assert FITS[cause] in told[0]["what"]
    assert "5 yd" in told[0]["why"]
    assert len(told) == 3
    assert len({one["what"] for one in told}) == 3


@pytest.mark.parametrize("cause", CAUSES)
def test_contact_and_consistency_are_never_sent_to_loft(cause):
    row = played("1", flagged=True, cause=cause, launch_deg=8.0, spin_rpm=4000.0, **{cause: 20.0})
    (told,) = advice(row, Delivery=[loft("1"), loft("2")])
    assert ("loft" in told["try"]) == (cause in ("launch", "spin"))


@pytest.mark.parametrize(
    ("cause", "off", "which", "helps"),
    [
        ("launch", {"launch_deg": 8.0}, "more loft", True),
        ("launch", {"launch_deg": 8.0}, "less loft", False),
        ("launch", {"launch_deg": 22.0}, "less loft", True),
        ("launch", {"launch_deg": 22.0}, "more loft", False),
        ("spin", {"spin_rpm": 4000.0}, "less loft", True),
        ("spin", {"spin_rpm": 4000.0}, "more loft", False),
        ("spin", {"spin_rpm": 1800.0}, "more loft", True),
        ("spin", {"spin_rpm": 1800.0}, "keep the loft", False),
    ],
)
def test_loft_is_advised_where_it_moves_launch_or_spin_the_right_way(cause, off, which, helps):
    row = played("1", flagged=True, cause=cause, **{cause: 20.0}, **off)
    change = -2.0 if which == "less loft" else 2.0
    (told,) = advice(row, Delivery=[loft("1", advice=which, loft_change_deg=change)])
    assert (f"Try 2 degrees {which}" in told["try"]) == helps


@pytest.mark.parametrize(
    ("cause", "off", "up"),
    [
        ("launch", {"launch_deg": 8.0}, True),
        ("launch", {"launch_deg": 22.0}, False),
        ("spin", {"spin_rpm": 4000.0}, True),
        ("spin", {"spin_rpm": 1800.0}, False),
    ],
)
def test_hitting_up_is_advised_where_it_helps_and_surely_gains(cause, off, up):
    row = played("1", flagged=True, cause=cause, **{cause: 20.0}, **off)
    assert ("Hitting up 3 degrees more" in advice(row, Delivery=[loft("1")])[0]["try"]) == up
    unsure = loft("1", attack_gain_yd=0.4, attack_gain_lo90_yd=0.2, attack_gain_hi90_yd=0.6)
    assert "Hitting up 3" not in advice(row, Delivery=[unsure])[0]["try"]


def test_a_smaller_part_is_added_from_half_the_threshold_on():
    row = played("1", flagged=True, cause="launch", launch=15.0, launch_deg=8.0, contact=5.0, consistency=4.4)
    assert [one["what"] for one in advice(row)] == [
        "Launch it higher, at about 16.0 deg",
        "Find the middle of the face",
    ]


def test_who_is_clear_is_told_not_to_change_much():
    sure, unsure = played("1", cause="contact", contact=4.0), played("1", cause="contact", contact=9.0)
    assert advice(sure)[0]["why"].endswith("Only 4 yd are lost in all, so don't change much for it.")
    assert advice(unsure)[0]["why"].endswith("The loss may be smaller than 10 yd, so don't change much for it.")


@pytest.mark.parametrize(
    ("row", "what", "why"),
    [
        (played("1"), "Leave the swing alone", "The drives go about as far as expected at this speed."),
        (played("1", contact=3.0), "Leave the swing alone", "3 yd are lost, and no part of it is worth a change."),
        (played("1", contact=-5.0), "Leave the swing alone", "The drives go farther than we'd expect at this speed."),
        (played("1", shots=5), "Hit 7 more drives", "5 drives this quarter. It takes 12 to say anything."),
        (played("1", shots=11), "Hit 1 more drive", "11 drives this quarter. It takes 12 to say anything."),
        (played("1", shots=1), "Hit 11 more drives", "1 drive this quarter. It takes 12 to say anything."),
        (beyond("1"), "Wait for more golfers at this speed",
         "Too few golfers here swing near 125 mph to compare with."),
        (played("1", flagged=True, cause="mixed", other=15.0), "Check the readings first",
         "15 yd can't be put down to contact, launch or spin. A reading may be off."),
        (played("1", flagged=True, cause="mixed", other=15.0, contact=None, ball_speed_mph=None),
         "Measure ball speed too",
         "15 yd can't be put down to launch or spin. Without ball speed we can't see contact."),
    ],
)  # fmt: skip
def test_who_has_no_cause_is_told_what_to_do_too(row, what, why):
    (told,) = advice(row)
    assert (told["what"], told["why"]) == (what, why)


def test_the_better_quarter_is_of_golfers_near_the_speed_and_of_enough_of_them():
    slow = [played(str(k), club_speed_mph=80.0, ball_speed_mph=80 * (1.30 + 0.02 * k)) for k in range(5)]
    fast = [played(name, club_speed_mph=100.0, ball_speed_mph=149.0) for name in "abcd"]
    ground = ground_of(*slow, *fast)
    now = chunk_of(ground).now
    assert ground.about(now[code("0")]).better_ratio == pytest.approx(1.36)  # 75th percentile of 1.30 to 1.38
    assert ground.about(now[code("a")]).better_ratio is None


def test_the_strike_that_golfers_are_compared_with_is_the_studys():
    slow = [played(str(k), club_speed_mph=80.0, ball_speed_mph=80 * (1.30 + 0.02 * k), cause="contact", contact=9.0)
            for k in range(5)]  # fmt: skip
    plain = ground_of(*slow)
    ground = replace(plain, frontier=replace(plain.frontier, strike=0.9))
    now = chunk_of(ground).now[code("0")]
    assert ground.about(now).better_ratio == pytest.approx(1.372)  # 90th percentile of 1.30 to 1.38
    told, plainly = chunk_of(ground).advice, chunk_of(plain).advice
    assert "the best tenth at this speed reach 1.37." in told[code("0")][0]["why"]
    assert "the better quarter at this speed reach 1.36." in plainly[code("0")][0]["why"]
    assert "as good as the best tenth at this speed." in told[code("4")][0]["why"]
    assert (study_of(ground)["better"], study_of(plain)["better"]) == ("best tenth", "better quarter")


def test_poorer_drives_are_a_fifth_of_them():
    row = played("1", flagged=True, cause="consistency", consistency=20.0)
    # Half the drives carry 10 yd more than the mean and half 10 yd less, so the median is the mean.
    assert "One in five falls 10 yd or more short of the typical one." in advice(row)[0]["why"]
