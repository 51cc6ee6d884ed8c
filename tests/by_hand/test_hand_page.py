"""The page of results by hand in a browser: quiet, sortable, readable on a phone and in the dark."""

from datetime import date

import polars as pl
import pytest
from browser import chromium, open_page, serious_findings  # noqa: F401 - fixtures
from hand_samples import RULES, hand_drives

from pipeline.by_hand.hand_page import build_hand_page
from pipeline.by_hand.losses import bands_of, golfers_table, study_reference
from pipeline.tables.by_hand import References
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers

pytestmark = pytest.mark.pages
FLAGS = {"lost_yd": 10.0, "false_discovery_rate": 0.1, "min_shots": 12}


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    drives = hand_drives(40, own_yd=2.5, faults=(45.0,))
    few = (pl.col("golfer") == "g0000000000000001") & (pl.col("struck_on") > date(2026, 7, 1))
    drives = drives.filter(~few)
    reference = study_reference(drives, RULES)
    golfers = Golfers.validate(golfers_table(drives, reference, RULES)[0])
    settings = {"study": "Hill <b>School", "units": "yards", "flags": FLAGS}
    curve = References.validate(reference.table())
    path = tmp_path_factory.mktemp("hand") / "academy.html"
    text = build_hand_page(golfers, BandTable.validate(bands_of(drives, RULES)), curve, settings)
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(("width", "scheme"), [(1200, "light"), (390, "dark")])
def test_it_is_quiet_accessible_and_fits(page, open_page, width, scheme):  # noqa: F811
    seen = open_page(page, width, color_scheme=scheme).page
    assert seen.locator("h1").inner_text() == "Hill <b>School: carry against speed"
    assert "without launch and spin" in seen.locator("main").inner_text()
    assert seen.evaluate("document.documentElement.scrollWidth") == width
    assert seen.locator("svg .flagged").count() == 1
    assert seen.locator("svg .golfer").count() == 39
    assert serious_findings(seen) == []


def test_who_is_lost_most_is_seen_on_a_phone(page, open_page):  # noqa: F811
    seen = open_page(page, 390).page
    lost = seen.locator("#golfers tbody tr:first-child td:nth-child(2)").bounding_box()
    assert lost["x"] + lost["width"] <= 390
    figure = seen.locator("svg").bounding_box()
    assert figure["x"] + figure["width"] <= 390


def test_it_says_why_a_golfer_isnt_assessed(page, open_page):  # noqa: F811
    cells = open_page(page).page.locator("#golfers tbody td:nth-child(3)").all_inner_texts()
    assert cells.count("too few drives") == 1
    assert "not assessed" not in cells


def test_without_a_reference_nobody_is_assessed_and_no_line_is_spoken_of():
    drives = hand_drives(8)
    golfers = Golfers.validate(golfers_table(drives, None, RULES)[0])
    bands = BandTable.validate(bands_of(drives, RULES))
    settings = {"study": "Hill School", "units": "metres", "flags": FLAGS}
    text = build_hand_page(golfers, bands, References.create_empty(), settings)
    assert "Nobody is assessed: too few golfers have enough drives" in text
    assert text.count(">too few golfers</td>") >= 8
    assert "The line is" not in text
    assert "Yards lost" not in text


def test_a_heading_sorts_the_golfers(page, open_page):  # noqa: F811
    seen = open_page(page).page

    def speeds():
        return [int(one) for one in seen.locator("#golfers tbody td:nth-child(6)").all_inner_texts()]

    assert speeds() != sorted(speeds())
    seen.get_by_role("button", name="Club speed, mph").click()
    assert speeds() == sorted(speeds(), reverse=True)
    seen.get_by_role("button", name="Club speed, mph").click()
    assert speeds() == sorted(speeds())
    assert seen.locator("#golfers th[aria-sort]").get_attribute("aria-sort") == "ascending"
    seen.get_by_role("button", name="Lost, yd").click()
    lost = seen.locator("#golfers tbody td:nth-child(2)").all_inner_texts()
    assert lost[0].split()[0] == str(max(int(one.split()[0]) for one in lost if one[0] != "\N{EN DASH}"))
