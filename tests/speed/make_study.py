"""Invented studies of any size: `python tests/speed/make_study.py DRIVES GOLFERS LOGS FOLDER [--seed SEED]`.

Writes study.yaml, a key, logs/*.csv and the truth: planted.json (rows by what becomes of them) and truth.csv (a row
per golfer). Each golfer's drives stand in two logs of each of two quarters; a log is a bay's day. Logs are drawn and
written one by one, each from a seed of its own, so memory does not grow with them and the bytes are always the same.
"""

import argparse
import hashlib
import json
import math
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl
from scipy.ndimage import map_coordinates

from pipeline.collect.key import SECRET_MARK
from pipeline.physics.air import Air, pressure_at
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import AXES, FlightTable
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

STUDY = "speed-trial"
QUARTERS, FIRST_DAYS, DAYS = ("2026Q1", "2026Q2"), ("2026-01-02", "2026-04-02"), 85
VISITS = 2  # logs of a quarter in which a golfer has drives
FAULTY, FAULTS = 0.30, ("contact", "launch", "spin", "consistency")
BAD, COPIED = 0.005, 0.001  # shares of a log's rows
# Every third bay has the other device, in thinner air. It reads carry long by so much.
OFFSET_B_YD = 2.0
AIRS = {"a": {"altitude_m": 12.0, "temp_c": 18.0}, "b": {"altitude_m": 450.0, "temp_c": 14.0}}
DEVICES = {"a": "unit-A", "b": "unit-B"}
TRUE_BALL = Ball("indoor-range-2001").scaled(0.95, 1.0)

# What golfers are like at 90 mph, and drive to drive: an invented world, from nobody's data.
SPEED_MPH, SPEED_SD = 92.0, 10.0
LAUNCH_DEG, LAUNCH_SLOPE, LAUNCH_SD = 14.5, -0.05, 1.2
SPIN_RPM, SPIN_SLOPE, SPIN_SD = 2600.0, -8.0, 260.0
RATIO, RATIO_SD = 1.465, 0.012
OF_A_FAULT = {"contact": -0.12, "launch": -7.0, "spin": 2300.0, "consistency": 0.35}
SOUND_MISHITS = 0.03
CARRY_SD = 0.012  # of a drive, as a share

HEADER = (
    "golfer", "struck_at", "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", "carry_yd", "attack_deg",
    "device", "ball",
)  # fmt: skip
# A bad row's column, what stands there, and the rule that it breaks; the kinds take turns.
BAD_CELLS = (
    ("spin_rpm", "99999", "too_high"),
    ("club_speed_mph", None, "missing"),
    ("carry_yd", "far", "not_a_number"),
    ("launch_deg", "88.8", "too_high"),
    ("ball_speed_mph", "238.0", "speed_ratio_too_high"),
    ("struck_at", "not noted", "not_a_time"),
)


@dataclass(frozen=True)
class Size:
    """How large a study is: rows of all logs together, golfers, logs."""

    drives: int
    golfers: int
    logs: int


@dataclass(frozen=True)
class Golfers:
    """Golfers' own values, arrays of shape (golfers,); `kind` is sound or the fault."""

    name: npt.NDArray[np.str_]
    kind: npt.NDArray[np.str_]
    speed_mph: Array
    ratio: Array
    launch_deg: Array
    spin_rpm: Array
    mishits: Array
    keenness: Array
    """How many drives the golfer hits, relative to others."""

    @classmethod
    def draw(cls, count: int, rng: np.random.Generator) -> "Golfers":
        """Draw golfers."""
        speed = np.clip(rng.normal(SPEED_MPH, SPEED_SD, count), 66, 122)
        kind = np.where(rng.uniform(size=count) < FAULTY, np.array(FAULTS)[rng.integers(0, 4, count)], "sound")
        fault = {name: (kind == name) * amount for name, amount in OF_A_FAULT.items()}
        ratio = RATIO + RATIO_SD * rng.standard_normal(count) + fault["contact"]
        launch = LAUNCH_DEG + LAUNCH_SLOPE * (speed - 90) + LAUNCH_SD * rng.standard_normal(count) + fault["launch"]
        spin = SPIN_RPM + SPIN_SLOPE * (speed - 90) + SPIN_SD * rng.standard_normal(count) + fault["spin"]
        name = np.array([f"Golfer {number:06d}" for number in range(count)])
        keenness = rng.lognormal(0, 0.4, count)
        return cls(name, kind, speed, ratio, launch, spin, SOUND_MISHITS + fault["consistency"], keenness)


