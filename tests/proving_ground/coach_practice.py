"""Speed practice of invented golfers whose truth is known, what the pipeline makes of it, and how the two compare.

A golfer has a level, a gain per week, a factor of the light tool, a rise within sets and a form of the day. Nothing of
this uses the pipeline's own model of them: a set's effort is drawn, days' form has heavier tails than the normal.
"""

import zlib
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from targets import Target

from pipeline.bands import SpeedBands
from pipeline.coach.practice.light_tool import fit_light_tool, pairs_of
from pipeline.coach.practice.practice import practice_figures, practice_table
from pipeline.coach.practice.sessions import day_speeds, mark_misreads, sessions_of
from pipeline.tables.practice import Sessions, Swings

FIRST_DAY = 20546  # 2026-04-03, days since 1970
BANDS = SpeedBands.of([70.0, 80.0, 90.0, 100.0, 110.0], 5.0)
SWINGS_OF_A_SET = 6
EFFORT_LO = 0.92  # of the first swing of a set; the last is 1
SWING_SD = 0.012
READ_SD = 0.004


@dataclass(frozen=True)
class PracticeWorld:
    """What differs between worlds of practice."""

    name: str = "plain"
    golfers: int = 40
    weeks: int = 20
    sessions_per_week: float = 2.0
    form_sd: float = 0.012  # of a day, of speed
    slow_sd: float = 0.0  # of form that lasts for weeks, of speed
    gain_lo: float = -0.05  # mph per week
    gain_hi: float = 0.45
    misreads: float = 0.01
    both: float = 0.5  # share of golfers who swing both tools in a session
    light_only: float = 0.25
    turning: bool = False  # half of the golfers of one tool go over to the other half way
    drive_days: int = 6  # with a ball, in the last quarter
    ball_gap_sd: float = 2.0
    slow_with_ball: bool = False  # whether form that lasts is in the drives too
    course: str = "straight"  # see `COURSES`
    ahead_weeks: int = 0  # for which the truth is drawn beyond the last session


WORLDS = (
    PracticeWorld(),
    PracticeWorld("few sessions", weeks=9, sessions_per_week=1.2),
    PracticeWorld("nothing gained", gain_lo=0.0, gain_hi=0.0),
    PracticeWorld("many misreads", misreads=0.05),
    PracticeWorld("changing tools", both=0.2, light_only=0.2, turning=True),
    PracticeWorld("no pairs", both=0.0, light_only=0.4),
    PracticeWorld("no drives", drive_days=0),
    PracticeWorld("form that lasts three weeks", slow_sd=0.012),
)
SLOW_DAYS = 21.0


LEVELLING_WEEKS = 10.0
# What a golfer has gained after so many weeks, in weeks of the first gain: given the weeks of practice.
COURSES = {
    "straight": lambda week, _: week,
    "levels off": lambda week, _: LEVELLING_WEEKS * (1 - np.exp(-week / LEVELLING_WEEKS)),
    "stops half way": lambda week, practiced: np.minimum(week, practiced / 2),
    "stops with the last session": lambda week, practiced: np.minimum(week, practiced),
    "goes on half as fast": lambda week, practiced: np.minimum(week, practiced) + np.maximum(week - practiced, 0) / 2,
}


@dataclass(frozen=True)
class PracticeTruth:
    """An academy's practice with what is true of it."""

    world: PracticeWorld
    golfers: pl.DataFrame
    swings: pl.DataFrame
    drives: pl.DataFrame
    slow: np.ndarray | None = None
    """Form that lasts, of speed: shape (golfers, days)."""


def make_practice(world: PracticeWorld, seed: int) -> PracticeTruth:
    """Draw golfers, their sessions and swings, and their drives."""
    rng = np.random.default_rng(seed)
    n = world.golfers
    kind = rng.choice(
        ["both", "light", "driver"], n, p=[world.both, world.light_only, 1 - world.both - world.light_only]
    )
    golfers = pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in range(n)],
            "kind": kind,
            "level_mph": rng.uniform(72, 108, n),
            "gain_mph": rng.uniform(world.gain_lo, world.gain_hi, n),
            "factor": 1.18 * np.exp(0.012 * rng.standard_normal(n)),
            "gap_mph": -3 + world.ball_gap_sd * rng.standard_normal(n),
            "turns": (rng.uniform(size=n) < 0.5) & world.turning,
        }
    )
    swings, slow = _swings(world, golfers, rng)
    return PracticeTruth(world, golfers, swings, _drives(world, golfers, slow, rng), slow)


