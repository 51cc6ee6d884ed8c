"""Workbooks of several sheets, and those with a day beside a time of day."""

from datetime import date, datetime, time

import pytest
import xlsxwriter

from pipeline.collect.drafting.draft import draft_layout
from pipeline.collect.drafting.draft_text import left_open
from pipeline.collect.new_command import shape_of_log
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.read import open_log
from pipeline.configuration.layouts import Layout

HEAD = ["Golfer", "Date", "Time", "Club speed (mph)", "Ball speed (mph)", "Launch (deg)", "Spin (rpm)", "Carry (yd)"]
TODAY = date(2026, 11, 20)


def workbook(path, *sheets):
    with xlsxwriter.Workbook(path) as book:
        day, clock = (book.add_format({"num_format": form}) for form in ("dd.mm.yyyy", "hh:mm:ss"))
        for name, rows in sheets:
            sheet = book.add_worksheet(name)
            for row, cells in enumerate(rows):
                for column, cell in enumerate(cells):
                    if isinstance(cell, datetime):
                        sheet.write_datetime(row, column, cell, day)
                    elif isinstance(cell, time):
                        sheet.write_datetime(row, column, cell, clock)
                    else:
                        sheet.write(row, column, cell)
    return path


def drives(n=40):
    return [HEAD] + [
        [["Ann Oak", "Bo Elm"][i % 2], datetime(2026, 8, i % 28 + 1), time(9, i), 95 + i % 7,
         1.45 * (95 + i % 7) + i % 3, 12 + i % 4, 2600 + 10 * (i % 9), 225 + i % 11] for i in range(n)
    ]  # fmt: skip


def test_the_sheet_with_drives_is_drafted(tmp_path):
    about, means = (
        [["Hill School"], ["Drives", 40]],
        [["Golfer", "Club speed", "Carry", "Total"]] + [["Ann", 95, 230, 250]] * 3,
    )
    path = workbook(tmp_path / "a.xlsx", ("About", about), ("Means", means), ("Drives & more", drives()))
    draft = draft_layout(shape_of_log(path), TODAY)
    raw = draft.raw_layout()
    assert raw["sheet"] == "Drives & more"
    assert raw["join"] == {"Date Time": ["Date", "Time"]}
    with open_log(path, Layout.model_validate(raw)) as opened:
        [rows] = opened.batches({"at": opened.headers.index("Date Time")})
        assert rows["at"].to_list()[:2] == ["2026-08-01 09:00:00", "2026-08-02 09:01:00"]
        assert opened.notes == ()


def test_the_first_sheet_needs_no_name(tmp_path):
    path = workbook(tmp_path / "a.xlsx", ("Drives", drives()), ("About", [["Hill School"]]))
    assert "sheet" not in draft_layout(shape_of_log(path), TODAY).raw_layout()


def test_two_sheets_of_drives_are_asked_about(tmp_path):
    path = workbook(tmp_path / "a.xlsx", ("Ann", drives()), ("Bo", drives()))
    draft = draft_layout(shape_of_log(path), TODAY)
    assert draft.raw_layout()["sheet"] == ""  # which no layout may have
    assert "a.yaml: say which sheet holds the drives, 'Ann' or 'Bo', under 'sheet'." in left_open(draft, "a.yaml")
    assert draft.with_sheet("Bo").raw_layout()["sheet"] == "Bo"


def test_a_sheet_that_is_not_there_is_told(tmp_path):
    path = workbook(tmp_path / "a.xlsx", ("Ann", drives(3)))
    layout = Layout.model_validate({"sheet": "Bo", "columns": {"golfer": {"from": "Golfer"}}})
    with (
        pytest.raises(LogRefusedError, match="it has no sheet 'Bo'; correct the layout's 'sheet'"),
        open_log(path, layout),
    ):
        pass
