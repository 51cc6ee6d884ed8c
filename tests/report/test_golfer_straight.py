"""How often and how straight, in the view #golfer and on its sheet: words and picture are the story's figures."""

import re

import numpy as np
import pytest
from browser import chromium, open_page, serious_findings  # noqa: F401
from golfer_cases import AWAY, CONTACT, FEW, FIRST, LAUNCH, NO_BALL, RESOLVED, golfers_study
from whole_pages import page_of

# ruff: noqa: F811 - fixtures that are imported above and asked for below
REACH = np.sqrt(4.605170186)  # the root of chi-square of two degrees of freedom that holds 90 %, from a table
NUMBER = r"[\d.]+(?:e[-+]?\d+)?"
PLACE = f"(-?{NUMBER}),(-?{NUMBER})"


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
    def open_one(golfer, path=page_file, **settings):
        page = open_page(path, **settings).page
        page.evaluate("code => { location.hash = `#golfer/${code}`; }", golfer)
        page.wait_for_selector(f".view-golfer[data-golfer='{golfer}'] details")
        return page

    return open_one


def changed_study(payload, golfer, **given):
    """Give the payload with parts of a golfer's story changed."""
    return payload | {"stories": payload["stories"] | {golfer: payload["stories"][golfer] | given}}


def text_of(page, block):
    return " ".join(page.locator(f"[data-block={block}]").inner_text().split())


# --- how often


def test_the_goal_says_how_often_in_tenths_and_from_what(open_golfer):
    told = " ".join(open_golfer(LAUNCH).locator("[data-part=reaching]").inner_text().split())
    assert told == (
        "Today hardly any drives carry 231 yd (likely 0 to 1 of 10). With an efficient strike about 3 of 10 "
        "would. With the goal's club speed too, about 6 of 10 would. 9 of 10 drives carry at least 162 yd, half "
        "of them 187 yd, and 1 of 10 carries 215 yd. This rests on the golfer's own drives and on how other golfers' "
        "drives scatter."
    )


@pytest.mark.parametrize(
    ("shares", "words"),
    [
        ({"at_goal_speed": 0.33}, "strike about 3 of 10 would. 9 of 10 drives carry"),  # no more than without
        ({"today": 0.31, "lo": 0.22, "hi": 0.44}, "Today about 3 of 10 drives carry 231 yd (likely 2 to 4 of 10)."),
        ({"today": 0.31, "lo": 0.28, "hi": 0.34}, "Today about 3 of 10 drives carry 231 yd."),
        ({"today": 0.97, "lo": 0.88, "hi": 1.0}, "Today nearly all drives carry 231 yd (likely 9 to 10 of 10)."),
        ({"efficient": None, "at_goal_speed": 0.5}, "With the goal's club speed and an efficient strike, about 5 of"),
        ({"from": "own"}, "This rests on the golfer's own drives."),
        ({"from": "others"}, "The golfer's own drives are too few"),
    ],
)
def test_shares_are_said_as_people_count_them(open_golfer, payload, tmp_path, shares, words):
    goal = payload["stories"][LAUNCH]["goal"]
    path = tmp_path / "page.html"
    study = changed_study(payload, LAUNCH, goal=goal | {"reaching": goal["reaching"] | shares})
    path.write_text(page_of(study), encoding="utf-8")
    told = " ".join(open_golfer(LAUNCH, path).locator("[data-part=reaching]").inner_text().split())
    assert words in told


def test_a_goal_within_todays_speed_says_nothing_of_more_speed(open_golfer, payload, tmp_path):
    path = tmp_path / "page.html"
    study = changed_study(payload, LAUNCH, goal=payload["stories"][LAUNCH]["goal"] | {"reach": "delivery"})
    path.write_text(page_of(study), encoding="utf-8")
    told = open_golfer(LAUNCH, path).locator("[data-part=reaching]").inner_text()
    assert "With an efficient strike about 3 of 10" in told
    assert "the goal's club speed" not in told


def test_a_goal_without_shares_says_nothing_of_them(open_golfer):
    assert open_golfer(RESOLVED).locator("[data-part=reaching]").count() == 0


