"""Invented golfers whose mean, spread, days and mishits are known, for tests of straightness."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl
from scipy.stats import norm

MISHIT_WIDER = 3.0


@dataclass(frozen=True)
class Habit:
    """How golfers drive, yd: between golfers, of a day and of a drive; and how many drives on how many days."""

    drives: int = 30
    days: int = 3
    spread: float = 13.0
    form: float = 4.0
    mishits: float = 0.05
    wanders: float = 6.0


def drives_of(seed, golfers, habit=Habit(), quarter="2026Q3", mean_yd=0.0, wider=1.0):
    """Draw a quarter: drives with golfer, quarter, struck_on, offline_yd and carry_yd, and the truth by golfer.

    Golfers keep their usual mean and spread from quarter to quarter with the same seed.
    """
    usual, rng = np.random.default_rng(seed), np.random.default_rng([seed, int(quarter[-1])])
    middles = usual.normal(0, habit.wanders, golfers) + mean_yd
    spreads = wider * habit.spread * np.exp(usual.normal(0, 0.25, golfers))
    n, month = habit.drives, 3 * int(quarter[-1]) - 2
    day = np.sort(np.arange(n) % habit.days)
    frames = []
    for k, (middle, spread) in enumerate(zip(middles, spreads, strict=True)):
        bad = rng.random(n) < habit.mishits
        form = rng.normal(0, habit.form, habit.days)
        offline = middle + form[day] + rng.normal(0, spread, n) * np.where(bad, MISHIT_WIDER, 1)
        frames.append(
            pl.DataFrame(
                {
                    "golfer": [f"g{k:016x}"] * n,
                    "quarter": [quarter] * n,
                    "struck_on": [date(2026, month, 1) + timedelta(7 * int(d)) for d in day],
                    "offline_yd": offline,
                    "carry_yd": 220 + rng.normal(0, 8, n) - 15 * bad,
                }
            )
        )
    return pl.concat(frames), _truth(middles, spreads, habit, quarter)


def _truth(middles, spreads, habit, quarter):
    share = habit.mishits
    squares = spreads**2 * (1 - share + share * MISHIT_WIDER**2) + habit.form**2

    def inside(spread):
        wide = np.hypot(spread, habit.form)
        return norm.cdf((15 - middles) / wide) - norm.cdf((-15 - middles) / wide)

    return pl.DataFrame(
        {
            "golfer": [f"g{k:016x}" for k in range(len(middles))],
            "quarter": [quarter] * len(middles),
            "mean": middles,
            "sd": np.sqrt(squares),
            "inside": (1 - share) * inside(spreads) + share * inside(MISHIT_WIDER * spreads),
        }
    )
