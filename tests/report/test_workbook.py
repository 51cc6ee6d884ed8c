import io
import re
import zipfile
from pathlib import Path

import polars as pl
import pytest
from frontiers import frontier_at
from rows import table_of
from xlsxwriter.utility import xl_col_to_name

from pipeline.edge.artefacts import write_artefact
from pipeline.report.palette import LIGHT
from pipeline.report.workbook import further_sheets, workbook, write_workbook
from pipeline.report.workbook.bands_text import bands_markdown
from pipeline.report.workbook.workbook import (
    BAND_NOTES,
    bands_workbook,
    golfer_notes,
    golfers_workbook,
)
from pipeline.tables.columns import facts_of
from pipeline.tables.figures import BandTable
from pipeline.tables.goals import Goals
from pipeline.tables.golfers import Golfers
from pipeline.tables.straightness import Straightness, StraightnessBands
from pipeline.tables.table_set import TableSet

TITLE = "Glen & Fell"
NUMBERS = [name for name, dtype in BandTable.create_empty().schema.items() if dtype.is_numeric()]
BAND_FORMATS = {
    "shots": "0", "carry_p25_yd": "0", "total_p25_yd": "0", "launch_lo_deg": "0.0", "spin_lo_rpm": "#,##0",
    "total_launch_lo_deg": "0.0", "total_spin_lo_rpm": "#,##0", "total_spin_hi_rpm": "#,##0", "speed_ratio_p50": "0.00",
    "in_window_share": "0%",
}  # fmt: skip


def letters_of(schema):
    """Give the letters of a sheet's columns."""
    return {name: xl_col_to_name(place) for place, name in enumerate(schema.column_names())}


def headings(schema):
    return {facts.heading: name for name, facts in facts_of(schema).items()}


def explained(schema):
    return [(facts.heading, facts.note) for facts in facts_of(schema).values()]


def with_notes(bands, notes):
    return BandTable.validate(bands.head(len(notes)).with_columns(note=pl.Series(notes)))


def part_of(path, name):
    with zipfile.ZipFile(path) as book:
        return book.read(name).decode("utf-8")


