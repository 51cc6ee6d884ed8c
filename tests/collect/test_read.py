import gzip
from datetime import datetime

import polars as pl
import pytest
import xlsxwriter
from collect_samples import HEADER, ROW, changed, csv_text, written

from pipeline.collect import read
from pipeline.collect.read import LogRefusedError, open_log
from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout

STANDARD = {name: {"from": name} for name in HEADER.split(",")}
QUOTES = "a quotation mark is opened and never closed, or stands inside a cell; correct the quotation marks"
TYPED = {
    "golfer": ["Ann Oak", "12"],
    "struck_at": [datetime(2026, 8, 3, 10), datetime(2026, 8, 3, 11)],
    "club_speed_mph": [95.5, 101.25],
    "ball_speed_mph": [140.0, None],
    "launch_deg": [12, 13],
    "spin_rpm": [2500, 2600],
    "carry_yd": [225.125, 240.5],
}


def workbook(path, rows):
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet()
        stamp = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                if isinstance(cell, datetime):
                    sheet.write_datetime(i, j, cell, stamp)
                elif cell is not None:
                    sheet.write(i, j, cell)
    return path


@pytest.mark.parametrize(
    ("name", "content", "reason"),
    [
        ("a.csv", b"", "the file is empty; export it again"),
        ("a.csv.gz", b"", "it has no header; export it again or correct the layout's skip_rows"),
        ("a.csv", b"\n\n", "it has no header; export it again or correct the layout's skip_rows"),
        ("a.csv", csv_text(ROW).replace("spin_rpm", "s"), "it lacks the required column 'spin_rpm'"),
        ("a.csv", csv_text(ROW).replace("a", "\xe4").encode("latin-1"),
         "its text isn't utf-8; set the layout's encoding, such as latin-1 or utf-16"),
        ("a.csv", csv_text(ROW, changed(golfer='"Ann'), ROW), QUOTES),
        ("a.csv", csv_text(ROW, changed(golfer='"Ann'), ROW, changed(golfer='Bo"'), ROW),
         "a stray quotation mark joins several rows into one cell; correct the quotes"),
        ("a.parquet", b"PAR1 and no more",
         "it is damaged, cut short, encrypted or not a parquet file; export it again"),
        ("a.xlsx", b"PK and no more",
         "it is damaged, protected or not an xlsx workbook; save it again without a password"),
    ],
)  # fmt: skip
def test_log_that_cannot_be_used_is_refused_with_a_reason(tmp_path, collect, capsys, name, content, reason):
    log = written(tmp_path / name, content)

    result = collect(log)

    assert (result.receipt["status"], result.receipt["reason"]) == ("refused", reason)
    assert (result.receipt["rows"], result.shots.height, result.rejects.height) == (0, 0, 0)
    assert capsys.readouterr().out == f"{name}: refused, {reason}.\n"


def test_single_cell_header_hints_at_the_delimiter(tmp_path, collect):
    log = written(tmp_path / "a.csv", csv_text(ROW).replace(",", ";"))

    reason = collect(log).receipt["reason"]

    assert reason.endswith("; the header is a single cell; set the layout's delimiter and skip_rows")


def test_refusal_shows_no_cell_of_a_log_without_a_header(tmp_path, collect):
    log = written(tmp_path / "a.csv", f"{ROW}\n{ROW}\n")

    receipt = collect(log).receipt

    assert receipt["status"] == "refused"
    assert "Ann" not in str(receipt)