# --- how straight


def test_words_of_straightness_are_the_storys(open_golfer):
    told = text_of(open_golfer(LAUNCH), "straight")
    assert "About 5 of 10 land in a 30 yd corridor" in told
    assert "In the corridor: likely 4 to 6 of 10." in told
    assert "On average they come down 6 yd right of the target line (likely 2 to 11 yd right)." in told
    assert "Side spread is 18 yd (likely 16 to 22)" in told
    assert "inside the ellipse, 82 yd by 39 yd" in told  # 2 * 2.146 * 19 and 9
    left = text_of(open_golfer(CONTACT), "straight")
    assert "11 yd left of the target line (likely 7 to 16 yd left)." in left
    assert "Most of this is calculated" in left
    assert "What a cross wind did is taken out." in left
    middle = text_of(open_golfer(AWAY), "straight")
    assert "On average they come down on the target line (likely 4 yd left to 4 yd right)." in middle


def test_carry_and_spread_stand_side_by_side_with_their_verdicts(open_golfer):
    page = open_golfer(LAUNCH)
    rows = page.locator("[data-block=straight] tbody tr")
    told = [(row.get_attribute("data-measure"), row.get_attribute("data-verdict")) for row in rows.all()]
    assert told == [("carry", "better"), ("offline_sd", "worse"), ("offline_mean", "no_clear_change")]
    assert "Longer but wilder: carry is better, and the spread is worse." in text_of(page, "straight")
    assert "+4 yd" in rows.nth(1).inner_text()
    assert open_golfer(CONTACT).locator("[data-block=straight] table").count() == 0


@pytest.mark.parametrize(
    ("together", "words"),
    [("shorter_straighter", "Straighter but shorter"), ("longer_straighter", "Longer and straighter"), (None, "since")],
)
def test_what_carry_and_spread_are_together_is_said_in_a_sentence(open_golfer, payload, tmp_path, together, words):
    straight = payload["stories"][LAUNCH]["straight"] | {"together": together}
    path = tmp_path / "page.html"
    path.write_text(page_of(changed_study(payload, LAUNCH, straight=straight)), encoding="utf-8")
    assert words in open_golfer(LAUNCH, path).locator("[data-block=straight] h3").inner_text()


def drawn_places(page):
    """Give the places of the drives in the picture, and the outline of the ellipse, CSS pixels."""
    plot = page.locator("[data-block=straight] svg")
    dots = plot.locator("[data-mark=dot] circle").evaluate_all(
        "all => all.map((one) => [one.cx.baseVal.value, one.cy.baseVal.value])"
    )
    outline = re.findall(PLACE, plot.locator("[data-mark=line] path").get_attribute("d"))
    return np.array(dots), np.array(outline, dtype=float)


@pytest.mark.parametrize("golfer", [LAUNCH, CONTACT])
@pytest.mark.parametrize("width", [390, 1280])
def test_the_picture_has_one_scale_and_holds_drives_and_ellipse(open_golfer, payload, golfer, width):
    page, straight = open_golfer(golfer, width=width), payload["stories"][golfer]["straight"]
    dots, outline = drawn_places(page)
    drives = np.array(straight["drives"])
    outside = re.search(r"(\d+) drives? lies? outside", text_of(page, "straight"))
    assert len(dots) + (int(outside[1]) if outside else 0) == len(drives) == 40
    assert len(dots) >= 36
    # All of the ellipse lies in the frame.
    box = page.locator("[data-block=straight] svg [data-mark=frame]").evaluate(
        "(one) => { const { x, y, width, height } = one.getBBox(); return { x, y, width, height }; }"
    )
    low, high = (np.array([box["x"], box["y"]]) + np.array([box["width"], box["height"]]) * end for end in (0, 1))
    assert (outline > low).all()
    assert (outline < high).all()
    # Ellipse: its center, and its axes along the tilt, tell the scale.
    center = outline[:-1].mean(axis=0)
    away = np.hypot(*(outline - center).T)
    each = away.max() / (REACH * straight["ellipse"]["long_yd"])
    assert away.min() / each == pytest.approx(REACH * straight["ellipse"]["short_yd"], rel=0.01)
    far = (outline - center)[np.argmax(away)] * [1, -1]  # down is up in a picture
    tilt = np.degrees(np.arctan2(*(far if far[1] > 0 else -far)))
    assert tilt == pytest.approx(straight["ellipse"]["tilt_deg"], abs=2.5)
    # Drives about it, on the same scale across and along.
    told = (dots - center) * [1, -1] / each + [straight["offline_yd"]["value"], straight["ellipse"]["carry_yd"]]
    nearest = np.hypot(*(told[:, None] - drives[None]).T).min(axis=0)
    assert nearest.max() < 0.5