def gained(world: PracticeWorld, week: np.ndarray) -> np.ndarray:
    """Give what a golfer has gained after so many weeks, in weeks of the first gain."""
    return COURSES[world.course](week, world.weeks)


def _swings(
    world: PracticeWorld, golfers: pl.DataFrame, rng: np.random.Generator
) -> tuple[pl.DataFrame, np.ndarray | None]:
    days = world.weeks * 7
    held = rng.uniform(size=(golfers.height, days)) < world.sessions_per_week / 7
    who, day = np.nonzero(held)
    form = 1 + world.form_sd * rng.standard_t(5, len(who)) / np.sqrt(5 / 3)
    slow = world.slow_sd * _slow(rng, golfers.height, days + 7 * world.ahead_weeks) if world.slow_sd else None
    if slow is not None:
        form += slow[who, day]
    g = {name: golfers.get_column(name).to_numpy() for name in golfers.columns}
    frames = []
    for number in range(4):  # four sets; those who swing both change tools from set to set
        other = g["turns"][who] & (day > days / 2) & (g["kind"][who] != "both")
        light = np.where(g["kind"][who] == "both", number % 2 == 0, (g["kind"][who] == "light") ^ other)
        effort = np.linspace(EFFORT_LO, 1, SWINGS_OF_A_SET)[None, :] + 0.01 * rng.standard_normal((len(who), 1))
        best = (g["level_mph"][who] + g["gain_mph"][who] * gained(world, day / 7)) * form * np.where(light, g["factor"][who], 1.0)
        noise = 1 + SWING_SD * rng.standard_normal(effort.shape) + READ_SD * rng.standard_normal(effort.shape)
        speed = best[:, None] * effort * noise
        bad = rng.uniform(size=speed.shape) < world.misreads
        read = np.where(bad, speed * rng.choice([0.6, 0.75, 1.2, 1.35], speed.shape), speed)
        frames.append(
            pl.DataFrame(
                {
                    "golfer": np.repeat(g["golfer"][who], SWINGS_OF_A_SET),
                    "day": np.repeat(day, SWINGS_OF_A_SET),
                    "tool": np.repeat(np.where(light, "light", "driver"), SWINGS_OF_A_SET),
                    "set_no": np.full(speed.size, number + 1),
                    "swing_no": np.tile(np.arange(1, SWINGS_OF_A_SET + 1), len(who)),
                    "club_speed_mph": read.ravel().round(1),
                    "planted_misread": bad.ravel(),
                }
            )
        )
    frame = pl.concat(frames).filter(pl.col("club_speed_mph") > 30)
    swung_on = (pl.col("day") + FIRST_DAY).cast(pl.Int32).cast(pl.Date)
    frame = frame.with_columns(
        source=pl.lit("speed/a.csv"),
        row=pl.int_range(1, pl.len() + 1, dtype=pl.Int64),
        swung_on=swung_on,
        quarter=pl.format("{}Q{}", swung_on.dt.year(), swung_on.dt.quarter()),
        tool=pl.col("tool").cast(Swings.tool.dtype),
        set_no=pl.col("set_no").cast(pl.Int64),
        swing_no=pl.col("swing_no").cast(pl.Int64),
    )
    return frame, slow


def _slow(rng: np.random.Generator, golfers: int, days: int) -> np.ndarray:
    """Draw a first-order autoregression of unit variance over days, one per golfer."""
    keep = np.exp(-1 / SLOW_DAYS)
    state = rng.standard_normal(golfers)
    states = [state]
    for _ in range(days - 1):
        state = keep * state + np.sqrt(1 - keep**2) * rng.standard_normal(golfers)
        states.append(state)
    return np.stack(states, axis=1)


