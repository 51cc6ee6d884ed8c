"""The view #bands in a browser: every figure on it is the tables', rounded as everywhere."""

import base64
import re

import numpy as np
import polars as pl
import pytest
from band_cases import band_page
from browser import chromium, open_page, serious_findings  # noqa: F401 - fixtures

from pipeline.bands import SpeedBands
from pipeline.benchmark.window import Window
from pipeline.report.figures.band_map import plot_band_map
from pipeline.report.figures.look import figure_bytes
from pipeline.report.figures.naming import delivery_name
from pipeline.report.palette import DARK
from pipeline.shown import IMPERIAL, Units, number_text, window_parts

CELLS = "rows => rows.map(row => [...row.cells].map(cell => cell.innerText.trim()))"
PAGES: dict[str, str] = {}  # by units: the fixtures make the same study each time, and its pictures take seconds
NEWEST, OLDER = "2026Q3", "2026Q2"


@pytest.fixture
def open_view(tmp_path, open_page, tables, golfers, bands, chart, settings):  # noqa: F811
    def opened(fragment, units="yards", **given):
        path = tmp_path / "academy.html"
        if units not in PAGES:
            PAGES[units] = band_page(tables, golfers, bands, chart, settings, units)
        path.write_text(PAGES[units], encoding="utf-8")
        seen = open_page(path, **given)
        seen.page.goto(f"{seen.url}#{fragment}")
        seen.page.wait_for_selector("#view h1")
        return seen.page

    return opened


def rows_of(page, selector):
    return page.locator(selector).evaluate_all(CELLS)


def expected_row(row, units=IMPERIAL):
    """Word a row of the band table as the view has to show it."""
    if row["suppressed"]:
        return [units.speed_figure(row["band_mph"]), "not shown: fewer than 5 golfers"]
    edges = [row[f"{end}"] for end in ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")]
    window = None if None in edges else window_parts(Window(*edges))
    told = ["no window: too few drives"] if window is None else [window.launch[:-4], window.spin[:-4]]
    figures = [units.distance_figure(row[name]) for name in ("carry_p50_yd", "carry_p75_yd", "efficient_carry_yd")]
    range_ = units.distance_range_text(row["efficient_lo90_yd"], row["efficient_hi90_yd"]).rsplit(" ", 1)[0]
    efficient = f"{figures[2]} ({range_})"
    return [units.speed_figure(row["band_mph"]), number_text(row["golfers"]), *figures[:2], efficient, *told]


def table_rows(bands, quarter, golfers=None):
    """Give a quarter's rows of the band table, with golfers counted exactly where that is what the table rounds."""
    rows = bands.filter(pl.col("quarter") == quarter).sort("band_mph").to_dicts()
    if golfers is not None:
        there = golfers.filter(pl.col("quarter") == quarter, pl.col("shots") >= 12)
        for row in rows:
            low, high = row["band_mph"] - 5, row["band_mph"] + 5
            exact = there.filter(pl.col("club_speed_mph").is_between(low, high, closed="left")).height
            row["golfers"] = exact if 5 * int(exact / 5 + 0.5) == row["golfers"] else row["golfers"]
    return rows


@pytest.mark.parametrize("units", [IMPERIAL, pytest.param(Units("metres", "km/h"), marks=pytest.mark.long)])
def test_table_shows_the_newest_quarters_bands_as_the_tables_have_them(open_view, bands, golfers, units):
    page = open_view("bands", units.distance)

    shown = rows_of(page, "#view section table.bands tbody tr")

    assert shown == [expected_row(row, units) for row in table_rows(bands, NEWEST, golfers)]
    heads = page.locator("#view section table.bands thead th").all_inner_texts()
    assert len(heads) == 7
    assert heads[0] == f"Band, {units.speed_unit}"
    assert heads[2] == f"Middle golfer, {units.distance_unit}"


def test_earlier_quarters_wait_behind_a_fold(open_view, bands):
    page = open_view("bands")
    fold = page.locator("#view details", has_text="Earlier quarters")
    assert not fold.locator("table").is_visible()

    fold.locator("summary").click()

    shown = rows_of(page, "#view details table.bands tbody tr")
    assert shown == [expected_row(row) for row in table_rows(bands, OLDER)]


def test_heading_says_how_far_the_middle_golfer_is_from_efficient(open_view, bands):
    page = open_view("bands")

    known = [row for row in table_rows(bands, NEWEST) if not row["suppressed"]]
    short = [
        IMPERIAL.distance_whole(row["efficient_carry_yd"]) - IMPERIAL.distance_whole(row["carry_p50_yd"])
        for row in known
    ]
    told = page.locator("#view h1").inner_text()
    assert told == f"The middle golfer carries {min(short)} to {max(short)} yd less than a well-struck drive"


def test_every_dot_is_a_golfer_of_a_band_that_may_be_shown_and_opens_the_golfer(open_view, golfers):
    page = open_view("bands")
    page.wait_for_selector("#view .chart svg a")

    links = page.locator("#view .chart svg a").evaluate_all(
        """links => links.map(link => [link.getAttribute("href"), link.getAttribute("aria-label"),
           link.firstElementChild.outerHTML])"""
    )

    shown = golfers.filter((pl.col("quarter") == NEWEST) & pl.col("club_speed_mph").is_between(65, 105, closed="left"))
    assert sorted(href for href, *_ in links) == sorted(f"#golfer/{code}" for code in shown["golfer"])
    by_code = {row["golfer"]: row for row in shown.to_dicts()}
    places = []
    for href, label, mark in links:
        row = by_code[href.removeprefix("#golfer/")]
        word = {"clear": "not flagged", "not_assessed": "not assessed"}.get(row["status"], "flagged")
        speed = IMPERIAL.speed_text(row["club_speed_mph"])
        assert label.endswith(f"{IMPERIAL.distance_text(row['carry_yd'])} at {speed}, {word}"), label
        # Circles have a center, other marks are moved to their place.
        x, y = map(float, re.search(r'(?:cx="|translate\()([\d.]+)(?:" cy="|,)([\d.]+)', mark).groups())
        places.append((row["club_speed_mph"], row["carry_yd"], x, y))
    speed, carry, x, y = np.array(places).T
    # One straight scale each way holds every dot at its place, to a pixel: carry is shown in whole yards.
    for value, at, most in ((speed, x, 1.0), (carry, y, 2.0)):
        assert np.abs(np.polyval(np.polyfit(value, at, 1), value) - at).max() < most
    page.locator("#view .chart svg a").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".view-golfer")


