"""Ten logs of an invented academy, each of another shape, as an academy with many exports may have them."""

import csv
import gzip
import io
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import xlsxwriter

from pipeline.physics.air import Air
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, fly

MPH, YD = 0.44704, 0.9144
# Enough golfers that benchmarks reach some of them.
NAMES = [
    f"{first} {last}"
    for first in ("Ann", "Bo", "Cy", "Dé", "Eva", "Gil")
    for last in ("Oak", "Elm", "Bouleau", "Björk", "Weiß")
]
DRIVES_EACH = 6  # of every golfer in every log
OTHER_CLUBS = 31


def drives(seed: int) -> pl.DataFrame:
    """Make the drives of one log: three weeks of the summer, every golfer."""
    rng = np.random.default_rng([2026, seed])
    n = len(NAMES) * DRIVES_EACH
    who = np.arange(n) % len(NAMES)
    club = np.linspace(78, 108, len(NAMES))[who] * rng.normal(1, 0.015, n)
    ball = club * np.clip(rng.normal(1.45, 0.025, n), 1.3, 1.53)
    launch = np.clip(rng.normal(13, 2.2, n), 6, 22)
    spin = np.clip(rng.normal(2700, 450, n), 1500, 4800)
    air = Air.of(*(np.full(n, one) for one in (18.0, 101325.0, 0.5)))
    # A ball that flies as the mean of the published sets does, so that no log looks like meters called yards.
    flown = [fly(Launch.straight(ball * MPH, launch, spin), Ball(name), air).carry_m / YD for name in SETS]
    carry = np.exp(np.mean(np.log(flown), axis=0))
    start = datetime(2026, 7, 10, 9) + timedelta(days=3 * seed)
    at = [
        start + timedelta(days=int(i * 21 / n), minutes=int(3 * i % 500), seconds=int(rng.integers(0, 59)))
        for i in range(n)
    ]
    return pl.DataFrame(
        {"golfer": [NAMES[i] for i in who], "at": at, "club": club, "ball": ball, "launch": launch, "spin": spin,
         "carry": carry * rng.normal(1, 0.015, n)}
    )  # fmt: skip


def cells(frame: pl.DataFrame, form: str | None, decimal: str, **factors: float) -> dict[str, list]:
    """Write drives as text; `factors` gives each reading's unit."""
    found: dict[str, list] = {"golfer": frame["golfer"].to_list()}
    found["at"] = frame["at"].to_list() if form is None else [at.strftime(form) for at in frame["at"]]
    for name, factor in factors.items():
        found[name] = [f"{value * factor:.2f}".replace(".", decimal) for value in frame[name]]
    return found


