# ruff: noqa: E501 - lists of words and rows of possible columns, a line each
"""Logs of many shapes, made by us, each with the truth about it. No maker's format is meant or imitated.

A seed gives a log: its language, words, units, times, delimiter, marks, encoding, title, kind of file, clubs and the
columns that no study needs. What can't be told from the log is marked as such, by what was written and not by what a
draft makes of it.
"""

import csv
import gzip
import io
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipeline.physics.air import Air
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, fly

MPH, YD = 0.44704, 0.9144
TODAY = datetime(2026, 11, 20)
FUTURE = datetime(2026, 11, 27)  # a computer's clock isn't trusted before the day of release

# Words of headers by language; several for each column. Written down from dictionaries, apart from the lexicon.
WORDS = {
    "en": {
        "golfer": ["Golfer", "Player", "Name", "Student", "Player name", "golfer"],
        "struck_at": ["Time", "Date", "Date/Time", "Shot time", "Timestamp", "Date and time", "struck_at"],
        "club_speed_mph": ["Club speed", "Club head speed", "Clubhead Speed", "Swing speed", "club_speed", "ClubSpeed"],
        "ball_speed_mph": ["Ball speed", "Ball Speed", "ball_speed", "BallSpeed", "Speed of ball"],
        "launch_deg": [
            "Launch",
            "Launch angle",
            "Vertical launch",
            "launch_angle",
            "LaunchAngle",
            "Vertical launch angle",
        ],
        "spin_rpm": ["Spin", "Spin rate", "Backspin", "Back spin", "spin_rate", "Total spin"],
        "carry_yd": ["Carry", "Carry distance", "Flight distance", "carry"],
        "total_yd": ["Total", "Total distance"],
        "attack_deg": ["Attack angle", "Angle of attack", "Attack"],
        "club": ["Club", "Club type", "Club name"],
    },
    "de": {
        "golfer": ["Spieler", "Name", "Schüler", "Spielername"],
        "struck_at": ["Zeitpunkt", "Datum", "Datum/Zeit", "Zeit", "Datum und Uhrzeit", "Zeitstempel"],
        "club_speed_mph": [
            "Schlägertempo",
            "Schlägergeschwindigkeit",
            "Schlägerkopfgeschwindigkeit",
            "Schwunggeschwindigkeit",
        ],
        "ball_speed_mph": ["Balltempo", "Ballgeschwindigkeit", "Geschwindigkeit Ball"],
        "launch_deg": ["Abflug", "Abflugwinkel", "Startwinkel", "Abflugwinkel vertikal"],
        "spin_rpm": ["Rückdrall", "Drall", "Spin", "Backspin", "Drehzahl", "Spinrate"],
        "carry_yd": ["Flugweite", "Carry", "Carry-Distanz"],
        "total_yd": ["Gesamtweite", "Gesamt", "Gesamtdistanz"],
        "attack_deg": ["Treffwinkel", "Eintreffwinkel", "Angriffswinkel"],
        "club": ["Schläger"],
    },
    "fr": {
        "golfer": ["Joueur", "Nom", "Golfeur", "Élève", "Nom du joueur"],
        "struck_at": ["Date", "Heure", "Date et heure", "Horodatage"],
        "club_speed_mph": ["Vitesse club", "Vitesse de club", "Vitesse de la tête de club", "Vitesse du swing"],
        "ball_speed_mph": ["Vitesse balle", "Vitesse de balle", "Vitesse de la balle"],
        "launch_deg": ["Angle de lancement", "Angle de départ", "Angle d'envol"],
        "spin_rpm": ["Spin", "Backspin", "Rotation", "Taux de rotation"],
        "carry_yd": ["Portée", "Carry", "Distance de vol", "Distance de carry"],
        "total_yd": ["Distance totale", "Total"],
        "attack_deg": ["Angle d'attaque", "Attaque"],
        "club": ["Club", "Canne"],
    },
    "es": {
        "golfer": ["Jugador", "Nombre", "Alumno", "Nombre del jugador"],
        "struck_at": ["Fecha", "Hora", "Fecha y hora", "Fecha/Hora"],
        "club_speed_mph": [
            "Velocidad del palo",
            "Velocidad palo",
            "Velocidad de la cabeza del palo",
            "Velocidad de swing",
        ],
        "ball_speed_mph": ["Velocidad de la bola", "Velocidad bola", "Velocidad de la pelota"],
        "launch_deg": ["Ángulo de lanzamiento", "Ángulo de salida", "Lanzamiento"],
        "spin_rpm": ["Spin", "Backspin", "Retroceso", "Rotación"],
        "carry_yd": ["Vuelo", "Carry", "Distancia de vuelo"],
        "total_yd": ["Distancia total", "Total"],
        "attack_deg": ["Ángulo de ataque", "Ataque"],
        "club": ["Palo"],
    },
    "it": {
        "golfer": ["Giocatore", "Nome", "Allievo"],
        "struck_at": ["Data", "Ora", "Data e ora", "Data/Ora"],
        "club_speed_mph": ["Velocità bastone", "Velocità del bastone", "Velocità della testa", "Velocità swing"],
        "ball_speed_mph": ["Velocità palla", "Velocità della palla"],
        "launch_deg": ["Angolo di lancio", "Angolo di partenza", "Lancio"],
        "spin_rpm": ["Spin", "Backspin", "Rotazione", "Retrospin"],
        "carry_yd": ["Volo", "Carry", "Distanza di volo", "Distanza carry"],
        "total_yd": ["Distanza totale", "Totale"],
        "attack_deg": ["Angolo d'attacco", "Angolo di attacco"],
        "club": ["Bastone"],
    },
    "sv": {
        "golfer": ["Spelare", "Namn", "Elev"],
        "struck_at": ["Tidpunkt", "Datum", "Tid", "Datum och tid"],
        "club_speed_mph": ["Klubbhastighet", "Klubbfart", "Klubbhuvudhastighet", "Svinghastighet"],
        "ball_speed_mph": ["Bollhastighet", "Bollfart"],
        "launch_deg": ["Utgångsvinkel", "Startvinkel"],
        "spin_rpm": ["Spinn", "Bakspinn", "Backspinn", "Spin"],
        "carry_yd": ["Carry", "Bärlängd", "Flyglängd"],
        "total_yd": ["Totallängd", "Total längd"],
        "attack_deg": ["Attackvinkel"],
        "club": ["Klubba"],
    },
    "nl": {
        "golfer": ["Speler", "Naam", "Leerling"],
        "struck_at": ["Tijdstip", "Datum", "Tijd", "Datum en tijd"],
        "club_speed_mph": ["Clubsnelheid", "Clubkopsnelheid", "Snelheid club"],
        "ball_speed_mph": ["Balsnelheid", "Snelheid bal"],
        "launch_deg": ["Lanceerhoek", "Starthoek"],
        "spin_rpm": ["Spin", "Backspin"],
        "carry_yd": ["Carry", "Vluchtafstand", "Draagafstand"],
        "total_yd": ["Totale afstand", "Totaal"],
        "attack_deg": ["Aanvalshoek"],
        "club": ["Club"],
    },
}
UNKNOWN = ["Wert", "Value A", "Channel 3", "Nopeus", "Arvo", "Col_7", "x1", "Mittaus"]
DRIVERS = {"en": ["Driver", "driver", "1 Wood", "1W", "DRIVER", "W1"], "de": ["Driver", "Holz 1"], "fr": ["Driver", "Bois 1"],
           "es": ["Driver", "Madera 1"], "it": ["Driver", "Legno 1"], "sv": ["Driver"], "nl": ["Driver", "Hout 1"]}  # fmt: skip
