"""How straight, in the page's table of golfers and in the view of one band, from the tables to the browser."""

import pytest
from academy_pages import PIXEL, rows_shown, table_ready, view
from browser import chromium, open_page, serious_findings  # noqa: F401 - fixtures
from page_cases import SETTINGS, code, played, study_payload
from straight_cases import not_straight, straight
from whole_pages import page_of

from pipeline.report.palette import THEMES

# ruff: noqa: F811 - fixtures that are imported above and asked for below
DASH = "\N{EN DASH}"
STRAIGHT = [
    straight("1", offline_sd_yd=18.46, in_corridor_share=0.474),
    straight("2", "2026Q2", offline_sd_yd=21.2, in_corridor_share=0.4),
    not_straight("3"),
    straight("4", offline_sd_yd=None, offline_sd_lo90_yd=None, offline_sd_hi90_yd=None, note="all alike"),
]
ROWS = [played("1", "2026Q2"), played("1"), played("2", "2026Q2"), played("3"), played("4")]
SPREADS = {"offline_sd_p25_yd": 14.0, "offline_sd_p50_yd": 18.0, "offline_sd_p75_yd": 23.0, "in_corridor_p50": 0.47}
BAND = {"golfers": 9, "corridor_yd": 30.0, **SPREADS}
LITTLE = {"suppressed": True, "corridor_yd": 30.0, "note": "fewer than 5 golfers: their figures are suppressed"}


def band(band_mph, quarter="2026Q3", **given):
    """Make a band's row of the band table, in which carry may be shown."""
    return {"band_mph": float(band_mph), "quarter": quarter, "golfers": 12, "shots": 300, "carry_p50_yd": 210.0} | given


def payload(**others):
    others = {"BandTable": [band(80), band(90)], "Straightness": STRAIGHT} | others
    made = study_payload(*ROWS, **others)
    pictures = {f"{at:g}": {"best": None, **dict.fromkeys(THEMES, PIXEL)} for at in SETTINGS["bands"]["centres"]}
    return made | {"pictures": pictures, "card": []}


@pytest.fixture
def opened(open_page, tmp_path):
    def made(fragment, width=1280, height=800, **others):
        path = tmp_path / "academy.html"
        path.write_text(page_of(payload(**others)), encoding="utf-8")
        page = open_page(path, width, height).page
        view(page, fragment)
        return page

    return made


def golfers_of(made):
    columns = made["golfers"]["columns"]
    return {row[0]: dict(zip(columns, row, strict=True)) for row in made["golfers"]["rows"]}


def facts_of(page):
    parts = (page.locator(f"#view .facts {tag}").all_inner_texts() for tag in ("dt", "dd"))
    return dict(zip(*parts, strict=True))


# --- golfers


def test_a_golfers_figures_are_of_the_last_quarter_with_drives_and_null_where_not_assessed():
    told = golfers_of(payload())

    found = {name: (told[code(name)]["spread_yd"], told[code(name)]["in_corridor"]) for name in "1234"}
    assert found == {"1": (18.46, 0.474), "2": (21.2, 0.4), "3": (None, None), "4": (None, 0.47)}


def test_two_columns_come_with_more_columns_and_sort(opened):
    page = opened("#golfers")
    table_ready(page)
    assert page.locator(".tabulator-col").count() == 7
    page.locator("#more-columns").click()

    shown = {golfer: (cells["spread_yd"], cells["in_corridor"]) for golfer, cells in rows_shown(page).items()}

    assert shown[code("1")] == ("18", "47 %")
    assert shown[code("2")] == ("21", "40 %")
    assert shown[code("3")] == (DASH, DASH)
    heads = [" ".join(text.split()) for text in page.locator(".tabulator-col-title").all_inner_texts()]
    assert ("Side spread, yd" in heads, "In the corridor" in heads, len(heads)) == (True, True, 19)
    page.locator(".tabulator-col[tabulator-field=spread_yd] .tabulator-col-title").click()
    assert next(iter(rows_shown(page))) == code("2")


@pytest.mark.parametrize("table", [[], [not_straight(name) for name in "134"]])
def test_columns_that_nobody_fills_are_left_out(opened, table):
    page = opened("#golfers", Straightness=table)
    table_ready(page)
    page.locator("#more-columns").click()

    assert page.locator(".tabulator-col").count() == 17
    assert page.locator(".tabulator-col[tabulator-field=spread_yd]").count() == 0


# --- bands


def test_a_band_shows_how_straight_its_golfers_drive(opened):
    page = opened("#bands/90", StraightnessBands=[BAND | {"band_mph": 90.0}])

    told = facts_of(page)

    assert told["Side spread of the middle golfer"] == "18 yd; the middle half 14 to 23 yd"
    assert told["The middle golfer's drives in a corridor of 30 yd"] == "47 %"
    assert told["Golfers behind the side spread"] == "9"
    assert serious_findings(page) == []
    view(page, "#bands/80")  # no row says anything of it
    assert not [name for name in facts_of(page) if "spread" in name or "corridor" in name]


def test_a_suppressed_spread_is_said_plainly_and_no_figure_of_it_is_in_the_page(opened):
    page = opened("#bands/90", StraightnessBands=[LITTLE | {"band_mph": 90.0}])

    told = facts_of(page)

    words = "not shown: fewer than 5 golfers whose logs say where drives come down"
    assert told["Side spread of the middle golfer"] == words
    assert not [name for name in told if "corridor" in name or "behind" in name]
    given = next(row for row in payload(StraightnessBands=[LITTLE | {"band_mph": 90.0}])["bands"] if row["straight"])
    figures = ("golfers", "spread_p25", "spread_p50", "spread_p75", "in_corridor_p50")
    assert [given["straight"][name] for name in figures] == [None] * 5


@pytest.mark.parametrize(
    ("lacking", "spread", "share"),
    [
        (["offline_sd_p25_yd", "offline_sd_p75_yd"], "18 yd", "47 %"),
        (list(SPREADS), "too few golfers", "too few golfers"),
    ],
)
def test_percentiles_that_may_not_be_published_are_left_out(opened, lacking, spread, share):
    row = BAND | {"band_mph": 90.0} | dict.fromkeys(lacking)
    page = opened("#bands/90", StraightnessBands=[row])

    told = facts_of(page)

    assert told["Side spread of the middle golfer"] == spread
    assert told["The middle golfer's drives in a corridor of 30 yd"] == share


def test_straightness_of_a_quarter_is_told_of_no_other():
    rows = [BAND | {"band_mph": 90.0, "quarter": "2026Q2"}]
    bands = [band(90), band(90, "2026Q2")]

    told = {row["quarter"]: row["straight"] for row in payload(BandTable=bands, StraightnessBands=rows)["bands"]}

    assert told["2026Q3"] is None
    assert told["2026Q2"]["spread_p50"] == 18.0


def test_a_phone_shows_the_band_without_scrolling_sideways(opened):
    page = opened("#bands/90", 390, 844, StraightnessBands=[BAND | {"band_mph": 90.0}])

    assert page.evaluate("document.documentElement.scrollWidth") <= 390
