"""The first screen: what its sentences say in every case, whom to see first, good news."""

import re

import pytest
from page_cases import CASES, LOW, WILD, chunk_of, code, ground_of, played, progress, study_payload

from pipeline.report.page.quarter_view import changed, first_to_see, good_news, why_first

# Most cases by what they say first and second; third where it isn't a matter of the golfer's own yards.
FIRST = " is flagged in 2026 Q3, the first quarter, so there is nothing to compare with yet."
SAID = {
    "first quarter": (f"1 golfer{FIRST}", "Launch costs most: about 20 yd.",
                      "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this."),
    "first quarter, nobody flagged": (
        "Nobody is flagged in 2026 Q3, the first quarter.",
        "Nothing costs enough to flag anyone: half of the 6 assessed lose 4 yd or less.",
        "Nobody needs to be seen first.",
    ),
    "three golfers": (
        "1 golfer is flagged, with no result in 2026 Q2 to compare with. Nobody was in 2026 Q2.",
        "Contact costs most: about 18 yd.",
        "See g11111 first. Contact costs all of the 18 yd lost. We're sure of this.",
    ),
    "nobody assessed": (
        "Nobody could be assessed this quarter, so we can't say how it went.",
        "With 12 drives from each golfer, we can say what costs most.",
        "Get more drives from the 3 who couldn't be assessed.",
    ),
    "one golfer, not assessed": (
        "Nobody could be assessed this quarter, so we can't say how it went.",
        "With 12 drives from each golfer, we can say what costs most.",
        "Get more drives from the one who couldn't be assessed.",
    ),
    "nobody flagged, nobody before": (
        "Nobody is flagged, as in 2026 Q2.", "Nothing costs enough to flag anyone.", "Nobody needs to be seen first.",
    ),
    "nobody flagged any more": (
        "Nobody is flagged. The one flagged in 2026 Q2 no longer is.", "Nothing costs enough to flag anyone.",
        "Nobody needs to be seen first.",
    ),
    "everyone flagged is through": (
        "Nobody is flagged. Everyone flagged in 2026 Q2 no longer is.", "Nothing costs enough to flag anyone.",
        "Nobody needs to be seen first.",
    ),
    "all still flagged": (
        "2 golfers are flagged, the same as in 2026 Q2.",
        "Launch costs most: it's the main cause for everyone flagged, at about 20 yd each.",
        "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this.",
    ),
    "still flagged, fewer of them": (
        "2 golfers are still flagged. Of the 3 flagged in 2026 Q2, 2 still are and 1 no longer is.",
        "Launch costs most: it's the main cause for everyone flagged, at about 20 yd each.",
        "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this.",
    ),
    "every movement": (
        "4 golfers are flagged: 2 still, 1 new and 1 who had no result in 2026 Q2. Of the 7 flagged in 2026 Q2, "
        "2 still are, 2 no longer are, 1 couldn't be assessed now and 2 hit no drives now.",
        "Spin costs most: it's the main cause for everyone flagged, at about 15 yd each.",
        "See g11111 first. Too much spin costs all of the 15 yd lost. We're sure of this.",
    ),
    "nobody flagged before": (
        "1 golfer is newly flagged. Nobody was in 2026 Q2.", "Launch costs most: about 20 yd.",
        "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this.",
    ),
    "nobody could be assessed before": (
        "1 golfer is flagged, with no result in 2026 Q2 to compare with. Nobody could be assessed in 2026 Q2.",
        "Launch costs most: about 20 yd.",
        "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this.",
    ),
    "tied causes": (
        "2 golfers are flagged in 2026 Q3, the first quarter, so there is nothing to compare with yet.",
        "Launch and contact cost most: each is the main cause for 1 of the 2 flagged, at about 20 and 18 yd.",
        "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this.",
    ),
    "each another cause": (
        "4 golfers are flagged in 2026 Q3, the first quarter, so there is nothing to compare with yet.",
        "Launch costs most: it's the main cause for 2 of the 4 flagged, at about 20 yd each.",
        "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this.",
    ),
    "one cause of several, once": (
        "3 golfers are flagged in 2026 Q3, the first quarter, so there is nothing to compare with yet.",
        "Launch costs most: it's the main cause for 1 of the 3 flagged, at about 20 yd.",
        "See g11111 first. A low launch costs all of the 20 yd lost. We're sure of this.",
    ),
    "mixed alone": (
        f"1 golfer{FIRST}", "No single cause stands out.",
        "See g11111 first. Of 17 yd lost, contact costs 9 and launch 8. We're sure of this.",
    ),
    "mixed, all": (
        "2 golfers are flagged in 2026 Q3, the first quarter, so there is nothing to compare with yet.",
        "No single cause stands out among the 2 flagged.",
        "See g11111 first. Of 14 yd lost, launch costs 7, and the rest isn't one thing. We're sure of this.",
    ),
    "unsure": (f"1 golfer{FIRST}", "Launch costs most: about 14 yd.",
               "See g11111 first. A low launch costs all of the 14 yd lost. That's likely."),
    "unsure how much": (
        f"1 golfer{FIRST}", "Launch costs most: about 11 yd.",
        "See g11111 first. A low launch costs all of the 11 yd lost. We can't tell yet how much it is.",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SAID)
def test_sentences_of_each_case(name):
    rows, others = CASES[name]
    assert tuple(study_payload(*rows, **others)["quarter"]["sentences"]) == SAID[name]


@pytest.mark.parametrize("name", CASES)
def test_the_numbers_of_the_first_sentence_add_up(name):
    rows, others = CASES[name]
    quarter = study_payload(*rows, **others)["quarter"]
    told = re.sub(r"\d{4} Q\d", "", quarter["sentences"][0])
    for total, parts in re.findall(r"(?:^|\. )(?:Of the )?(\d+) [^:,.]*[:,] ((?:\d+ [^,.]*(?:, | and |\.))+)", told):
        assert int(total) == sum(int(number) for number in re.findall(r"\d+", parts))
    flagged = quarter["counts"]["flagged_now"]["total"]
    if flagged:
        assert quarter["sentences"][0].startswith(f"{flagged} golfer")


def test_the_sum_of_a_sentence_is_found():
    """The pattern of the test above must find sums, or it passes whatever is said."""
    told = study_payload(*CASES["every movement"][0])["quarter"]["sentences"][0]
    assert re.findall(r"(\d+) golfers are flagged: (\d) still, (\d) new and (\d) who", told) == [("4", "2", "1", "1")]


def test_first_come_those_who_surely_lose_most():
    rows = [
        played("1", **{**WILD, "consistency": 38.0, "reach": 16.0}), played("2", **{**LOW, "launch": 36.0}),
        *[played(name, **{**LOW, "launch": yards}) for name, yards in zip("34567", (12, 14, 15, 16, 17), strict=True)],
        played("8", launch=9.0),
    ]  # fmt: skip
    first = first_to_see(ground_of(*rows))
    assert [one["golfer"][1] for one in first] == ["2", "1", "7", "6", "5"]
    assert first[0]["yards"] == {"value": 36, "lo": 33, "hi": 39}
    assert first[1] == {
        "golfer": code("1"), "cause": "consistency", "why": "The poorer drives cost all of the 38 yd lost.",
        "yards": {"value": 38, "lo": 22, "hi": 54}, "sure": "sure", "do": "Make every drive alike",
    }  # fmt: skip


def test_first_goes_by_yards_with_luck_taken_out_where_there_are_any():
    lucky = played("1", **LOW) | {"ranked_lost_yd": 14.0, "ranked_lo90_yd": 11.0, "ranked_hi90_yd": 17.0}
    plain = played("2", **{**LOW, "launch": 18.0})
    assert [one["golfer"][1] for one in first_to_see(ground_of(lucky, plain))] == ["2", "1"]
    unranked = dict.fromkeys(("ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd"))
    assert [one["golfer"][1] for one in first_to_see(ground_of(lucky | unranked, plain | unranked))] == ["1", "2"]


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"cause": "contact", "contact": 12.0, "launch": 4.0}, "Contact costs 12 of the 16 yd lost."),
        ({"cause": "contact", "contact": 20.0, "spin": -4.0},
         "Contact costs 20 yd; the rest of the drive wins 4 yd back, so 16 yd are lost."),
        ({"cause": "launch", "launch": 12.0, "launch_deg": 21.0}, "A high launch costs all of the 12 yd lost."),
        ({"cause": "launch", "launch": 12.0}, "Launch costs all of the 12 yd lost."),
        ({"cause": "spin", "spin": 12.0, "spin_rpm": 2000.0}, "Too little spin costs all of the 12 yd lost."),
        ({"cause": "spin", "spin": 12.0}, "Spin costs all of the 12 yd lost."),
        ({"cause": "mixed", "contact": 7.0, "consistency": 6.0}, "Of 13 yd lost, contact costs 7 and consistency 6."),
        ({"cause": "mixed", "other": 13.0}, "13 yd are lost, and no part of it stands out."),
        ({"cause": "mixed", "other": 8.0, "contact": 5.0},
         "Of 13 yd lost, contact costs 5, and the rest isn't one thing."),
    ],
)  # fmt: skip
def test_why_adds_up(given, expected):
    ground = ground_of(played("1", flagged=True, **given))
    assert why_first(chunk_of(ground).now[code("1")], ground) == expected