OTHERS = {"en": ["7 Iron", "PW", "3 Wood", "5i"], "de": ["Eisen 7", "Holz 3", "PW"], "fr": ["Fer 7", "Bois 3"],
          "es": ["Hierro 7", "Madera 3"], "it": ["Ferro 7", "Legno 3"], "sv": ["Järn 7", "Wedge"], "nl": ["IJzer 7", "Hout 3"]}  # fmt: skip

FACTORS = {  # log's value = standard value times this
    "speed": {"mph": 1.0, "m/s": MPH, "km/h": MPH * 3.6, "ft/s": MPH / 0.3048},
    "distance": {"yd": 1.0, "m": YD, "ft": 3.0},
    "spin": {"rpm": 1.0, "1/s": 1 / 60, "rad/s": np.pi / 30},
    "angle": {"deg": 1.0, "rad": np.pi / 180},
}
QUANTITY = {"club_speed_mph": "speed", "ball_speed_mph": "speed", "launch_deg": "angle", "attack_deg": "angle",
            "spin_rpm": "spin", "carry_yd": "distance", "total_yd": "distance"}  # fmt: skip
SPELT = {
    "mph": ["mph", "mi/h", "MPH"], "m/s": ["m/s", "mps"], "km/h": ["km/h", "kmh", "kph"], "ft/s": ["ft/s", "fps"],
    "yd": ["yd", "yds", "yards"], "m": ["m", "meters"], "ft": ["ft", "feet"],
    "rpm": ["rpm", "1/min", "U/min"], "1/s": ["1/s", "Hz", "rev/s"], "rad/s": ["rad/s"],
    "deg": ["deg", "°", "degrees"], "rad": ["rad"],
}  # fmt: skip
NAMES = ["Ann Oak", "Bo Elm", "Cy Ash", "Dé Bouleau", "Eva Björk", "Fred Weiß", "Gil Fir", "Hana Yew", "Ian O'Pine",
         "Jo Larch-Alder", "Müller, Kim", "Lea Ñire"]  # fmt: skip

