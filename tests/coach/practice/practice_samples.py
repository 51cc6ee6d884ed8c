"""Swings, sessions, factors and drives of invented golfers, for the tests of speed practice."""

from datetime import date, timedelta

import numpy as np
import polars as pl
from rows import table_of

from pipeline.bands import SpeedBands
from pipeline.coach.practice.practice import practice_of
from pipeline.tables.practice import Sessions, Swings

FIRST = date(2026, 4, 6)  # a Monday
BANDS = SpeedBands.of([70.0, 80.0, 90.0, 100.0, 110.0], 5.0)
NO_DRIVES = pl.DataFrame(
    schema={"golfer": pl.String, "quarter": pl.String, "struck_on": pl.Date, "club_speed_mph": pl.Float64}
)


def name(number):
    return f"g{number:016x}"


def swings(*sets, tool="driver"):
    """Make swings: (golfer, day, set, speeds) each, in the order of the set."""
    rows = [
        ("s.csv", golfer, FIRST + timedelta(day), speed, number, place, tool)
        for golfer, day, number, speeds in sets
        for place, speed in enumerate(speeds, 1)
    ]
    names = ["source", "golfer", "swung_on", "club_speed_mph", "set_no", "swing_no", "tool"]
    frame = pl.DataFrame(rows, schema=names, orient="row").with_row_index("row", 1)
    frame = frame.with_columns(
        quarter=pl.format("{}Q{}", pl.col("swung_on").dt.year(), pl.col("swung_on").dt.quarter()),
    )
    return table_of(Swings, frame)


def sessions(days, best, golfer=0, tool="driver", rise=None):
    on = [FIRST + timedelta(int(day)) for day in days]
    n = len(on)
    frame = pl.DataFrame(
        {
            "golfer": [name(golfer)] * n,
            "swung_on": on,
            "quarter": [f"{one.year}Q{(one.month + 2) // 3}" for one in on],
            "swings": [18] * n,
            "tool": [tool] * n if isinstance(tool, str) else tool,
            "best_mph": np.asarray(best, float),
            "typical_mph": np.asarray(best, float) - 4,
            "set_rise_mph": rise if rise is not None else [None] * n,
        }
    )
    return table_of(Sessions, frame)


def factors(golfers=1, factor=1.2, log_error=0.0):
    return pl.DataFrame(
        {
            "golfer": pl.Series([name(i) for i in range(golfers)], dtype=pl.String),
            "light_factor": pl.Series([factor] * golfers, dtype=pl.Float64),
            "log_error": pl.Series([log_error] * golfers, dtype=pl.Float64),
        }
    )


def practised(table, drives=NO_DRIVES, **known):
    golfers = table["golfer"].n_unique()
    return practice_of(table, factors(golfers, **known), drives, BANDS)


def noisy(seed=1, n=24, gain=0.3, sd=1.0, start=88.0):
    rng = np.random.default_rng(seed)
    days = np.sort(rng.permutation(100)[:n])
    return days, start + gain * days / 7 + sd * rng.standard_normal(n)


def drives(days, speeds, golfer=0, each=4):
    on = [FIRST + timedelta(int(day)) for day in np.repeat(days, each)]
    quarter = [f"{one.year}Q{(one.month + 2) // 3}" for one in on]
    speed = np.repeat(np.asarray(speeds, float), each)
    return pl.DataFrame(
        {"golfer": [name(golfer)] * len(on), "quarter": quarter, "struck_on": on, "club_speed_mph": speed}
    )


OTHERS = drives([1, 2, 3, 4, 5, 6, 7], [70, 71, 72, 73, 74, 75, 76], golfer=5)  # whose days tell how days differ
