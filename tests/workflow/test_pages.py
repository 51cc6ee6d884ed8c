"""Every page of the real demo run in Chromium with the network off, and the README's pictures."""

import io
import re
import shutil

import polars as pl
import pytest
from academy_reading import band_rows, beyond_the_paper, change_rows, flagged_rows, glance, glance_of, read_csv, rows_of
from browser import chromium, open_page, serious_findings  # noqa: F401
from lookups import ask, asked_of_package, figures_of_package, figures_of_page, random_lookups
from matplotlib.testing.compare import compare_images
from pypdf import PdfReader

from pipeline.benchmark.lookup_command import Asked, read_results

# ruff: noqa: F811 - fixtures that are imported above and asked for below
QUARTER = "2026Q3"
PAGES = ["report/academy.html", "report/lookup.html", "model/diagnostics.html"]
PICTURES = ["carry_by_speed", "delivery_100"]


def tables(demo):
    names = ("golfers/golfers.csv", "golfers/flagged.csv", "golfers/changes.csv", "benchmarks/bands.csv")
    return (read_csv(demo.results / name) for name in names)


@pytest.mark.parametrize("width", [390, 1200])
@pytest.mark.parametrize("name", PAGES)
def test_every_page_is_quiet_and_accessible(demo, open_page, name, width):
    page = open_page(demo.results / name, width=width).page
    assert len(page.locator("main").inner_text()) > 100
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert serious_findings(page) == []


def test_the_directors_figures_are_those_of_the_tables(demo, open_page):
    golfers, flagged, changes, bands = tables(demo)
    page = open_page(demo.results / PAGES[0]).page

    assert flagged.height > 20
    assert rows_of(page, "flagged") == flagged_rows(flagged)
    assert rows_of(page, "changes") == change_rows(changes, QUARTER)
    shown = rows_of(page, "bands")
    assert [row[:14] for row in shown] == band_rows(bands, QUARTER)
    assert [row[14] for row in shown] == bands.filter(quarter=QUARTER).sort("band_mph")["note"].to_list()
    assert glance_of(page) == glance(golfers, changes, QUARTER)


def test_the_directors_links_lead_somewhere(demo, open_page):
    page = open_page(demo.results / PAGES[0]).page
    links = page.evaluate("[...document.links].map((a) => a.getAttribute('href'))")
    assert len(set(links)) >= 3 + read_csv(demo.results / "golfers/flagged.csv").height
    assert [link for link in links if not (demo.results / "report" / link).resolve().is_file()] == []


def test_the_report_prints_with_every_flagged_golfer_whole(demo, open_page):
    _, flagged, _, _ = tables(demo)
    page = open_page(demo.results / PAGES[0]).page

    sheets = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True, print_background=True))).pages

    assert {tuple(round(float(side)) for side in sheet.mediabox[2:]) for sheet in sheets} == {(595, 842)}
    lines = [line.split() for sheet in sheets for line in sheet.extract_text().splitlines()]
    right = {row[0]: " ".join(row).split() for row in flagged_rows(flagged)}
    assert {line[0]: line for line in lines if line and right.get(line[0]) == line} == right
    assert beyond_the_paper(page) == []


def test_fifty_lookups_of_the_coachs_page_agree_with_the_command(demo, open_page):
    page = open_page(demo.results / PAGES[1], width=390).page
    study = read_results(demo.results, Asked())
    outcomes = []
    for asked in random_lookups(50, seed=50):
        right, found = asked_of_package(study, asked), ask(page, asked)
        assert found["shown"] == ["answer" if right["supported"] else "refusal"], (asked, right["note"])
        outcomes.append(right["supported"])
        if right["supported"]:
            (values, windows), (right_values, right_windows) = figures_of_page(found), figures_of_package(right)
            assert values == pytest.approx(right_values, abs=0.05), asked
            assert windows == right_windows
    assert 10 <= sum(outcomes) < 50


def test_a_sheet_of_the_demo_prints_on_two_sides(demo, open_page):
    golfers, *_ = tables(demo)
    code = golfers.filter(pl.col("flagged") & (pl.col("quarter") == QUARTER)).item(0, "golfer")
    page = open_page(demo.results / PAGES[0]).page
    page.evaluate("code => { location.hash = `#golfer/${code}`; }", code)
    page.wait_for_selector(".view-golfer details")
    assert len(PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages) == 2


@pytest.mark.parametrize("name", PICTURES)
def test_the_readmes_pictures_are_the_runs_figures(demo, root, tmp_path, name):
    kept, drawn = root / f"docs/pictures/{name}.png", tmp_path / f"{name}.png"
    shutil.copy(demo.results / f"figures/{name}.png", drawn)
    # Another version of the drawing library may move a pixel; another figure moves more.
    assert compare_images(str(kept), str(drawn), tol=2) is None
    assert kept.stat().st_size < 200_000
    told = re.findall(r"!\[(.+?)\]\((.+?)\)", (root / "README.md").read_text(encoding="utf-8"))
    assert [len(text) > 40 for text, path in told if path == f"docs/pictures/{name}.png"] == [True]
