"""Speed practice in the demo study: swings without a ball of twelve golfers over two quarters, and what is planted.

It draws from a stream of its own, so that nothing else in the demo depends on it. Between the two quarters a golfer's
speed without a ball moves as the same golfer's drives do, in a straight line, so that both tell one story.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

SEED = 20262
START, MIDDLES, DAYS = "2026-04-07", (40, 125), 166  # the first day; the middle days of both quarters; the last day
SPLIT = 85  # days until the third quarter begins
LIGHT_FACTOR, LIGHT_FACTOR_SD = 1.21, 0.01  # speed of the light tool over the driver's, and how golfers differ in it
OVER_DRIVES_MPH, OVER_DRIVES_SD = 3.0, 0.8  # fastest swings without a ball over the mean drive
FORM_SD, SWING_SD = 0.010, 0.012  # of a day and of a swing, shares of speed
FIRST_EFFORT = 0.92  # the first swing of a set; the last is 1
MISREAD_SHARE, MISREADS = 0.01, (0.7, 1.3)
SETS = {"both": ("light", "driver", "light", "driver"), "light": ("light",) * 3, "driver": ("driver",) * 3}
KINDS = ("both", "driver", "both", "light", "both", "light", "driver", "both", "light", "driver", "both", "light")
PER_WEEK = (2.0, 1.6, 1.5, 1.8, 1.3, 2.2, 1.4, 2.0, 1.6, 1.5, 1.8, 1.2)
STOPPED, BEGINNER = 8, 9  # places of the golfer who stops after 90 days and of the one who begins in the last 14
BAD = (
    ("missing", "golfer", None), ("not_a_number", "club_speed_mph", "fast"), ("too_low", "club_speed_mph", "4.0"),
    ("driver_speed_too_high", "club_speed_mph", "171.0"), ("not_a_tool", "tool", "wedge"),
    ("not_a_time", "swung_at", "later"),
)  # fmt: skip
OVERLAP_ROWS = 30  # of the second quarter's log, which the third's holds again
AGAIN = 4  # rows of each log that stand there twice


def choose(rows: pl.DataFrame) -> pl.DataFrame:
    """Choose twelve golfers with drives in all quarters: the six who gain most speed and six of the others."""
    wide = rows.filter(pl.col("kind") != "few_shots").pivot(on="quarter", index="golfer", values="club_speed_mph")
    wide = wide.drop_nulls().sort(pl.col("2026Q3") - pl.col("2026Q1"), "golfer", descending=[True, False])
    others = wide[6:].sort("2026Q3")[np.linspace(3, wide.height - 10, 6).astype(int)]
    return pl.concat([wide[:6], others])


def draw_golfers(rng: np.random.RandomState, rows: pl.DataFrame) -> pl.DataFrame:
    """Give what is planted in each golfer: tools, sessions a week, fastest swing on the first day, gain, factor."""
    chosen = choose(rows)
    early, late = (chosen[q].to_numpy() for q in ("2026Q2", "2026Q3"))
    gain = (late - early) / (MIDDLES[1] - MIDDLES[0]) * 7
    over = OVER_DRIVES_MPH + OVER_DRIVES_SD * rng.standard_normal(len(gain))
    factor = LIGHT_FACTOR * np.exp(LIGHT_FACTOR_SD * rng.standard_normal(len(gain)))
    return pl.DataFrame(
        {
            "golfer": chosen["golfer"],
            "tools": KINDS,
            "sessions_per_week": PER_WEEK,
            "fastest_mph": (early + over - gain * MIDDLES[0] / 7).round(2),
            "gain_mph_per_week": gain.round(4),
            "light_factor": factor.round(4),
        }
    )


def swing(rng: np.random.RandomState, golfers: pl.DataFrame) -> pl.DataFrame:
    """Draw all swings: who, when, with what, how fast as read, and whether the reading is a planted misread."""
    held = rng.uniform(size=(golfers.height, DAYS)) < golfers["sessions_per_week"].to_numpy()[:, None] / 7
    held[STOPPED, 90:] = False
    held[BEGINNER, : DAYS - 14] = False
    frames = []
    for who, day in zip(*np.nonzero(held), strict=True):
        one = golfers.row(int(who), named=True)
        form = 1 + FORM_SD * rng.standard_normal()
        clock = rng.randint(9 * 3600, 19 * 3600)
        for number, tool in enumerate(SETS[one["tools"]], start=1):
            count = rng.randint(5, 7)
            fastest = (one["fastest_mph"] + one["gain_mph_per_week"] * day / 7) * form
            effort = np.linspace(FIRST_EFFORT, 1, count) + SWING_SD * rng.standard_normal(count)
            misread = rng.uniform(size=count) < MISREAD_SHARE
            wrong = np.where(misread, np.array(MISREADS)[rng.randint(0, 2, count)], 1.0)
            speed = fastest * effort * wrong * (one["light_factor"] if tool == "light" else 1.0)
            second = clock + np.cumsum(rng.randint(22, 45, count))
            clock = int(second[-1]) + rng.randint(240, 420)
            columns = {"day": int(day), "tool": tool, "set_no": number, "golfer": one["golfer"]}
            frames.append(pl.DataFrame({"second": second, "speed": speed, "misread": misread, **columns}))
    start = int(np.datetime64(START, "ms").astype("int64"))
    moment = start + 1000 * (pl.col("day") * 86400 + pl.col("second"))
    return pl.concat(frames).with_columns(swung_at=pl.from_epoch(moment, time_unit="ms")).sort("swung_at", "golfer")


def as_cells(swings: pl.DataFrame, sets: bool) -> pl.DataFrame:
    """Write swings as text under the standard headers; `sets` says whether the log numbers them."""
    speed = pl.Series("club_speed_mph", np.char.mod("%.1f", swings["speed"].to_numpy()))
    cells = swings.select("golfer", pl.col("swung_at").dt.strftime("%Y-%m-%dT%H:%M:%S")).with_columns(speed)
    tools = swings.select(pl.col("set_no").cast(pl.String), "tool") if sets else swings.select("tool")
    return cells.hstack(tools)


def make_log(
    rng: np.random.RandomState, swings: pl.DataFrame, sets: bool, early: pl.DataFrame | None
) -> tuple[pl.DataFrame, pl.DataFrame, dict[str, Any]]:
    """Make one log: its cells with bad rows and rows that stand there twice, its sound cells, and what was planted."""
    good = as_cells(swings, sets).with_columns(rule=pl.lit("good"), column=pl.lit(None, pl.String))
    good = good.with_columns(misread=swings["misread"], order=pl.int_range(pl.len()).cast(pl.Float64))
    sound = np.flatnonzero(((swings["tool"] == "driver") | (swings["speed"] < 150)).to_numpy())
    parts = [good]
    for at, (rule, column, cell) in zip(np.sort(rng.permutation(sound)[: len(BAD)]), BAD, strict=True):
        later = as_cells(swings[int(at) : int(at) + 1].with_columns(pl.col("swung_at") + pl.duration(seconds=9)), sets)
        broken = {column: cell} | ({"tool": "driver"} if rule == "driver_speed_too_high" else {})
        cells = later.with_columns(pl.lit(value, pl.String).alias(name) for name, value in broken.items())
        marks = {"rule": rule, "column": column, "misread": False, "order": at + 0.5}
        parts.append(cells.with_columns(pl.lit(value).alias(name) for name, value in marks.items()))
    again = good[np.sort(rng.permutation(good.height)[:AGAIN])].with_columns(pl.col("order") + 3.2)
    parts.append(again.with_columns(rule=pl.lit("duplicate")))
    if early is not None:
        parts.append(early.with_columns(rule=pl.lit("duplicate"), order=pl.lit(-1.0)))
    full = pl.concat(parts).sort("order", maintain_order=True).with_row_index("row", offset=1)
    planted = {
        "rows": full.height,
        "accepted": good.height,
        "rejected": full.filter(~pl.col("rule").is_in(["good", "duplicate"]))
        .select("row", "rule", "column")
        .to_dicts(),
        "duplicates": full.filter(pl.col("rule") == "duplicate")["row"].to_list(),
        "misreads": full.filter((pl.col("rule") == "good") & pl.col("misread"))["row"].to_list(),
    }
    return full.drop("row", "rule", "column", "misread", "order"), good.tail(OVERLAP_ROWS), planted


def make_practice(folder: Path, rows: pl.DataFrame) -> None:
    """Write speed/*.csv and speed/planted.json into `folder`; `rows` are the golfers of the demo by quarter."""
    rng = np.random.RandomState(SEED)
    golfers = draw_golfers(rng, rows)
    swings = swing(rng, golfers)
    home = pl.col("golfer").is_in(golfers.filter(pl.col("tools") == "light")["golfer"].implode())
    (folder / "speed").mkdir(parents=True, exist_ok=True)
    planted: dict[str, Any] = {"golfers": golfers.to_dicts(), "logs": {}}
    early = None
    for name, kept, sets in (
        ("bay_2026q2", ~home & (pl.col("day") < SPLIT), True),
        ("bay_2026q3", ~home & (pl.col("day") >= SPLIT), True),
        ("home_2026", home, False),
    ):
        log, tail, told = make_log(rng, swings.filter(kept), sets, early if name == "bay_2026q3" else None)
        early = tail
        if sets:
            log = log.with_columns(mat_no=pl.Series(rng.randint(1, 5, log.height).astype(str)))
        log.write_csv(folder / "speed" / f"{name}.csv")
        planted["logs"][f"speed/{name}.csv"] = told
    text = json.dumps(planted, indent=1) + "\n"
    (folder / "speed" / "planted.json").write_text(text, encoding="utf-8", newline="\n")
