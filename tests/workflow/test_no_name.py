"""Names of golfers, hunted for in everything that a real run leaves behind: results, Snakemake's files, messages."""

import gzip
import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter
from hunt import hits, needles

from pipeline.collect.key import make_key

ROOT = Path(__file__).parents[2]
HEADER = "golfer,struck_at,club_speed_mph,ball_speed_mph,launch_deg,spin_rpm,carry_yd,device,setting,group,remark"
# Unlike any word of ours; each log has its own, so that a hit tells where it came from.
PLAIN, MARKED, WIDE, ZIPPED, BOOK, COLUMNS, BROKEN = (
    "Quorbin Vashtel", "J\u00f6rvald Z\u00fcmbrek", "Xandrik Pholmew", "Wystan Grobekk", "Yorrick Dambrule",
    "Ulbrecht Snarvey", "Ottokar Flimbane",
)  # fmt: skip
NAMES = (PLAIN, MARKED, WIDE, ZIPPED, BOOK, COLUMNS, BROKEN)


def rows_of(name):
    """Give good rows, and bad ones of every kind, all with the name wherever it may slip through."""
    good = f"{name},2026-08-03T10:00:0%d,95,140,12,2500,225,unit of {name},{name},{name},seen with {name}"
    bad = [
        f"{name},{name},95,140,12,2500,225,u,s,g,r", f"{name},2026-08-03,{name},140,12,2500,225,u,s,g,r",
        f"{name},2026-08-03,95,140,12,2500,225,u,s,g,r,{name}", f",{name},,,,,,,,,", f"{name}",
    ]  # fmt: skip
    return [*(good % second for second in range(4)), *bad]


@pytest.fixture(scope="module")
def left(tmp_path_factory):
    """Run a study of odd and broken logs as far as its database; give the folder and all that was said."""
    folder = tmp_path_factory.mktemp("odd")
    logs, spare = folder / "study" / "logs", folder / "temporary"
    logs.mkdir(parents=True)
    spare.mkdir()
    write_logs(logs)
    text = "study: odd\nlogs:\n  - {files: logs/*_u8*}\n  - {files: logs/*_u16*, layout: u16.yaml}\n"
    (folder / "study" / "study.yaml").write_text(text, encoding="utf-8")
    columns = "".join(f"  {name}: {{from: {name}}}\n" for name in HEADER.split(",")[:-1])
    (folder / "study" / "u16.yaml").write_text(f"encoding: utf-16\ncolumns:\n{columns}", encoding="utf-8")
    make_key(folder / "study" / "private" / "pseudonym.key")
    said = [call(folder, spare, "pipeline", "check", folder / "study")]
    target = ["--config", f"study={folder / 'study'}"]
    where = ["-s", ROOT / "Snakefile", "--directory", folder, "--cores", "1", "--verbose", "--until", "compare_devices"]
    said.append(call(folder, spare, "snakemake", *where, *target))
    return folder, said


def call(folder, spare, *arguments):
    environment = os.environ | {"PYTHONPATH": str(ROOT), "TMPDIR": str(spare)}
    return subprocess.run(
        [sys.executable, "-m", *map(str, arguments)], capture_output=True, env=environment, check=False, timeout=300,
        cwd=folder,
    )  # fmt: skip


def write_logs(logs):
    text = {name: "\n".join([HEADER, *rows_of(name)]) + "\n" for name in NAMES}
    (logs / "a_u8.csv").write_text(text[PLAIN], encoding="utf-8")
    (logs / "b_u16.csv").write_text(text[WIDE], encoding="utf-16")
    (logs / "c_u8.csv.gz").write_bytes(gzip.compress(text[ZIPPED].encode()))
    (logs / "d_u8.csv").write_text(unicodedata.normalize("NFD", text[MARKED]), encoding="utf-8")
    cells = [row.split(",") for row in text[BOOK].splitlines()]
    with xlsxwriter.Workbook(str(logs / "e_u8.xlsx")) as book:
        sheet = book.add_worksheet(BOOK)
        for place, row in enumerate(cells):
            sheet.write_row(place, 0, row)
    narrow = [row.split(",")[:11] for row in text[COLUMNS].splitlines()[1:5]]
    pl.DataFrame(narrow, schema=[*HEADER.split(",")[:10], COLUMNS], orient="row").write_parquet(logs / "f_u8.parquet")
    write_broken(logs, text[BROKEN])


def write_broken(logs, text):
    (logs / "g_u8.csv").write_text(text.replace("\n", '\n"', 2), encoding="utf-8")  # a quotation mark left open
    (logs / "h_u8.csv").write_text(text.split("\n", 1)[1], encoding="utf-8")  # a row where the header should be
    (logs / "i_u8.csv").write_bytes(text.encode("utf-16"))
    (logs / "j_u8.csv.gz").write_bytes(gzip.compress(text.encode())[:-20])
    (logs / "k_u8.parquet").write_bytes(b"PAR1" + text.encode())
    (logs / "l_u8.xlsx").write_bytes(b"PK\x03\x04" + text.encode())
    (logs / "m_u8.csv").write_text(text.replace("carry_yd", BROKEN), encoding="utf-8")
    (logs / "n_u8.csv").write_text(text.replace("spin_rpm", "golfer"), encoding="utf-8")


def test_the_run_used_the_odd_logs_and_refused_the_broken_ones(left):
    folder, (check, run) = left
    assert run.returncode == 0, run.stderr.decode()
    assert check.returncode == 2
    sources = pl.read_csv(folder / "results/odd/sources.csv")
    assert sources.filter(status="used").get_column("accepted").sum() >= 6 * 4
    assert sources.filter(status="refused").height >= 6
    assert pl.read_csv(folder / "results/odd/rejects.csv").height >= 20


def test_the_hunt_finds_a_name_where_there_is_one(left):
    logs = sorted((left[0] / "study" / "logs").glob("[a-f]_*"))
    found = hits(logs, NAMES)
    assert len(logs) == 6
    assert all(any(name.startswith(str(log)) for name in found) for log in logs)


def test_no_name_is_left_behind_in_any_encoding(left):
    folder, _ = left
    files = [p for place in ("results", ".snakemake", "temporary") for p in (folder / place).rglob("*") if p.is_file()]
    assert len(files) > 10  # all logs are collected together
    assert hits(files, NAMES) == []


def test_no_name_is_said_by_the_run_or_the_check(left):
    wanted = needles(NAMES)
    for done in left[1]:
        assert len(done.stdout + done.stderr) > 500
        assert [n for n in wanted if n in done.stdout + done.stderr] == []


def test_nothing_is_left_in_the_temporary_folder(left):
    assert [p for p in (left[0] / "temporary").rglob("*") if p.is_file()] == []
