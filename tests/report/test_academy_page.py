"""The academy's page in a browser: its first screen, its table of golfers, print, and what a person does with it."""

import io
import re
import unicodedata

import pytest
from academy_pages import (  # noqa: F401
    VIEWS,
    Director,
    academy_file,
    code,
    golfers_of,
    names_file,
    names_of,
    numbers_in,
    payload,
    rows_shown,
    table_ready,
    view,
)
from browser import chromium, open_page, serious_findings  # noqa: F401
from many_golfers import with_golfers
from page_cases import CASES, study_payload
from pypdf import PdfReader
from whole_pages import page_of

from pipeline.shown import number_text, percent_text, whole

# ruff: noqa: F811 - fixtures that are imported above and asked for below
DESK, PHONE = (1280, 800), (390, 844)
BOTH = pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])


@pytest.fixture
def opened(open_page, academy_file):
    """Give a function that opens the page at a size."""
    return lambda size=DESK, **settings: open_page(academy_file, *size, **settings).page


def texts_of(page, selector):
    return [" ".join(text.split()) for text in page.locator(selector).all_inner_texts()]


def printed(page):
    """Print a page; give the sheets, and their words with joined letters taken apart."""
    sheets = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True, print_background=True))).pages
    return sheets, unicodedata.normalize("NFKC", " ".join(" ".join(one.extract_text() for one in sheets).split()))


def range_of(some):
    return f"{some['lo']} to {some['hi']} yd"


# --- Every view -----------------------------------------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("fragment", VIEWS)
def test_a_view_is_accessible_and_as_wide_as_the_screen(opened, size, scheme, fragment):
    page = opened(size, color_scheme=scheme)

    view(page, fragment.format(code=code(1)))

    page.wait_for_timeout(200)
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert serious_findings(page) == []


def test_contents_lead_to_every_view_and_say_which_one_is_shown(opened):
    page = opened()
    for fragment in ("#golfers", "#bands", "#data", "#quarter"):
        page.locator(f"#contents a[href='{fragment}']").click()
        assert page.evaluate("location.hash") == fragment
        page.locator(f"#contents a[aria-current=page][href='{fragment}']").wait_for()
        assert page.locator("#contents a[aria-current=page]").count() == 1
        page.locator("#view h1").first.wait_for()


@pytest.mark.parametrize(
    "fragment", ["#nowhere", "#golfer/gnobody", "#golfers?cause=nothing&sort=nothing&dir=up", "#%"]
)
def test_an_address_that_leads_nowhere_does_no_harm(opened, fragment):
    page = opened()
    page.evaluate("(to) => { location.hash = to; }", fragment)
    page.wait_for_timeout(200)
    assert page.locator("#view h1").count() == 1


# --- The first screen -----------------------------------------------------------------------------------------------


def test_the_quarter_is_one_screen_of_a_desk(opened):
    assert opened().evaluate("document.documentElement.scrollHeight") <= DESK[1]


def test_a_phones_first_screen_has_the_sentences_and_the_first_golfers(opened):
    page = opened(PHONE)
    second = page.locator(".first li").nth(1).bounding_box()
    assert second["y"] + second["height"] <= PHONE[1]


@BOTH
def test_the_first_screens_figures_are_the_payloads(opened, payload, size):
    page, quarter = opened(size), payload["quarter"]

    assert len(quarter["first"]) == 5
    assert len(quarter["good"]) > 5
    assert texts_of(page, ".sentences p") == quarter["sentences"]
    shorts = {golfer: row["short"] for golfer, row in golfers_of(payload).items()}
    for item, one in zip(page.locator(".first li").all(), quarter["first"], strict=True):
        assert item.locator("a").inner_text() == shorts[one["golfer"]]
        assert item.locator(".lost strong").inner_text() == f"{one['yards']['value']} yd"
        assert item.locator(".range").inner_text() == range_of(one["yards"])
        assert item.locator(".sure").inner_text().endswith(one["sure"])
        assert [item.locator(".why").inner_text(), item.locator(".do").inner_text()] == [one["why"], one["do"]]
    good = [f"{shorts[one['golfer']]} {one['what']}" for one in quarter["good"][:5]]
    assert texts_of(page, ".good-news li") == good
    assert [numbers_in(text)[0] for text in texts_of(page, ".good-news > p")] == [len(quarter["good"]), 3]
    assert texts_of(page, ".unassessed li") == [
        f"{len(one['golfers'])} golfer{'s' if len(one['golfers']) > 1 else ''}: {one['reason']}"
        for one in quarter["unassessed"]
    ]