FORMATS = [  # format, weight; None is ISO
    ("%Y-%m-%d %H:%M:%S", 4), ("%Y-%m-%dT%H:%M:%S", 3), ("%Y-%m-%d %H:%M", 1), ("%Y-%m-%dT%H:%M:%SZ", 1),
    ("%Y-%m-%dT%H:%M:%S+02:00", 1), ("%d.%m.%Y %H:%M:%S", 4), ("%d.%m.%Y %H:%M", 2), ("%d.%m.%y %H:%M", 1),
    ("%d/%m/%Y %H:%M:%S", 3), ("%d/%m/%Y %H:%M", 2), ("%m/%d/%Y %H:%M:%S", 2), ("%m/%d/%Y %I:%M %p", 2),
    ("%m/%d/%Y %I:%M:%S %p", 2), ("%d-%m-%Y %H:%M", 1), ("%Y/%m/%d %H:%M:%S", 1), ("%d %b %Y %H:%M", 1),
    ("%b %d, %Y %H:%M", 1), ("%d.%m.%Y, %H:%M", 1), ("%m/%d/%y %H:%M", 1), ("%Y%m%d %H%M%S", 1),
]  # fmt: skip


@dataclass
class ForeignLog:
    """A log and the truth about it."""

    seed: int
    name: str
    content: bytes
    truth: pl.DataFrame
    """The drives in standard units, `second` (Unix time; null where the log's offset isn't one of ours) and `row`."""
    headers: dict[str, str]
    """Standard column: its header in the log."""
    untellable: set[str] = field(default_factory=set)
    """Standard columns that nobody could place from the log alone."""
    others: int = 0
    """Rows of other clubs."""
    story: str = ""


def foreign_log(seed: int) -> ForeignLog:
    """Make a log from a seed."""
    return _Maker(seed).make()


