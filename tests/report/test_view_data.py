"""The view #data in a browser: counts that add up, devices, gaps, and the model card, which is text alone."""

import polars as pl
import pytest
from band_cases import DEVICES, drives_with_gaps
from browser import chromium, open_page, serious_findings  # noqa: F401 - fixtures
from test_view_bands import open_view, rows_of  # noqa: F401 - a fixture

from pipeline.report.page.card_part import card_part
from pipeline.report.page.quality import unknown_of


@pytest.fixture
def page(open_view):  # noqa: F811
    return open_view("data")


def part(page, name):
    return page.locator(f'#view [data-part="{name}"]')


def test_rows_add_up_as_shown(page, sources):
    assert part(page, "logs").locator(".sum-of-rows").inner_text() == (
        "1,000 rows = 980 drives + 14 rejected + 6 there already"
    )
    assert page.locator("#view h1").inner_text() == "980 of 1,000 rows became drives; 1 of 2 logs gave nothing"
    used = sources.filter(pl.col("status") == "used").row(0, named=True)
    refused, shown = rows_of(page, "#data-table-logs tbody tr")
    assert shown == [used["source"], "", "1,000", "980", "14", "6"]
    # A refused log says why, in the words of the log, which can't become markup.
    assert refused[0].split("\n") == ["logs/bay_2.csv", "Refused: the column <script>alert(1)</script> is not there"]


def test_reasons_of_rejected_rows_stand_in_words_the_commonest_first(page):
    assert rows_of(page, "#data-table-rejects tbody tr") == [
        ["the cell is empty", "carry 8", "8"],
        ["higher than any drive's", "spin 5", "5"],
        ["more ball speed than the club speed can give", "ball speed 1", "1"],
    ]


def test_devices_say_how_they_differ_and_what_was_done(page):
    told = part(page, "devices").locator("li > strong").all_inner_texts()

    assert told == [
        "unit-B reads differently from unit-A: ball speed 3.1 % lower. Its readings were put right first.",
        "unit-C differs from unit-A: spin 6.1 % higher. Golfers may differ by as much, so nothing was changed. "
        "Check the device.",
        "unit-D reads like unit-A, as far as 31 golfers show. Nothing was changed.",
        "unit-E couldn't be compared with unit-A. The ranges of its golfers are wider for that.",
    ]
    notes = part(page, "devices").locator("details p").all_text_contents()
    assert notes == [f"{note}." for note in dict.fromkeys(row["note"] for row in DEVICES)]


def test_what_drives_lack_is_counted(page, golfers):
    drives = drives_with_gaps(golfers)
    count = drives.height
    air = drives.filter(pl.all_horizontal(pl.col("temp_c", "pressure_hpa", "altitude_m").is_null())).height
    spin, ball = drives.filter(~pl.col("spin_measured")).height, drives["ball_speed_mph"].null_count()
    assert 0 < air < count

    told = part(page, "unknown").locator("li").all_inner_texts()

    assert told == [
        f"{air} of {count} drives have no word on the air. They count as hit in standard air.",
        f"The device guessed the spin of {spin} of {count} drives. It isn't used to judge spin.",
        f"{ball} of {count} drives have no ball speed, so their strike can't be separated.",
    ]


def test_drives_are_counted_piece_by_piece(golfers):
    drives = drives_with_gaps(golfers)
    known = drives.with_columns(temp_c=pl.lit(15.0), spin_measured=pl.lit(None, pl.Boolean), ball_speed_mph=pl.lit(9.0))

    assert unknown_of(known).to_dicts() == [{"drives": drives.height, "no_air": 0, "no_spin": 0, "no_ball": 0}]


def test_suppressed_bands_are_named(page):
    told = part(page, "privacy").locator("p").first.inner_text()

    assert told == "Bands with fewer than 5 golfers aren't shown: 2026 Q3 110 mph, 2026 Q2 110 mph."


def test_card_is_laid_out_and_nothing_in_it_becomes_markup(page):
    card = page.locator("#view .card")
    card.locator("summary").click()

    assert card.locator("h3").inner_text() == "Model <script>alert(1)</script>"
    assert card.locator("p").first.inner_text().replace("\n", " ") == (
        "Fitted on 60 golfers, here, [there](javascript:alert(2)), picture, <b onclick=x>bold</b>."
    )
    assert card.locator("p").nth(1).inner_text() == '<iframe src="https://elsewhere.example"></iframe>'
    assert rows_of(page, "#view .card tbody tr") == [["line", "18.24"], ["<img src=x onerror=alert(3)>", "3.17"]]
    assert card.locator("strong").inner_text() == "60"
    assert card.locator("a, img, script, iframe, b, [onclick], [onerror], [href], [src]").count() == 0
    assert page.title() == "Glen & <Fell>: Data"


def test_card_keeps_lists_and_code():
    assert card_part("- one\n- two `x < 1`\n") == [["ul", ["li", "one"], ["li", "two ", ["code", "x < 1"]]]]
    assert card_part("```html\n<script>\n```\n") == [["pre", "<script>\n"]]


def test_links_lead_to_the_files_beside_the_page(page):
    links = page.locator("#view .links a").evaluate_all("links => links.map(link => link.getAttribute('href'))")

    assert links == [
        "../model/diagnostics.html",
        "../golfers/golfers.xlsx",
        "../benchmarks/bands.xlsx",
        "lookup.html",
        "../sources.csv",
        "../rejects.csv",
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_serious_and_nothing_beyond_the_edge(open_view, scheme, width):  # noqa: F811
    page = open_view("data", color_scheme=scheme, width=width, height=844)
    page.locator("#view details").evaluate_all("folds => folds.forEach(fold => { fold.open = true; })")

    assert serious_findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
