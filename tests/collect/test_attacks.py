"""Attacks that once ended a run, or went by in silence: each is a refused log or one sentence; the next log is read.

Most go through `yardband check`, as a person would meet them.
"""

import gzip
import io
import os
import signal
import threading
import time

import damaged_inputs as damage
import damaged_logs
import pyarrow as pa
import pytest
import xlsxwriter
from click.testing import CliRunner
from collect_samples import HEADER, ROW, csv_text

from pipeline.cli import cli
from pipeline.configuration.layouts import Layout

SHEET = "xl/worksheets/sheet1.xml"
COLUMNS = "columns: {" + ", ".join(f"{name}: {{from: {name}}}" for name in HEADER.split(",")) + "}\n"


@pytest.fixture
def folder(tmp_path):
    """A study with one sound log."""
    return damage.study_at(tmp_path / "hill")


def checked(folder, neighbour=True):
    """Check a study; give its problems, a line each, and what was told."""
    found = damage.check(folder)
    assert damage.faults(found, damage.Damage("", neighbour)) == []
    return found.problems.replace(f"{folder}/", "").splitlines(), found.told


def problem(folder, neighbour=True):
    """Check a study that has one problem; give it."""
    [line] = checked(folder, neighbour)[0]
    return line


def log_in(folder, name, content):
    (folder / "logs" / name).write_bytes(content)
    return folder


def with_cells(*places):
    cells = "".join(f'<row r="9">{damaged_logs.cell(place, "x")}</row>' for place in places)
    return damaged_logs.book({SHEET: damaged_logs.sheet(cells)})


# --- workbooks


@pytest.mark.parametrize(
    ("place", "told"),
    [
        (
            "XFD1048576",
            "its cells reach to row 1,048,576 and column 16,384, most of them empty; delete what stands far",
        ),
        ("ZZ600000", "its cells reach to row 600,000 and column 702, most of them empty"),
        ("CV100000", "its cells reach to row 100,000 and column 100, most of them empty"),
        ("A99999999999999999999", "it names cells outside of a sheet, so it is damaged; save it again"),
        ("ZZZZZZZZZ1", "it names cells outside of a sheet, so it is damaged; save it again"),
    ],
)
def test_a_cell_far_away_refuses_its_workbook(folder, place, told):
    log_in(folder, "b.xlsx", with_cells(place))

    assert problem(folder).startswith(f"logs/b.xlsx: can't be used, {told}")


def test_a_cell_far_away_in_another_sheet_is_no_fault(folder):
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        first, second = book.add_worksheet(), book.add_worksheet()
        for i, line in enumerate([HEADER, ROW]):
            first.write_row(i, 0, line.split(","))
        second.write(1_048_575, 16_383, "x")

    problems, told = checked(log_in(folder, "b.xlsx", content.getvalue()))

    assert problems == []
    assert "logs/b.xlsx: 1 rows read, 1 accepted" in told


def test_a_normal_workbook_has_room(folder):
    assert rows_read(folder, 20_000) == 20_000


@pytest.mark.long
def test_a_workbook_of_200_000_rows_has_room(folder):
    assert rows_read(folder, 200_000) == 200_000


def rows_read(folder, count):
    path = folder / "logs" / "b.xlsx"
    with xlsxwriter.Workbook(path, {"constant_memory": True}) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, [*HEADER.split(","), "remark", "total_yd", "apex_yd"])
        for i in range(1, count + 1):
            stamp = f"2026-08-{1 + i % 28:02d}T{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d}"
            sheet.write_row(i, 0, [f"G {i % 97}", stamp, 95.5, 140, 12, 2500 + i % 900, 225, f"remark {i}", 249, 30])
    problems, told = checked(folder)
    assert problems == []
    [line] = [line for line in told.splitlines() if line.startswith("logs/b.xlsx")]
    return int(line.split()[1])


def test_a_cell_without_end_refuses_its_workbook(folder):
    cells = damaged_logs.cell("A3", "x" * 70_000)
    content = damaged_logs.book({SHEET: damaged_logs.sheet(f'<row r="3">{cells}</row>')})

    assert problem(log_in(folder, "b.xlsx", content)) == (
        "logs/b.xlsx: can't be used, it has a cell of more than 65,536 bytes, which no shot log has; export it again."
    )


# --- the process that reads


@pytest.fixture
def foreign():
    return pytest.importorskip("pipeline.collect.foreign")


@pytest.fixture
def two_books(folder):
    """A study with two workbooks beside its text log."""
    for name in ("b.xlsx", "c.xlsx"):
        log_in(folder, name, with_cells("A3"))
    return folder


def test_text_logs_need_no_other_process(folder, foreign, monkeypatch):
    foreign._PROCESS.end()
    monkeypatch.setattr(foreign, "_start", None)

    assert checked(folder)[0] == []