def test_the_picture_says_what_it_shows(open_golfer):
    plot = open_golfer(LAUNCH).locator("[data-block=straight] svg")
    assert plot.get_attribute("role") == "img"
    label = plot.get_attribute("aria-label")
    for part in ("40 drives", "corridor 30 yd wide", "average 6 yd right", "82 yd by 39 yd", "to the right"):
        assert part in label
    away = open_golfer(AWAY).locator("[data-block=straight] svg").get_attribute("aria-label")
    assert away.startswith("Where drives come down, from above: corridor 30 yd wide")


@pytest.mark.parametrize(
    ("golfer", "words"),
    [
        (NO_BALL, "These logs don't say where drives come down."),
        (FIRST, "These logs don't say where drives come down."),
        (FEW, "These logs don't say where drives come down."),
    ],
)
def test_golfers_without_it_have_one_line(open_golfer, golfer, words):
    assert text_of(open_golfer(golfer), "straight") == f"How straight {words}"


def test_a_study_whose_logs_do_not_say_it_says_nothing(open_golfer, payload, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(page_of(changed_study(payload, LAUNCH, straight=None)), encoding="utf-8")
    assert open_golfer(LAUNCH, path).locator("[data-block=straight]").count() == 0


def test_the_curve_is_shown_and_explained_where_it_is_known(open_golfer, payload, tmp_path):
    quarters = payload["stories"][LAUNCH]["quarters"]
    known, unknown = (
        [
            *quarters[:-1],
            quarters[-1] | {"parts": quarters[-1]["parts"] | {"curve": curve, "launch": 31 - (curve or 0)}},
        ]
        for curve in (4, None)
    )
    for told, there in ((known, True), (unknown, False)):
        path = tmp_path / f"{there}.html"
        path.write_text(page_of(changed_study(payload, LAUNCH, quarters=told)), encoding="utf-8")
        page = open_golfer(LAUNCH, path)
        label = page.locator("[data-block=lost] svg").get_attribute("aria-label")
        assert ("Curve 4 yd" in label) == there
        assert ("Curve" in label) == there
        words = page.locator("details", has_text="What the words mean")
        words.locator("summary").click()
        assert ("Curve: " in words.inner_text().replace("Curve\n", "Curve: ")) == there


def test_meters_are_meters(open_golfer, tmp_path):
    path = tmp_path / "metric.html"
    path.write_text(page_of(golfers_study("metres")), encoding="utf-8")
    told = text_of(open_golfer(LAUNCH, path), "straight")
    assert "27 m corridor" in told
    assert "On average they come down 6 m right" in told
    assert "inside the ellipse, 75 m by 35 m" in told
    assert "A meter is as long" in told
    assert " yd" not in told


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_the_parts_are_accessible_and_fit(open_golfer, width, scheme):
    page = open_golfer(CONTACT, width=width, color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert serious_findings(page) == []


def test_the_sheet_has_where_drives_come_down_in_place_of_carries(open_golfer):
    page = open_golfer(LAUNCH)
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    front, back = page.locator(".side").all()
    assert front.locator("[data-block=straight] svg").count() == 1
    assert front.locator("[data-block=carries]").count() == 0
    rows = [row.get_attribute("data-measure") for row in front.locator("[data-block=changes] tbody tr").all()]
    assert rows[1:3] == ["carry", "offline_sd"]
    assert "Longer but wilder" in front.inner_text()
    assert "about 3 of 10 would" in " ".join(back.inner_text().split())
