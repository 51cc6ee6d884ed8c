"""Damage of every kind that real logs have: what each log must come to, as a person would read it."""

import gzip
import io
import os
from datetime import datetime

import polars as pl
import pytest
import xlsxwriter
from collect_samples import HEADER, ROW, changed, csv_text, written

from pipeline.collect import clean_log, foreign
from pipeline.collect.lines import LONGEST_LINE_BYTES
from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout
from pipeline.errors import UserError

READINGS = ("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", "carry_yd")
SOUND = (95.0, 140.0, 12.0, 2500.0, 225.0)
COLUMNS = {name: {"from": name} for name in HEADER.split(",")}
GOOD = csv_text(ROW, changed(golfer="Bo", carry_yd="224"))
BOTH = {1: SOUND, 2: (*SOUND[:4], 224.0)}


def layout(**more):
    columns = COLUMNS | more.pop("columns", {})
    return Layout.model_validate({"columns": columns} | more)


def dated(form, **more):
    return layout(columns={"struck_at": {"from": "struck_at", "format": form}}, **more)


GERMAN = layout(delimiter=";", decimal=",")


def german(text, decimals=True):
    rows = [line.replace(",", ";") for line in text.splitlines()]
    return "\n".join(row.replace(".", ",") if decimals else row for row in rows) + "\n"


def book(rows, formula=None, merge=None, options=None, sheets=1):
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True} | (options or {})) as made:
        stamp = made.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        sheet = made.add_worksheet()
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                if isinstance(cell, datetime):
                    sheet.write_datetime(i, j, cell, stamp)
                elif cell is not None:
                    sheet.write(i, j, cell)
        if formula:
            sheet.write_formula(*formula)
        if merge:
            sheet.merge_range(*merge, made.add_format({"align": "center"}))
        for _ in range(sheets - 1):
            made.add_worksheet().write(0, 0, "more")
    return content.getvalue()


def parquet(**columns):
    content = io.BytesIO()
    base = dict(zip(HEADER.split(","), ["Ann Oak", datetime(2026, 8, 3, 10), *SOUND], strict=True))
    pl.DataFrame({name: [value] for name, value in (base | columns).items()}).write_parquet(content)
    return content.getvalue()


CELLS = ["Ann Oak", datetime(2026, 8, 3, 10), 95, 140, 12, 2500, 225]
HEAD = HEADER.split(",")

