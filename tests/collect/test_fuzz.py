"""Logs written in every dialect and damaged at random bytes; each tried again with the same seeds on every run.

`pytest tests/collect/test_fuzz.py -m long -s` tries many more and prints what became of them.
"""

import csv
import gzip
import io
import random
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import NamedTuple

import polars as pl
import pyarrow.parquet
import pytest
import xlsxwriter
from collect_samples import HEADER, KEY, changed, csv_text
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.collect.collect_logs import collect
from pipeline.collect.opened_log import LogRefusedError
from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout, LogFile
from pipeline.configuration.study import LogEntry

READINGS = ["club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", "carry_yd"]
FEW = settings(max_examples=60, deadline=None, derandomize=True, database=None)
MANY = settings(max_examples=1000, deadline=None, derandomize=True, database=None)


class Outcome(NamedTuple):
    refused: str | None
    shots: pl.DataFrame
    rejects: pl.DataFrame


def collected(name, content, layout=STANDARD_LAYOUT):
    """Collect a log from bytes and check its accounts; whatever else is raised is a fault."""
    pieces = []
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / name
        log.write_bytes(content)
        log_file = LogFile(source=name, entry=LogEntry(files=name, layout="layout.yaml"), layout=layout)
        try:
            receipt = collect(log, log_file, KEY, pieces.append)
        except LogRefusedError as refusal:
            reason = str(refusal)
        else:
            reason = None
    if reason is not None:
        assert reason
        assert "\n" not in reason
        assert "Oak" not in reason
        return Outcome(reason, pl.DataFrame(), pl.DataFrame())
    shots, rejects = (pl.concat([part[i] for part in pieces]) if pieces else pl.DataFrame() for i in (0, 1))
    assert (receipt.rows, receipt.accepted, receipt.rejected) == (
        shots.height + rejects.height, shots.height, rejects.height,
    )  # fmt: skip
    both = [*(shots["row"] if shots.height else []), *(rejects["row"] if rejects.height else [])]
    assert len(set(both)) == len(both)
    return Outcome(None, shots, rejects)


# --- every dialect: what is written is what is read

NAMES = st.sampled_from(["Ann Oak", "J\xf6rg M\xfcl", "O'Neill, B", 'Al "Ace" Lee', "12", "Zo\xeb;Q", "\u0141ukasz"])
SHOTS = st.tuples(NAMES, st.integers(0, 59), st.integers(700, 1100), st.integers(138, 150), st.integers(80, 180),
                  st.integers(1500, 4500), st.booleans())  # fmt: skip


@st.composite
def dialects(draw):
    decimal = draw(st.sampled_from([".", ","]))
    return {
        "delimiter": draw(st.sampled_from([",", ";", "\t", "|"])),
        "decimal": decimal,
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1250"])),
        "skip_rows": draw(st.integers(0, 2)),
    }


def figures(shot):
    """Give a sound drive's readings, in tenths where devices give tenths."""
    _, _, club, ratio, launch, spin, _ = shot
    ball = round(club * ratio / 1000, 1)
    return club / 10, ball, launch / 10, float(spin), round(1.6 * ball, 1)


def check_dialect(shots, dialect, order, line_end, packed, blanks, extra, quoting):
    headers = HEADER.split(",")
    columns = [headers[i] for i in order] + ["remark"] * extra
    text = io.StringIO()
    text.write("Export\n" * dialect["skip_rows"])
    writer = csv.writer(text, delimiter=dialect["delimiter"], lineterminator="\n", quoting=quoting)
    writer.writerow(columns)
    expected, row = {}, 0
    for shot in shots:
        known = figures(shot)
        cells = [shot[0], f"2026-08-03 10:00:{shot[1]:02d}", *(str(x).replace(".", dialect["decimal"]) for x in known)]
        by_name = dict(zip(headers, cells, strict=True)) | {"remark": "a, b; c\td|e" if shot[-1] else ""}
        if blanks and shot[-1]:
            text.write("\n")
            row += 1
        writer.writerow([by_name[name] for name in columns])
        row += 1
        expected[row] = known
    content = text.getvalue().replace("\n", line_end).encode(dialect["encoding"], errors="replace")
    layout = Layout.model_validate(dialect | {"columns": {name: {"from": name} for name in headers}})

    found = collected("a.csv.gz" if packed else "a.csv", gzip.compress(content) if packed else content, layout)

    assert found.refused is None
    assert found.rejects.height == 0
    assert {row: tuple(rest) for row, *rest in found.shots.select("row", *READINGS).rows()} == expected


DIALECTS = given(
    shots=st.lists(SHOTS, min_size=1, max_size=8),
    dialect=dialects(),
    order=st.permutations(range(7)),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    packed=st.booleans(),
    blanks=st.booleans(),
    extra=st.booleans(),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)


@FEW
@DIALECTS
def test_what_is_written_is_what_is_read(**drawn):
    check_dialect(**drawn)


@pytest.mark.long
@MANY
@DIALECTS
def test_what_is_written_is_what_is_read_many_times(**drawn):
    check_dialect(**drawn)


# --- damage to bytes: an accepted row holds what another reader finds in that row

ROWS = [changed(golfer=name, struck_at=f"2026-08-03T10:00:{i:02d}", carry_yd=str(210 + i)) + ",x"
        for i, name in enumerate(["Ann Oak", '"Oak, Bo"', "J\xf6rg", '"Al ""Ace"" Lee"'] * 4)]  # fmt: skip