def lines(head, columns, delimiter, before=(), under=None, end="\n") -> str:
    """Write rows with a delimiter, below title lines and above a line of units."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator=end)
    writer.writerows([[one] for one in before])
    writer.writerow(head)
    if under:
        writer.writerow(under)
    writer.writerows(zip(*columns, strict=True))
    return out.getvalue()


def make_logs(folder: Path) -> dict[str, int]:
    """Write the ten logs; give by name how many rows of other clubs each has."""
    folder.mkdir(parents=True, exist_ok=True)
    made: dict[str, int] = dict.fromkeys(
        ["plain.csv", "abend.csv", "soir.csv", "palos.xlsx", "prova.csv", "kvall.csv.gz", "avond.parquet", "range.csv",
         "offset.csv", "mixed.csv"], 0,
    )  # fmt: skip
    us = {"club": 1.0, "ball": 1.0, "launch": 1.0, "spin": 1.0, "carry": 1.0}
    si = us | {"club": MPH, "ball": MPH, "spin": 1 / 60, "carry": YD}
    km = us | {"club": MPH * 3.6, "ball": MPH * 3.6, "carry": YD}

    c = cells(drives(0), "%Y-%m-%dT%H:%M:%S", ".", **us)
    head = ["golfer", "struck_at", "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", "carry_yd"]
    (folder / "plain.csv").write_text(lines(head, c.values(), ","), encoding="utf-8")

    c = cells(drives(1), "%d.%m.%Y %H:%M:%S", ",", **si)
    head = ["Spieler", "Zeitpunkt", "Schlägertempo m/s", "Balltempo m/s", "Abflug Grad", "Rückdrall 1/s", "Flugweite m"]
    text = lines(head, c.values(), ";", ["Auswertung der Übungswiese", "Erstellt am 01.10.2026", ""], end="\r\n")
    (folder / "abend.csv").write_bytes(text.encode("cp1252"))

    c = cells(drives(2), "%d/%m/%Y %H:%M:%S", ",", **km)
    head = ["Joueur", "Date et heure", "Vitesse club", "Vitesse balle", "Angle de lancement", "Backspin", "Portée"]
    text = lines(head, c.values(), "\t", under=["", "", "km/h", "km/h", "°", "tr/min", "m"])
    (folder / "soir.csv").write_bytes(text.encode("utf-16"))

    made["palos.xlsx"] = OTHER_CLUBS
    _workbook(folder / "palos.xlsx", drives(3))

    c = cells(drives(4), "%Y/%m/%d %H:%M:%S", ",", **km)
    head = ["Giocatore", "Data e ora", "Velocità bastone [km/h]", "Velocità palla [km/h]", "Angolo di lancio [gradi]",
            "Rotazione [giri/min]", "Volo [m]"]  # fmt: skip
    (folder / "prova.csv").write_text(lines(head, c.values(), "|"), encoding="utf-8-sig")

    c = cells(drives(5), "%Y-%m-%d %H:%M:%S", ",", **si)
    head = ["Spelare", "Tidpunkt", "Klubbhastighet (m/s)", "Bollhastighet (m/s)", "Startvinkel (grader)",
            "Bakspinn (1/s)", "Bärlängd (m)"]  # fmt: skip
    (folder / "kvall.csv.gz").write_bytes(gzip.compress(lines(head, c.values(), ";").encode(), mtime=0))

    frame = drives(6).with_columns(pl.col("club", "ball") * MPH * 3.6, pl.col("carry") * YD)
    names = ["Speler", "Tijdstip", "Clubsnelheid km/h", "Balsnelheid km/h", "Lanceerhoek", "Spin", "Vluchtafstand m"]
    frame.rename(dict(zip(frame.columns, names, strict=True))).write_parquet(folder / "avond.parquet")

    made["range.csv"] = OTHER_CLUBS
    frame = drives(7)
    c = cells(frame, "%m/%d/%Y %I:%M:%S %p", ".", **us)
    for name, column in c.items():
        c[name] = column + column[:OTHER_CLUBS]
    c["which"] = ["Driver"] * frame.height + ["7 Iron", "PW"] * (OTHER_CLUBS // 2) + ["7 Iron"]
    head = ["Player", "Date", "Club speed (mph)", "Ball speed (mph)", "Launch angle (deg)", "Spin rate (rpm)",
            "Carry (yd)", "Club"]  # fmt: skip
    (folder / "range.csv").write_text(lines(head, c.values(), ","), encoding="utf-8")

    c = cells(drives(8), "%Y-%m-%dT%H:%M:%S+02:00", ".", **{name: km[name] for name in km if name != "ball"})
    head = ["Name", "Time", "Swing speed, km/h", "Launch, deg", "Backspin, rpm", "Carry, m"]
    (folder / "offset.csv").write_text(lines(head, c.values(), ";"), encoding="utf-8")

    c = cells(drives(9), "%d %b %Y %H:%M:%S", ".", **us)
    c["copy"] = [f"{float(one) * YD:.2f}" for one in c["carry"]]
    c["remark"] = ["", "windy"] * (len(c["copy"]) // 2)
    c["handicap"] = [str(i % 30) for i in range(len(c["copy"]))]
    order = ["handicap", "carry", "copy", "spin", "remark", "at", "ball", "club", "launch", "golfer"]
    head = ["Handicap", "Carry yd", "Carry m", "Spin", "Remark", "Date/Time", "Ball speed mph", "Speed mph", "Launch",
            "Student"]  # fmt: skip
    (folder / "mixed.csv").write_text(lines(head, [c[name] for name in order], ","), encoding="utf-8")
    return made


def _workbook(path: Path, frame: pl.DataFrame) -> None:
    book = xlsxwriter.Workbook(path)
    sheet, form = book.add_worksheet(), book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    head = ["Jugador", "Fecha y hora", "Velocidad del palo (mph)", "Velocidad de la bola (mph)",
            "Ángulo de lanzamiento (°)", "Retroceso (rpm)", "Vuelo (yd)", "Palo"]  # fmt: skip
    sheet.write(0, 0, "Resumen")
    sheet.write_row(2, 0, head)
    rows = [(*row, "Driver") for row in frame.iter_rows()]
    rows += [(*row, "Hierro 7") for row in frame.head(OTHER_CLUBS).iter_rows()]
    for place, (golfer, at, *numbers, club) in enumerate(rows, 3):
        sheet.write(place, 0, golfer)
        sheet.write_datetime(place, 1, at, form)
        sheet.write_row(place, 2, [round(number, 2) for number in numbers])
        sheet.write(place, 7, club)
    book.close()
