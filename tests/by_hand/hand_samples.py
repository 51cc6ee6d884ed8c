"""Results by hand of golfers who don't exist, whose mean carries are known."""

from datetime import date, timedelta

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.by_hand.losses import Rules
from pipeline.golfers.flags import FlagRules

RULES = Rules(FlagRules(lost_yd=10.0, false_discovery_rate=0.1, min_shots=12), SpeedBands.of([80, 90, 100], 5), 5, 1)
DAYS, EACH = 3, 6


def hand_drives(golfers=60, *, scatter_yd=6.0, own_yd=6.0, faults=(), seed=3):
    """Draw drives: carry is 2.5 yd for each mph less 10 yd, and what is the golfer's own; `faults` are yards short."""
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(golfers), DAYS * EACH)
    day = np.tile(np.repeat(np.arange(DAYS), EACH), golfers)
    speed = np.linspace(76, 106, golfers)[rng.permutation(golfers)]
    own = own_yd * rng.normal(size=golfers)
    own[: len(faults)] -= faults
    struck = speed[who] + 1.5 * rng.normal(size=len(who))
    return pl.DataFrame(
        {
            "golfer": [f"g{one:016x}" for one in who],
            "quarter": "2026Q3",
            "struck_on": [date(2026, 7, 1) + timedelta(days=20 * int(one)) for one in day],
            "club_speed_mph": struck,
            "ball_speed_mph": pl.Series([None] * len(who), dtype=pl.Float64),
            "carry_measured_yd": 2.5 * struck - 10 + own[who] + scatter_yd * rng.normal(size=len(who)),
        }
    )