# name, file name, content, layout, rows accepted with their readings, rows rejected with rule and column
USED = [
    ("nothing wrong", "a.csv", GOOD, None, BOTH, {}),
    ("byte order mark", "a.csv", b"\xef\xbb\xbf" + GOOD.encode(), None, BOTH, {}),
    ("utf-16", "a.csv", GOOD.encode("utf-16"), layout(encoding="utf-16"), BOTH, {}),
    ("utf-16 without mark", "a.csv", GOOD.encode("utf-16-le"), layout(encoding="utf-16-le"), BOTH, {}),
    ("latin-1", "a.csv", GOOD.replace("Bo", "J\xf6rg").encode("latin-1"), layout(encoding="latin-1"), BOTH, {}),
    ("ascii called latin-1", "a.csv", GOOD, layout(encoding="latin-1"), BOTH, {}),
    ("decimal comma", "a.csv", german(GOOD.replace(",225", ",225.0")), GERMAN, BOTH, {}),
    ("points where commas are expected", "a.csv", german(csv_text(changed(carry_yd="225.5"), ROW), decimals=False),
     GERMAN, {2: SOUND}, {1: ("not_a_number", "carry_yd")}),
    ("commas where points are expected, quoted", "a.csv", csv_text(changed(carry_yd='"225,5"'), ROW), None,
     {2: SOUND}, {1: ("not_a_number", "carry_yd")}),
    ("commas where points are expected, bare", "a.csv", csv_text(changed(carry_yd="225,5"), ROW), None,
     {2: SOUND}, {1: ("ragged", "(row)")}),
    ("thousands mark", "a.csv", csv_text(changed(spin_rpm='"2,500"'), changed(spin_rpm="2.500"), ROW), None,
     {3: SOUND}, {1: ("not_a_number", "spin_rpm"), 2: ("too_low", "spin_rpm")}),
    ("nul in a name", "a.csv", csv_text(changed(golfer="An\x00n"), ROW), None,
     {2: SOUND}, {1: ("not_a_name", "golfer")}),
    ("nul in a number", "a.csv", csv_text(changed(carry_yd="22\x005"), ROW), None,
     {2: SOUND}, {1: ("not_a_number", "carry_yd")}),
    ("replacement character in a name", "a.csv", csv_text(changed(golfer="J\ufffdrg"), ROW), None,
     {2: SOUND}, {1: ("not_a_name", "golfer")}),
    ("nuls after the end", "a.csv", csv_text(ROW) + "\x00" * 5, None, {1: SOUND}, {2: ("ragged", "(row)")}),
    ("a delimiter lost inside a row", "a.csv", csv_text(ROW.replace("95,140", "95140") + ",249", f"{ROW},249",
     header=f"{HEADER},total_yd"), None, {2: SOUND}, {1: ("ragged", "(row)")}),
    ("a cell lost, total slips into carry", "a.csv", csv_text("Ann,2026-08-03,95,140,12,2500,249", f"{ROW},249",
     header=f"{HEADER},total_yd"), None, {2: SOUND}, {1: ("ragged", "(row)")}),
    ("a cell too many", "a.csv", csv_text(ROW + ",1", ROW), None, {2: SOUND}, {1: ("ragged", "(row)")}),
    ("many cells too many", "a.csv", csv_text(ROW + "," * 20 + "1", ROW), None, {2: SOUND}, {1: ("ragged", "(row)")}),
    ("a delimiter at the end of rows", "a.csv", csv_text(ROW + ",", ROW), None, {1: SOUND, 2: SOUND}, {}),
    ("header again inside", "a.csv", csv_text(ROW, HEADER, ROW), None,
     {1: SOUND, 3: SOUND}, {2: ("not_a_time", "struck_at")}),
    ("header again inside, a cell of it empty", "a.csv", csv_text(ROW, HEADER.replace("spin_rpm", ""), ROW), None,
     {1: SOUND, 3: SOUND}, {2: ("not_a_time", "struck_at")}),
    ("units under the header", "a.csv", csv_text("name,local,mph,mph,deg,rpm,yd", ROW), None,
     {2: SOUND}, {1: ("not_a_time", "struck_at")}),
    ("header alone", "a.csv", HEADER + "\n", None, {}, {}),
    ("header alone, no line end", "a.csv.gz", gzip.compress(HEADER.encode()), None, {}, {}),
    ("dates that could be two", "a.csv", csv_text(changed(struck_at="03/04/2026"), ROW), None,
     {2: SOUND}, {1: ("not_a_time", "struck_at")}),
    ("two digits of a year", "a.csv", csv_text(changed(struck_at="03.08.26"), changed(struck_at="03.08.2026")),
     dated("%d.%m.%Y"), {2: SOUND}, {1: ("too_low", "struck_at")}),
    ("time in the future", "a.csv", csv_text(changed(struck_at="2098-01-01"), ROW), None,
     {2: SOUND}, {1: ("in_the_future", "struck_at")}),
    ("hour that clocks skipped", "a.csv", csv_text(changed(struck_at="2026-03-29T02:30:00")),
     layout(timezone="Europe/Vienna"), {1: SOUND}, {}),
    ("hour that clocks repeated", "a.csv", csv_text(changed(struck_at="2026-10-25T02:30:00")),
     layout(timezone="Europe/Vienna"), {1: SOUND}, {}),
    ("day that a zone left out", "a.csv", csv_text(changed(struck_at="2011-12-30T12:00:00"), ROW),
     layout(timezone="Pacific/Apia"), {2: SOUND}, {1: ("not_a_time", "struck_at")}),
    ("years of no calendar", "a.csv", csv_text(changed(struck_at="0000-01-01"), changed(struck_at="9999-12-31T23:59"),
     changed(struck_at="0001-01-01T00:00+18:00"), ROW), layout(timezone="Europe/Vienna"), {4: SOUND},
     dict.fromkeys((1, 2, 3), ("not_a_time", "struck_at"))),
    ("launch and spin exchanged", "a.csv", csv_text(changed(launch_deg="2500", spin_rpm="12"), ROW), None,
     {2: SOUND}, {1: ("too_high", "launch_deg")}),
    ("no line end at the end", "a.csv", GOOD.rstrip("\n"), None, BOTH, {}),
    ("workbook", "a.xlsx", book([HEAD, CELLS]), None, {1: SOUND}, {}),
    ("workbook of the other date system", "a.xlsx", book([HEAD, CELLS], options={"date_1904": True}), None,
     {1: SOUND}, {}),
    ("formula with its result", "a.xlsx", book([HEAD, CELLS], formula=(1, 6, "=200+25", None, 225)), None,
     {1: SOUND}, {}),
    ("formula without a result", "a.xlsx", book([HEAD, CELLS], formula=(1, 6, "=200+25")), None,
     {}, {1: ("too_low", "carry_yd")}),
    ("formula in error", "a.xlsx", book([HEAD, CELLS], formula=(1, 6, "=1/0", None, "#DIV/0!")), None,
     {}, {1: ("missing", "carry_yd")}),
    ("merged cells", "a.xlsx", book([HEAD, CELLS, CELLS], merge=(1, 0, 2, 0, "Ann Oak")), None,
     {1: SOUND}, {2: ("missing", "golfer")}),
    ("day without its date format", "a.xlsx", book([HEAD, CELLS, [*CELLS[:1], 46237, *CELLS[2:]]]), None,
     {1: SOUND}, {2: ("not_a_time", "struck_at")}),
    ("parquet", "a.parquet", parquet(), None, {1: SOUND}, {}),
    ("parquet with text for numbers", "a.parquet", parquet(carry_yd="225"), None, {1: SOUND}, {}),
    ("parquet with a time of no calendar", "a.parquet", parquet(struck_at=datetime(9999, 12, 31, 23, 59)), None,
     {}, {1: ("not_a_time", "struck_at")}),
]  # fmt: skip

