"""Draw academies of one world, run the pipeline on each, hold what it found against the truth."""

import sys
import tempfile
import zlib
from collections.abc import Callable
from pathlib import Path

import polars as pl
from academy import Academy, make_academy
from coach import FRAMES, judge_coach
from judge import Curve, judge_bands, judge_golfers, judge_held_out, oracle_curve, true_curve
from measures import Judged
from straight import FRAME, judge_straightness
from study_run import Found, run_study, write_study
from worlds import COACH_WORLDS, WORLDS

JUDGED = ("bands", "golfers", "changes", "held_out", FRAME, *FRAMES)


def judge_changes(found: Found, golfers: pl.DataFrame) -> pl.DataFrame:
    """Hold changes between quarters against the true ones; one row per golfer and quarter with an earlier one."""
    true = golfers.select("golfer", "quarter", "true_lost_yd", "kind")
    before = true.select("golfer", pl.col("quarter").alias("since"), pl.col("true_lost_yd").alias("true_before_yd"))
    changes = found.golfers("changes.csv").join(true, on=["golfer", "quarter"]).join(before, on=["golfer", "since"])
    return changes.with_columns((pl.col("true_lost_yd") - pl.col("true_before_yd")).alias("true_change_yd"))


def judge_all(academy: Academy, found: Found, curve: Curve, world: str, seed: int) -> Judged:
    """Hold everything that was found in an academy against the truth."""
    oracle = oracle_curve(academy)
    golfers = judge_golfers(academy, found, curve, oracle)
    return {
        "bands": judge_bands(academy, found, oracle),
        "golfers": golfers,
        "changes": judge_changes(found, golfers),
        "held_out": judge_held_out(academy, found, seed + 1),
        **judge_straightness(academy, found),
        **judge_coach(academy, found, curve, world),
    }


def prove(world: str, academies: int) -> Judged:
    """Judge some academies of a world; academies take the world's true balls in turn.

    Returns
    -------
    dict of DataFrame
        By the names in `JUDGED` but practice, straightness of worlds that bend drives alone, each with the columns world, true_ball and academy in front; of the
        coach's own worlds by those in `FRAMES`.
    """
    found: list[Judged] = []
    drawn = WORLDS.get(world) or COACH_WORLDS[world]
    curves = {ball: true_curve(drawn, ball) for ball in drawn.balls}
    for number in range(academies):
        ball = drawn.balls[number % len(drawn.balls)]
        seed = zlib.crc32(f"{world} {number}".encode())
        academy = make_academy(drawn, ball, seed)
        with tempfile.TemporaryDirectory() as folder:
            made = _run(academy, Path(folder), seed)
            if world in WORLDS:
                judged = judge_all(academy, made, curves[ball], world, seed)
            else:
                judged = judge_coach(academy, made, curves[ball], world)
        named = [pl.lit(world).alias("world"), pl.lit(ball).alias("true_ball"), pl.lit(number).alias("academy")]
        found.append({name: frame.select(*named, pl.all()) for name, frame in judged.items()})
        print(f"{world}: academy {number + 1} of {academies}", file=sys.stderr, flush=True)
    return together(found)


def together(found: list[Judged]) -> Judged:
    """Put frames of one name under each other; a name that some lack is of the others."""
    names = dict.fromkeys(name for one in found for name in one)
    return {name: pl.concat([one[name] for one in found if name in one], how="diagonal_relaxed") for name in names}


def run_task(task: Callable[[], Judged]) -> Judged:
    """Do it; for a pool of processes."""
    return task()


def _run(academy: Academy, folder: Path, seed: int) -> Found:
    write_study(academy, folder / "study", seed)
    return run_study(folder / "study", folder / "out")
