"""How well yards lost of results by hand are known: `python tests/by_hand/prove_hand.py FILE [ACADEMIES [SIZE ...]]`.

Draws that many invented academies of each world and size, whose golfers lose known yards, and writes a row for each
world and size: how often the 90 % interval of yards lost covers the true ones, and how often flags are wrong. True is
the curve of `VERY_MANY` such golfers less the golfer's own mean. docs/statistics.md has the figures.
"""

import sys
import zlib
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from unittest import mock

import numpy as np
import polars as pl

import pipeline.by_hand.reference as reference_module
from pipeline.bands import SpeedBands
from pipeline.by_hand.losses import Rules, golfers_over_quarters, golfers_table
from pipeline.by_hand.reference import QUANTILE, SpeedCurve, reference_of
from pipeline.golfers.flags import FlagRules

VERY_MANY = 20_000
SIZES = (10, 12, 15, 20, 25, 40, 70)
# Golfers below the study's least are worked out as well, to see what they would get.
FEWEST = 5
FLAGS = FlagRules(lost_yd=10.0, false_discovery_rate=0.1, min_shots=12)
RULES = Rules(FLAGS, SpeedBands.of([70, 80, 90, 100], 5), 5, 1)


@dataclass(frozen=True)
class World:
    """Golfers: spreads of speed (mph), own carry, day and drive (yd); shares of faulty golfers and of mishits."""

    speed: float = 9.0
    own: float = 7.0
    day: float = 2.0
    drive: float = 6.0
    days: int = 3
    faulty: float = 0.3
    most_yd: float = 25.0
    mishits: float = 0.06


USUAL = World()
WORLDS = {
    "usual": USUAL,
    "alike": replace(USUAL, own=3.0, faulty=0.0),
    "faulty": replace(USUAL, faulty=0.6, most_yd=40.0),
    "two-days": replace(USUAL, days=2),
    "near-speeds": replace(USUAL, speed=4.0),
    "wild": replace(USUAL, day=4.0, drive=10.0, mishits=0.15),
}
EACH, AT_MPH, MISHIT_YD = 6, 91.0, (10.0, 60.0)


def drawn(world: World, golfers: int, rng: np.random.Generator) -> tuple[pl.DataFrame, np.ndarray, np.ndarray]:
    """Draw an academy: its drives, and golfers' true speeds (mph) and mean carries (yd)."""
    speed = rng.normal(AT_MPH, world.speed, golfers)
    fault = np.where(rng.random(golfers) < world.faulty, rng.uniform(5, world.most_yd, golfers), 0)
    own = rng.normal(0, world.own, golfers) - fault
    who = np.repeat(np.arange(golfers), world.days * EACH)
    day = np.tile(np.repeat(np.arange(world.days), EACH), golfers)
    club = speed[who] + rng.normal(0, 1.5, len(who))
    form = rng.normal(0, world.day, (golfers, world.days))[who, day]
    short = np.where(rng.random(len(who)) < world.mishits, rng.uniform(*MISHIT_YD, len(who)), 0)
    carry = _carry(club) + own[who] + form + rng.normal(0, world.drive, len(who)) - short
    drives = pl.DataFrame(
        {
            "golfer": [f"g{one:05d}" for one in who],
            "quarter": "2026Q3",
            "struck_on": [date(2026, 7, 1) + timedelta(days=int(one)) for one in day],
            "club_speed_mph": club,
            "ball_speed_mph": pl.Series([None] * len(who), dtype=pl.Float64),
            "carry_measured_yd": carry,
        }
    )
    # Carry bends: the mean over drives about a speed is lower than at the speed.
    return drives, speed, _carry(speed) - 0.006 * 1.5**2 + own - world.mishits * np.mean(MISHIT_YD)


def _carry(speed: np.ndarray) -> np.ndarray:
    return 2.6 * speed - 22 - 0.006 * (speed - AT_MPH) ** 2


def prove(name: str, sizes: tuple[int, ...] = SIZES, academies: int = 40) -> pl.DataFrame:
    """Judge some academies of a world of each size, and give a row for each size."""
    world = WORLDS[name]
    many = golfers_over_quarters(drawn(world, VERY_MANY, np.random.default_rng(zlib.crc32(name.encode())))[0])
    curve = SpeedCurve.fit(many["club_speed_mph"].to_numpy(), many["carry_yd"].to_numpy(), QUANTILE)
    rows = []
    for golfers in sizes:
        judged = pl.concat(
            [_judged(world, curve, golfers, zlib.crc32(f"{name} {golfers} {one}".encode())) for one in range(academies)]
        )
        rows.append({"world": name, "golfers": golfers, "academies": academies, **_summed(judged, golfers * academies)})
    return pl.DataFrame(rows)


def _judged(world: World, curve: SpeedCurve, golfers: int, seed: int) -> pl.DataFrame:
    drives, speed, mean = drawn(world, golfers, np.random.default_rng(seed))
    with mock.patch.object(reference_module, "LEAST_GOLFERS", FEWEST):
        reference = reference_of(golfers_over_quarters(drives), 5.0, 5, RULES.flags.min_shots, RULES.seed)
    table = golfers_table(drives, reference, RULES)[0].sort("golfer")
    return table.select("status", "flagged", "lost_yd", "lost_lo90_yd", "lost_hi90_yd").with_columns(
        pl.Series("true_yd", curve.at(speed) - mean)
    )


def _summed(judged: pl.DataFrame, golfers: int) -> dict[str, float]:
    known = judged.filter(pl.col("lost_yd").is_not_null())
    flagged, loses = known.filter("flagged"), pl.col("true_yd") > RULES.flags.lost_yd
    off = known["lost_yd"] - known["true_yd"]
    return {
        "assessed_share": known.height / golfers,
        "covered": known.select(pl.col("true_yd").is_between("lost_lo90_yd", "lost_hi90_yd").mean()).item(),
        "too_large_yd": float(off.mean()),
        "rms_yd": float((off**2).mean() ** 0.5),
        "width_yd": known.select((pl.col("lost_hi90_yd") - pl.col("lost_lo90_yd")).median()).item(),
        "flags": flagged.height,
        "wrong_flags": flagged.filter(~loses).height,
        "losing": judged.filter(loses).height,
    }


if __name__ == "__main__":
    sizes = tuple(map(int, sys.argv[3:])) or SIZES
    academies = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    found = pl.concat([prove(name, sizes, academies) for name in WORLDS])
    found.write_csv(Path(sys.argv[1]), float_precision=3)
