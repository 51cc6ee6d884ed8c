"""Landing, directions and the speed plan in the views #golfer and #bands and on the sheet: words, figures, room."""

import pytest
from browser import chromium, open_page, serious_findings  # noqa: F401
from golfer_cases import CONTACT, FEW, LAUNCH, RESOLVED, golfers_study
from whole_pages import page_of

from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.shown import number_text

# ruff: noqa: F811 - fixtures that are imported above and asked for below
HEADS = "rows => rows.map(row => [...row.cells].map(cell => cell.innerText.trim()))"
BANDS = ("80", "90", "100")


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


def text_of(page, block):
    return " ".join(page.locator(f"[data-block={block}]").inner_text().split())


def rows_of(page, block):
    return page.locator(f"[data-block={block}] tbody tr").evaluate_all(HEADS)


def ranged(told):
    """Write a figure with its range as the page has to show it."""
    return f"{number_text(told['value'])} ({number_text(told['lo'])} to {number_text(told['hi'])})"


def changed_study(payload, golfer, **given):
    """Give the payload with parts of a golfer's story changed."""
    return payload | {"stories": payload["stories"] | {golfer: payload["stories"][golfer] | given}}


# --- landing


def test_the_table_of_landing_has_the_storys_figures(open_golfer, payload):
    landing = payload["stories"][LAUNCH]["landing"]
    page = open_golfer(LAUNCH)
    assert rows_of(page, "landing") == [
        [one["turf"], ranged(one["run"]), ranged(one["total"]), "13.5", "2,300", *more]
        for one, more in zip(landing["turfs"], (["0", "0"], ["3", "1"], ["7", "4"]), strict=True)
    ]
    told = text_of(page, "landing")
    assert told.startswith("Drives run 6 yd on soft turf and 24 yd on firm They land at 38.0 deg; run is calculated")
    assert told.endswith(
        "For most total on firm turf: 13.5 deg and 2,300 rpm. Next to the best for carry that's about 7 yd more total "
        "for 4 yd less carry."
    )


def test_where_little_is_to_gain_or_nothing_is_known_it_says_so(open_golfer):
    told = text_of(open_golfer(CONTACT), "landing")
    assert told.endswith("What carries most is about best for total too, on every turf.")
    page = open_golfer(RESOLVED)
    assert [row[3:] for row in rows_of(page, "landing")] == [["\N{EN DASH}"] * 4] * 3
    assert text_of(page, "landing").endswith("Too few golfers near this speed for a best delivery.")
    assert open_golfer(FEW).locator("[data-block=landing]").count() == 0


def test_a_band_shows_its_own_landing(open_page, payload, tmp_path):
    landing = payload["stories"][LAUNCH]["landing"]
    band = {"band_mph": 90.0, "quarter": "2026Q3", "golfers": 8, "shots": 200, "suppressed": False, "window": None}
    band |= {"efficient": {"value": 226, "lo": 224, "hi": 228}, "efficient_total_yd": 240, "speed_ratio_p50": None}
    band |= {"in_window_share": None, **{f"carry_p{p}": 200.0 for p in (25, 50, 75, 90)}}
    hidden = band | {"band_mph": 100.0, "suppressed": True}
    made = payload | {"bands": [band, hidden], "landings": {"90": landing, "100": landing}, "pictures": {}}
    path = tmp_path / "bands.html"
    path.write_text(page_of(made), encoding="utf-8")
    page = open_page(path, width=390).page
    page.evaluate("location.hash = '#bands/90'")
    page.locator("[data-block=landing]").wait_for()
    assert [row[:3] for row in rows_of(page, "landing")] == [
        [one["turf"], ranged(one["run"]), ranged(one["total"])] for one in landing["turfs"]
    ]
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert serious_findings(page) == []
    page.evaluate("location.hash = '#bands/100'")
    page.get_by_role("heading", name="100 mph").wait_for()
    assert page.locator("[data-block=landing]").count() == 0


# --- directions


def test_directions_stand_as_in_the_story(open_golfer, payload):
    for golfer in (LAUNCH, CONTACT, RESOLVED):
        told, page = payload["stories"][golfer]["direction"], open_golfer(golfer)
        shown = text_of(page, "direction")
        texts = [told[name] for name in ("what", "why", "hand", "start", "try") if told[name]]
        places = [shown.find(text) for text in texts]
        assert -1 not in places
        assert places == sorted(places)


# --- the plan