def test_how_quarters_move_is_told_with_intervals(opened, payload):
    page, moves = opened(), payload["quarter"]["moves"]
    now = moves[-1]
    share, lost, speed = now["flagged_share"], now["lost_yd"], now["speed_mph"]

    told = texts_of(page, ".moves figcaption")

    assert told[0].startswith(f"{percent_text(share['value'])} of golfers flagged")
    assert told[0].endswith(f"({whole(100 * share['lo'])} to {percent_text(share['hi'])})")
    assert told[1].startswith(f"{number_text(lost['value'])} yd ")
    assert told[1].endswith(f"({number_text(lost['lo'])} to {number_text(lost['hi'])} yd)")
    assert told[2].startswith(f"{number_text(speed['value'])} mph ")
    labels = page.locator(".moves svg").evaluate_all("(all) => all.map((one) => one.getAttribute('aria-label'))")
    assert len(labels) == 3
    shares = [percent_text(move["flagged_share"]["value"]) for move in moves]
    assert [part.split(" ", 2)[2] for part in labels[0].split(": ")[1].split(", ")] == shares


def test_the_counts_add_up_as_shown(opened, payload):
    counts = payload["quarter"]["counts"]

    flagged, golfers = (numbers_in(text) for text in texts_of(opened(), ".sum"))

    assert flagged == [counts["flagged_now"][name] for name in ("total", "still", "new", "first_seen")]
    assert golfers == [
        counts[name] for name in ("now", "still", "new", "no_longer", "clear", "first_seen", "not_assessed")
    ]
    assert flagged[0] == sum(flagged[1:]) > 5
    assert golfers[0] == sum(golfers[1:]) > 40


def test_every_count_opens_the_golfers_behind_it(opened):
    page = opened()
    links = page.locator("#view a.number").evaluate_all(
        "(all) => all.map((one) => [one.innerText, one.getAttribute('href')])"
    )
    assert len(links) > 12
    for count, fragment in links:
        view(page, fragment)
        table_ready(page)
        assert numbers_in(page.locator("#golfers-count").inner_text())[0] == int(count), fragment


def test_the_first_printed_page_holds_the_quarter(opened, payload):
    page, quarter = opened(), payload["quarter"]

    sheets, text = printed(page)

    assert len(sheets) == 1
    told = ["Hill School, 2026 Q3", *quarter["sentences"], *(one["what"] for one in quarter["good"][:5])]
    told += [words for one in quarter["first"] for words in (one["why"], one["do"], range_of(one["yards"]))]
    told += [one["reason"] for one in quarter["unassessed"]]
    told += ["of golfers flagged", "How the counts add up", "Don't use them to design ranges"]
    assert [words for words in told if words not in text] == []
    assert tuple(round(float(side)) for side in sheets[0].mediabox[2:]) == (595, 842)


@pytest.mark.parametrize("name", CASES)
def test_odd_studies_have_a_first_screen_a_table_and_a_golfer(open_page, tmp_path, name):
    rows, others = CASES[name]
    made = study_payload(*rows, **others) | {"pictures": {}, "card": []}
    path = tmp_path / "odd.html"
    path.write_text(page_of(made), encoding="utf-8", newline="\n")
    page = open_page(path, *DESK).page

    assert len(texts_of(page, ".sentences p")) == 3
    assert page.locator(".first li").count() == len(made["quarter"]["first"])
    view(page, "#golfers")
    assert list(rows_shown(page)) != []
    view(page, f"#golfer/{made['golfers']['rows'][0][0]}")
    said = page.locator("main").inner_text()
    assert re.search(r"undefined|NaN|null|\[object", said) is None


# --- The table ------------------------------------------------------------------------------------------------------

DASH = "\N{EN DASH}"


def shown(value):
    return DASH if value is None else number_text(value).replace("-", "\N{MINUS SIGN}")