@pytest.mark.parametrize("damage", ["not gzip", "cut"])
def test_damaged_gzip_is_refused(tmp_path, collect, damage):
    whole = gzip.compress(csv_text(*[changed(carry_yd=str(200 + i / 100)) for i in range(2000)]).encode())
    log = tmp_path / "a.csv.gz"
    log.write_bytes(whole[: len(whole) // 2] if damage == "cut" else b"golfer,struck_at")

    receipt = collect(log).receipt

    assert receipt["reason"] == "it is cut short, damaged or not a gzip file; copy it again"


def test_parquet_damaged_in_the_middle_leaves_no_rows(tmp_path, collect, monkeypatch):
    monkeypatch.setattr(read, "BATCH_ROWS", 100)
    log = tmp_path / "a.parquet"
    frame = pl.DataFrame(TYPED).head(1)
    frame = pl.concat([frame] * 5000).with_columns(carry_yd=200 + pl.int_range(5000) / 100)
    frame.write_parquet(log, row_group_size=500, compression="zstd")
    content = bytearray(log.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 2000] = bytes(2000)
    log.write_bytes(content)

    result = collect(log)

    assert result.receipt["reason"] == "it is damaged, cut short, encrypted or not a parquet file; export it again"
    assert result.shots.height == 0


def test_fault_late_in_a_log_discards_the_pieces_before(tmp_path, collect, monkeypatch):
    monkeypatch.setattr(read, "BATCH_ROWS", 10)
    late = changed(golfer='"Ann') + "\n" + "\n".join([ROW] * 3) + "\n" + changed(golfer='Bo"')
    log = written(tmp_path / "a.csv", csv_text(*[ROW] * 50, late))

    result = collect(log)

    assert result.receipt["status"] == "refused"
    assert result.shots.height == 0


def test_unreadable_log_is_refused(tmp_path):
    with (
        pytest.raises(LogRefusedError, match=r"^the file can't be read \(No such file or directory\)"),
        open_log(tmp_path / "gone.csv", STANDARD_LAYOUT),
    ):
        pass


def test_header_alone_is_a_log_without_rows(tmp_path, collect):
    result = collect(written(tmp_path / "a.csv", HEADER + "\n"))

    assert (result.receipt["status"], result.receipt["rows"]) == ("used", 0)


def test_ragged_rows_neither_shift_nor_vanish(tmp_path, collect):
    short = ROW.rsplit(",", 1)[0]
    log = written(tmp_path / "a.csv", csv_text(ROW, f"{ROW},9", f"{ROW},,9", short, f"{ROW},", ROW))

    result = collect(log)

    assert result.rejects.rows() == [
        ("a.csv", 2, "ragged", "(row)"),
        ("a.csv", 3, "ragged", "(row)"),
        ("a.csv", 4, "ragged", "(row)"),
    ]
    assert result.shots["row"].to_list() == [1, 5, 6]


def test_blank_lines_are_no_rows_but_keep_their_number(tmp_path, collect):
    result = collect(written(tmp_path / "a.csv", csv_text(ROW, "", ",,,,,,", ROW, "")))

    assert result.receipt["rows"] == 2
    assert result.shots["row"].to_list() == [1, 4]


@pytest.mark.parametrize(
    ("encoding", "before"),
    [("utf-8", ""), ("utf-8", "\ufeff"), ("latin-1", ""), ("cp1252", ""), ("utf-16", ""), ("utf-16-le", "\ufeff")],
)
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("suffix", [".csv", ".csv.gz"])
def test_encodings_and_line_ends_give_the_same_golfer(tmp_path, collect, encoding, before, line_end, suffix):
    text = csv_text(changed(golfer="J\xf6rg M\xfcl"), ROW)
    plain = collect(written(tmp_path / "plain.csv", text.encode()), source="same")
    layout = Layout.model_validate({"encoding": encoding, "columns": STANDARD})
    log = written(tmp_path / f"a{suffix}", (before + text.replace("\n", line_end)).encode(encoding))

    result = collect(log, layout, source="same")

    assert result.shots.height == 2
    assert result.shots.equals(plain.shots)


def test_text_cut_inside_a_character_is_refused(tmp_path, collect):
    layout = Layout.model_validate({"encoding": "utf-16", "columns": STANDARD})
    log = written(tmp_path / "a.csv", csv_text(ROW).encode("utf-16")[:-1])

    assert collect(log, layout).receipt["reason"].startswith("its text isn't utf-16;")


def test_skipped_lines_stand_before_the_header(tmp_path, collect):
    layout = Layout.model_validate({"skip_rows": 2, "columns": STANDARD})
    log = written(tmp_path / "a.csv", 'Export of "today\n\n' + csv_text(ROW, ROW))

    assert collect(log, layout).shots["row"].to_list() == [1, 2]


def test_quoted_cells(tmp_path, collect):
    remark = '"a ""long"", one\nin two lines"'
    first = changed(golfer='"Oak, Ann"') + f",{remark}"
    log = written(tmp_path / "a.csv", csv_text(first, f"{ROW},", header=f"{HEADER},remark"))

    result = collect(log)

    assert result.shots["row"].to_list() == [1, 2]
    assert result.rejects.height == 0


def test_pieces_of_any_size_give_the_same_table(tmp_path, collect, monkeypatch):
    rows = [changed(golfer=f"G{i % 7}", carry_yd="x" if i % 11 == 0 else str(200 + i % 30)) for i in range(500)]
    log = written(tmp_path / "a.csv", csv_text(*rows))
    at_once = collect(log, out="one")
    monkeypatch.setattr(read, "BATCH_ROWS", 33)

    in_pieces = collect(log, out="two")

    assert in_pieces.shots.equals(at_once.shots)
    assert in_pieces.rejects.equals(at_once.rejects)
    assert at_once.receipt["rejected"] == 46


def test_parquet_keeps_its_types(tmp_path, collect):
    log = tmp_path / "a.parquet"
    pl.DataFrame(TYPED).with_columns(remark=pl.lit("x")).write_parquet(log)

    result = collect(log)

    assert result.shots["club_speed_mph"].to_list() == [95.5, 101.25]
    assert result.shots["ball_speed_mph"].to_list() == [140.0, None]
    assert result.shots["carry_yd"].to_list() == [225.125, 240.5]
    assert result.receipt["dropped"] == ["remark"]


def test_parquet_nan_is_missing_and_infinite_no_number(tmp_path, collect):
    log = tmp_path / "a.parquet"
    pl.DataFrame(TYPED | {"carry_yd": [float("nan"), float("inf")]}).write_parquet(log)

    assert [row[2:] for row in collect(log).rejects.rows()] == [("missing", "carry_yd"), ("not_a_number", "carry_yd")]


def test_parquet_column_of_another_kind_holds_no_numbers(tmp_path, collect):
    log = tmp_path / "a.parquet"
    pl.DataFrame(TYPED | {"carry_yd": [[225.0], None]}).write_parquet(log)

    assert [row[2:] for row in collect(log).rejects.rows()] == [("not_a_number", "carry_yd"), ("missing", "carry_yd")]


def test_workbook_gives_what_the_csv_gives(tmp_path, collect):
    names = list(TYPED)
    rows = [list(row) for row in zip(*TYPED.values(), strict=True)]
    rows[1][0] = 12  # a number for a golfer
    log = workbook(tmp_path / "[1] a.xlsx", [names, rows[0], [None] * 7, rows[1]])
    texts = ["Ann Oak,2026-08-03T10:00:00,95.5,140,12,2500,225.125", "", "12,2026-08-03 11:00,101.25,,13,2600,240.5"]
    plain = collect(written(tmp_path / "a.csv", csv_text(*texts)), source="same")

    result = collect(log, source="same")

    assert result.shots["row"].to_list() == [1, 3]
    assert result.shots.equals(plain.shots)


def test_workbook_cells_are_understood_whatever_the_layout_says_of_text(tmp_path, collect):
    columns = STANDARD | {"struck_at": {"from": "struck_at", "format": "%d.%m.%Y"}}
    layout = Layout.model_validate({"decimal": ",", "columns": columns})
    rows = [list(row) for row in zip(*TYPED.values(), strict=True)]
    rows[1][1:3] = ["03.08.2026", "101,25"]

    result = collect(workbook(tmp_path / "a.xlsx", [list(TYPED), *rows]), layout)

    assert result.shots["club_speed_mph"].to_list() == [95.5, 101.25]
    assert result.shots["struck_on"].dt.to_string().to_list() == ["2026-08-03", "2026-08-03"]


def test_workbook_skips_rows_before_the_header(tmp_path, collect):
    layout = Layout.model_validate({"skip_rows": 2, "columns": STANDARD})
    rows = [list(row) for row in zip(*TYPED.values(), strict=True)]

    result = collect(workbook(tmp_path / "a.xlsx", [["Export"], [None], list(TYPED), *rows]), layout)

    assert result.shots["row"].to_list() == [1, 2]


def test_empty_workbook_is_refused(tmp_path, collect):
    receipt = collect(workbook(tmp_path / "a.xlsx", [])).receipt

    assert receipt["reason"] == "it has no header; export it again or correct the layout's skip_rows"


def test_no_decoded_copy_stays_behind(tmp_path, collect, monkeypatch):
    private = tmp_path / "tmp"
    private.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(private))
    seen = []
    inner = read.plain_text
    monkeypatch.setattr(read, "plain_text", lambda *a: seen.append(inner(*a)) or seen[-1])

    collect(written(tmp_path / "a.csv.gz", csv_text(ROW)))

    assert seen[0].is_relative_to(private)
    assert list(private.iterdir()) == []
