"""What speed practice's planner says of weeks to come, held against invented golfers whose weeks to come are known.

Golfers are those of `coach_practice`. In some worlds their gain goes on, in others it levels off or stops, which no
planner can see before it has happened.
"""

import sys
import zlib
from dataclasses import replace

import numpy as np
import polars as pl
from coach_practice import FIRST_DAY, WORLDS, PracticeTruth, PracticeWorld, best_over_level, found_figures, gained
from coach_practice import make_practice
from targets import Target

from pipeline.coach.practice.outlook import outlook_of
from pipeline.coach.practice.planner import plan_of, speed_goals_of
from pipeline.coach.practice.practice import practice_table
from pipeline.tables.goals import Goals
from pipeline.tables.practice import WEEKS_AHEAD

AHEAD = 60  # weeks: a day is due within a year
GOES_ON = tuple(
    replace(world, ahead_weeks=AHEAD, slow_with_ball=True) for world in WORLDS if world.name != "nothing gained"
)
ALL_ALIKE = PracticeWorld("nobody gains", gain_lo=0.0, gain_hi=0.0, ahead_weeks=AHEAD)
GAINS = PracticeWorld(gain_lo=0.15, gain_hi=0.45, ahead_weeks=AHEAD)
ENDS = tuple(
    replace(GAINS, name=name, course=name)
    for name in ("levels off", "stops half way", "stops with the last session", "goes on half as fast")
)
PLANNER_WORLDS = (*GOES_ON, ALL_ALIKE, replace(GAINS, name="everybody gains"), *ENDS)
GOAL_MPH = (0.5, 5.0)  # above the golfer's true speed at the last session


def true_speed(truth: PracticeTruth, week: np.ndarray, with_ball: np.ndarray, ratio: float) -> np.ndarray:
    """Give each golfer's true speed at a week since the first day, form aside."""
    level, gain, gap = (truth.golfers.get_column(name).to_numpy() for name in ("level_mph", "gain_mph", "gap_mph"))
    free = level + gain * gained(truth.world, week)
    return np.where(with_ball, free + gap, free * ratio)


def _form(truth: PracticeTruth, week: np.ndarray) -> np.ndarray:
    """Give what form that lasts makes of the mean of the fortnight about a day."""
    if truth.slow is None:
        return np.ones(len(week))
    days = np.round(7 * week).astype(int)[:, None] + np.arange(-7, 8)
    return 1 + np.take_along_axis(truth.slow, np.clip(days, 0, truth.slow.shape[1] - 1), axis=1).mean(axis=1)


def judge_planner(truth: PracticeTruth, ratio: float, seed: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Plan an academy's practice and put the truth beside it: forecasts, and goals' days."""
    figures, _ = found_figures(truth)
    practice, outlook = practice_table(figures), outlook_of(figures)
    truth = replace(
        truth, golfers=practice.select("golfer").join(truth.golfers, on="golfer", maintain_order="left")
    )  # fmt: skip; golfers g...0, g...1 stand in order already, and `slow` goes with them
    with_ball = practice["with_ball"].to_numpy()
    last = (practice["last_on"].cast(pl.Int32).to_numpy() - FIRST_DAY) / 7
    plan = plan_of(practice, outlook)
    frames = []
    for weeks in WEEKS_AHEAD:
        true = true_speed(truth, last + weeks, with_ball, ratio) * _form(truth, last + weeks)
        rows = plan.filter(pl.col("weeks_ahead") == weeks)
        frames.append(rows.with_columns(pl.Series("true_mph", true), practice["trend"]))
    rng = np.random.default_rng(seed)
    goal = true_speed(truth, last, with_ball, ratio) + rng.uniform(*GOAL_MPH, practice.height)
    goals = practice.select("golfer", goal_yd=pl.lit(200.0), efficient_speed_mph=pl.Series(goal)).with_columns(
        pl.lit(None, pl.Float64).alias(f"efficient_speed_{end}_mph") for end in ("lo90", "hi90")
    )
    due = speed_goals_of(practice, outlook, goals)
    weeks = np.arange(0, 53, 1 / 7)
    reached = np.stack([true_speed(truth, last + week, with_ball, ratio) >= goal for week in weeks])
    day = np.where(reached.any(axis=0), 7 * weeks[reached.argmax(axis=0)], np.inf) + 7 * last
    return pl.concat(frames), due.with_columns(pl.Series("true_day", day), last_on=practice["last_on"])


def prove_planner(academies: int, worlds: tuple[PracticeWorld, ...] = PLANNER_WORLDS) -> dict[str, pl.DataFrame]:
    """Draw so many academies of every world and judge them: `planner` and `planner_goals`, world and academy first."""
    ratio = best_over_level()
    found: dict[str, list[pl.DataFrame]] = {"planner": [], "planner_goals": []}
    for world in worlds:
        for number in range(academies):
            seed = zlib.crc32(f"planner {world.name} {number}".encode())
            for name, rows in zip(found, judge_planner(make_practice(world, seed), ratio, seed), strict=True):
                found[name].append(rows.select(pl.lit(world.name).alias("world"), pl.lit(number).alias("academy"), pl.all()))
    return {name: pl.concat(frames) for name, frames in found.items()}


def measure_planner(plan: pl.DataFrame, goals: pl.DataFrame) -> dict[str, float | None]:
    """Sum up: how often intervals hold the truth, how wide they are, and how far off the middle is."""
    true = pl.col("true_mph")
    held = true.is_between("speed_lo90_mph", "speed_hi90_mph")
    found: dict[str, float | None] = {}
    for weeks in WEEKS_AHEAD:
        row = plan.filter((pl.col("weeks_ahead") == weeks) & pl.col("speed_mph").is_not_null()).select(
            coverage90=held.mean(),
            above=(true > pl.col("speed_hi90_mph")).mean(),
            bias_mph=(pl.col("speed_mph") - true).mean(),
            width_mph=(pl.col("speed_hi90_mph") - pl.col("speed_lo90_mph")).mean(),
            count=pl.len(),
        )
        found |= {f"{name}_{weeks}": value for name, value in row.row(0, named=True).items()}
    day = pl.col("true_day") + FIRST_DAY
    dated = goals.filter(pl.col("due") == "dated")
    late = pl.col("due_hi90_on").cast(pl.Int32)
    early = pl.col("due_lo90_on").cast(pl.Int32)
    row = dated.select(
        due_coverage90=((day > early - 1) & (day <= late.fill_null(2**30))).mean(),
        due_too_early=(day <= early - 1).mean(),
        due_open=late.is_null().mean(),
        due_median_off_days=(pl.col("due_on").cast(pl.Int32) - day).median(),
        due_never=day.is_infinite().mean(),
        due_count=pl.len(),
    )
    return found | row.row(0, named=True)


def table_of_worlds(judged: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """Give the measures of each world, a row each."""
    rows = []
    for (world,), plan in judged["planner"].group_by("world", maintain_order=True):
        goals = judged["planner_goals"].filter(pl.col("world") == world)
        rows.append({"world": world} | measure_planner(plan, goals))
    return pl.DataFrame(rows, infer_schema_length=None)


if __name__ == "__main__":
    with pl.Config(tbl_rows=-1, tbl_cols=-1, tbl_width_chars=400, float_precision=3):
        print(table_of_worlds(prove_planner(int(sys.argv[1]))))