def test_workbook_holds_the_full_values(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    path.write_bytes(bands_workbook(bands, title=TITLE))

    back = pl.read_excel(path, sheet_name="bands")
    assert back.columns == list(headings(BandTable))
    back = back.rename(headings(BandTable))
    assert back["quarter"].to_list() == ["2026Q3"] * 5 + ["2026Q2"] * 5
    bands = bands.sort("quarter", "band_mph", descending=[True, False])
    for name in NUMBERS:
        assert back[name].is_null().equals(bands[name].is_null()), name
        # The file format holds 16 digits, one short of a full float.
        known = bands[name].drop_nulls().cast(pl.Float64).to_list()
        if facts_of(BandTable)[name].display.inward:
            continue  # see test_shown_once
        assert back[name].drop_nulls().to_list() == pytest.approx(known, rel=1e-15), name
    assert back["quarter"].to_list() == bands["quarter"].to_list()
    assert back["suppressed"].to_list() == ["no", "no", "no", "no", "yes"] * 2


def test_text_like_a_formula_stays_text(tmp_path, bands):
    notes = ["=1+1", "+1", "-1", "@SUM(A1)", "12"]
    path = tmp_path / "bands.xlsx"

    path.write_bytes(bands_workbook(with_notes(bands, notes), title=TITLE))

    assert pl.read_excel(path, sheet_name="bands")["Note"].to_list() == notes
    assert "<f>" not in part_of(path, "xl/worksheets/sheet1.xml")


def test_header_quarter_and_band_are_frozen(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    path.write_bytes(bands_workbook(bands, title=TITLE))

    assert '<pane xSplit="2" ySplit="1" topLeftCell="C2"' in part_of(path, "xl/worksheets/sheet1.xml")
    assert 'state="frozen"' in part_of(path, "xl/worksheets/sheet1.xml")


def test_cells_have_the_number_format_of_their_column(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    path.write_bytes(bands_workbook(bands, title=TITLE))

    styles = part_of(path, "xl/styles.xml")
    # The file format gives 0 and 1 to the formats General and 0; others are spelt out.
    codes = {"0": "General", "1": "0"} | dict(re.findall(r'<numFmt numFmtId="(\d+)" formatCode="([^"]*)"', styles))
    used = [codes[number] for number in re.findall(r'<xf numFmtId="(\d+)"', styles.partition("<cellXfs")[2])]
    cells = dict(re.findall(r'<c r="([A-Z]+)3" s="(\d+)"', part_of(path, "xl/worksheets/sheet1.xml")))
    shown = {name: used[int(cells[letters])] for name, letters in letters_of(BandTable).items() if letters in cells}
    assert {name: shown[name] for name in BAND_FORMATS} == BAND_FORMATS


def test_notes_sheet_explains_every_column_and_the_interval(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    path.write_bytes(bands_workbook(bands, title=TITLE))

    notes = pl.read_excel(path, sheet_name="notes")
    assert notes.rows() == [("Title", f"{TITLE}: speed bands"), *explained(BandTable), *BAND_NOTES]


def test_same_table_gives_same_bytes_without_the_clock(tmp_path, bands):
    one, other = tmp_path / "one.xlsx", tmp_path / "other.xlsx"

    one.write_bytes(bands_workbook(bands, title=TITLE))
    other.write_bytes(bands_workbook(bands, title=TITLE))

    assert one.read_bytes() == other.read_bytes()
    assert '<dcterms:created xsi:type="dcterms:W3CDTF">2000-01-01T00:00:00Z' in part_of(one, "docProps/core.xml")
    with zipfile.ZipFile(one) as book:
        assert {info.date_time for info in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}


FLAGS = {"lost_yd": 12.5, "false_discovery_rate": 0.05, "min_shots": 17}
ASSESSED = {
    "status": "assessed", "shots": 30, "known": 30, "calculated": 0, "offline_mean_yd": -3.25, "offline_sd_yd": 14.125,
    "in_corridor_share": 0.625,
}  # fmt: skip
QUARTERS = [{"quarter": "2026Q2"}, {"quarter": "2026Q3"}, {"quarter": "2026Q3", "golfer": "g0000000000000000"}]
LOW = {"suppressed": True, "note": "fewer than 5 golfers"}
OF_GOLFERS = TableSet(
    {
        Straightness: table_of(Straightness, [ASSESSED | one for one in QUARTERS]),
        Goals: table_of(Goals, [{"golfer": "g2", "share_reaching": 0.25}, {"golfer": "g1"}]),
    }
)
OF_BANDS = TableSet(
    {
        StraightnessBands: table_of(
            StraightnessBands,
            [
                {"quarter": "2026Q2", "band_mph": 80.0, "golfers": 9, "offline_sd_p50_yd": 13.0},
                {"quarter": "2026Q3", "band_mph": 90.0, "golfers": 8, "in_corridor_p50": 0.75},
                {"quarter": "2026Q3", "band_mph": 80.0, **LOW},
            ],
        ),
    }
)
GOLFER_NUMBERS = [name for name, dtype in Golfers.create_empty().schema.items() if dtype.is_numeric()]


@pytest.fixture
def golfer_book(tmp_path, golfers):
    path = tmp_path / "golfers.xlsx"
    path.write_bytes(golfers_workbook(golfers, FLAGS, title=TITLE))
    return path


def test_golfers_workbook_holds_the_full_values_newest_and_worst_first(golfer_book, golfers):
    back = pl.read_excel(golfer_book, sheet_name="golfers", infer_schema_length=None)

    assert back.columns == list(headings(Golfers))
    back = back.rename(headings(Golfers))
    flagged = back.filter((pl.col("flagged") == "yes") & (pl.col("quarter") == "2026Q3"))
    assert back.head(11).equals(flagged)
    assert flagged["lost_yd"].to_list() == sorted(flagged["lost_yd"], reverse=True)
    assert back["quarter"].to_list() == ["2026Q3"] * 44 + ["2026Q2"] * 24
    same = golfers.join(back.select("golfer", "quarter"), on=["golfer", "quarter"], how="right")
    for name in GOLFER_NUMBERS:
        assert back[name].is_null().equals(same[name].is_null()), name
        known = same[name].drop_nulls().cast(pl.Float64).to_list()
        assert back[name].drop_nulls().to_list() == pytest.approx(known, rel=1e-15), name
    for name in ("main_cause", "status"):
        assert back[name].to_list() == same[name].cast(pl.String).to_list()


def test_text_like_a_formula_stays_text_in_the_golfers_workbook(tmp_path, golfers):
    notes = ["=cmd|' /C calc'!A1", "+1", "-1", "@SUM(A1)", "<script>", "{{ 7*7 }}", "http://x.example"]
    table = Golfers.validate(golfers.filter(pl.col("status") == "clear").head(7).with_columns(note=pl.Series(notes)))
    path = tmp_path / "golfers.xlsx"

    path.write_bytes(golfers_workbook(table, FLAGS, title=TITLE))

    assert sorted(pl.read_excel(path, sheet_name="golfers")["Note"].to_list()) == sorted(notes)
    sheet = part_of(path, "xl/worksheets/sheet1.xml")
    assert "<f>" not in sheet
    assert "hyperlink" not in sheet


def test_golfers_workbook_has_a_frozen_header_formats_and_notes(golfer_book):
    sheet = part_of(golfer_book, "xl/worksheets/sheet1.xml")
    assert '<pane xSplit="2" ySplit="1" topLeftCell="C2"' in sheet
    styles = part_of(golfer_book, "xl/styles.xml")
    codes = {"0": "General", "1": "0", "49": "@"} | dict(re.findall(r'numFmtId="(\d+)" formatCode="([^"]*)"', styles))
    codes |= {number: code.replace("&quot;", '"').replace("&lt;", "<") for number, code in codes.items()}
    used = [codes[number] for number in re.findall(r'<xf numFmtId="(\d+)"', styles.partition("<cellXfs")[2])]
    cells = dict(re.findall(r'<c r="([A-Z]+)3" s="(\d+)"', sheet))
    shown = {name: used[int(cells[letters])] for name, letters in letters_of(Golfers).items() if letters in cells}
    names = ("shots", "club_speed_mph", "spin_rpm", "lost_yd", "p_value", "q_value")
    tiny = '[<0.0001]"<0.0001";0.0000'
    assert [shown[name] for name in names] == ["0", "0", "#,##0", "0", tiny, tiny]
    notes = pl.read_excel(golfer_book, sheet_name="notes")
    assert notes.rows() == [("Title", f"{TITLE}: golfers"), *explained(Golfers), *golfer_notes(FLAGS)]
    assert "At least 17 drives, and more than 12.5 yd lost with q of 0.05 or less." in notes["Meaning"].to_list()


def test_step_writes_the_same_bytes_again_and_the_bands_as_text(tmp_path, golfers, bands):
    further = [Straightness, Goals, StraightnessBands]
    for schema in further:
        (OF_BANDS if schema is StraightnessBands else OF_GOLFERS)[schema].write_csv(
            tmp_path / Path(schema.FILES[0]).name
        )
    for name, table in (("golfers", golfers), ("bands", bands)):
        table.write_csv(tmp_path / f"{name}.csv")
    write_artefact(tmp_path / "frontier.json", frontier_at([80.0, 90.0]))
    paths = {name: str(tmp_path / f"{name}.csv") for name in ("golfers", "bands")}
    paths["frontier"] = str(tmp_path / "frontier.json")
    *of_golfers, of_bands = (str(tmp_path / Path(schema.FILES[0]).name) for schema in further)
    paths |= {"of_golfers": of_golfers, "of_bands": [of_bands]}
    made = {"golfers_xlsx": "golfers.xlsx", "bands_xlsx": "bands.xlsx", "bands_md": "bands.md"}

    for folder in ("one", "other"):
        out = {key: str(tmp_path / folder / name) for key, name in made.items()}
        write_workbook.run(**paths, **out, flags=FLAGS, min_golfers=6, title=TITLE)

    for name in made.values():
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "other" / name).read_bytes(), name
    assert pl.read_excel(tmp_path / "one" / "golfers.xlsx", sheet_name="golfers").height == 68
    assert pl.read_excel(tmp_path / "one" / "bands.xlsx", sheet_name="bands").height == 10
    assert pl.read_excel(tmp_path / "one" / "golfers.xlsx", sheet_name="goals").height == 2
    assert pl.read_excel(tmp_path / "one" / "bands.xlsx", sheet_name="straightness").height == 3
    assert (tmp_path / "one" / "bands.md").read_text(encoding="utf-8") == bands_markdown(bands, min_golfers=6)


def test_notes_name_the_golfers_whose_strike_the_study_calls_efficient(tmp_path, bands, golfers):
    path = tmp_path / "book.xlsx"
    for made, heading in (
        (bands_workbook(bands, title=TITLE, strike=0.9), "Efficient carry, yd"),
        (golfers_workbook(golfers, FLAGS, title=TITLE, strike=0.9), "Efficient carry, yd"),
    ):
        path.write_bytes(made)
        notes = dict(pl.read_excel(path, sheet_name="notes").rows())
        assert "struck with a ratio that the best tenth of them reach." in notes[heading]


def test_workbook_without_golfers_has_its_headings(tmp_path):
    path = tmp_path / "golfers.xlsx"

    path.write_bytes(golfers_workbook(Golfers.create_empty(), FLAGS, title=TITLE))

    back = pl.read_excel(path, sheet_name="golfers", drop_empty_rows=True, raise_if_empty=False)
    assert back.columns == list(headings(Golfers))
    assert back.height == 0


def filters_of(path):
    return re.findall(r'<autoFilter ref="([^"]+)"', part_of(path, "xl/tables/table1.xml"))


@pytest.mark.parametrize(("table", "make"), [("bands", bands_workbook), ("golfers", golfers_workbook)])
def test_every_column_can_be_filtered(tmp_path, request, table, make):
    path, rows = tmp_path / "one.xlsx", request.getfixturevalue(table)

    path.write_bytes(make(rows, title=TITLE) if make is bands_workbook else make(rows, FLAGS, title=TITLE))

    assert filters_of(path) == [f"A1:{xl_col_to_name(rows.width - 1)}{rows.height + 1}"]


def test_status_has_a_color_beside_its_word(golfer_book, golfers):
    sheet, styles = part_of(golfer_book, "xl/worksheets/sheet1.xml"), part_of(golfer_book, "xl/styles.xml")
    looks = re.findall(r"<dxf>(.*?)</dxf>", styles)
    letters = letters_of(Golfers)
    rules = {
        place: dict(re.findall(r'dxfId="(\d+)".*?<formula>"(\w+)"</formula>', inside))
        for place, inside in re.findall(r'<conditionalFormatting sqref="([^"]+)">(.*?)</conditionalFormatting>', sheet)
    }
    status = rules[f"{letters['status']}2:{letters['status']}{golfers.height + 1}"]

    colors = {word: re.findall(r'rgb="FF(\w{6})"', looks[int(number)]) for number, word in status.items()}

    assert colors == {
        "flagged": [LIGHT.attention[1:].upper(), LIGHT.attention_pale[1:].upper()],
        "clear": [LIGHT.good[1:].upper(), LIGHT.good_pale[1:].upper()],
        "not_assessed": [LIGHT.soft[1:].upper(), LIGHT.faint[1:].upper()],
    }
    assert set(status.values()) == set(golfers["status"].cast(pl.String))


def test_title_stands_in_the_file_and_on_each_printed_page(golfer_book):
    assert f"<dc:title>{TITLE.replace('&', '&amp;')}: golfers</dc:title>" in part_of(golfer_book, "docProps/core.xml")
    # In a header && prints &.
    header = re.search(r"<oddHeader>(.*?)</oddHeader>", part_of(golfer_book, "xl/worksheets/sheet1.xml"))
    assert header[1].replace("&amp;", "&") == f"&L&B{TITLE.replace('&', '&&')}: golfers&R&P of &N"


def test_columns_hold_their_longest_word(golfer_book, golfers):
    sheet = part_of(golfer_book, "xl/worksheets/sheet1.xml")
    widths = {}
    for first, last, width in re.findall(r'<col min="(\d+)" max="(\d+)" width="([\d.]+)"', sheet):
        widths |= dict.fromkeys(range(int(first), int(last) + 1), float(width))

    for place, facts in enumerate(facts_of(Golfers).values(), start=1):
        is_key = facts.name in ("golfer", "status", "quarter")
        cells = golfers[facts.name].cast(pl.String).drop_nulls().to_list() if is_key else []
        assert widths[place] >= max(map(len, [*facts.heading.split(), *cells])), facts.name


# --- further sheets


def sheet_of(book, schema, name):
    """Read a sheet back under the names of its table's columns."""
    return pl.read_excel(io.BytesIO(book), sheet_name=name, infer_schema_length=None).rename(headings(schema))


def test_golfers_have_their_straightness_and_shares_of_goals_on_further_sheets(golfers):
    book = golfers_workbook(golfers, FLAGS, title=TITLE, further=OF_GOLFERS)

    straight, goals = sheet_of(book, Straightness, "straightness"), sheet_of(book, Goals, "goals")
    assert straight["quarter"].to_list() == ["2026Q3", "2026Q3", "2026Q2"]
    assert straight["golfer"].to_list() == ["g0000000000000000", *["g0000000000000001"] * 2]
    for name in ("offline_mean_yd", "offline_sd_yd", "in_corridor_share"):
        assert straight[name].to_list() == [ASSESSED[name]] * 3
    assert goals.select("golfer", "share_reaching").rows() == [("g1", None), ("g2", 0.25)]
    own = pl.read_excel(io.BytesIO(book), sheet_name="golfers")
    alone = pl.read_excel(io.BytesIO(golfers_workbook(golfers, FLAGS, title=TITLE)), sheet_name="golfers")
    assert own.equals(alone)


def test_bands_have_their_straightness_and_what_is_suppressed_stays_empty(bands):
    found = sheet_of(bands_workbook(bands, title=TITLE, further=OF_BANDS), StraightnessBands, "straightness")

    names = ("quarter", "band_mph", "offline_sd_p50_yd", "in_corridor_p50", "suppressed")
    assert found.select(names).rows() == [
        ("2026Q3", 80, None, None, "yes"), ("2026Q3", 90, None, 0.75, "no"), ("2026Q2", 80, 13, None, "no"),
    ]  # fmt: skip


def test_notes_say_what_each_further_sheet_is_and_explain_its_columns(golfers):
    notes = pl.read_excel(
        io.BytesIO(golfers_workbook(golfers, FLAGS, title=TITLE, further=OF_GOLFERS)), sheet_name="notes"
    )

    at = [name for name, _ in notes.rows() if name.startswith("Sheet ")]
    assert at == ["Sheet straightness", "Sheet goals"]
    place = notes["Column"].to_list().index("Sheet straightness")
    assert notes["Meaning"][place].startswith("Where golfers' drives come down about the target line, by quarter.")
    assert notes.rows()[place + 1 :][: len(Straightness.column_names())] == explained(Straightness)
    assert notes.rows()[-len(Goals.column_names()) :] == explained(Goals)


def test_a_table_without_rows_gets_no_sheet_and_changes_nothing(bands):
    none = TableSet({StraightnessBands: StraightnessBands.create_empty()})

    assert bands_workbook(bands, title=TITLE, further=none) == bands_workbook(bands, title=TITLE)


@pytest.mark.parametrize("sheet", ["golfers", "straightness"])
def test_rows_beyond_the_most_are_left_out_and_the_notes_say_so(golfers, monkeypatch, sheet):
    monkeypatch.setattr(further_sheets, "MOST_FURTHER", 2)
    monkeypatch.setattr(workbook, "MOST_ROWS", 2)

    book = golfers_workbook(golfers, FLAGS, title=TITLE, further=OF_GOLFERS)

    assert pl.read_excel(io.BytesIO(book), sheet_name=sheet).height == 2
    notes = pl.read_excel(io.BytesIO(book), sheet_name="notes")
    told = notes.filter(pl.col("Column") == "Rows left out")["Meaning"].to_list()
    assert f"{golfers.height - 2} more rows, the last in this order, are in golfers.csv." in told
    assert "1 more rows, the last in this order, are in straightness.csv." in told
