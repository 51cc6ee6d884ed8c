"""Layouts, studies, keys and names of files with one thing wrong, drawn by a seeded generator."""

import os
import random
import socket
import tempfile
from pathlib import Path

from collect_samples import KEY_HEX, ROW, csv_text
from damaged_logs import GOOD, HEADERS, Damage

from pipeline.collect.key import SECRET_MARK

STUDY = "study: hill-school\nlogs:\n  - {files: 'logs/*'}\n"


def study_at(folder: Path) -> Path:
    (folder / "logs").mkdir(parents=True)
    (folder / "private").mkdir()
    (folder / "study.yaml").write_text(STUDY, encoding="utf-8")
    (folder / "logs" / "a.csv").write_text(GOOD, encoding="utf-8")
    key = folder / "private" / "pseudonym.key"
    key.write_text(f"{SECRET_MARK}\n{KEY_HEX}\n", encoding="utf-8")
    key.chmod(0o600)
    return folder


# --- layouts, studies and keys

_NASTY = [
    "",
    "''",
    "'.'",
    "'..'",
    "/dev/zero",
    "/dev/null",
    "/dev/stdin",
    '"a\\0b"',
    '"\\ud800"',
    "'~'",
    "[]",
    "{}",
    "[[]]",
    "{a: {}}",
    ".nan",
    ".inf",
    "-.inf",
    "1e400",
    "99999999999999999999999999",
    "-1",
    "0",
    "0o17",
    "0x1F",
    "1:30:00",
    "2026-08-03",
    "true",
    "null",
    "!!python/object:os.system x",
    "!!python/object/apply:os.system [ls]",
    "!!binary aGk=",
    "!!set {a}",
    "!own x",
    "!!timestamp x",
    "!!float abc",
    "!!int abc",
    "'\u202e'",
    "'\u200b'",
    "'" + "x" * 5000 + "'",
    "'%s%n'",
    "'{0}'",
    "'$(ls)'",
    "loop",
    "gone",
    "pipe",
    "logs",
    "'\x7f'",
    "|\n    a\n    b",
    "&a [*a]",
    "'**.csv'",
    "'logs/**.csv'",
    "'*' ",
    "'['",
    "'[!'",
    "'\\'",
    "1" * 5000,
]
_LAYOUT_KEYS = ["delimiter", "decimal", "encoding", "skip_rows", "timezone", "columns"]
_ODD_ENCODINGS = [
    "idna",
    "punycode",
    "undefined",
    "unicode_escape",
    "raw_unicode_escape",
    "utf-7",
    "zlib",
    "rot13",
    "utf-8-sig",
    "cp037",
    "utf-32",
    "hz",
    "mbcs",
    "latin-1\\0",
    "iso2022_jp",
    "big5",
]
_ODD_ZONES = [
    "localtime",
    "Factory",
    "posix/Europe/Vienna",
    "posixrules",
    "US/Pacific-New",
    "GMT+0",
    "../UTC",
    "/etc/localtime",
    "EST5EDT",
]
_STUDY_PLACES = [
    "study",
    "logs",
    "speed_logs",
    "reference_device",
    "bands",
    "bands.centres",
    "bands.half_width_mph",
    "window_tolerance_yd",
    "flags.lost_yd",
    "flags.min_shots",
    "privacy.key_file",
    "privacy.min_golfers",
    "air.temp_c",
    "flight.sets",
    "model.own",
    "model.formulas",
    "model.regressors",
    "model.choose",
    "goals.carry_yd",
    "title",
    "units",
    "seed",
    "efficient.strike",
]


def _odd_files(folder: Path) -> None:
    """Lay out what a path may lead to besides plain files."""
    os.mkfifo(folder / "pipe")
    (folder / "loop").symlink_to("loop")
    (folder / "gone").symlink_to("nowhere")
    (folder / "zero").symlink_to("/dev/zero")


def _odd_yaml(rng: random.Random, sound: str) -> bytes:
    match rng.randrange(9):
        case 0:
            return b"\xef\xbb\xbf" * rng.randint(1, 3) + sound.encode()
        case 1:
            at = rng.randrange(len(sound))
            return (
                sound[:at]
                + rng.choice(["\x00", "\x07", "\t", "\u2028", "\ufffe", "'", "{", "%", "@", "`"])
                + sound[at:]
            ).encode()
        case 2:
            return sound.encode(rng.choice(["utf-16", "utf-32", "utf-7"]))
        case 3:
            levels = "".join(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9) if i else 'x'}]\n" for i in range(12))
            return (levels + sound).encode()
        case 4:
            return ("x: " + "[" * rng.choice([50, 5000]) + "\n" + sound).encode()
        case 5:
            return (sound + "#" * 2_000_000).encode()
        case 6:
            return (
                sound + rng.choice(["---\na: 1\n", "...\nx", "%YAML 9.9\n", "? [a]\n: b\n", "<<: {a: 1}\n", "1: 2\n"])
            ).encode()
        case 7:
            return sound[: rng.randrange(1, len(sound))].encode()
    return rng.randbytes(rng.choice([1, 200]))