NO_HEADER = "it has no header; export it again or correct the layout's skip_rows"
# name, file name, content, layout, beginning of the reason
REFUSED = [
    ("empty", "a.csv", b"", None, "the file is empty"),
    ("empty gzip", "a.csv.gz", gzip.compress(b""), None, NO_HEADER),
    ("blank lines", "a.csv", b"\n\n", None, NO_HEADER),
    ("nothing but nuls", "a.csv", b"\x00" * 1000, None, "it lacks the required column 'golfer'"),
    ("wrong delimiter", "a.csv", german(GOOD), None, "it lacks the required column"),
    ("no header", "a.csv", f"{ROW}\n{ROW}\n", None, "it lacks the required column 'golfer'"),
    ("header twice in one line", "a.csv", csv_text(ROW + ",225", header=f"{HEADER},carry_yd"), None,
     "the header 'carry_yd' appears 2 times"),
    ("another header inside", "a.csv", csv_text(ROW, "carry_yd," + HEADER.removesuffix(",carry_yd"), "225," +
     ROW.removesuffix(",225")), None, "a second header inside it names its columns in another order"),
    ("utf-16 called utf-8", "a.csv", GOOD.encode("utf-16"), None, "its text isn't utf-8;"),
    ("utf-16 without mark called utf-8", "a.csv", GOOD.encode("utf-16-le"), None, "its text looks like utf-16;"),
    ("latin-1 called utf-8", "a.csv", GOOD.replace("Bo", "J\xf6rg").encode("latin-1"), None, "its text isn't utf-8;"),
    ("utf-8 called latin-1", "a.csv", GOOD.replace("Bo", "J\xf6rg"), layout(encoding="latin-1"),
     "its text is utf-8, not latin-1; correct the layout's encoding"),
    ("utf-8 called latin-1, packed", "a.csv.gz", gzip.compress(GOOD.replace("Bo", "J\xf6rg").encode()),
     layout(encoding="latin-1"), "its text is utf-8, not latin-1; correct the layout's encoding"),
    ("quotation marks that join rows", "a.csv", csv_text(changed(struck_at='"'), changed(golfer='"'), ROW), None,
     "a stray quotation mark joins several rows"),
    ("long line", "a.csv", csv_text(ROW) + "x" * 5_000_000 + "\n", None, "it has a line of more than 65,536 bytes"),
    ("one long line", "a.csv", "x," * 2_500_000, None, "it has a line of more than 65,536 bytes"),
    ("long line that is skipped", "a.csv", "x" * 5_000_000 + "\n" + GOOD, layout(skip_rows=1),
     "it has a line of more than 65,536 bytes"),
    ("gzip cut short", "a.csv.gz", gzip.compress(GOOD.encode() * 50)[:-9], None,
     "it is cut short, damaged or not a gzip"),
    ("gzip with a wrong byte", "a.csv.gz", gzip.compress(GOOD.encode())[:-7] + b"\x00" * 7, None, "it is cut short,"),
    ("parquet cut short", "a.parquet", parquet()[:-20], None, "it is damaged, cut short, encrypted or not"),
    ("workbook cut short", "a.xlsx", book([HEAD, CELLS])[:-200], None,
     "it is damaged, protected or not an xlsx workbook"),
    ("merged header", "a.xlsx", book([HEAD, CELLS], merge=(0, 5, 0, 6, "spin_rpm")), None,
     "it lacks the required column 'carry_yd'"),
    ("day and month exchanged", "a.csv", csv_text(*(changed(struck_at=f"08/{d}/2026") for d in (3, 13, 14, 25))),
     dated("%d/%m/%Y"), "its times fit the layout's format only in part, and 3 more fit with day and month exchanged"),
]  # fmt: skip