@BOTH
def test_the_tables_figures_are_the_payloads(opened, payload, size):
    page = opened(size)
    view(page, "#golfers")
    table_ready(page)
    assert len(page.evaluate("[...document.querySelectorAll('.tabulator-col')].map((one) => one.innerText)")) == 7
    page.locator("#more-columns").click()

    found, right = rows_shown(page), golfers_of(payload)

    assert set(found) == set(right)
    for golfer, cells in found.items():
        row = right[golfer]
        assert cells["golfer"] == row["short"]
        figures = ("lost_yd", "club_speed_mph", "carry_yd", "efficient_yd", "goal_yd", "shots")
        assert [cells[name] for name in figures] == [shown(row[name]) for name in figures]
        assert cells["do"] == (row["do"] or DASH)
        assert cells["group"] == (row["group"] or DASH)
        assert cells["device"] == (row["device"] or DASH)
        assert cells["practice"] == ("yes" if row["practice"] else "no")
        if row["sure"]:
            range_told = f"{shown(row['lost_lo90_yd'])} to {shown(row['lost_hi90_yd'])}"
            assert cells["sure"].startswith(range_told)
            assert cells["sure"].endswith(row["sure"])
        lost = [f"{quarter.replace('Q', ' Q')} {shown(yards)}" for quarter, yards in
                zip(payload["study"]["quarters"], row["history"], strict=True)]  # fmt: skip
        assert cells["history"] == ", ".join(lost)


def test_golfers_are_sorted_by_yards_lost_and_those_without_come_last(opened, payload):
    page = opened()
    view(page, "#golfers")
    right = golfers_of(payload)

    for address in ("#golfers", "#golfers?sort=lost_yd&dir=asc"):
        view(page, address)
        lost = [right[golfer]["lost_yd"] for golfer in rows_shown(page)]
        known = [yards for yards in lost if yards is not None]
        assert len(known) < len(lost)
        assert lost[: len(known)] == sorted(known, reverse="asc" not in address)


FILTERS = [("cause", "contact"), ("band_mph", "90"), ("status", "flagged"), ("movement", "still"), ("group", "juniors"),
           ("device", "unit-B"), ("quarter", "2026Q2")]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "value"), [pytest.param(*one, marks=[pytest.mark.long] * (at > 1)) for at, one in enumerate(FILTERS)]
)
def test_a_filter_stands_in_the_address_and_the_address_filters(opened, payload, name, value):
    page = opened()
    view(page, "#golfers")
    table_ready(page)
    field = page.locator(f"#filter-{name}")
    written = next(v for v in field.locator("option").evaluate_all("(all) => all.map((one) => one.value)")
                   if v in (value, f"{value}.0"))  # fmt: skip
    field.select_option(written)
    chosen, address = set(rows_shown(page)), page.evaluate("location.hash")

    again = opened()
    view(again, address)

    right = {golfer for golfer, row in golfers_of(payload).items() if str(row[name]).removesuffix(".0") == value}
    assert chosen == set(rows_shown(again)) == right
    assert 0 < len(right) < len(payload["golfers"]["rows"])
    assert address == f"#golfers?{name}={written}"


def test_columns_sort_by_keyboard(opened):
    page = opened()
    view(page, "#golfers")
    table_ready(page)
    header = page.locator(".tabulator-col[tabulator-field=club_speed_mph]")
    header.focus()
    page.keyboard.press("Enter")
    assert header.get_attribute("aria-sort") == "descending"
    page.keyboard.press(" ")
    assert header.get_attribute("aria-sort") == "ascending"
    assert page.evaluate("location.hash") == "#golfers?sort=club_speed_mph&dir=asc"


def test_a_phone_keeps_the_golfer_in_sight_while_columns_move(opened):
    page = opened(PHONE)
    view(page, "#golfers")
    table_ready(page)
    page.locator(".tabulator-tableholder").evaluate("(place) => { place.scrollLeft = 300; }")
    page.wait_for_timeout(100)
    first = page.locator(".tabulator-row .golfer").first.bounding_box()
    assert 0 <= first["x"] <= 40


def test_whoever_comes_back_finds_the_table_as_it_was(opened):
    page = opened()
    view(page, "#golfers?status=flagged")
    table_ready(page)
    page.locator(".tabulator-col[tabulator-field=club_speed_mph]").click()
    before = list(rows_shown(page))
    page.locator(f"a[href='#golfer/{before[-1]}']").click()
    assert page.evaluate("location.hash") == f"#golfer/{before[-1]}"
    page.go_back()
    table_ready(page)
    assert list(rows_shown(page)) == before


