"""Only the rows that a layout names are taken, and the others are counted."""

import polars as pl
import pytest
from collect_samples import HEADER, KEY, csv_text, written
from pydantic import ValidationError

from pipeline.collect.clean_log import golfers_of
from pipeline.collect.collect_logs import collect
from pipeline.collect.collect_swings import read_swings
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.read import open_log
from pipeline.collect.sources import sources_table, what_became
from pipeline.configuration.layouts import Layout, LogFile, SpeedFile, SpeedLayout
from pipeline.configuration.study import LogEntry, SpeedLogEntry

STANDARD = {name: {"from": name} for name in HEADER.split(",")}
DRIVES = [f"Ann Oak,2026-08-03T10:{minute:02}:00,95,140,12,2500,225" for minute in range(4)]


def log_file(**layout):
    return LogFile(
        source="a.csv",
        entry=LogEntry(files="*.csv", layout="l.yaml"),
        layout=Layout.model_validate({"columns": STANDARD} | layout),
    )


def collected(path, log):
    pieces = []
    receipt = collect(path, log, KEY, pieces.append)
    return receipt, pl.concat([piece.accepted for piece in pieces]), pl.concat([piece.rejected for piece in pieces])


def clubs(*words):
    rows = [f"{row},{word}" for row, word in zip(DRIVES, words, strict=True)]
    return csv_text(*rows, header=f"{HEADER},Club")


def test_only_named_rows_are_taken_and_the_others_counted(tmp_path):
    path = written(tmp_path / "a.csv", clubs(" DRIVER", "7 iron", "Driver", ""))
    receipt, shots, rejects = collected(path, log_file(rows={"column": "Club", "take": ["driver"]}))
    assert (receipt.rows, receipt.accepted, receipt.rejected, receipt.left_out) == (2, 2, 0, 2)
    assert shots["row"].to_list() == [1, 3]
    assert rejects.is_empty()
    assert receipt.dropped == []  # the club's column is in use
    assert "2 more left out by the layout's rows, such as those of other clubs" in receipt.sentence()


def test_rows_add_up_with_bad_and_ragged_ones(tmp_path):
    text = clubs("driver", "driver", "wedge", "wedge").replace("10:01:00,95", "10:01:00,fast")
    path = written(tmp_path / "a.csv", text + "Ann Oak,2026-08-03T11:00:00,95\n")
    log = log_file(rows={"column": "Club", "take": ["driver"]})
    receipt, _, rejects = collected(path, log)
    assert (receipt.rows, receipt.accepted, receipt.rejected, receipt.left_out) == (3, 1, 2, 2)
    assert set(rejects["rule"]) == {"not_a_number", "ragged"}  # nobody knows which club a ragged row was
    table = sources_table([vars(receipt)], {"a.csv": 1}, {})
    assert table.select("rows", "accepted", "rejected", "duplicates", "left_out").row(0) == (3, 0, 2, 1, 2)
    assert what_became(table)[0].endswith(
        "3 rows, 0 accepted, 2 rejected, 1 duplicates. 2 more were left out by layouts."
    )


def test_a_log_of_other_clubs_alone_says_so(tmp_path):
    path = written(tmp_path / "a.csv", clubs("wedge", "wedge", "wedge", "wedge"))
    receipt, _, _ = collected(path, log_file(rows={"column": "Club", "take": ["driver"]}))
    assert (receipt.rows, receipt.left_out) == (0, 4)
    assert "none of its 4 rows is one that the layout takes; correct 'take' under 'rows'" in receipt.notes


@pytest.mark.parametrize(
    ("header", "told"),
    [("Clubs", "lacks the column 'Club'"), ("Club,Club", "has more than one column 'Club'")],
)
def test_the_column_must_be_there_once(tmp_path, header, told):
    rows = [f"{row}{',driver' * len(header.split(','))}" for row in DRIVES]
    path = written(tmp_path / "a.csv", csv_text(*rows, header=f"{HEADER},{header}"))
    with pytest.raises(LogRefusedError, match=told):
        collected(path, log_file(rows={"column": "Club", "take": ["driver"]}))


def test_names_are_listed_of_taken_rows_alone(tmp_path):
    text = clubs("driver", "driver", "wedge", "wedge").replace("Ann Oak,2026-08-03T10:02", "Bo Elm,2026-08-03T10:02")
    path = written(tmp_path / "a.csv", text)
    log = log_file(rows={"column": "Club", "take": ["driver"]})
    with open_log(path, log.layout) as opened:
        assert golfers_of(opened, log) == ["Ann Oak"]


def test_rows_may_not_take_a_column_s_header():
    with pytest.raises(ValidationError, match="rows can't take the header 'golfer', which 'golfer' has"):
        Layout.model_validate({"columns": STANDARD, "rows": {"column": "golfer", "take": ["Ann"]}})


def test_speed_logs_take_rows_too(tmp_path):
    path = written(
        tmp_path / "s.csv",
        "golfer,swung_at,club_speed_mph,what\nAnn Oak,2026-08-03T10:00,98,dry\nAnn Oak,2026-08-03T10:01,55,warm up\n",
    )
    columns = {name: {"from": name} for name in ("golfer", "swung_at", "club_speed_mph")}
    layout = SpeedLayout.model_validate({"columns": columns, "rows": {"column": "what", "take": ["dry"]}})
    log = read_swings(path, SpeedFile(source="s.csv", entry=SpeedLogEntry(files="*", layout="l"), layout=layout), KEY)
    assert (log.receipt.rows, log.receipt.accepted, log.receipt.left_out) == (1, 1, 1)


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_lines_between_header_and_drives_are_no_rows(tmp_path, ending):
    cells = [row.split(",") for row in (HEADER, " , ,mph,mph,deg,rpm,yd", *DRIVES)]
    path = tmp_path / f"a.{ending}"
    if ending == "csv":
        written(path, "\n".join(",".join(row) for row in cells) + "\n")
    else:
        pl.DataFrame(dict(zip(HEADER.split(","), map(list, zip(*cells[1:], strict=True)), strict=True))).write_excel(
            path
        )
    receipt, shots, _ = collected(path, log_file(skip_after_header=1))
    assert (receipt.rows, receipt.accepted) == (4, 4)
    assert shots["row"].to_list() == [2, 3, 4, 5]  # a row number leads to the same place in the file
    unskipped, _, _ = collected(path, log_file())
    assert unskipped.rejected == 1