def names(cases):
    return [case[0] for case in cases]


@pytest.mark.parametrize(("case", "name", "content", "how", "accepted", "rejected"), USED, ids=names(USED))
def test_damaged_log_gives_what_a_person_would_read(
    tmp_path, collect, load, case, name, content, how, accepted, rejected
):
    result = collect(laid(tmp_path / name, content), how or STANDARD_LAYOUT)

    assert (case, result.receipt["status"]) == (case, "used")
    assert {row: readings for row, *readings in result.shots.select("row", *READINGS).rows()} == {
        row: list(readings) for row, readings in accepted.items()
    }
    assert {row: (rule, column) for _, row, rule, column in result.rejects.rows()} == rejected
    rows = accounted(load(result))
    assert rows == len(accepted) + len(rejected)


@pytest.mark.parametrize(("case", "name", "content", "how", "reason"), REFUSED, ids=names(REFUSED))
def test_damaged_log_is_refused_in_one_sentence(tmp_path, collect, load, capfd, case, name, content, how, reason):
    result = collect(laid(tmp_path / name, content), how or STANDARD_LAYOUT)

    told = capfd.readouterr()
    assert (case, result.receipt["status"]) == (case, "refused")
    assert result.receipt["reason"].startswith(reason)
    assert "\n" not in result.receipt["reason"]
    assert result.shots.height == result.rejects.height == accounted(load(result)) == 0
    assert "Oak" not in told.out + told.err


def laid(path, content):
    """Write bytes as they are; a name that ends in .gz gets no second packing."""
    if isinstance(content, bytes):
        path.write_bytes(content)
        return path
    return written(path, content)


def accounted(folder):
    """Check the accounts of the only log; give its rows."""
    (log,) = pl.read_csv(folder / "sources.csv").rows(named=True)
    assert log["rows"] == log["accepted"] + log["rejected"] + log["duplicates"]
    assert pl.read_csv(folder / "rejects.csv").height == log["rejected"]
    return log["rows"]


def notes(tmp_path, collect, name, content, how=STANDARD_LAYOUT):
    return collect(laid(tmp_path / name, content), how).receipt["notes"]


def test_what_is_odd_about_a_file_is_told(tmp_path, collect, capsys):
    assert notes(tmp_path, collect, "a.csv", GOOD) == []
    assert notes(tmp_path, collect, "a.csv", GOOD[:-1]) == [
        "its last line has no line end; if it was cut short, so is its last number"
    ]
    assert capsys.readouterr().out.endswith(" Look again: its last line has no line end; if it was cut short, so is "
                                            "its last number.\n")  # fmt: skip
    assert notes(tmp_path, collect, "a.xlsx", book([HEAD, CELLS])) == []
    assert notes(tmp_path, collect, "a.xlsx", book([HEAD, CELLS], sheets=3)) == ["of its 3 sheets the first was read"]
    assert notes(tmp_path, collect, "a.xlsx", book([HEAD, CELLS], formula=(1, 6, "=225", None, 225))) == [
        "it holds formulas, whose results as last saved were taken"
    ]


