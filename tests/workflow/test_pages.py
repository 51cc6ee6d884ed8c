"""Every page of the real demo run in Chromium with the network off, and the README's pictures."""

import io
import re
import shutil

import polars as pl
import pytest
from academy_pages import numbers_in, rows_shown, table_ready, view
from browser import chromium, open_page, serious_findings  # noqa: F401
from lookups import ask, asked_of_package, figures_of_package, figures_of_page, random_lookups
from matplotlib.testing.compare import compare_images
from pypdf import PdfReader

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.report.shown_sums import shown_losses
from pipeline.shown import number_text

# ruff: noqa: F811 - fixtures that are imported above and asked for below
QUARTER = "2026Q3"
PAGES = ["report/academy.html", "report/lookup.html", "model/diagnostics.html"]
DASH = "\N{EN DASH}"
PICTURES = ["carry_by_speed", "delivery_100"]


def read_csv(demo, name):
    return pl.read_csv(demo.results / name, infer_schema_length=None)


@pytest.mark.parametrize("width", [390, 1200])
@pytest.mark.parametrize("name", PAGES)
def test_every_page_is_quiet_and_accessible(demo, open_page, name, width):
    page = open_page(demo.results / name, width=width).page
    assert len(page.locator("main").inner_text()) > 100
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert serious_findings(page) == []


def test_the_directors_table_has_the_figures_of_the_tables(demo, open_page):
    newest = read_csv(demo, "golfers/golfers.csv").sort("quarter").group_by("golfer").last()
    page = open_page(demo.results / PAGES[0], width=1280, height=800).page
    view(page, "#golfers")
    table_ready(page)
    page.locator("#more-columns").click()

    shown = rows_shown(page)

    assert len(shown) > 60
    assert set(shown) == set(newest["golfer"])
    for row in newest.to_dicts():
        cells, yards = shown[row["golfer"]], shown_losses(row)
        lost = DASH if row["status"] == "not_assessed" else f"{yards['lost_yd']}".replace("-", "\N{MINUS SIGN}")
        assert [cells["lost_yd"], cells["carry_yd"], cells["shots"]] == [
            lost,
            f"{yards['carry_yd']}",
            f"{row['shots']}",
        ]
        assert cells["club_speed_mph"] == number_text(row["club_speed_mph"])
        if lost != DASH:
            ends = [number_text(row[f"lost_{end}90_yd"]).replace("-", "\N{MINUS SIGN}") for end in ("lo", "hi")]
            assert cells["sure"].startswith(" to ".join(ends))


def test_the_directors_counts_are_those_of_the_tables(demo, open_page):
    golfers = read_csv(demo, "golfers/golfers.csv").filter(quarter=QUARTER)
    page = open_page(demo.results / PAGES[0], width=1280, height=800).page

    flagged, everybody = (numbers_in(text) for text in page.locator(".sum").all_inner_texts())

    assert flagged[0] == sum(flagged[1:]) == read_csv(demo, "golfers/flagged.csv").height > 20
    assert everybody[0] == sum(everybody[1:]) == golfers.height
    assert everybody[-1] == golfers.filter(status="not_assessed").height
    verdicts = [name for name in read_csv(demo, "golfers/progress.csv").columns if name.endswith("_verdict")]
    progress = read_csv(demo, "golfers/progress.csv").filter(quarter=QUARTER)
    better = progress.filter(pl.any_horizontal(pl.col(name) == "better" for name in verdicts)).height
    assert numbers_in(page.locator(".good-news > p").first.inner_text())[0] == better > 5
    causes = golfers.filter("flagged")["main_cause"].value_counts().rows()
    for cause, count in causes:
        view(page, f"#golfers?cause={cause}&status=flagged")
        table_ready(page)
        assert numbers_in(page.locator("#golfers-count").inner_text())[0] == count


def test_the_directors_links_lead_somewhere(demo, open_page):
    page = open_page(demo.results / PAGES[0]).page
    links = set(page.evaluate("[...document.links].map((a) => a.getAttribute('href'))"))
    inner = {link for link in links if link.startswith("#")}
    assert len(inner) > 15
    assert [link for link in links - inner if not (demo.results / "report" / link).resolve().is_file()] == []
    assert len(links - inner) >= 2


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
    golfers = read_csv(demo, "golfers/golfers.csv")
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