def layout(folder: Path, rng: random.Random) -> Damage:
    what = rng.choice(["value", "value", "column", "yaml", "path", "encoding", "zone"])
    _odd_files(folder)
    (folder / "more").mkdir()
    (folder / "more" / "b.csv").write_text(GOOD, encoding="utf-8")
    columns = "".join(f"  {name}: {{from: {name}}}\n" for name in HEADERS)
    sound = f"columns:\n{columns}"
    path, content = "layout.yaml", sound.encode()
    if what == "value":
        key = rng.choice(_LAYOUT_KEYS[:-1])
        content = f"{key}: {rng.choice(_NASTY)}\n{sound}".encode("utf-8", "surrogatepass")
    elif what == "column":
        key = rng.choice(["from", "unit", "format"])
        content = sound.replace("from: struck_at", f"from: struck_at, {key}: {rng.choice(_NASTY)}").encode()
    elif what == "yaml":
        content = _odd_yaml(rng, sound)
    elif what == "encoding":
        content = f'encoding: "{rng.choice(_ODD_ENCODINGS)}"\n{sound}'.encode()
    elif what == "zone":
        content = f"timezone: {rng.choice(_ODD_ZONES)}\n{sound}".encode()
    else:
        path = rng.choice([value for value in _NASTY if "\n" not in value] + ["zero"])
    (folder / "layout.yaml").write_bytes(content)
    more = (
        f"  - {{files: more/*.csv, layout: {path}}}\n"
        if what == "path"
        else "  - {files: more/*.csv, layout: layout.yaml}\n"
    )
    (folder / "study.yaml").write_text(STUDY + more, encoding="utf-8")
    return Damage(what, neighbour=what != "path")


def study(folder: Path, rng: random.Random) -> Damage:
    what = rng.choice(["value", "value", "files", "files", "yaml"])
    _odd_files(folder)
    if what == "value":
        place = rng.choice(_STUDY_PLACES).split(".")
        value = rng.choice(_NASTY)
        line = f"{place[0]}: {value}\n" if len(place) == 1 else f"{place[0]}:\n  {place[1]}: {value}\n"
        content = (("" if place[0] in ("study", "logs") else STUDY) + line).encode("utf-8", "surrogatepass")
    elif what == "files":
        content = f"study: hill-school\nlogs:\n  - files: {rng.choice(_NASTY)}\n".encode()
    else:
        content = _odd_yaml(rng, STUDY)
    (folder / "study.yaml").write_bytes(content)
    return Damage(what, neighbour=False)


def key(folder: Path, rng: random.Random) -> Damage:
    path = folder / "private" / "pseudonym.key"
    sound = path.read_text(encoding="utf-8")
    path.unlink()
    what = rng.choice(["pipe", "zero", "null", "folder", "loop", "gone", "large", "text", "text", "socket"])
    if what == "pipe":
        os.mkfifo(path)
    elif what in ("zero", "null", "loop", "gone"):
        path.symlink_to({"zero": "/dev/zero", "null": "/dev/null", "loop": path.name, "gone": "nowhere"}[what])
    elif what == "folder":
        path.mkdir()
    elif what == "socket":
        _socket_at(path)
    else:
        text = rng.choice(
            [
                sound * 2,
                "\ufeff" + sound,
                sound.replace("\n", "\r"),
                sound.upper(),
                sound + "\x00",
                "\x00" * 99,
                sound[:-9],
                sound.replace("0f", "0g"),
                sound.replace("\n", "\u2028"),
                "\ud800",
                "#" * 20_000,
            ]
        )
        path.write_bytes((text * 500 if what == "large" else text).encode("utf-8", "surrogatepass"))
        path.chmod(rng.choice([0o600, 0o644, 0o400]))
    return Damage(what, neighbour=True)


def _socket_at(path: Path) -> None:
    """Make a socket, by a short path, as its address must be."""
    with tempfile.TemporaryDirectory(dir="/tmp") as short, socket.socket(socket.AF_UNIX) as made:
        made.bind(f"{short}/s")
        Path(f"{short}/s").rename(path)


# --- names of files


def file_name(folder: Path, rng: random.Random) -> Damage:
    logs = folder / "logs"
    what = rng.choice(
        ["bytes", "signs", "folder", "pipe", "gone", "loop", "device", "socket", "suffix", "long", "link"]
    )
    path = logs / "b.csv"
    if what == "bytes":
        path = logs / os.fsdecode(
            rng.choice([b"\xff.csv", b"b\xe4r.csv", b"\xed\xa0\x80.csv", b"\xc3.csv.gz", b"\xf8\x88.xlsx"])
        )
    elif what == "signs":
        path = logs / (
            rng.choice(
                [
                    "\n",
                    "\r",
                    "\x1b[2J",
                    "\u202e",
                    "\u200b",
                    "\u2028",
                    "\x7f",
                    "'; drop",
                    "[a]",
                    "*",
                    "?",
                    "{x}",
                    "%s",
                    "-rf",
                    "~",
                    "$HOME",
                    "a,b",
                    '"',
                    " ",
                    "\u00a0",
                    "=1+1",
                ]
            )
            + ".csv"
        )
    elif what == "suffix":
        path = logs / rng.choice(
            ["b.tsv", "b", ".csv", "b.csv.bak", "b.xls", "b.csv.xz", "b.csv~", "Thumbs.db", "b.CSV.GZ", "b.parquet "]
        )
    elif what == "long":
        path = logs / ("x" * 251 + ".csv")
    if what == "folder":
        (logs / rng.choice(["b.csv", "b.xlsx", "old", "b.parquet", ".git"])).mkdir()
    elif what == "pipe":
        os.mkfifo(logs / rng.choice(["b.csv", "b.parquet", "b.csv.gz", "b.xlsx"]))
    elif what in ("gone", "loop", "device", "link"):
        to = {
            "gone": "nowhere.csv",
            "loop": path.name,
            "device": rng.choice(["/dev/zero", "/dev/null", "/dev/tty"]),
            "link": "a.csv",
        }
        path.symlink_to(to[what])
    elif what == "socket":
        _socket_at(path)
    else:
        path.write_text(csv_text(ROW), encoding="utf-8")
    return Damage(what, neighbour=True)
