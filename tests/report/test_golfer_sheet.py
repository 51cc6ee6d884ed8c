"""The printed sheet of a golfer: two sides of A4, nothing cut, letters of 9 pt or larger, a name if wanted."""

import io
import unicodedata

import pytest
from browser import chromium, open_page, wait_until  # noqa: F401
from golfer_cases import AWAY, BEYOND, CONTACT, FEW, FIRST, LAUNCH, NO_BALL, NO_SPIN, RESOLVED, golfers_study, repeated
from pypdf import PdfReader
from whole_pages import page_of

from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS

# ruff: noqa: F811 - fixtures that are imported above and asked for below
EVERYBODY = (LAUNCH, CONTACT, FIRST, FEW, BEYOND, NO_BALL, NO_SPIN, RESOLVED, AWAY)
LONG_NAME = "Maximiliane Featherstonehaugh-Wetherington"
A4_PT = (595, 842)
LEAST_PT = 9
# Of each side as it prints: pixels cut off, how far down it is filled, and its smallest letters in CSS pixels.
SIDES = """() => {
  const speaks = (one) => [...one.childNodes].some((child) => child.nodeType === 3 && child.textContent.trim());
  const scale = ({ ownerSVGElement: svg }) => (svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1);
  const letters = (one) => parseFloat(getComputedStyle(one).fontSize) * scale(one);
  return [...document.querySelectorAll('.side')].map((side) => ({
    cut: Math.max(side.scrollHeight - side.clientHeight, side.scrollWidth - side.clientWidth),
    filled: Math.max(...[...side.children].map((one) => one.getBoundingClientRect().bottom))
      - side.getBoundingClientRect().top,
    height: side.clientHeight,
    least: Math.min(...[...side.querySelectorAll('*')].filter(speaks).map(letters)),
  }));
}"""


@pytest.fixture(scope="module")
def payload():
    return golfers_study()


@pytest.fixture(scope="module")
def page_file(payload, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "academy.html"
    path.write_text(page_of(payload), encoding="utf-8")
    return path


def opened(open_page, path, golfer):
    page = open_page(path).page
    page.evaluate("code => { location.hash = `#golfer/${code}`; }", golfer)
    page.wait_for_selector(".view-golfer details")
    return page


def printed(page):
    return PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))


def text_of(one):
    """Give a printed page's text, its ligatures taken apart."""
    return " ".join(unicodedata.normalize("NFKC", one.extract_text()).split())


def as_printed(page):
    """Lay the page out as it prints and give its sides."""
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    return page.evaluate(SIDES)


@pytest.mark.parametrize("golfer", EVERYBODY)
def test_a_sheet_has_two_sides_of_a4(open_page, page_file, golfer):
    pages = printed(opened(open_page, page_file, golfer)).pages
    assert len(pages) == 2
    assert {tuple(round(float(size)) for size in one.mediabox[2:]) for one in pages} == {A4_PT}
    front, back = map(text_of, pages)
    assert "What to do first" in front
    assert "Where the yards go" in front
    assert "Did it help?" in front
    assert "By quarter" in back
    assert "What the words mean" in back
    assert [caution for caution in SPEED_PRACTICE_CAUTIONS if caution not in back] == []


@pytest.mark.parametrize("golfer", EVERYBODY)
def test_nothing_is_cut_and_letters_are_large_enough(open_page, page_file, golfer):
    sides = as_printed(opened(open_page, page_file, golfer))
    assert len(sides) == 2
    assert [side["cut"] for side in sides] == [0, 0]
    assert min(side["least"] for side in sides) >= LEAST_PT * 96 / 72


@pytest.mark.parametrize("golfer", [LAUNCH, CONTACT, RESOLVED, NO_BALL, NO_SPIN])
def test_both_sides_are_well_filled(open_page, page_file, golfer):
    sides = as_printed(opened(open_page, page_file, golfer))
    assert [side["filled"] > 0.8 * side["height"] for side in sides] == [True, True]


def test_the_view_comes_back_after_printing(open_page, page_file):
    page = opened(open_page, page_file, LAUNCH)
    printed(page)
    page.wait_for_selector(".view-golfer details")
    assert page.locator(".sheet").count() == 0


def load_names(page, name):
    rows = f"golfer,name\n{LAUNCH},{name}\n"
    page.set_input_files("#names-file", {"name": "names.csv", "mimeType": "text/csv", "buffer": rows.encode()})
    page.get_by_role("heading", name=name).wait_for()


def test_a_name_is_printed_if_it_is_loaded_and_wanted(open_page, page_file):
    page = opened(open_page, page_file, LAUNCH)
    without = "".join(one.extract_text() for one in printed(page).pages)
    assert "Featherstonehaugh" not in without
    load_names(page, LONG_NAME)
    pages = printed(page).pages
    assert len(pages) == 2
    assert ["Featherstonehaugh" in one.extract_text() for one in pages] == [True, True]
    assert [side["cut"] for side in as_printed(page)] == [0, 0]
    page.emulate_media(media="screen")
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    page.get_by_label("Print the name").uncheck()
    assert not any("Featherstonehaugh" in one.extract_text() for one in printed(page).pages)


def test_sheets_of_the_golfers_shown_are_two_pages_each(open_page, payload, tmp_path):
    path = tmp_path / "many.html"
    path.write_text(page_of(repeated(payload, 50)), encoding="utf-8")
    page = open_page(path).page
    page.evaluate("window.print = () => { window.asked = true; }; location.hash = '#golfers'")
    page.get_by_role("button", name="Print sheets of the golfers shown").click()
    wait_until(page, "window.asked")
    order = page.evaluate("[...document.querySelectorAll('.sheet')].map((one) => one.querySelector('h1').textContent)")
    pages = printed(page).pages
    assert len(pages) == 100
    assert len(set(order)) == 50
    assert [one.extract_text().splitlines()[0].split()[0] for one in pages[::2]] == order
    wait_until(page, "document.querySelectorAll('.sheet').length === 0")


def test_sheets_of_filtered_golfers_are_those_shown(open_page, page_file, payload):
    page = open_page(page_file).page
    page.evaluate("window.print = () => { window.asked = true; }; location.hash = '#golfers?cause=contact'")
    page.get_by_role("button", name="Print sheets of the golfers shown").click()
    wait_until(page, "window.asked")
    place = {name: at for at, name in enumerate(payload["golfers"]["columns"])}
    wanted = {row[place["golfer"]] for row in payload["golfers"]["rows"] if row[place["cause"]] == "contact"}
    assert set(page.locator(".sheet").evaluate_all("all => all.map((one) => one.dataset.golfer)")) == wanted
    assert CONTACT in wanted