def test_a_click_anywhere_in_a_row_opens_the_golfer(opened):
    page = opened()
    view(page, "#golfers")
    golfer = next(iter(rows_shown(page)))
    page.locator(".tabulator-tableholder").evaluate("(place) => { place.scrollTop = 0; }")
    page.locator(".tabulator-row .tabulator-cell[tabulator-field=cause]").first.click()
    assert page.evaluate("location.hash") == f"#golfer/{golfer}"


def test_a_printed_table_has_every_chosen_golfer(opened, payload):
    page = opened()
    view(page, "#golfers?status=flagged")
    table_ready(page)

    _, text = printed(page)

    flagged = [row["short"] for row in golfers_of(payload).values() if row["status"] == "flagged"]
    assert len(flagged) > 20
    assert [short for short in flagged if short not in text] == []
    assert [
        row["short"] for row in golfers_of(payload).values() if row["status"] == "clear" and row["short"] in text
    ] == []
    table_ready(page)
    assert page.locator(".plain-table").count() == 0


def test_of_thousands_of_golfers_only_those_in_sight_are_drawn(open_page, payload, tmp_path):
    path = tmp_path / "many.html"
    path.write_text(page_of(with_golfers(payload, 2000)), encoding="utf-8", newline="\n")
    page = open_page(path, *DESK).page
    view(page, "#golfers")
    table_ready(page)
    assert page.locator("#golfers-count").inner_text() == "All 2,000 golfers"
    assert page.locator(".tabulator-row").count() < 60
    for _ in range(2):
        page.locator(".tabulator-tableholder").evaluate("(place) => { place.scrollTop = place.scrollHeight; }")
        page.wait_for_timeout(300)
    last = page.locator(".tabulator-row").last.bounding_box()
    box = page.locator(".tabulator-tableholder").bounding_box()
    assert abs(last["y"] + last["height"] - box["y"] - box["height"]) < 3


# --- What a director asks, in at most three actions -----------------------------------------------------------------


@BOTH
def test_the_five_to_see_first_are_there_without_an_action(opened, payload, size):
    found = opened(size).locator(".first li a").evaluate_all("(all) => all.map((one) => one.getAttribute('href'))")
    assert found == [f"#golfer/{one['golfer']}" for one in payload["quarter"]["first"]]


@BOTH
def test_a_golfer_is_found_by_name_in_three_actions(opened, payload, names_file, size):
    page = opened(size)
    director = Director(page)
    golfer, name = list(names_of(payload).items())[7]

    director.load(names_file)
    director.click("#contents a[href='#golfers']")
    table_ready(page)
    director.type("#search", name.split()[1].lower())

    assert list(rows_shown(page)) == [golfer]
    assert page.locator(".tabulator-row .golfer").inner_text() == name
    assert len(director.actions) <= 3


@BOTH
def test_all_golfers_of_a_cause_stand_by_yards_in_three_actions(opened, payload, size):
    page = opened(size)
    director = Director(page)

    director.click("#contents a[href='#golfers']")
    table_ready(page)
    if size == PHONE:
        director.click(".filters > summary")
    director.choose("#filter-cause", "launch")

    right = [(row["lost_yd"], golfer) for golfer, row in golfers_of(payload).items() if row["cause"] == "launch"]
    found = list(rows_shown(page))
    lost = {golfer: yards for yards, golfer in right}
    assert sorted(found) == sorted(lost)
    assert [lost[golfer] for golfer in found] == sorted(lost.values(), reverse=True)
    assert len(director.actions) <= 3


@BOTH
def test_a_golfers_story_is_open_in_three_actions(opened, payload, size):
    page = opened(size)
    director = Director(page)
    golfer, row = list(golfers_of(payload).items())[11]

    director.click("#contents a[href='#golfers']")
    table_ready(page)
    director.type("#search", row["short"])
    director.click(f"#golfers-table a[href='#golfer/{golfer}']")

    assert page.evaluate("location.hash") == f"#golfer/{golfer}"
    page.locator(".view-golfer h1").wait_for()
    assert len(director.actions) <= 3