TEXT = csv_text(*ROWS, header=f"{HEADER},remark")
SPECIAL = [0, 9, 10, 13, 34, 44, 46, 59, 45, 48, 57, 0x80, 0xC3, 0xFF]


def workbook():
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as made:
        sheet = made.add_worksheet()
        for i, cells in enumerate(csv.reader(TEXT.splitlines())):
            for j, cell in enumerate(cells):
                sheet.write(i, j, float(cell) if i and 2 <= j <= 6 else cell)
    return content.getvalue()


def parquet(check_sums):
    content = io.BytesIO()
    frame = pl.read_csv(io.StringIO(TEXT), schema_overrides=dict.fromkeys(READINGS, pl.Float64))
    pyarrow.parquet.write_table(frame.to_arrow(), content, compression="none", write_page_checksum=check_sums)
    return content.getvalue()


KINDS = {
    "csv": ("a.csv", TEXT.encode(), STANDARD_LAYOUT),
    "csv.gz": ("a.csv.gz", gzip.compress(TEXT.encode(), mtime=0), STANDARD_LAYOUT),
    "csv in utf-16": ("a.csv", TEXT.encode("utf-16"), STANDARD_LAYOUT.model_copy(update={"encoding": "utf-16"})),
    "csv in latin-1": ("a.csv", TEXT.encode("latin-1"), STANDARD_LAYOUT.model_copy(update={"encoding": "latin-1"})),
    "xlsx": ("a.xlsx", workbook(), STANDARD_LAYOUT),
    "parquet": ("a.parquet", parquet(True), STANDARD_LAYOUT),
    "parquet without check sums": ("a.parquet", parquet(False), STANDARD_LAYOUT),
}


def damaged(content, rng):
    """Change, insert, take out, repeat or cut off bytes, one to four times."""
    data = bytearray(content)
    for _ in range(rng.randint(1, 4)):
        at, byte = rng.randrange(len(data) + 1), rng.choice([rng.randrange(256), rng.choice(SPECIAL)])
        length = rng.choice([1, 1, 2, 8, 64])
        match rng.randrange(6):
            case 0 | 1:
                data[at : at + 1] = bytes([byte])
            case 2:
                data[at:at] = bytes([byte]) * length
            case 3:
                del data[at : at + length]
            case 4:
                data[at:at] = data[at : at + length]
            case 5 if rng.random() < 0.2:
                del data[at:]
    return bytes(data)


def read_by_another(kind, content):
    """Read a damaged log by other means: row number to its readings as floats; None where those fail too."""
    try:
        encoding = {"csv in utf-16": "utf-16", "csv in latin-1": "latin-1"}.get(kind, "utf-8-sig")
        text = (gzip.decompress(content) if kind == "csv.gz" else content).decode(encoding)
        # A lone carriage return ends a line, except in UTF-8 text that has line feeds.
        plain = text.replace("\r\n", "\n").replace("\r", " " if kind == "csv" else "\n")
        rows = list(csv.reader(io.StringIO(plain, newline="\n")))
        places = [[cell.strip() for cell in rows[0]].index(name) for name in READINGS]
        return {row: [cells[place] for place in places] for row, cells in enumerate(rows) if len(cells) > max(places)}
    except Exception:  # noqa: BLE001 - whatever another reader makes of damage
        return None


def number(cell):
    return float(str(cell).strip().replace("\u2212", "-")) if str(cell).strip() not in ("", "-", "--") else None


def try_damage(kind, seed):
    """Damage a log once; say what became of it."""
    name, sound, layout = KINDS[kind]
    content = damaged(sound, random.Random(f"{kind} {seed}"))
    found = collected(name, content, layout)
    if found.refused is not None:
        return "refused"
    if kind.startswith(("xlsx", "parquet")):  # what has check sums is read as it was written, or not at all
        other = dict(enumerate((row.split(",")[-6:-1] for row in ROWS), 1))
    else:
        other = read_by_another(kind, content)
    if other is None:
        return "rows, and no other reader to compare"
    read = {}
    if found.shots.height:
        # Ball speed is only wanted: where damage hit its header, the log has none.
        kept = [name for name in READINGS if found.shots[name].null_count() < found.shots.height]
        places = [READINGS.index(name) for name in kept]
        read = {row: readings for row, *readings in found.shots.select("row", *kept).rows()}
    same = all(readings == [number(other[row][place]) for place in places] for row, readings in read.items())
    if kind == "parquet without check sums":  # a changed figure can't be told from a true one
        return "rows as written" if same else "rows changed"
    assert same, (kind, seed)
    return "rows as another reader has them, or as written"


@pytest.mark.parametrize("kind", KINDS)
def test_damaged_bytes_give_rows_or_a_refusal(kind, capfd):
    outcomes = Counter(try_damage(kind, seed) for seed in range(60))

    assert len(outcomes) >= (1 if kind == "csv.gz" else 2)
    assert "Oak" not in "".join(capfd.readouterr())


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_damaged_bytes_give_rows_or_a_refusal_many_times(kind, capfd):
    outcomes = Counter(try_damage(kind, seed) for seed in range(1000))

    told = "".join(capfd.readouterr())
    with capfd.disabled():
        sys.stdout.write(f"\n{kind}: {dict(outcomes)}, {told.count('panicked')} panics\n")
    assert sum(outcomes.values()) == 1000
    assert "Oak" not in told


def test_damage_is_the_same_on_every_run():
    assert damaged(TEXT.encode(), random.Random("x")) == damaged(TEXT.encode(), random.Random("x"))
