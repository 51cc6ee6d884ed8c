"""The view #golfer in a browser: figures are the story's, pictures hold the drives, odd cases have their own words."""

import re

import numpy as np
import pytest
from browser import chromium, open_page, serious_findings  # noqa: F401
from golfer_cases import (
    AWAY,
    BEYOND,
    CONTACT,
    FEW,
    FIRST,
    LAUNCH,
    NO_BALL,
    NO_SPIN,
    RESOLVED,
    golfers_study,
)
from whole_pages import page_of

from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.shown import angle_figure, number_text, ratio_text, spin_figure

# ruff: noqa: F811 - fixtures that are imported above and asked for below
DASH = "\N{EN DASH}"
EVERYBODY = (LAUNCH, CONTACT, FIRST, FEW, BEYOND, NO_BALL, NO_SPIN, RESOLVED, AWAY)
WRITE = {
    "lost": ("lost_yd", number_text),
    "carry": ("carry_yd", number_text),
    "club_speed": ("club_speed_mph", number_text),
    "speed_ratio": ("speed_ratio", ratio_text),
    "launch": ("launch_deg", angle_figure),
    "spin": ("spin_rpm", spin_figure),
}


@pytest.fixture(scope="module")
def payload():
    return golfers_study()


@pytest.fixture(scope="module")
def page_file(payload, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "academy.html"
    path.write_text(page_of(payload), encoding="utf-8")
    return path


@pytest.fixture
def open_golfer(open_page, page_file):
    """Give a function that opens a golfer's view and waits until it is whole."""
    opened = []

    def open_one(golfer, **settings):
        if not opened or settings:
            opened.append(open_page(page_file, **settings).page)
        page = opened[-1]
        page.evaluate("code => { location.hash = `#golfer/${code}`; }", golfer)
        page.wait_for_selector(f".view-golfer[data-golfer='{golfer}'] details")
        return page

    return open_one


def plain(text):
    """Give a figure as Python writes it: a hyphen for a minus."""
    return text.replace("\N{MINUS SIGN}", "-")


def fact(page, name):
    return plain(page.locator(f".golfer-facts [data-fact={name}] dd").inner_text())


def written(quarter, measure):
    key, write = WRITE[measure]
    return DASH if quarter[key] is None else write(quarter[key])


@pytest.mark.parametrize("golfer", EVERYBODY)
def test_every_figure_of_the_newest_quarter_is_the_storys(open_golfer, payload, golfer):
    page, now = open_golfer(golfer), payload["stories"][golfer]["quarters"][-1]
    shown = {name: fact(page, name) for name in (*WRITE, "efficient")}
    for name, (key, write) in (*WRITE.items(), ("efficient", ("efficient_yd", number_text))):
        if now[key] is None:
            assert not re.search(r"\d", shown[name]), name
        else:
            assert shown[name].split(" ")[0] == write(now[key]), name
    if now["lost_yd"] is not None:
        assert f"likely {number_text(now['lo'])} to {number_text(now['hi'])}" in shown["lost"]


@pytest.mark.parametrize("golfer", EVERYBODY)
def test_charts_and_table_hold_every_quarter(open_golfer, payload, golfer):
    page, quarters = open_golfer(golfer), payload["stories"][golfer]["quarters"]
    for quarter in quarters:
        row = page.locator(f".quarters tr[data-quarter='{quarter['quarter']}']")
        assert {name: plain(row.locator(f"[data-measure={name}]").inner_text()) for name in WRITE} == {
            name: written(quarter, name) for name in WRITE
        }
    for name, (key, _) in WRITE.items():
        told = plain(page.locator(f"[data-measure={name}] svg").get_attribute("aria-label"))
        figures = ["not known" if one[key] is None else written(one, name) for one in quarters]
        parts = [f"{one['quarter'].replace('Q', ' Q')} {text}" for one, text in zip(quarters, figures, strict=True)]
        places = [told.find(part) for part in parts]
        assert -1 not in places
        assert places == sorted(places)


@pytest.mark.parametrize("golfer", [LAUNCH, CONTACT, FIRST, RESOLVED, NO_BALL, NO_SPIN])
def test_parts_add_up_as_shown(open_golfer, payload, golfer):
    page, now = open_golfer(golfer), payload["stories"][golfer]["quarters"][-1]
    told = plain(page.locator("[data-block=lost] svg").get_attribute("aria-label"))
    *parts, lost = (int(yards) for yards in re.findall(r"(-?\d+) yd", told))
    assert lost == now["lost_yd"] == sum(parts)
    assert parts == [yards for yards in now["parts"].values() if yards is not None]
    drawn = [plain(text) for text in page.locator("[data-block=lost] svg g[data-mark=text] text").all_text_contents()]
    assert drawn == [f"{yards} yd" for yards in (*parts, lost)]


def centers(page, block):
    """Give where the drives of a picture are drawn, CSS pixels, in the order of the drives."""
    return np.array(
        page.locator(f"[data-block={block}] svg [data-mark=dot] circle").evaluate_all(
            "all => all.map((one) => [one.cx.baseVal.value, one.cy.baseVal.value])"
        )
    )


@pytest.mark.parametrize("golfer", [LAUNCH, CONTACT, BEYOND])
def test_the_picture_of_launch_and_spin_holds_the_drives(open_golfer, payload, golfer):
    page, drives = open_golfer(golfer), np.array(payload["stories"][golfer]["drives"])
    outside = drives[:, 1] > 5500
    drawn = centers(page, "delivery")
    assert len(drawn) == np.count_nonzero(~outside)
    for axis, place, sign in ((0, 1, -1), (1, 0, 1)):
        slope, start = np.polyfit(drives[~outside, axis], drawn[:, place], 1)
        assert sign * slope > 0
        assert np.abs(start + slope * drives[~outside, axis] - drawn[:, place]).max() < 0.1
    told = page.locator("[data-block=delivery]").inner_text()
    assert (f"{outside.sum()} drive" in told) == bool(outside.any())


@pytest.mark.parametrize("golfer", [LAUNCH, CONTACT])
def test_the_picture_of_carries_holds_the_drives(open_golfer, payload, golfer):
    page, drives = open_golfer(golfer), np.array(payload["stories"][golfer]["drives"])
    drawn, carries = centers(page, "carries"), drives[:, 2]
    assert len(drawn) == len(carries)
    slope, start = np.polyfit(carries, drawn[:, 0], 1)
    assert slope > 0
    assert np.abs(start + slope * carries - drawn[:, 0]).max() < 0.1


def test_window_and_best_point_are_named_as_they_are(open_golfer, payload):
    place = payload["stories"][LAUNCH]["place"]
    told = open_golfer(LAUNCH).locator("[data-block=delivery]").inner_text()
    launch, spin = (
        [write(end) for end in place["window"][name]]
        for name, write in (("launch_deg", angle_figure), ("spin_rpm", spin_figure))
    )
    assert f"launch {launch[0]} to {launch[1]} deg, spin {spin[0]} to {spin[1]} rpm" in told
    assert f"Best: {angle_figure(place['best']['launch_deg'])} deg" in told
    assert "Launch is 6.5 deg too low, spin is 200 rpm too high" in told


def test_changes_carry_a_verdict_each(open_golfer):
    page = open_golfer(LAUNCH)
    rows = page.locator("[data-block=changes] tbody tr")
    shown = {row.get_attribute("data-measure"): row.locator("td").all_inner_texts() for row in rows.all()}
    verdicts = {"club_speed": "▲ Better", "carry": "▲ Better", "lost": "▼ Worse", "launch": "◆ Changed"}
    assert {name: cells[2] for name, cells in shown.items()} == {
        name: verdicts.get(name, f"{DASH} No clear change") for name in WRITE
    }
    assert [plain(text) for text in shown["club_speed"]][:2] == ["+1.0 mph", "-1.0 to +3.0"]
    title = page.locator("[data-block=changes] h2").inner_text()
    assert title == "Better: carry, club speed; Worse: yards lost; Changed: launch"


def test_a_change_of_yards_is_the_difference_of_the_figures_beside_it(open_golfer, payload):
    before, now = (quarter["carry_yd"] for quarter in payload["stories"][RESOLVED]["quarters"])
    estimated = next(one["change"] for one in payload["stories"][RESOLVED]["changes"] if one["measure"] == "carry")
    shown = plain(open_golfer(RESOLVED).locator("tr[data-measure=carry] td").first.inner_text())
    assert estimated == 17
    assert shown == f"+{now - before} yd" == "+18 yd"


def test_the_goal_is_a_sum(open_golfer, payload):
    page, goal = open_golfer(LAUNCH), payload["stories"][LAUNCH]["goal"]
    cells = {
        name: int(page.locator(f"[data-goal={name}] td").nth(1).inner_text())
        for name in ("carry_yd", "strike_yd", "speed_yd", "goal_yd")
    }
    assert cells == {name: goal[name] for name in cells}
    assert cells["carry_yd"] + cells["strike_yd"] + cells["speed_yd"] == cells["goal_yd"]
    told = page.locator("[data-block=goal]").inner_text()
    assert "45 yd to find for 231 yd" in told
    assert "about 8 quarters at the usual pace here (likely 4 to 30)" in told


def test_practice_has_its_trend_and_its_figures(open_golfer):
    told = open_golfer(LAUNCH).locator("[data-block=practice]").inner_text()
    assert "rising: +0.15 mph a week" in told
    assert "49 sessions with 1,814 swings from Apr 8, 2026 to Sep 16, 2026, 2.0 a week." in told
    assert "about 97 mph (likely 95 to 98)" in told
    assert "about Jul 18, 2027" in told


def test_the_first_words_say_what_to_do_how_sure_and_why(open_golfer, payload):
    advice = payload["stories"][CONTACT]["advice"]
    told = open_golfer(CONTACT).locator("[data-block=do]").inner_text()
    order = [
        told.index(text) for text in (advice[0]["what"], "Sure: more than 10 yd", advice[0]["why"], advice[0]["try"])
    ]
    assert order == sorted(order)
    more = open_golfer(CONTACT).locator("[data-block=advice]").inner_text()
    assert len(advice) == 3
    assert [text for one in advice[1:] for text in one.values() if text not in more] == []


@pytest.mark.parametrize(
    ("golfer", "words"),
    [
        (FIRST, ["First quarter: nothing to compare with yet"]),
        (FEW, ["Not assessed", "Hit 5 more drives", "One of the two quarters wasn't assessed"]),
        (BEYOND, ["Not assessed", "There is no window at this speed", "not known at this speed"]),
        (NO_BALL, ["no ball speed", "No ball speed was measured, so contact can't be shown."]),
        (NO_SPIN, ["not measured", "Spin wasn't measured"]),
        (
            RESOLVED,
            ["Good news: flagged in 2026 Q2, and no longer.", "No longer flagged", "The goal of 180 yd is reached"],
        ),
        (AWAY, ["No drives in 2026 Q3. What follows is from 2026 Q2.", "Hit some drives first"]),
    ],
)
def test_odd_cases_have_their_own_words(open_golfer, golfer, words):
    told = open_golfer(golfer).locator("main").inner_text()
    assert [text for text in words if text not in told] == []


def test_an_unknown_code_leads_back(open_page, page_file):
    page = open_page(page_file).page
    page.evaluate("location.hash = '#golfer/g99'")
    page.get_by_text("No golfer here has that code.").wait_for()
    assert page.locator("main a").get_attribute("href") == "#golfers"


def test_words_and_cautions_stand_below(open_golfer):
    page = open_golfer(RESOLVED)
    words = page.locator("details", has_text="What the words mean")
    words.locator("summary").click()
    told = words.inner_text()
    assert [caution for caution in SPEED_PRACTICE_CAUTIONS if caution not in told] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, pytest.param(768, marks=pytest.mark.long), 1280])
@pytest.mark.parametrize("golfer", [LAUNCH, pytest.param(FEW, marks=pytest.mark.long)])
def test_the_view_is_accessible_and_fits(open_golfer, golfer, width, scheme):
    page = open_golfer(golfer, width=width, color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert serious_findings(page) == []


def test_metres_and_kilometres_add_up_too(open_page, tmp_path):
    path = tmp_path / "metric.html"
    path.write_text(page_of(golfers_study("metres")), encoding="utf-8")
    page = open_page(path).page
    page.evaluate("code => { location.hash = `#golfer/${code}`; }", LAUNCH)
    page.wait_for_selector(".view-golfer details")
    told = plain(page.locator("[data-block=lost] svg").get_attribute("aria-label"))
    *parts, lost = (int(metres) for metres in re.findall(r"(-?\d+) m\b", told))
    efficient, carry = (int(fact(page, name).split(" ")[0]) for name in ("efficient", "carry"))
    assert lost == sum(parts) == efficient - carry
    assert fact(page, "club_speed").endswith("km/h")