def _drives(
    world: PracticeWorld, golfers: pl.DataFrame, slow: np.ndarray | None, rng: np.random.Generator
) -> pl.DataFrame:
    """Draw drives on days of the last quarter of practice: best speed without a ball plus the golfer's gap."""
    last = FIRST_DAY + world.weeks * 7
    first = max(FIRST_DAY, last - 60)
    shape = (golfers.height, world.drive_days, 8)
    day = np.repeat(rng.integers(first, last, shape[:2])[:, :, None], shape[2], axis=2)
    level, gain, gap = (
        golfers.get_column(name).to_numpy()[:, None, None] for name in ("level_mph", "gain_mph", "gap_mph")
    )
    form = 1 + 0.01 * rng.standard_normal((*shape[:2], 1))
    if slow is not None and world.slow_with_ball:
        form = form + slow[np.arange(golfers.height)[:, None, None], (day - FIRST_DAY)[:, :, :1]]
    speed = (level + gap + gain * gained(world, (day - FIRST_DAY) / 7)) * form * (1 + 0.015 * rng.standard_normal(shape))
    on = pl.Series(day.ravel()).cast(pl.Int32).cast(pl.Date)
    return pl.DataFrame(
        {
            "golfer": pl.Series(
                np.repeat(golfers.get_column("golfer").to_numpy(), shape[1] * shape[2]), dtype=pl.String
            ),
            "struck_on": on,
            "club_speed_mph": speed.ravel(),
        }
    ).with_columns(quarter=pl.format("{}Q{}", pl.col("struck_on").dt.year(), pl.col("struck_on").dt.quarter()))


def found_practice(truth: PracticeTruth) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Let the pipeline's own functions judge the swings; give its table of golfers and the marked swings."""
    golfers, marked = found_figures(truth)
    return practice_table(golfers), marked