def test_one_process_reads_all_logs_and_another_the_next_after_it_ended(two_books, foreign, monkeypatch):
    started = []
    start = foreign._start
    monkeypatch.setattr(foreign, "_start", lambda: started.append(start()) or started[-1])
    foreign._PROCESS.end()

    told = checked(two_books)[1]
    assert told.count("rows read") == 3
    assert len(started) == 1
    os.kill(started[0].pid, signal.SIGKILL)
    started[0].wait()
    assert checked(two_books)[1] == told
    assert len(started) == 2


def stopped(foreign):
    """Keep the process from answering."""
    process = foreign._PROCESS._started()
    os.kill(process.pid, signal.SIGSTOP)
    return process


def when_asked(foreign, monkeypatch, action):
    """Do something soon after the process is asked for the first time."""
    exchange, timers = foreign._exchange, [threading.Timer(0.2, action)]

    def asked(*question):
        if timers:
            timers.pop().start()
        return exchange(*question)

    monkeypatch.setattr(foreign, "_exchange", asked)


def test_a_log_that_takes_too_long_is_refused_and_the_next_one_read(two_books, foreign, monkeypatch):
    stopped(foreign)
    usual = foreign._limits_of
    monkeypatch.setattr(
        foreign, "_limits_of", lambda path: usual(path)._replace(seconds=1.0) if path.name == "b.xlsx" else usual(path)
    )

    assert problem(two_books) == (
        "logs/b.xlsx: can't be used, reading it takes longer than 1 s; save it again, or as csv."
    )


def test_a_log_that_ends_its_reader_is_refused_and_the_next_one_read(two_books, foreign, monkeypatch):
    process = stopped(foreign)
    when_asked(foreign, monkeypatch, process.kill)

    assert problem(two_books).startswith("logs/b.xlsx: can't be used, whatever reads it breaks off: it is damaged, or")


def test_a_log_that_takes_too_much_memory_is_refused(folder, foreign, monkeypatch):
    rows_read(folder, 5_000)
    monkeypatch.setattr(foreign, "_MEMORY_BYTES", 8_000_000)
    monkeypatch.setattr(foreign, "_CELL_BYTES", 0)
    foreign._PROCESS.end()

    told = problem(folder)

    assert "more memory than a file like it should" in told


def test_memory_is_watched_where_the_system_has_no_limit(folder, foreign, monkeypatch):
    stopped(foreign)
    monkeypatch.setattr(foreign, "_taken_bytes", lambda _: 10**12)

    assert "more memory than a file like it should" in problem(log_in(folder, "b.xlsx", with_cells("A3")))


def test_an_interrupt_ends_the_process_that_reads(two_books, foreign, monkeypatch):
    process = stopped(foreign)
    when_asked(foreign, monkeypatch, lambda: os.kill(os.getpid(), signal.SIGINT))
    start = time.monotonic()

    with pytest.raises(KeyboardInterrupt):
        foreign.open_xlsx(two_books / "logs" / "b.xlsx", Layout(columns={"golfer": {"from": "golfer"}}), 1000)
    assert process.poll() is not None
    # At once, with room for a busy machine: long before the limit of 60 s, at which it would end anyway.
    assert time.monotonic() - start < 15


# --- parquet


def parquet(**columns):
    cells = dict(zip(HEADER.split(","), ([cell] for cell in ROW.split(",")), strict=True))
    return damaged_logs.table_bytes(pa.table(cells | columns))


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        (
            {"golfer": pa.array([["Ann Oak"]])},
            "its column of golfer holds lists or groups of values; export it as text",
        ),
        ({"golfer": pa.array([5], pa.duration("s"))}, "its column of golfer holds spans of time; export it as text"),
        ({"golfer": pa.array([b"\xff\xfe"])}, "a column holds bytes that aren't UTF-8 text; export it again as text"),
        ({"device": pa.array([{"a": 1}])}, "its column of device holds lists or groups of values; export it as text"),
        (
            {"struck_at": pa.array([0], pa.timestamp("us", "Mars/Olympus"))},
            "its column of struck_at holds times of a zone that isn't known here; export it in UTC",
        ),
    ],
)
def test_parquet_columns_of_strange_types_refuse_their_log(folder, columns, told):
    assert problem(log_in(folder, "b.parquet", parquet(**columns))) == f"logs/b.parquet: can't be used, {told}."


