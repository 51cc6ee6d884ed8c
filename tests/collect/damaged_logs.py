"""Logs with one thing wrong, drawn by a seeded generator: texts, workbooks from their parts up, parquet files."""

import gzip
import io
import random
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq
from collect_samples import HEADER, ROW, changed, csv_text

GOOD = csv_text(ROW, changed(golfer="Bo", carry_yd="224"))
HEADERS = HEADER.split(",")


class Damage(NamedTuple):
    """What was drawn."""

    what: str
    neighbour: bool
    """Whether the sound log beside it must be read."""


# --- text logs


def _header(rng: random.Random) -> str:
    cells = list(HEADERS)
    place = rng.randrange(len(cells))
    for _ in range(rng.randint(1, 3)):
        cells[place] = rng.choice(
            [
                "",
                " ",
                cells[place].upper(),
                f"\u200b{cells[place]}",
                f"{cells[place]}\u202e",
                f"\u00a0{cells[place]}",
                "".join(chr(ord(c) + 0xFEE0) if "a" <= c <= "z" else c for c in cells[place]),
                cells[0],
                "\x0b",
                "\x1b[31m",
            ]
        )
        place = rng.randrange(len(cells))
    return ",".join(cells)


def _odd_rows(rng: random.Random) -> list[str]:
    number = [
        "\u0661\u0662",
        "\uff19\uff15",
        "1e400",
        "-1e400",
        "0x5F",
        "infinity",
        "95mph",
        "9 5",
        "95\u2009",
        "--95",
        "1e-400",
        "9" * 400,
        "95.",
        ".",
        "+",
        "e5",
        "1_000",
        "\u2212 5",
        "95\x00",
        "\u00bd",
        "1/2",
    ]
    time = [
        "2026-02-30",
        "2026-08-03T25:00",
        "10000-01-01",
        "-0001-01-01",
        "2026-08-03T10:00+99:99",
        "2026-W31-1",
        "2026-215",
        "1785751200",
        "now",
        "2026-08-03T10:00:60Z",
        "03\u201308\u20132026",
        "2026-08-03T10:00:00.999999999999Z",
    ]
    return [
        changed(struck_at=rng.choice(time))
        if rng.random() < 0.3
        else changed(**{rng.choice(HEADERS[2:]): rng.choice(number)})
        for _ in range(rng.randint(1, 5))
    ]


def _odd_ends(rng: random.Random) -> bytes:
    data = bytearray(GOOD.encode() * rng.choice([1, 1, 50]))
    for _ in range(rng.randint(1, 4)):
        at = rng.choice([0, len(data), rng.randrange(len(data))])
        data[at:at] = rng.choice(
            [
                "\u2028",
                "\u0085",
                "\x0c",
                "\x0b",
                "\r",
                "\n\r",
                "\x1a",
                "\x1e",
                "\ufeff",
                '"',
                '""',
                "'",
                "\\",
                "\x00" * 7,
            ]
        ).encode()
    return bytes(data)


def _wide(rng: random.Random) -> bytes:
    width = rng.choice([2_000, 9_000])
    many = ",".join(f"x{i}" for i in range(width))
    return csv_text(f"{ROW}{',' * width}", f"{ROW},{'1,' * (width - 1)}", header=f"{HEADER},{many}").encode()


def _of_another_kind(rng: random.Random) -> bytes:
    return rng.choice(
        [
            book({}),
            table_bytes(_typed_table(rng)),
            gzip.compress(GOOD.encode()),
            b"%PDF-1.7\n%\xe2\xe3\n",
            b"\x7fELF" * 9,
            b"<html><table><tr><td>golfer</td></tr></table></html>",
            b'[{"golfer": 1}]',
            b"{\\rtf1 golfer}",
            GOOD.encode(),
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600,
            GOOD.encode("utf-32"),
            GOOD.encode("utf-7"),
            b"PAR1",
            b"PK",
        ]
    )


def _gzip(rng: random.Random) -> bytes:
    packed = gzip.compress(GOOD.encode(), mtime=0)
    return rng.choice(
        [
            packed + gzip.compress((ROW + "\n").encode()),
            packed + b"\x00" * rng.randint(1, 5000),
            packed + rng.randbytes(rng.randint(1, 50)),
            packed[:3] + bytes([rng.randrange(256)]) + packed[4:],
            gzip.compress(packed),
            gzip.compress(GOOD.encode() + b"\x00" * rng.choice([100, 200_000, 120_000_000])),
            gzip.compress(GOOD.encode() + b"\n" * rng.choice([200_000, 120_000_000]), compresslevel=1),
            packed * rng.randint(2, 40),
        ]
    )