def found_figures(truth: PracticeTruth) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give what the table of golfers rests on, with their lines, and the marked swings."""
    swings = truth.swings.select(Swings.column_names())
    marked = mark_misreads(swings)
    speeds = day_speeds(marked)
    _, factors = fit_light_tool(pairs_of(speeds), swings.get_column("golfer"))
    days = Sessions.validate(sessions_of(speeds, factors))
    return practice_figures(days, factors, truth.drives, BANDS), marked


def best_over_level() -> float:
    """Give the 90th percentile of a session's swings over the golfer's level, by a long draw of sessions."""
    calm = PracticeWorld(golfers=200, weeks=20, both=0.0, light_only=0.0, form_sd=0.0, misreads=0.0, drive_days=0)
    truth = make_practice(replace(calm, gain_lo=0.0, gain_hi=0.0), 99)
    swings = truth.swings.join(truth.golfers.select("golfer", "level_mph"), on="golfer")
    return float(swings.select((pl.col("club_speed_mph") / pl.col("level_mph")).quantile(0.9, "linear")).item())


def judge_practice(truth: PracticeTruth, found: pl.DataFrame, marked: pl.DataFrame, ratio: float) -> pl.DataFrame:
    """Put the truth beside what was found, a row per golfer.

    Parameters
    ----------
    truth : PracticeTruth
    found, marked : DataFrame
        From `found_practice`.
    ratio : float
        From `best_over_level`.
    """
    first = pl.col("first_on").cast(pl.Int32) - FIRST_DAY
    last = pl.col("last_on").cast(pl.Int32) - FIRST_DAY
    level, gain = pl.col("level_mph"), pl.col("gain_mph")
    away = pl.when("with_ball").then(pl.col("gap_mph")).otherwise(level * (ratio - 1))
    slope = pl.when("with_ball").then(gain).otherwise(gain * ratio)
    days = (pl.col("next_band_from_mph") - level - away) / slope * 7
    planted = truth.swings.select("row", "planted_misread").join(marked.select("row", "golfer", "misread"), on="row")
    misreads = planted.group_by("golfer").agg(
        missed=(pl.col("planted_misread") & ~pl.col("misread")).sum(),
        wrongly=(~pl.col("planted_misread") & pl.col("misread")).sum(),
        planted=pl.col("planted_misread").sum(),
        all=pl.len(),
    )
    return (
        truth.golfers.join(found, on="golfer", maintain_order="left")
        .join(misreads, on="golfer", maintain_order="left")
        .with_columns(
            true_gain_mph=gain * ratio,
            true_best_mph=(level + gain * last / 7) * ratio,
            true_gap_mph=pl.col("gap_mph") - level * (ratio - 1),
            true_day=pl.when(slope > 0).then(days),
            first_day=first,
        )
    )


def measure_practice(judged: pl.DataFrame) -> dict[str, float | None]:
    """Sum up: bias, coverage, wrong verdicts and dates.

    Parameters
    ----------
    judged : DataFrame
        From `judge_practice`, of one or more academies.
    """
    gain, lo, hi = (pl.col(f"best_trend_{end}mph_per_week") for end in ("", "lo90_", "hi90_"))
    dated = judged.filter(pl.col("projection") == "dated")
    day = pl.col("true_day") + FIRST_DAY
    late = pl.col("projected_hi90_on").cast(pl.Int32).fill_null(2**30)
    still = pl.col("gain_mph") == 0
    found = judged.select(
        gain_bias_mph=(gain - pl.col("true_gain_mph")).mean(),
        gain_coverage90=pl.col("true_gain_mph").is_between(lo, hi).mean(),
        best_bias_mph=(pl.col("best_mph") - pl.col("true_best_mph")).mean(),
        best_coverage90=pl.col("true_best_mph").is_between("best_lo90_mph", "best_hi90_mph").mean(),
        factor_bias=(pl.col("light_factor") - pl.col("factor")).mean(),
        factor_coverage90=pl.col("factor").is_between("light_factor_lo90", "light_factor_hi90").mean(),
        gap_coverage90=pl.col("true_gap_mph").is_between("ball_gap_lo90_mph", "ball_gap_hi90_mph").mean(),
        still_told=(pl.col("trend") == "gaining").filter(still).mean(),
        misreads_missed=pl.col("missed").sum() / pl.col("planted").sum(),
        swings_wrongly_marked=pl.col("wrongly").sum() / pl.col("all").sum(),
    ).row(0, named=True)
    dates = dated.select(
        date_coverage90=(day >= pl.col("projected_lo90_on").cast(pl.Int32)).fill_null(False).and_(day <= late).mean(),
        dated_share=pl.len() / max(judged.height, 1),
        date_bias_days=(pl.col("projected_on").cast(pl.Int32) - day).median(),
    ).row(0, named=True)
    return {**found, **dates}


def prove_practice(academies: int) -> pl.DataFrame:
    """Draw so many academies of every world and judge them: rows of `judge_practice`, world and academy in front."""
    ratio = best_over_level()
    frames = []
    for world in WORLDS:
        for number in range(academies):
            truth = make_practice(world, zlib.crc32(f"practice {world.name} {number}".encode()))
            rows = judge_practice(truth, *found_practice(truth), ratio)
            frames.append(rows.select(pl.lit(world.name).alias("world"), pl.lit(number).alias("academy"), pl.all()))
    return pl.concat(frames, how="diagonal_relaxed")


def measures(judged: pl.DataFrame) -> dict[str, float | None]:
    """Sum up over all worlds of `prove_practice`.

    Levels and factors leave out the world without pairs, where the factor is common practice's on purpose.
    """
    paired = measure_practice(judged.filter(pl.col("world") != "no pairs"))
    levels = ("best_bias_mph", "best_coverage90", "factor_bias", "factor_coverage90")
    return measure_practice(judged) | {name: paired[name] for name in levels}


TARGETS = (
    Target("practice: bias of the gain in best speed, mph per week", "gain_bias_mph", -0.02, 0.02, 3),
    Target("practice: 90 % intervals of the gain that hold the truth", "gain_coverage90", 0.87, 0.93, 3),
    Target("practice: bias of the best speed, mph", "best_bias_mph", -1.0, 1.0),
    Target("practice: 90 % intervals of the best speed that hold the truth", "best_coverage90", 0.87, 0.93, 3),
    Target("practice: 90 % intervals of the gap to speed with a ball that hold it", "gap_coverage90", 0.87, 0.95, 3),
    Target("practice: 90 % intervals of a golfer's light-tool factor that hold it", "factor_coverage90", 0.87, 0.93, 3),
    Target("practice: golfers who gain nothing told as gaining", "still_told", None, 0.10, 3),
    Target("practice: ranges of the projected day that hold the truth", "date_coverage90", 0.87, 0.95, 3),
    Target("practice: misreads that were not marked", "misreads_missed", None, 0.10, 3),
    Target("practice: sound swings marked as misread", "swings_wrongly_marked", None, 0.002, 4),
)  # fmt: skip