def test_the_plan_has_its_weeks_the_goals_day_and_the_light_tool(open_golfer, payload):
    plan, page = payload["stories"][LAUNCH]["plan"], open_golfer(LAUNCH)
    days = ["Oct 14, 2026", "Nov 11, 2026", "Dec 9, 2026"]
    assert rows_of(page, "plan") == [
        [str(one["weeks"]), day, ranged(one["speed_mph"]), str(one["sessions"])]
        for one, day in zip(plan["weeks"], days, strict=True)
    ]
    told = text_of(page, "plan")
    assert told.startswith("In 12 weeks: about 98 mph (likely 96 to 101) Club speed with a ball: the next weeks")
    assert told.endswith(
        "That's if the trend goes on; gains often level off. Struck well, 231 yd takes 99 mph: that speed is due about "
        "Jan 8, 2027 (hardly before Nov 20, 2026; later or never if the gain levels off). For that, the light tool "
        "should read about 119 mph (likely 117 to 122). 41 of 120 sets rose from swing to swing. Between sessions "
        "there are usually 2 days of rest."
    )


def test_a_plan_that_cannot_be_told_says_so(open_golfer):
    page = open_golfer(CONTACT)
    told = text_of(page, "plan")
    assert told.startswith("Too early to say what the next weeks bring")
    assert (
        "A trend needs 8 sessions over 6 weeks. Struck well, 231 yd takes 99 mph: when that speed is due, we can't"
        in told
    )
    assert "119 mph, if it moves as much faster than the driver as is usual (common practice, no source)" in told
    assert page.locator("[data-block=plan] table").count() == 0


@pytest.mark.parametrize(
    ("due", "more", "words"),
    [
        ("reached", {}, "Struck well, 231 yd takes 99 mph: that speed is there."),
        ("dated", {}, "(hardly before Nov 20, 2026; later or never if the gain levels off)"),
        ("beyond_practice", {}, "that speed is farther ahead than the practice looks back, so we give no day"),
        ("beyond_a_year", {}, "is more than a year away at this gain"),
    ],
)
def test_every_due_has_its_words(open_golfer, payload, tmp_path, due, more, words):
    plan = payload["stories"][LAUNCH]["plan"]
    path = tmp_path / "due.html"
    made = changed_study(payload, LAUNCH, plan=plan | {"goal": plan["goal"] | {"due": due} | more})
    path.write_text(page_of(made), encoding="utf-8")
    told = text_of(open_golfer(LAUNCH, path), "plan")
    assert words in told
    assert ("light tool" in told) == (due != "reached")


@pytest.mark.parametrize(
    ("days", "words"), [(0.0, "no day of rest: take one"), (1.0, "usually 1 day of rest"), (2.5, "2.5 days")]
)
def test_rest_is_told_in_words(open_golfer, payload, tmp_path, days, words):
    path = tmp_path / "rest.html"
    plan = payload["stories"][LAUNCH]["plan"] | {"rest_days": days, "sets": 1, "rising_sets": 1}
    path.write_text(page_of(changed_study(payload, LAUNCH, plan=plan)), encoding="utf-8")
    told = text_of(open_golfer(LAUNCH, path), "plan")
    assert words in told
    assert "1 of 1 set rose" in told


def test_cautions_stand_open_beside_a_plan_and_once(open_golfer):
    page = open_golfer(LAUNCH)
    assert page.locator("[data-block=cautions]").count() == 1
    shown = page.locator("[data-block=plan] + [data-block=cautions]")
    assert shown.is_visible()
    assert [caution for caution in SPEED_PRACTICE_CAUTIONS if caution not in shown.inner_text()] == []
    assert open_golfer(RESOLVED).locator("details [data-block=cautions]").count() == 1


def test_metres_and_kilometres_are_told_too(open_golfer, tmp_path):
    path = tmp_path / "metric.html"
    path.write_text(page_of(golfers_study("metres")), encoding="utf-8")
    page = open_golfer(LAUNCH, path)
    assert text_of(page, "plan").startswith("In 12 weeks: about 158 km/h (likely 154 to 163)")
    assert "Run, m" in text_of(page, "landing")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_the_view_with_all_parts_is_accessible_and_fits(open_golfer, width, scheme):
    page = open_golfer(CONTACT, width=width, color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert serious_findings(page) == []


# --- the sheet


def printed_back(page):
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    return page.locator(".side.back")


def test_the_back_keeps_the_plan_with_its_cautions_and_spares_words_first(open_golfer):
    back = printed_back(open_golfer(LAUNCH))
    shown = back.inner_text()
    for text in ("In 12 weeks: about 98 mph", "41 of 120 sets", "turn the swing 3 deg right", "Drives run 6 yd"):
        assert text in shown
    assert [caution for caution in SPEED_PRACTICE_CAUTIONS if caution not in shown] == []
    # The table by quarter stands in for the charts, and the words that help least are gone.
    assert back.locator(".three").count() == 0
    assert back.locator(".instead table").is_visible()
    assert back.locator("[data-word=other]").count() == 0
    assert back.locator("[data-word=lost]").is_visible()
    assert back.locator("[data-landing]").count() == 9


def test_a_side_with_room_spares_nothing(open_golfer):
    back = printed_back(open_golfer(FEW))
    assert back.locator(".three").is_visible()
    assert not back.locator(".instead").is_visible()
    assert back.locator("[data-word=other]").is_visible()