@pytest.mark.parametrize(
    ("columns", "rule"),
    [
        ({"carry_yd": pa.array([5], pa.duration("s"))}, "not_a_number in carry_yd"),
        ({"carry_yd": pa.array([5], pa.time32("s"))}, "not_a_number in carry_yd"),
        ({"struck_at": pa.array([[1]])}, "not_a_time in struck_at"),
        ({"spin_measured": pa.array([[True]])}, "not_a_flag in spin_measured"),
    ],
)
def test_parquet_cells_of_strange_types_are_rejected(folder, columns, rule):
    problems, told = checked(log_in(folder, "b.parquet", parquet(**columns)))

    assert problems == []
    assert f"logs/b.parquet: 1 rows read, 0 accepted, 1 rejected.\n  1 x {rule}\n" in told


def test_parquet_bytes_that_are_text_are_read(folder):
    content = parquet(golfer=pa.array([b"Ann Oak"]), carry_yd=pa.array(["225"]).cast(pa.decimal128(20, 4)))

    assert "logs/b.parquet: 1 rows read, 1 accepted, 0 rejected." in checked(log_in(folder, "b.parquet", content))[1]


def test_parquet_that_claims_rows_without_end_is_refused(folder):
    content = damaged_logs.table_bytes(pa.table({name: pa.nulls(3_000_000) for name in HEADER.split(",")}))

    assert "it claims 3,000,000 rows, more than a file of its size holds" in problem(
        log_in(folder, "b.parquet", content)
    )


def test_a_parquet_file_of_thousands_of_columns_is_told_briefly(folder):
    told = checked(log_in(folder, "b.parquet", parquet(**{f"x{i}": ["1"] for i in range(3000)})))[1]

    assert "1 accepted, 0 rejected; columns not used: x0, x1, x2," in told
    assert ", x49 and 2,950 more.\n" in told


# --- text


def test_a_packed_log_of_nothings_is_refused(folder):
    content = gzip.compress(csv_text(ROW).encode() + b"\n" * 120_000_000, compresslevel=1)

    assert "it unpacks to more than 100 times its size, as no log does" in problem(log_in(folder, "b.csv.gz", content))


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\xef\xbb\xbf" * 2 + csv_text(ROW).encode(), "it begins with two byte-order marks; save it again as UTF-8"),
        (csv_text(ROW).encode() + b"\0" * 200_000, "it ends in NUL bytes, as a file does whose writing broke off;"),
        (csv_text(ROW, header=HEADER.replace("golfer", "")).encode(),
         "it lacks the required column 'golfer'; 1 of its 7 headers are empty"),
        (csv_text(ROW, header='"",' * 6 + '""').encode(), "it has no header;"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_text_log_is_said_plainly(folder, content, told):
    assert problem(log_in(folder, "b.csv", content)).startswith(f"logs/b.csv: can't be used, {told}")


def test_a_short_end_of_nul_and_a_header_alone_are_noted(folder):
    log_in(folder, "b.csv", csv_text(ROW).encode() + b"\0" * 99)
    log_in(folder, "c.csv", f"{HEADER}\n".encode())

    told = checked(folder)[1]

    assert "logs/b.csv: 2 rows read, 1 accepted, 1 rejected. Look again: it ends in NUL bytes, as a file does" in told
    assert "logs/c.csv: 0 rows read, 0 accepted, 0 rejected. Look again: it holds a header and no rows.\n" in told


# --- what a pattern matches


@pytest.mark.parametrize(
    ("pattern", "told"),
    [
        (
            "logs/**.csv",
            "'logs/**.csv' has ** beside other signs; it stands between slashes, for folders of any depth;",
        ),
        ("", "'' names no file; write a pattern such as logs/*.csv or logs/**/*.csv."),
        (".", "'.' names no file; write a pattern"),
        ("a\\0b", "'a\\x00b' names no file; write a pattern"),
        ("x" * 5000, f"'{'x' * 60}...' can't be looked for; write a pattern"),
    ],
)
def test_a_pattern_that_cannot_be_is_told(folder, pattern, told):
    (folder / "study.yaml").write_text(f'study: hill-school\nlogs: [{{files: "{pattern}"}}]\n', encoding="utf-8")

    assert problem(folder, neighbour=False).startswith(f"study.yaml: logs[0].files: {told}")


def test_a_name_that_is_not_utf_8_is_told(folder):
    log_in(folder, os.fsdecode(b"b\xff.csv"), csv_text(ROW).encode())

    assert problem(folder) == (
        "study.yaml: logs[0].files: 'logs/b\\udcff.csv' has a name that isn't UTF-8; rename the file."
    )


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (
            lambda path: path.symlink_to("nowhere"),
            "is a link to a file that isn't there; correct the link or delete it.",
        ),
        (
            lambda path: path.symlink_to(path.name),
            "is a link to a file that isn't there; correct the link or delete it.",
        ),
        (os.mkfifo, "is a pipe or a device; put a plain file there, or delete it."),
        (lambda path: path.symlink_to("/dev/zero"), "is a pipe or a device; put a plain file there, or delete it."),
        (lambda path: path.mkdir(), "is a folder; name the files in it, or rename it."),
    ],
    ids=["dangling", "loop", "pipe", "device", "folder"],
)
@pytest.mark.parametrize("pattern", ["logs/*.csv", "logs/**/*.csv"])
def test_what_is_no_file_is_told_and_never_opened(folder, made, told, pattern):
    (folder / "study.yaml").write_text(f"study: hill-school\nlogs: [{{files: {pattern}}}]\n", encoding="utf-8")
    made(folder / "logs" / "b.csv")

    assert problem(folder) == f"study.yaml: logs[0].files: logs/b.csv {told}"


