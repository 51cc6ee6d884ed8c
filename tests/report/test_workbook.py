import re
import zipfile

import polars as pl
import pytest

from pipeline.report.workbook import COLUMNS, NOTES, write_bands_workbook
from pipeline.tables import BandTable

NUMBERS = [name for name, dtype in BandTable.create_empty().schema.items() if dtype.is_numeric()]


def with_notes(bands, notes):
    return BandTable.validate(bands.head(len(notes)).with_columns(note=pl.Series(notes)))


def part_of(path, name):
    with zipfile.ZipFile(path) as book:
        return book.read(name).decode("utf-8")


def test_workbook_holds_the_full_values(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    write_bands_workbook(path, bands)

    back = pl.read_excel(path, sheet_name="bands")
    assert back.columns == [title for title, _ in COLUMNS.values()]
    back = back.rename({title: name for name, (title, _) in COLUMNS.items()})
    for name in NUMBERS:
        assert back[name].is_null().equals(bands[name].is_null()), name
        # The file format holds 16 digits, one short of a full float.
        known = bands[name].drop_nulls().cast(pl.Float64).to_list()
        assert back[name].drop_nulls().to_list() == pytest.approx(known, rel=1e-15), name
    assert back["quarter"].to_list() == bands["quarter"].to_list()
    assert back["suppressed"].to_list() == ["no", "no", "no", "no", "yes"] * 2


def test_every_column_of_the_table_is_in_the_workbook():
    assert list(COLUMNS) == BandTable.column_names()


def test_text_like_a_formula_stays_text(tmp_path, bands):
    notes = ["=1+1", "+1", "-1", "@SUM(A1)", "12"]
    path = tmp_path / "bands.xlsx"

    write_bands_workbook(path, with_notes(bands, notes))

    assert pl.read_excel(path, sheet_name="bands")["Note"].to_list() == notes
    assert "<f>" not in part_of(path, "xl/worksheets/sheet1.xml")


def test_header_quarter_and_band_are_frozen(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    write_bands_workbook(path, bands)

    assert '<pane xSplit="2" ySplit="1" topLeftCell="C2"' in part_of(path, "xl/worksheets/sheet1.xml")
    assert 'state="frozen"' in part_of(path, "xl/worksheets/sheet1.xml")


def test_cells_have_the_number_format_of_their_column(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    write_bands_workbook(path, bands)

    styles = part_of(path, "xl/styles.xml")
    # The file format gives 0 and 1 to the formats General and 0; others are spelt out.
    codes = {"0": "General", "1": "0"} | dict(re.findall(r'<numFmt numFmtId="(\d+)" formatCode="([^"]*)"', styles))
    used = [codes[number] for number in re.findall(r'<xf numFmtId="(\d+)"', styles.partition("<cellXfs")[2])]
    cells = dict(re.findall(r'<c r="([A-Z]+)3" s="(\d+)"', part_of(path, "xl/worksheets/sheet1.xml")))
    shown = {column: used[int(style)] for column, style in cells.items()}
    assert [shown[column] for column in "DELQSUWXYZ"] == ["0", "0", "0", "0.0", "0", "0.0", "0", "0", "0.00", "0%"]


def test_notes_sheet_explains_the_interval(tmp_path, bands):
    path = tmp_path / "bands.xlsx"

    write_bands_workbook(path, bands)

    notes = pl.read_excel(path, sheet_name="notes")
    assert notes.rows() == list(NOTES)


def test_same_table_gives_same_bytes_without_the_clock(tmp_path, bands):
    one, other = tmp_path / "one.xlsx", tmp_path / "other.xlsx"

    write_bands_workbook(one, bands)
    write_bands_workbook(other, bands)

    assert one.read_bytes() == other.read_bytes()
    assert '<dcterms:created xsi:type="dcterms:W3CDTF">2000-01-01T00:00:00Z' in part_of(one, "docProps/core.xml")
    with zipfile.ZipFile(one) as book:
        assert {info.date_time for info in book.infolist()} == {(1980, 1, 31, 0, 0, 0)}
