import pytest

from pipeline.report.page.academy_words import REJECT_WORDS, band_sentences, reject_words, value_words
from pipeline.tables.logs import COLUMN_OF_RULE, REQUIRED, WANTED

BAND = {
    "band_mph": 92.5, "golfers": 14, "carry_p50_yd": 208.0, "carry_p50_lo90_yd": 204.0, "carry_p50_hi90_yd": 211.0,
    "efficient_carry_yd": 221.4, "efficient_lo90_yd": 218.7,
    "efficient_hi90_yd": 224.1, "launch_lo_deg": 11.06, "launch_hi_deg": 15.0, "spin_lo_rpm": 2104.0,
    "spin_hi_rpm": 2996.0, "in_window_share": 5 / 14, "suppressed": False,
}  # fmt: skip
HALF = "Half of golfers like these 14 carry less than 208 yd (204 to 211 yd)."


def told(**changed):
    return band_sentences([BAND | changed], half_width_mph=5, min_golfers=5)


def test_a_band_is_told_with_window_and_interval():
    assert told() == [
        (
            "92.5 mph (87.5 to 97.5)",
            "A well struck drive should carry about 221 yd (the true figure most likely lies from 219 to 224 yd). "
            f"Window: launch 11.5 to 15.0 deg, spin 2,150 to 2,950 rpm. {HALF} 5 of them launch and spin it in that "
            "window.",
        )
    ]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"suppressed": True, "golfers": None}, "Not shown, because fewer than 5 golfers have this speed."),
        (
            {"efficient_carry_yd": None, "carry_p50_lo90_yd": None},
            "Half of golfers like these 14 carry less than 208 yd. There are too few drives to say how far a drive "
            "should carry.",
        ),
        ({"efficient_carry_yd": None}, f"{HALF} There are too few drives to say how far a drive should carry."),
        (
            {"spin_hi_rpm": None, "efficient_lo90_yd": None},
            f"A well struck drive should carry about 221 yd. Window: none at this speed. {HALF}",
        ),
    ],
)
def test_what_is_not_known_of_a_band_is_said(changed, said):
    assert told(**changed)[0][1] == said


def test_every_rule_across_columns_and_every_main_value_has_words():
    assert set(COLUMN_OF_RULE) <= set(REJECT_WORDS)
    assert value_words([*REQUIRED, *WANTED, "set_no"]) == [
        "golfer", "time of the drive", "club speed", "launch", "spin", "carry", "ball speed", "set_no",
    ]  # fmt: skip
    assert reject_words(["missing", "some_new_rule"]) == ["the cell is empty", "some new rule"]
