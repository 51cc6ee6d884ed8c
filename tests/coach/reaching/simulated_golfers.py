"""Golfers whose drives are known in closed form: normal strikes, mishits, days and quarters that differ."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl
from scipy.stats import norm

# Yards, invented; about those of the proving ground's golfers at 95 mph.
LEVEL_YD, PER_MPH, BETWEEN_YD = 235.0, 2.6, 11.0
SPREAD_YD, SPREAD_VARIES = 9.0, 0.25
DAY_YD, QUARTER_YD = 4.0, 3.0
MISHITS, FAULTY_MISHITS, FAULTY = (0.02, 0.12), (0.25, 0.45), 0.15
DROP_YD = (15.0, 60.0)


@dataclass(frozen=True)
class Simulated:
    """Drives of one quarter (golfer, quarter, struck_on, club_speed_mph, carry_yd), and the golfers' next quarter."""

    drives: pl.DataFrame
    next_center_yd: np.ndarray
    spread_yd: np.ndarray
    mishits: np.ndarray

    def true_share(self, distance_yd):
        """Give the share of the next quarter's drives, over all days, that reach distances, shape (n,)."""
        scale = np.hypot(self.spread_yd, DAY_YD)
        sound = norm.sf((distance_yd - self.next_center_yd) / scale)
        drops = np.linspace(*DROP_YD, 201)[:, None]
        bad = norm.sf((distance_yd - self.next_center_yd + drops) / scale).mean(axis=0)
        return (1 - self.mishits) * sound + self.mishits * bad


def simulate(rng, golfers=250, drives=(6, 120), days=(1, 8)):
    speed = rng.normal(95, 7, golfers)
    center = LEVEL_YD + PER_MPH * (speed - 95) + rng.normal(0, BETWEEN_YD, golfers)
    spread = SPREAD_YD * np.exp(rng.normal(0, SPREAD_VARIES, golfers))
    faulty = rng.uniform(size=golfers) < FAULTY
    mishits = np.where(faulty, rng.uniform(*FAULTY_MISHITS, golfers), rng.uniform(*MISHITS, golfers))
    count = np.exp(rng.uniform(*np.log(drives), golfers)).astype(int)
    sessions = np.minimum(rng.integers(days[0], days[1] + 1, golfers), count)
    who = np.repeat(np.arange(golfers), count)
    day = (rng.uniform(size=len(who)) * sessions[who]).astype(int)
    form = rng.normal(0, DAY_YD, (golfers, days[1]))[who, day]
    bad = rng.uniform(size=len(who)) < mishits[who]
    carry = center[who] + form + spread[who] * rng.normal(size=len(who)) - bad * rng.uniform(*DROP_YD, len(who))
    table = pl.DataFrame(
        {
            "golfer": [f"g{number:016x}" for number in who],
            "quarter": "2026Q3",
            "struck_on": [date(2026, 7, 1) + timedelta(days=int(one)) for one in day],
            "club_speed_mph": speed[who] + rng.normal(0, 1, len(who)),
            "carry_yd": carry,
        }
    )
    earlier = table.with_columns(quarter=pl.lit("2026Q2"), struck_on=pl.col("struck_on").dt.offset_by("-91d"))
    then = rng.normal(0, QUARTER_YD, golfers)
    luck = rng.normal(0, 1, len(who)) * spread[who]
    past = center[who] + then[who] + rng.normal(0, DAY_YD, (golfers, days[1]))[who, day] + luck
    earlier = earlier.with_columns(carry_yd=pl.Series(past - bad * rng.uniform(*DROP_YD, len(who))))
    return Simulated(
        pl.concat([earlier, table]).sort("golfer", "quarter"),
        center + rng.normal(0, QUARTER_YD, golfers),
        spread,
        mishits,
    )