def test_workbook_that_unpacks_without_end_is_refused(tmp_path, collect, monkeypatch):
    monkeypatch.setattr(foreign, "MOST_UNZIPPED_BYTES", 1000)

    receipt = collect(laid(tmp_path / "a.xlsx", book([HEAD, CELLS]))).receipt

    assert receipt["reason"].startswith("its workbook unpacks to more than 1 GB")


def test_line_at_the_limit_is_read(tmp_path, collect):
    room = LONGEST_LINE_BYTES - len(ROW) - 2
    log = csv_text(f"{ROW},{'x' * room}", f"{ROW},", header=f"{HEADER},remark")

    assert collect(laid(tmp_path / "a.csv", log)).shots["row"].to_list() == [1, 2]
    longer = collect(laid(tmp_path / "a.csv", log.replace("xx", "xxx", 1)))
    assert longer.receipt["reason"].startswith("it has a line of more than 65,536 bytes")


@pytest.mark.parametrize("change", ["grows", "is replaced", "shrinks", "goes"])
def test_log_that_changes_while_it_is_read_stops_the_run(tmp_path, collect, monkeypatch, change):
    log = laid(tmp_path / "a.csv", csv_text(*[ROW] * 50))
    inner = clean_log.split
    about = log.stat()

    def meanwhile(*arguments):
        if change == "grows":
            with log.open("a") as file:
                file.write(ROW + "\n")
        elif change == "is replaced":  # of the same size and time
            log.write_text(log.read_text().replace(",225", ",224"))
            os.utime(log, ns=(about.st_atime_ns, about.st_mtime_ns))
        elif change == "shrinks":
            os.truncate(log, 500)
        else:
            log.unlink()
        return inner(*arguments)

    monkeypatch.setattr(clean_log, "split", meanwhile)
    with pytest.raises(UserError, match=r"a\.csv: it changed while it was read; run again when it is complete\.$"):
        collect(log)
    assert not list((tmp_path / "out").iterdir())

    monkeypatch.undo()
    if change != "goes":
        assert collect(log).receipt["status"] == "used"


def test_log_that_cannot_be_read_has_no_hash(tmp_path, collect, load):
    result = collect(tmp_path / "gone.csv")

    assert result.receipt["status"] == "refused"
    assert result.receipt["sha256"] is None
    assert pl.read_csv(load(result) / "sources.csv")["sha256"].to_list() == [None]


def test_log_that_doubles_another_is_told(tmp_path, collect, load, capsys):
    text = csv_text(*(changed(struck_at=f"2026-08-03T10:00:{i:02d}") for i in range(5)), changed(carry_yd="x"))
    one, two = (collect(laid(tmp_path / name, text)) for name in ("a.csv", "again.csv"))

    sources = pl.read_csv(load(one, two) / "sources.csv")

    told = "all its 5 drives were read before, most of them in a.csv; leave one of the two out"
    assert sources.select("rows", "accepted", "rejected", "duplicates", "reason").rows() == [
        (6, 5, 1, 0, None), (6, 0, 1, 5, told),
    ]  # fmt: skip
    assert capsys.readouterr().out.endswith(f"again.csv: look again, {told}.\n")


@pytest.mark.long
def test_300_mb_line_costs_little_memory(tmp_path):
    import subprocess
    import sys

    log = tmp_path / "a.csv"
    with log.open("wb") as file:
        for _ in range(300):
            file.write(b"x," * 500_000)
    code = (
        "import sys, resource; from pathlib import Path; from pipeline.collect.read import *; "
        "from pipeline.configuration.layouts import STANDARD_LAYOUT\n"
        "start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try:\n  open_log(Path(sys.argv[1]), STANDARD_LAYOUT).__enter__()\n"
        "except LogRefusedError as refusal: print(refusal)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - start)"
    )

    made = subprocess.run([sys.executable, "-c", code, str(log)], capture_output=True, text=True, check=True)

    reason, kilobytes = made.stdout.splitlines()
    assert reason.startswith("it has a line of more than 65,536 bytes")
    print(f"{int(kilobytes) / 1000:.0f} MB")
    assert int(kilobytes) < 50_000