def test_band_opens_with_its_facts_picture_and_golfers(open_view, golfers, bands):
    page = open_view("bands")

    page.get_by_role("link", name="90 mph", exact=True).click()

    row = bands.filter((pl.col("quarter") == NEWEST) & (pl.col("band_mph") == 90)).row(0, named=True)
    told = page.locator("#view h1").inner_text()
    assert told == "At 90 mph the middle golfer carries 208 yd, a well-struck drive 215 yd"
    facts = dict(zip(*(page.locator(f"#view .facts {tag}").all_inner_texts() for tag in ("dt", "dd")), strict=True))
    assert facts == {
        "Efficient carry": f"{IMPERIAL.distance_text(row['efficient_carry_yd'])}, likely "
        f"{IMPERIAL.distance_range_text(row['efficient_lo90_yd'], row['efficient_hi90_yd'])}",
        "Farthest with": "13.0 deg, 2,500 rpm",
        "Window": "11.5 to 15.0 deg, 2,150 to 2,950 rpm",
        "The middle half carry": IMPERIAL.distance_range_text(row["carry_p25_yd"], row["carry_p75_yd"]),
        "Usual speed ratio": "1.44",
        "Golfers inside the window": "50 %",
        "Drives": "410, 2026 Q3",
    }
    here = golfers.filter((pl.col("quarter") == NEWEST) & pl.col("club_speed_mph").is_between(85, 95, closed="left"))
    shown = rows_of(page, "#view section table.bands tbody tr")
    assert len(shown) == here.height
    by_code = {code[:6]: one for code, one in zip(here["golfer"], here.to_dicts(), strict=True)}
    for code, status, carry, lost, cause in shown:
        one = by_code[code]
        assert status == {"clear": "not flagged", "not_assessed": "not assessed"}.get(one["status"], "flagged")
        assert carry == IMPERIAL.distance_figure(one["carry_yd"])
        assert (lost == "\N{EN DASH}") == (one["status"] == "not_assessed")
        assert cause == (one["main_cause"] if one["flagged"] else "")
    lost = [int(cells[3]) for cells in shown if cells[3] != "\N{EN DASH}"]
    assert lost == sorted(lost, reverse=True)
    assert f"{here.height} golfers in this band" in page.locator("#view section h2").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_picture_fits_the_paper(open_view, golfers, bands, chart, scheme):
    page = open_view("bands/90", color_scheme=scheme)

    shown = page.locator("#view .map img").evaluate("picture => picture.currentSrc")

    colors = {"scheme": DARK} if scheme == "dark" else {}
    drawn = plot_band_map(
        golfers, bands, chart, SpeedBands.of([70, 80, 90, 100, 110], 5), band_mph=90, min_golfers=5, **colors
    )
    assert base64.b64decode(shown.partition(",")[2]) == figure_bytes(drawn, "png"), delivery_name(90, scheme)
    assert page.locator("#view .map img").get_attribute("alt").endswith("farthest at 13.0 deg and 2,500 rpm")


def test_suppressed_band_says_why_and_shows_no_figure(open_view):
    page = open_view("bands/110")

    assert page.locator("#view h1").inner_text() == "110 mph: not shown, because fewer than 5 golfers have this speed"
    assert page.locator("#view .facts").count() == 0
    assert "too few drives" in page.locator("#view .map img").get_attribute("alt")


def test_names_take_the_place_of_codes(open_view, golfers, tmp_path):
    page = open_view("bands/90")
    code = golfers.filter(pl.col("club_speed_mph").is_between(85, 95) & (pl.col("quarter") == NEWEST))["golfer"][0]
    names = tmp_path / "names.csv"
    names.write_text(f"golfer,name\n{code},Mo Example\n", encoding="utf-8")

    page.set_input_files("#names-file", names)

    link = page.locator(f'#view a[href="#golfer/{code}"]')
    link.get_by_text("Mo Example").wait_for()
    page.goto(f"{page.url.partition('#')[0]}#bands")
    page.locator('#view .chart svg [aria-label^="Mo Example:"]').first.wait_for(state="attached")


@pytest.mark.parametrize("fragment", ["bands", "bands/90", pytest.param("bands/110", marks=pytest.mark.long)])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_serious_and_nothing_beyond_the_edge(open_view, fragment, scheme, width):
    page = open_view(fragment, color_scheme=scheme, width=width, height=844)
    page.locator("#view details").evaluate_all("folds => folds.forEach(fold => { fold.open = true; })")

    assert serious_findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