def text_log(folder: Path, rng: random.Random) -> Damage:
    what = rng.choice(["header", "cells", "ends", "nul", "marks", "wide", "other", "gzip", "quotes", "empty"])
    name = "b.csv"
    if what == "header":
        content = csv_text(ROW, header=_header(rng)).encode()
    elif what == "cells":
        content = csv_text(*_odd_rows(rng)).encode()
    elif what == "ends":
        content = _odd_ends(rng)
    elif what == "nul":
        hole = b"\x00" * rng.choice([1, 100, 70_000, 3_000_000])
        at = rng.choice([0, len(GOOD) // 2, len(GOOD)])
        content = GOOD.encode()[:at] + hole + GOOD.encode()[at:]
    elif what == "marks":
        content = b"\xef\xbb\xbf" * rng.randint(2, 4) + GOOD.encode()
    elif what == "wide":
        content = _wide(rng)
    elif what == "other":
        name, content = (
            rng.choice(["b.csv", "b.csv.gz", "b.xlsx", "b.parquet", "b.CSV", "b.XLSX"]),
            _of_another_kind(rng),
        )
    elif what == "gzip":
        name, content = "b.csv.gz", _gzip(rng)
    elif what == "quotes":
        content = "".join(rng.choice(['"', '""', ",", "\n", "x", HEADER, ROW]) for _ in range(40)).encode()
    else:
        content = rng.choice(
            [HEADER, HEADER + "\n" * 50_000, "," * 60_000, '"",' * 7, "\ufeff", "\n" * 9, " \n \n"]
        ).encode()
    (folder / "logs" / name).write_bytes(content)
    return Damage(what, neighbour=True)


# --- workbooks, from their parts up

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/></Types>'
)


def cell(place: str, value: str, kind: str = "inlineStr", style: str = "") -> str:
    body = f"<is><t>{value}</t></is>" if kind == "inlineStr" else f"<v>{value}</v>"
    return f'<c r="{place}"{style} t="{kind}">{body}</c>'


def _row(number: int, cells: list[str]) -> str:
    texts = [cell(f"{chr(65 + i)}{number}", text) for i, text in enumerate(cells)]
    return f'<row r="{number}">{"".join(texts)}</row>'


def sheet(more: str = "", before: str = "", after: str = "") -> str:
    rows = _row(1, HEADERS) + _row(2, ROW.split(","))
    return f'{before}<worksheet xmlns="{_MAIN}"><sheetData>{rows}{more}</sheetData>{after}</worksheet>'


def book(changed_parts: dict[str, str | bytes | None], how: Callable[[zipfile.ZipFile], None] | None = None) -> bytes:
    """Write a workbook of one sheet with some of its parts changed or, at None, left out."""
    package = "http://schemas.openxmlformats.org/package/2006/relationships"
    parts: dict[str, str | bytes | None] = {
        "[Content_Types].xml": _TYPES,
        "_rels/.rels": f'<Relationships xmlns="{package}"><Relationship Id="rId1" Type="{_RELS}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_RELS}"><sheets><sheet name="S" sheetId="1" '
        'r:id="rId1"/>'
        "</sheets></workbook>",
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}"><Relationship Id="rId1" '
        f'Type="{_RELS}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": sheet(),
    }
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in (parts | changed_parts).items():
            if text is not None:
                archive.writestr(name, text)
        if how is not None:
            how(archive)
    return content.getvalue()


_PLACES = [
    "XFD1048576",
    "A1048576",
    "XFD3",
    "ZZZ9",
    "AAAAAAA1",
    "A99999999999999999999",
    "A0",
    "1A",
    "",
    "A",
    "7",
    "a3",
    "A-1",
    "XFE1",
    "A1048577",
    "FXSHRXX1",
    "A4294967296",
    "A18446744073709551616",
    "$A$3",
    "A3:B4",
    "\u0391" + "3",
    "ALL500000",
]
_VALUES = [
    ("n", "1e999"),
    ("n", "NaN"),
    ("n", "x"),
    ("n", "-1e308"),
    ("s", "0"),
    ("s", "99999999999"),
    ("s", "-1"),
    ("b", "7"),
    ("e", "#WHAT!"),
    ("d", "9999-99-99"),
    ("zz", "1"),
    ("str", "\U0001f3cc"),
    ("n", ""),
    ("b", ""),
    ("inlineStr", "\ufffe"),
]