def shares(total: int, parts: int) -> Places:
    """Share out a whole as evenly as can be, shape (parts,)."""
    return np.diff(np.arange(parts + 1) * total // parts)


@dataclass(frozen=True)
class Plan:
    """Who hits in which log, the same for the same size and seed."""

    size: Size
    seed: int

    @cached_property
    def golfers(self) -> Golfers:
        """All golfers."""
        return Golfers.draw(self.size.golfers, np.random.default_rng([self.seed, 0]))

    @cached_property
    def _orders(self) -> list[list[Places]]:
        rng = np.random.default_rng([self.seed, 1])
        return [[rng.permutation(self.size.golfers) for _ in range(VISITS)] for _ in QUARTERS]

    def visitors(self, log: int) -> tuple[int, int, int, list[Places]]:
        """Give a log's quarter, its place in it, the quarter's number of logs, and each visit's golfers.

        A log beyond the study's last one is like one of the others, for studies to which a log is added.
        """
        log, first = log % self.size.logs, self.size.logs // 2
        quarter = int(log >= first)
        place, count = log - quarter * first, (self.size.logs - first if quarter else first)
        edges = [place * self.size.golfers // count, (place + 1) * self.size.golfers // count]
        return quarter, place, count, [order[slice(*edges)] for order in self._orders[quarter]]


def carry_yd(table: FlightTable, ball_mph: Array, launch_deg: Array, spin_rpm: Array) -> Array:
    """Give flight's carry from the table's own splines, yd, shape (n,)."""
    shots = (ball_mph * MPS_PER_MPH, launch_deg, np.sqrt(spin_rpm))
    places = [(x - lo) * ((n - 1) / (hi - lo)) + 1 for x, (lo, hi, n) in zip(shots, AXES, strict=True)]
    carry = map_coordinates(table.splines[0], np.stack(places), order=3, prefilter=False)
    return np.asarray(carry / METRES_PER_YARD)


@cache
def make_table(bay: str) -> FlightTable:
    """Fly the grid of the true ball in a bay's air."""
    around = AIRS[bay]
    air = Air.of(np.array(around["temp_c"]), pressure_at(np.array(around["altitude_m"])), np.array(0.0))
    return FlightTable.build(TRUE_BALL, float(air.density_kg_m3), float(air.viscosity_pa_s))


def hit(plan: Plan, log: int, rows: int, table: FlightTable, offset_yd: float) -> pl.DataFrame:
    """Hit the drives of one log and read them as devices do: the columns of `HEADER`, by time."""
    rng = np.random.default_rng([plan.seed, 2, log])
    golfers = plan.golfers
    quarter, place, count, visits = plan.visitors(log)
    who = np.concatenate(visits)
    visit = np.repeat(np.arange(VISITS), [len(part) for part in visits])
    chance = golfers.keenness[who]
    drives = rng.multinomial(rows, chance / chance.sum())
    index, n = np.repeat(who, drives), rows
    bad = rng.uniform(size=n) < golfers.mishits[index]
    club = golfers.speed_mph[index] + 1.2 * rng.standard_normal(n)
    ratio = golfers.ratio[index] + 0.012 * rng.standard_normal(n) - bad * rng.uniform(0.05, 0.20, n)
    launch = np.clip(golfers.launch_deg[index] + (1.1 + bad) * rng.standard_normal(n), 4.5, 31)
    spin = np.clip(golfers.spin_rpm[index] * np.exp((0.07 + 0.08 * bad) * rng.standard_normal(n)), 700, 7800)
    ball = np.clip(club * np.clip(ratio, 1.05, 1.54), 60, 200)
    carry = carry_yd(table, ball, launch, spin) * (1 + CARRY_SD * rng.standard_normal(n)) + offset_yd
    # A golfer's drives follow each other by 36 s; visits take even and odd seconds, so no two are of one second.
    turn = np.arange(n) - np.repeat(np.cumsum(drives) - drives, drives)
    begin = 8 * 3600 + 2 * rng.integers(0, 4 * 3600, len(who)) + visit
    day = np.datetime64(FIRST_DAYS[quarter], "ms") + np.timedelta64(place * DAYS // count, "D")
    struck = day + (1000 * (np.repeat(begin, drives) + 36 * turn)).astype("timedelta64[ms]")
    return pl.DataFrame(
        {
            "golfer": golfers.name[index],
            "struck_at": pl.Series(struck).dt.strftime("%Y-%m-%dT%H:%M:%S"),
            "club_speed_mph": np.round(club, 1),
            "ball_speed_mph": np.round(ball, 1),
            "launch_deg": np.round(launch, 1),
            "spin_rpm": np.round(spin).astype(np.int32),
            "carry_yd": np.round(carry, 1),
            "attack_deg": np.round(rng.normal(0.5, 2.0, n), 1),
        }
    ).sort("struck_at", maintain_order=True)


def spoil(good: pl.DataFrame, kinds: Places, copies: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Write texts in place of figures, append copies of drives, and shuffle in a faulty row of each of the `kinds`."""
    texts = pl.concat([good, copies]).select(pl.all().cast(pl.String))
    faulty = texts[rng.integers(0, good.height, len(kinds))].with_columns(kind=pl.Series(kinds, dtype=pl.Int64))
    for kind, (column, cell, _) in enumerate(BAD_CELLS):
        mine = pl.col("kind") == kind
        faulty = faulty.with_columns(pl.when(mine).then(pl.lit(cell, pl.String)).otherwise(column).alias(column))
    place = np.concatenate([np.arange(good.height), good.height + np.arange(copies.height)])
    where = np.concatenate([place.astype(float), rng.uniform(0, good.height, len(kinds))])
    return pl.concat([texts, faulty.drop("kind")])[np.argsort(where, kind="stable")]


def make_study(size: Size, folder: Path, seed: int = 1) -> dict[str, Any]:
    """Write a study.

    Parameters
    ----------
    size : Size
        `drives` counts all rows: good ones, bad ones and copies.
    folder : Path
        Made if it isn't there.
    seed : int

    Returns
    -------
    dict
        What planted.json holds: rows, accepted, rejected, duplicates, golfers, faulty, rules.
    """
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    plan = Plan(size, seed)
    digits = max(4, int(math.log10(size.logs)) + 1)
    told = {"rows": 0, "accepted": 0, "rejected": 0, "duplicates": 0}
    rules = dict.fromkeys((rule for *_, rule in BAD_CELLS), 0)
    present = np.zeros(size.golfers, dtype=bool)
    before: dict[str, pl.DataFrame] = {}
    for log, rows in enumerate(shares(size.drives, size.logs)):
        rng = np.random.default_rng([seed, 3, log])
        bay = "b" if log % 3 == 2 else "a"
        bad, copied = int(rng.binomial(rows, BAD)), int(rng.binomial(rows, COPIED))
        good = hit(plan, log, int(rows) - bad - copied, make_table(bay), OFFSET_B_YD * (bay == "b"))
        # Half the copies are of this log, as when an export says a drive twice, half of the bay's log before.
        old = before.get(bay, good.head(0)).head(copied // 2)
        copies = pl.concat([old, good[rng.permutation(good.height)[: copied - old.height]]])
        kinds = (np.arange(bad) + log) % len(BAD_CELLS)
        table = spoil(good, kinds, copies, rng).with_columns(device=pl.lit(DEVICES[bay]), ball=pl.lit("premium"))
        table.select(HEADER).write_csv(folder / "logs" / f"{bay}_{log:0{digits}d}.csv")
        before[bay] = good
        present[[int(name[7:]) for name in good.get_column("golfer").unique()]] = True
        told["rows"] += table.height
        told["accepted"] += good.height
        told["rejected"] += bad
        told["duplicates"] += copies.height
        for kind in kinds:
            rules[BAD_CELLS[kind][2]] += 1
    _describe(folder, plan, told | {"rules": rules}, present, sorted(before))
    return json.loads((folder / "planted.json").read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def _describe(folder: Path, plan: Plan, told: dict[str, Any], present: npt.NDArray[np.bool_], bays: list[str]) -> None:
    """Write all but the logs; a study of one or two logs has none of the second bay."""
    golfers = plan.golfers
    truth = pl.DataFrame({"golfer": golfers.name, "kind": golfers.kind, "club_speed_mph": golfers.speed_mph})
    truth.filter(pl.Series(present)).write_csv(folder / "truth.csv")
    told |= {"golfers": int(present.sum()), "faulty": int((golfers.kind[present] != "sound").sum())}
    (folder / "planted.json").write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    logs = "".join(f"  - {{files: logs/{bay}_*.csv, site: {bay}, air: {json.dumps(AIRS[bay])}}}\n" for bay in bays)
    text = f"study: {STUDY}\nlogs:\n{logs}seed: 1\nprivacy: {{key_file: pseudonym.key}}\n"
    (folder / "study.yaml").write_text(text, encoding="utf-8")
    # As in the proving ground: a key that is the same for the same seed, so that pseudonyms are.
    key = folder / "pseudonym.key"
    key.touch(mode=0o600)
    key.write_text(f"{SECRET_MARK}\n{hashlib.sha256(str(plan.seed).encode()).hexdigest()}\n", encoding="utf-8")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Write an invented study.")
    for name in ("drives", "golfers", "logs"):
        parser.add_argument(name, type=int)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(json.dumps(make_study(Size(given.drives, given.golfers, given.logs), given.folder, given.seed)))