def test_good_news_is_of_those_who_clearly_got_better_most_yards_first():
    rows = [played(name, quarter) for name in "12345" for quarter in ("2026Q2", "2026Q3")]
    told = [progress("1", "club_speed"), progress("2", "carry", carry_change_yd=9.4), progress("3"),
            progress("5", "carry", carry_change_yd=11.4),
            progress("4", "lost", "carry", lost_change_yd=-15.2)]  # fmt: skip
    assert good_news(ground_of(*rows, Progress=told)) == [
        {"golfer": code("4"), "what": "15 yd fewer lost and 12 yd more carry", "measures": ["lost", "carry"]},
        {"golfer": code("5"), "what": "11 yd more carry", "measures": ["carry"]},
        {"golfer": code("2"), "what": "9 yd more carry", "measures": ["carry"]},
        {"golfer": code("1"), "what": "2.1 mph more club speed", "measures": ["club_speed"]},
    ]


def test_yards_gained_are_those_between_the_figures_that_stand_beside_them():
    # 31.6 less 20.4 is 11.2, but 32 and 20 are shown.
    rows = [played("1", "2026Q2", launch=31.6, carry_yd=186.4), played("1", launch=20.4, carry_yd=197.6)]
    told = [progress("1", "lost", "carry", lost_change_yd=-11.2, carry_change_yd=11.2)]
    payload = study_payload(*rows, Progress=told)
    quarters = payload["stories"][code("1")]["quarters"]
    assert [one["lost_yd"] for one in quarters] == [32, 20]
    assert payload["quarter"]["good"][0]["what"] == "12 yd fewer lost and 12 yd more carry"
    assert [one["change"] for one in payload["stories"][code("1")]["changes"]][-2:] == [12, -12]


def test_an_older_quarters_progress_is_no_news():
    rows = [played("1", quarter) for quarter in ("2026Q1", "2026Q2", "2026Q3")]
    assert good_news(ground_of(*rows, Progress=[progress("1", "lost", quarter="2026Q2", since="2026Q1")])) == []


def test_no_sentence_speaks_of_statistics():
    for rows, others in CASES.values():
        ground = ground_of(*rows, **others)
        quarter = study_payload(*rows, **others)["quarter"]
        told = " ".join([*quarter["sentences"], *(one["why"] + one["do"] for one in quarter["first"])])
        assert not re.search(r"interval|chance|estimate|residual|posterior|%|expected to be wrong|q =", told)
        assert changed(ground, quarter["counts"]) == quarter["sentences"][0]