class _Maker:
    def __init__(self, seed):
        self.seed, self.rng = seed, np.random.default_rng([21, seed])

    def chance(self, share):
        return self.rng.random() < share

    def one(self, things, weights=None):
        p = None if weights is None else np.array(weights, float) / sum(weights)
        return things[int(self.rng.choice(len(things), p=p))]

    def make(self):
        language = self.one(list(WORDS), [6, 4, 2, 2, 2, 2, 2])
        drives = self.drives()
        others = self.other_clubs(drives) if self.chance(0.4) else drives.head(0)
        club = bool(len(others)) or self.chance(0.1)
        kind = self.one(["csv", "csv.gz", "xlsx", "parquet"], [6, 2, 2, 1])
        columns = ["golfer", "struck_at", "club_speed_mph", "launch_deg", "spin_rpm", "carry_yd"]
        columns += ["ball_speed_mph"] if self.chance(0.85) else []
        columns += [name for name in ("total_yd", "attack_deg") if self.chance(0.4)]
        units = self.units(columns)
        named = self.one(["header", "line", "mixed", "none"], [7, 3, 1, 2])
        if kind == "parquet" and named in ("line", "mixed"):
            named = "header"
        rows = pl.concat([drives, others])
        sort = self.chance(0.5)
        rows = rows.sort("at") if sort else rows.sample(fraction=1, shuffle=True, seed=self.seed)
        delimiter, decimal, quoted = self.one(
            [(",", ".", False), (";", ",", False), (";", ".", False), ("\t", ".", False), ("\t", ",", False),
             ("|", ".", False), (",", ",", True)],
            [6, 5, 1, 1.5, 1, 1, 0.7],
        )  # fmt: skip
        if kind in ("xlsx", "parquet"):
            decimal = "."
        typed = kind == "parquet" or (kind == "xlsx" and self.chance(0.6))
        form = None if typed else self.one([f for f, _ in FORMATS], [w for _, w in FORMATS])
        cells = self.cells(rows, columns, units, form, decimal, typed)
        headers, untellable, unit_line = self.headers(language, columns, units, named)
        if form is not None and self.ambiguous(rows["at"], form, decimal, sort):
            untellable.add("struck_at")
        if club:
            words = self.one(DRIVERS[language]), OTHERS[language]
            is_driver = rows["driver"].to_list()
            cells["club"] = [words[0] if each else self.one(words[1]) for each in is_driver]
            headers["club"] = self.one(WORDS[language]["club"])
        extra = self.extras(rows, cells, headers, unit_line, typed)
        order = list(self.rng.permutation([*columns, *(["club"] if club else []), *extra]))
        table = [[cells[name][i] for name in order] for i in range(len(rows))]
        head = [headers[name] for name in order]
        line = [unit_line.get(name, "") for name in order] if any(unit_line.values()) else None
        encoding = self.one(["utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-16-le"], [6, 2, 1, 3, 0.5])
        first = 1 + (line is not None)
        if kind in ("csv", "csv.gz"):
            content, blank = self.text(head, line, table, delimiter, quoted, encoding)
            content = gzip.compress(content, mtime=0) if kind == "csv.gz" else content
            first += blank
        elif kind == "xlsx":
            content = self.workbook(head, line, table)
        else:
            content = self.parquet(head, table)
        truth = rows.with_columns(row=pl.int_range(first, first + len(rows), dtype=pl.Int64)).filter("driver")
        story = f"{self.seed}: {language} {kind} {delimiter!r} {decimal} {encoding} {form} {named} {units} {head}"
        kept = {name: headers[name] for name in columns}
        return ForeignLog(self.seed, f"log_{self.seed}.{kind}", content, truth, kept, untellable, len(others), story)

    # --- what was hit

    def drives(self):
        golfers = int(self.rng.integers(2, 9))
        names = [NAMES[i] for i in self.rng.choice(len(NAMES), golfers, replace=False)]
        n = int(self.rng.integers(40, 160))
        who = self.rng.integers(0, golfers, n)
        usual = np.clip(self.rng.normal(94, 11, golfers), 72, 120)
        club = usual[who] * self.rng.normal(1, 0.02, n)
        ball = club * np.clip(self.rng.normal(1.44, 0.035, n), 1.25, 1.54)
        launch = np.clip(self.rng.normal(13, 3.0, n), 5, 24)
        spin = np.clip(self.rng.normal(2800, 550, n), 1500, 5500)
        return self.flown(names, who, club, ball, launch, spin, driver=True)

    def other_clubs(self, drives):
        n = int(len(drives) * self.rng.uniform(0.2, 1.5))
        names = drives["golfer"].unique().sort().to_list()
        who = self.rng.integers(0, len(names), n)
        club = self.rng.normal(80, 6, n)
        ball = club * self.rng.normal(1.3, 0.04, n)
        return self.flown(
            names, who, club, ball, self.rng.normal(20, 3, n), self.rng.normal(6500, 900, n), driver=False
        )

    def flown(self, names, who, club, ball, launch, spin, *, driver):
        n = len(who)
        air = Air.of(*(np.full(n, one) for one in (self.rng.uniform(5, 30), self.rng.uniform(90000, 102500), 0.5)))
        flight = fly(Launch.straight(ball * MPH, launch, spin), Ball(self.one(list(SETS))), air)
        carry = flight.carry_m / YD * self.rng.normal(1, 0.02, n)
        start = TODAY - timedelta(days=int(self.rng.integers(5, 500)))
        days = int(self.one([1, 10, 40, 120], [1, 2, 3, 2]))
        days = min(days, (TODAY - start).days)
        moments = self.rng.choice(max(days, 1) * 600, n, replace=n > max(days, 1) * 600)
        at = [start.replace(hour=9, minute=0) + timedelta(days=int(m // 600), minutes=int(m % 600)) for m in moments]
        return pl.DataFrame(
            {"golfer": [names[i] for i in who], "at": at, "club_speed_mph": club, "ball_speed_mph": ball,
             "launch_deg": launch, "spin_rpm": spin, "carry_yd": carry,
             "total_yd": carry + self.rng.uniform(3, 25, n), "attack_deg": self.rng.normal(0.5, 3, n),
             "driver": [driver] * n}
        )  # fmt: skip

    # --- how it is written

    def units(self, columns):
        speed = self.one(["mph", "m/s", "km/h", "ft/s"], [5, 3, 3, 0.4])
        distance = self.one(["yd", "m", "ft"], [6, 1, 0.4] if speed == "mph" else [1, 6, 0.2])
        if speed == "ft/s":
            distance = "ft"
        picked = {"speed": speed, "distance": distance, "spin": self.one(["rpm", "1/s", "rad/s"], [8, 1.5, 0.5]),
                  "angle": self.one(["deg", "rad"], [12, 0.5])}  # fmt: skip
        return {name: picked[QUANTITY[name]] for name in columns if name in QUANTITY}

    def cells(self, rows, columns, units, form, decimal, typed):
        found = {}
        for name in columns:
            if name == "golfer":
                found[name] = rows["golfer"].to_list()
            elif name == "struck_at":
                found[name] = rows["at"].to_list() if typed else [self.time(at, form) for at in rows["at"]]
            else:
                values = rows[name].to_numpy() * FACTORS[QUANTITY[name]][units[name]]
                places = (
                    {"rad": 4, "1/s": 2, "m/s": 2}.get(units[name], 1)
                    if name != "spin_rpm" or units[name] != "rpm"
                    else 0
                )
                found[name] = [
                    round(float(v), places) if typed else f"{v:.{places}f}".replace(".", decimal) for v in values
                ]
        if not typed:
            for name in ("spin_rpm", "total_yd"):
                if name in found and self.chance(0.2):
                    gone = self.one(["", "-", "n/a"])
                    found[name] = [gone if self.chance(0.03) else cell for cell in found[name]]
        return found

    def time(self, at, form):
        return at.strftime(form)

    def headers(self, language, columns, units, named):
        headers, untellable, line = {}, set(), {}
        unknown = self.one(
            [None, "ball_speed_mph", "carry_yd", "spin_rpm", "golfer", "launch_deg"], [24, 1, 1, 1, 1, 1]
        )
        style = self.one(["{} ({})", "{} [{}]", "{} {}", "{}, {}", "{} in {}", "{}_{}"], [5, 3, 2, 1, 1, 1])
        for name in columns:
            word = self.one(WORDS[language][name])
            if name == unknown:
                word = self.one(UNKNOWN)
                untellable.add(name)
            if name in units:
                said = {"mixed": self.one(["header", "line"])}.get(named, named)
                spelt = self.one(SPELT[units[name]])
                if said == "header":
                    word = style.format(word, spelt)
                elif said == "line":
                    line[name] = f"[{spelt}]" if self.chance(0.5) else spelt
                else:
                    untellable |= self.unnamed(name, units)
            headers[name] = word
        if len(set(headers.values())) < len(headers):
            return self.headers(language, columns, units, named)
        return headers, untellable, line

    def unnamed(self, name, units):
        """Say which columns can't be told where no unit is named at all.

        Flight tells speeds in mph, m/s and km/h from each other, and carry in feet, but not meters from yards, nor
        km/h from ft/s, which are 1.1 apart, unless carry is in feet. Spin and angles tell themselves.
        """
        if name in ("carry_yd", "total_yd"):
            return {name} if units[name] in ("yd", "m") else set()
        if QUANTITY[name] == "speed" and units[name] == "km/h":
            return {name}
        return set()

    def ambiguous(self, at, form, decimal, sort):
        if not any(form.startswith(start) for start in ("%d/", "%m/", "%d-")):
            return False
        days, months = at.dt.day(), at.dt.month()
        if (days > 12).any():
            return False
        exchanged = [datetime(a.year, a.day, a.month) for a in at]
        if sum(one > FUTURE for one in exchanged) > 0.02 * len(exchanged):
            return False
        if decimal == "," and form.startswith("%d"):
            return False  # nobody writes the month first there
        other = [one.replace(hour=a.hour, minute=a.minute) for one, a in zip(exchanged, at, strict=True)]
        told_by_order = sort and other != sorted(other) and months.n_unique() >= 3 and at.dt.date().n_unique() >= 6
        return not told_by_order

    def extras(self, rows, cells, headers, line, typed):
        n = len(rows)

        def number(low, high, places=1):
            values = self.rng.uniform(low, high, n)
            return [round(float(v), places) if typed else f"{v:.{places}f}" for v in values]

        def text(*words):
            return [self.one(words) for _ in range(n)]

        possible = {
            "Shot no": lambda: [i + 1 if typed else str(i + 1) for i in range(n)],
            "Bay no": lambda: number(1, 9, 0),
            "Remark": lambda: text("", "", "windy", "ok"),
            "Coach": lambda: text("Pat Coach", "Sam Coach"),
            "Handicap": lambda: number(0, 36),
            "Side spin": lambda: number(-800, 800, 0),
            "Dynamic loft": lambda: number(8, 18),
            "Speed ratio": lambda: number(1.3, 1.5, 3),
            "Launch direction": lambda: number(-4, 4),
            "Target distance": lambda: number(180, 260, 0),
            "Exported": lambda: ["2026-11-19 20:00:00"] * n,
            "Flight time": lambda: number(4, 7),
            "Device": lambda: text("unit-A"),
            "Impact height": lambda: number(-9, 9),
            "Quality": lambda: number(0, 100, 0),
        }
        count = int(self.rng.integers(0, 6))
        chosen = [str(one) for one in self.rng.choice(list(possible), count, replace=False)]
        for name in chosen:
            cells[name], headers[name] = possible[name](), name
            line.setdefault(name, "") if line else None
        return [name for name in chosen if list(headers.values()).count(name) == 1]

    def title(self):
        if not self.chance(0.35):
            return []
        lines = [
            "Report of a session",
            "Created 2026-11-19",
            "Range: north",
            "Operator: Pat",
            "",
            "Weather: sunny, dry",
        ]
        return lines[: int(self.rng.integers(1, len(lines) + 1))]

    def text(self, head, line, table, delimiter, quoted, encoding):
        out = io.StringIO()
        end = self.one(["\n", "\r\n"])
        pad = self.chance(0.4)
        for title in self.title():
            cells = [title, *([""] * (len(head) - 1))] if pad else [title]
            csv.writer(out, delimiter=delimiter, lineterminator=end).writerow(cells)
        quoting = csv.QUOTE_ALL if quoted and self.chance(0.5) else csv.QUOTE_MINIMAL
        writer = csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=quoting)
        writer.writerow(head)
        blank = 0
        if line is not None:
            writer.writerow(line)
            if self.chance(0.15):
                out.write(end)
                blank = 1
        writer.writerows(table)
        text = out.getvalue()
        return text.encode(encoding, errors="strict" if encoding != "cp1252" else "replace"), blank

    def workbook(self, head, line, table):
        import xlsxwriter

        out = io.BytesIO()
        book = xlsxwriter.Workbook(out, {"in_memory": True})
        sheet = book.add_worksheet()
        form = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        rows = [[title] for title in self.title()] + [head] + ([line] if line is not None else []) + table
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                if isinstance(cell, datetime):
                    sheet.write_datetime(i, j, cell, form)
                elif isinstance(cell, int | float):
                    sheet.write_number(i, j, cell)
                elif cell != "":
                    sheet.write_string(i, j, cell)
        book.close()
        return out.getvalue()

    def parquet(self, head, table):
        out = io.BytesIO()
        pl.DataFrame({name: [row[i] for row in table] for i, name in enumerate(head)}).write_parquet(out)
        return out.getvalue()
