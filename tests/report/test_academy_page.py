"""The academy's page in real Chromium: figures as in the tables, quiet, accessible, printable."""

import io

import polars as pl
import pytest
from academy_reading import band_rows, beyond_the_paper, change_rows, flagged_rows, glance, glance_of, read_csv, rows_of
from browser import serious_findings
from pypdf import PdfReader

from pipeline.report.figures import draw_figures
from pipeline.report.page import write_report
from pipeline.tables.golfers import Golfers

SCRIPT = "<script>document.title = 'run'</script>"
MARKUP = "<img src=x onerror=\"document.title = 'run'\"> {{ 7*7 }} =1+1"
A4_POINTS = (595, 842)


@pytest.fixture
def academy_page(tmp_path, study_files, figure_paths, settings):
    """Give a function that writes figures and page from files, golfers changed at will; gives the page's path."""

    def make(golfers=None):
        if golfers is not None:
            golfers.write_csv(study_files["golfers"])
        drawn = {name: study_files[name] for name in ("golfers", "bands", "chart")}
        draw_figures.run(**drawn, figures=figure_paths, settings=settings)
        path = tmp_path / "report" / "academy.html"
        read = {name: study_files[name] for name in ("card", "model", "which", "light_tool")}
        read["tables"] = [path for path in study_files.values() if path.endswith(".csv")]
        write_report.run(**read, figures=figure_paths, page=str(path), settings=settings, kept=False)
        return path

    return make


def printed(page):
    return PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True, print_background=True)))


def test_figures_on_the_page_are_those_of_the_tables(academy_page, open_page, study_files):
    page = open_page(academy_page()).page
    golfers, changes, bands = (read_csv(study_files[name]) for name in ("golfers", "changes", "bands"))

    flagged = golfers.filter((pl.col("quarter") == "2026Q3") & pl.col("flagged"))
    worst_first = flagged.sort("ranked_lost_yd", descending=True)
    assert rows_of(page, "flagged") == flagged_rows(worst_first)
    assert rows_of(page, "changes") == change_rows(changes, "2026Q3")
    shown = rows_of(page, "bands")
    assert [row[:-1] for row in shown] == band_rows(bands, "2026Q3")
    assert shown[-1][-1] == "suppressed (fewer than 5 golfers)"
    assert glance_of(page) == glance(golfers, changes, "2026Q3")
    counted = dict(changes["movement"].value_counts().iter_rows())
    told = page.locator("#movement").inner_text()
    starts = {
        "new": "newly flagged:",
        "no_longer": "no longer flagged:",
        "still": "still flagged:",
        "clear": "not flagged in either quarter:",
    }
    assert [f"{start} {counted[name]}" in told for name, start in starts.items()] == [True] * 4


@pytest.mark.parametrize("width", [390, 1200])
def test_page_is_accessible_and_does_not_scroll_sideways(academy_page, open_page, width):
    page = open_page(academy_page(), width=width).page
    assert serious_findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.evaluate("[...document.images].every(image => image.naturalWidth > 500)")
    page.locator("summary").first.click()
    assert page.get_by_role("region", name="Speed bands of earlier quarters, carry", exact=True).is_visible()


def test_hostile_text_stays_text(academy_page, open_page, study_files, sources, settings):
    logs = sources.with_columns(source=pl.Series([SCRIPT, MARKUP]), reason=pl.Series([None, SCRIPT]))
    logs.write_csv(study_files["sources"])
    for name in ("calibrations", "scores", "bands", "golfers"):
        read_csv(study_files[name]).with_columns(note=pl.lit(MARKUP)).write_csv(study_files[name])
    settings["study"] = MARKUP

    page = open_page(academy_page()).page

    assert page.title() == f"{MARKUP}, 2026Q3: who is losing yards"
    assert page.locator("script, img[src=x]").count() == 0
    assert {row[0] for row in rows_of(page, "sources")} == {SCRIPT, MARKUP}
    assert rows_of(page, "flagged")[0][-1] == rows_of(page, "bands")[0][-1] == MARKUP
    assert MARKUP in page.locator("h1").inner_text()


def test_printed_page_has_every_flagged_golfer_whole(academy_page, open_page, golfers):
    short = golfers.filter((pl.col("quarter") == "2026Q3") & pl.col("flagged"))
    names = pl.Series([f"g{0xD1B54A32D192ED03 * k % 2**64:016x}" for k in range(1, 67)])
    many = pl.concat([short] * 6).with_columns(golfer=names)
    rest = golfers.filter(~pl.col("flagged"))
    page = open_page(academy_page(Golfers.validate(pl.concat([many, rest])))).page

    pages = printed(page).pages

    sizes = {(round(float(sheet.mediabox.width)), round(float(sheet.mediabox.height))) for sheet in pages}
    assert sizes == {A4_POINTS}
    texts = [sheet.extract_text() for sheet in pages]
    lines = [line.split() for text in texts for line in text.splitlines()]
    # A row that was split or cut would not have all its cells on its line.
    right = {row[0]: " ".join(row).split() for row in flagged_rows(many)}
    assert {line[0]: line for line in lines if line and right.get(line[0]) == line} == right
    with_rows = [text for text in texts if any(name in text and name in right for name in text.split())]
    assert len(with_rows) >= 2
    assert all("Wrong" in text and "Main" in text for text in with_rows)
    assert beyond_the_paper(page) == []
    whole = "[...document.querySelectorAll('tr, figure')].map((e) => getComputedStyle(e).breakInside)"
    assert set(page.evaluate(whole)) == {"avoid"}