def test_folders_on_the_way_of_a_pattern_are_no_fault(folder):
    (folder / "study.yaml").write_text("study: hill-school\nlogs: [{files: logs/**/*}]\n", encoding="utf-8")
    (folder / "logs" / "old").mkdir()

    assert checked(folder)[0] == []


def test_a_pipe_that_comes_later_refuses_its_log(tmp_path, collect):
    os.mkfifo(tmp_path / "a.csv")

    assert collect(tmp_path / "a.csv").receipt["reason"] == (
        "it is a folder, a pipe or a device; put a plain file there"
    )


# --- layouts, keys and commands


@pytest.mark.parametrize(
    ("place", "told"),
    [
        ("/dev/zero", "/dev/zero: it is a folder, a pipe or a device; name a plain file."),
        ("pipe", "pipe: it is a folder, a pipe or a device; name a plain file."),
        ("logs", "logs: it is a folder, a pipe or a device; name a plain file."),
        ('"a\\0b"', "a\\x00b': no file can have this name; correct it."),
        ("large", "large: it is larger than 1,000,000 bytes, so it is another file; correct the name."),
    ],
)
@pytest.mark.parametrize("what", ["layout", "key"])
def test_a_layout_or_key_that_is_no_plain_file_is_told(folder, what, place, told):
    os.mkfifo(folder / "pipe")
    (folder / "large").write_bytes(b"#" * 2_000_000)
    more = f"{{files: 'logs/*', layout: {place}}}]" if what == "layout" else "{files: 'logs/*'}]"
    more += f"\nprivacy: {{key_file: {place}}}\n" if what == "key" else ""
    (folder / "study.yaml").write_text(f"study: hill-school\nlogs: [{more}", encoding="utf-8")

    line = problem(folder, neighbour=what == "key")

    assert line.endswith(told.replace("1,000,000", "10,000") if what == "key" else told)


@pytest.mark.parametrize("zone", ["localtime", "Factory"])
def test_a_zone_that_one_library_lacks_is_told(folder, zone):
    text = "study: hill-school\nlogs: [{files: 'logs/*', layout: layout.yaml}]\n"
    (folder / "study.yaml").write_text(text, encoding="utf-8")
    (folder / "layout.yaml").write_text(f"timezone: {zone}\n{COLUMNS}", encoding="utf-8")

    assert problem(folder, neighbour=False) == (
        f"layout.yaml: line 1: timezone: isn't a time zone that can be used: {zone!r}; name a place, such as "
        "Europe/Vienna."
    )


@pytest.mark.parametrize(
    "tag", ["!!python/object:os.system x", "!!python/object/apply:os.system [ls]", "!own x", "!!timestamp x", "!!int x"]
)
def test_a_tag_is_told(folder, tag):
    (folder / "study.yaml").write_text(f"study: hill-school\ntitle: {tag}\nlogs: [{{files: x}}]\n", encoding="utf-8")

    assert problem(folder, neighbour=False) == (
        "study.yaml: has a tag near line 2, a word that begins with an exclamation mark; no tag is used here, "
        "write the value alone."
    )


def test_a_header_without_a_word_in_a_layout_is_told(folder):
    text = "study: hill-school\nlogs: [{files: 'logs/*', layout: layout.yaml}]\n"
    (folder / "study.yaml").write_text(text, encoding="utf-8")
    (folder / "layout.yaml").write_text(COLUMNS.replace("{from: golfer}", "{from: ''}"), encoding="utf-8")

    assert problem(folder, neighbour=False) == (
        "layout.yaml: line 1: columns.golfer.from: should hold a text, but it is ''."
    )


@pytest.mark.parametrize(
    "arguments",
    [["lookup", "abc"], ["lookup", "97", "--launch", "abc"], ["serve", "x", "--port", "abc"], ["goal", "abc"]],
)
def test_no_number_is_told_without_a_type(arguments):
    told = CliRunner().invoke(cli, arguments).stderr

    assert told
    assert "range" not in told