def _zip_trouble(rng: random.Random) -> bytes:
    def twice(archive):
        archive.writestr("xl/worksheets/sheet2.xml", sheet())
        for i in range(rng.choice([3, 3000])):
            archive.writestr(f"xl/media/{i}.xml", "x")

    data = bytearray(book({}, twice))
    central = data.index(b"PK\x01\x02")
    size, method, flags = central + 24, central + 10, central + 8
    match rng.randrange(6):
        case 0:
            data[size : size + 4] = rng.choice([b"\xff\xff\xff\x7f", b"\x00\x00\x00\x00", b"\xff\xff\xff\xff"])
        case 1:
            data[method : method + 2] = bytes([rng.choice([1, 9, 12, 14, 93, 95, 99]), 0])
        case 2:
            data[flags : flags + 2] = bytes([rng.choice([1, 0x41, 0x20]), 0])
        case 3:
            data[-rng.randint(1, 21) :] = b""
        case 4:
            data[0:0] = rng.randbytes(rng.choice([1, 1000]))
        case 5:
            data += rng.randbytes(rng.choice([1, 70_000]))
    return bytes(data)


def workbook(folder: Path, rng: random.Random) -> Damage:
    what = rng.choice(["place", "place", "value", "part", "xml", "zip", "size", "reference", "sheets"])
    part = "xl/worksheets/sheet1.xml"
    if what == "place":
        row = rng.choice(["3", "0", "-1", "x", "4294967297", "1048576", "2"])
        content = book({part: sheet(f'<row r="{row}">{cell(rng.choice(_PLACES), "x")}</row>')})
    elif what == "value":
        kind, value = rng.choice(_VALUES)
        style = rng.choice(["", ' s="0"', ' s="99999"', ' s="-1"'])
        content = book({part: sheet(f'<row r="3">{cell("C3", value, kind, style)}</row>')})
    elif what == "part":
        name = rng.choice(["[Content_Types].xml", "_rels/.rels", "xl/workbook.xml", "xl/_rels/workbook.xml.rels", part])
        content = book({name: rng.choice([None, "", "<", b"\xff\xfe\x00", "<a/>", "x" * 999])})
    elif what == "xml":
        bomb = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 10))
        content = book(
            {
                part: rng.choice(
                    [
                        sheet(before=f'<!DOCTYPE a [<!ENTITY e0 "xxxxxxxxxx">{bomb}]>', more=_row(3, ["&e9;"] * 7)),
                        sheet(
                            before='<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/hostname">]>', more=_row(3, ["&e;"] * 7)
                        ),
                        sheet(more="<row>" * rng.choice([100, 100_000])),
                        sheet(after="</worksheet>" * 3),
                        sheet()[: rng.randint(20, 900)],
                        sheet().replace("<c ", "<x:c ").replace("</c>", "</x:c>"),
                        sheet().encode("utf-16"),
                        sheet(more=_row(3, ["x"] * 20)).replace('r="', "r='").replace('" t=', "' t="),
                    ]
                )
            }
        )
    elif what == "zip":
        content = _zip_trouble(rng)
    elif what == "size":
        text = rng.choice(["x" * 60_000_000, "<row/>" * 3_000_000, " " * 200_000_000])
        content = book({part: sheet(more=text if text[0] != "x" else _row(3, [text] * 2))})
    elif what == "reference":
        after = rng.choice(
            [
                '<mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells>',
                '<mergeCells count="99999999"><mergeCell ref="B2:A1"/></mergeCells>',
                '<dimension ref="A1:XFD1048576"/>',
                '<dimension ref="ZZZZZZZZ99999999999"/>',
                '<hyperlinks><hyperlink ref="A1" r:id="rId9"/></hyperlinks>',
            ]
        )
        head = rng.choice(
            ["", '<dimension ref="A1:XFD1048576"/>', '<dimension ref="B2:A1"/>', '<cols><col min="1" max="-1"/></cols>']
        )
        content = book({part: sheet(after=after).replace("<sheetData>", f"{head}<sheetData>")})
    else:
        names = rng.choice(["", "\x01", "S" * 5000, "../../x", "&amp;", "\u202e"])
        many = "".join(
            f'<sheet name="{names}{i}" sheetId="{i}" r:id="rId{rng.choice([1, 1, 7])}"/>'
            for i in range(rng.choice([0, 2, 300]))
        )
        content = book(
            {"xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_RELS}"><sheets>{many}</sheets></workbook>'}
        )
    (folder / "logs" / "b.xlsx").write_bytes(content)
    return Damage(what, neighbour=True)


# --- parquet

_ZONES = [
    "UTC",
    "Europe/Vienna",
    "US/Pacific-New",
    "Mars/Olympus",
    "+02:00",
    "-99:00",
    "localtime",
    "",
    "GMT+2",
    "\x00",
    "x" * 999,
]


def _any_column(rng: random.Random) -> pa.Array:
    """Give two cells of any type there is."""
    zone = rng.choice(_ZONES)
    made = rng.choice(
        [
            lambda: pa.array([[225.0], None]),
            lambda: pa.array([{"a": 1}, {"a": None}]),
            lambda: pa.array([[[]], None]),
            lambda: pa.array([10**15, None], pa.duration("us")),
            lambda: pa.array([1, 2], pa.time64("ns")),
            lambda: pa.array([b"\xff\xfe", b"Oak"]),
            lambda: pa.array([b"12", b"13"]),
            lambda: pa.array([b"\x00" * 16] * 2, pa.binary(16)),
            lambda: pa.array([[("a", 1)], None], pa.map_(pa.string(), pa.int64())),
            lambda: pa.array([True, None]),
            lambda: pa.array([None, None]),
            lambda: pa.array([2**64 - 1, 0], pa.uint64()),
            lambda: pa.array([-(2**63), 95]),
            lambda: pa.array([95.5, float("nan")], pa.float32()),
            lambda: pa.array([1, 2], pa.int8()),
            lambda: pa.array(["95.5", "1e3"]).cast(pa.decimal128(20, 4)),
            lambda: pa.array(["95.5", "1e3"]).cast(pa.decimal256(60, 4)),
            lambda: pa.array([-(2**31), 2**31 - 1], pa.int32()).cast(pa.date32()),
            lambda: pa.array([2**62, -(2**62)], pa.timestamp("us")),
            lambda: pa.array([2**62, 0], pa.timestamp("ns")),
            lambda: pa.array([2**62, 0], pa.timestamp("ms", zone)),
            lambda: pa.array([1785751200000000, None], pa.timestamp("us", zone)),
            lambda: pa.array([1785751200, 0], pa.timestamp("s", zone)),
            lambda: pa.array(["Ann", "Bo"]).dictionary_encode(),
            lambda: pa.array([1.5, 2.5]).dictionary_encode(),
            lambda: pa.array(["Ann\x00", "\ufeff"], pa.large_string()),
            lambda: pa.array([[1, 2]] * 2, pa.list_(pa.int8(), 2)),
            lambda: pa.ExtensionArray.from_storage(pa.uuid(), pa.array([b"\x01" * 16] * 2, pa.binary(16))),
        ]
    )
    return made()


def _typed_table(rng: random.Random) -> pa.Table:
    cells = [pa.array([cell] * 2) for cell in ROW.split(",")]
    for _ in range(rng.randint(1, 3)):
        cells[rng.randrange(len(cells))] = _any_column(rng)
    return pa.Table.from_arrays(cells, names=HEADERS)


def table_bytes(table: pa.Table, **how) -> bytes:
    content = io.BytesIO()
    pq.write_table(table, content, **how)
    return content.getvalue()


def _named(rng: random.Random) -> pa.Table:
    table = _typed_table(rng)
    names = list(HEADERS)
    for _ in range(rng.randint(1, 3)):
        names[rng.randrange(7)] = rng.choice(
            ["", "a.b", "golfer", "x" * 70_000, "\x00", "list.element", "\u202e", "row", "c0", "ragged"]
        )
    return table.rename_columns(names)


def parquet_log(folder: Path, rng: random.Random) -> Damage:
    what = rng.choice(["types", "types", "types", "names", "shape", "footer", "packing"])
    if what == "types":
        content = table_bytes(_typed_table(rng))
    elif what == "names":
        content = table_bytes(_named(rng))
    elif what == "shape":
        made = rng.randrange(4)
        if made == 0:
            table = pa.table({})
        elif made == 1:
            table = pa.table({name: pa.array([], pa.string()) for name in HEADERS})
        elif made == 2:
            table = pa.table({name: pa.nulls(3_000_000, pa.float64()) for name in HEADERS})
        else:
            table = pa.table(
                {
                    **{name: [cell] for name, cell in zip(HEADERS, ROW.split(","), strict=True)},
                    **{f"x{i}": [1] for i in range(3000)},
                }
            )
        content = table_bytes(table)
    elif what == "footer":
        data = bytearray(table_bytes(_typed_table(rng)))
        match rng.randrange(5):
            case 0:
                data[-8:-4] = rng.choice([0, 2**31, 2**32 - 1, len(data), 7]).to_bytes(4, "little")
            case 1:
                data[-4:] = b"PARE"
            case 2:
                data[:4] = b"\x00" * 4
            case 3:
                del data[4 : rng.randint(5, 300)]
            case 4:
                data[-rng.randint(9, 400)] ^= 1 << rng.randrange(8)
        content = bytes(data)
    else:
        content = table_bytes(
            _typed_table(rng),
            compression=rng.choice(["zstd", "brotli", "gzip", "lz4", "snappy"]),
            data_page_version=rng.choice(["1.0", "2.0"]),
            use_dictionary=rng.random() < 0.5,
        )
        at = rng.randrange(4, len(content) // 2)
        content = content[:at] + rng.randbytes(rng.randint(1, 20)) + content[at + rng.randint(0, 20) :]
    (folder / "logs" / "b.parquet").write_bytes(content)
    return Damage(what, neighbour=True)
