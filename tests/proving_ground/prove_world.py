"""Draw academies of one world, run the pipeline on each, hold what it found against the truth."""

import sys
import tempfile
import zlib
from pathlib import Path

import polars as pl
from academy import Academy, make_academy
from judge import judge_bands, judge_golfers, judge_held_out, oracle_curve, true_curve
from study_run import Found, run_study, write_study
from true_flight import BALLS
from worlds import WORLDS

JUDGED = ("bands", "golfers", "changes", "held_out")


def judge_changes(found: Found, golfers: pl.DataFrame) -> pl.DataFrame:
    """Hold changes between quarters against the true ones; one row per golfer and quarter with an earlier one."""
    true = golfers.select("golfer", "quarter", "true_lost_yd", "kind")
    before = true.select("golfer", pl.col("quarter").alias("since"), pl.col("true_lost_yd").alias("true_before_yd"))
    changes = found.golfers("changes.csv").join(true, on=["golfer", "quarter"]).join(before, on=["golfer", "since"])
    return changes.with_columns((pl.col("true_lost_yd") - pl.col("true_before_yd")).alias("true_change_yd"))


def prove(world: str, academies: int) -> dict[str, pl.DataFrame]:
    """Judge some academies of a world; academies take the three true balls in turn.

    Returns
    -------
    dict of DataFrame
        By the names in `JUDGED`, each with the columns world, ball and academy in front.
    """
    found: dict[str, list[pl.DataFrame]] = {name: [] for name in JUDGED}
    curves = {ball: true_curve(WORLDS[world], ball) for ball in BALLS}
    for number in range(academies):
        ball = list(BALLS)[number % len(BALLS)]
        seed = zlib.crc32(f"{world} {number}".encode())
        academy = make_academy(WORLDS[world], ball, seed)
        with tempfile.TemporaryDirectory() as folder:
            made = _run(academy, Path(folder), seed)
            oracle = oracle_curve(academy)
            golfers = judge_golfers(academy, made, curves[ball], oracle)
            judged = (
                judge_bands(academy, made, oracle),
                golfers,
                judge_changes(made, golfers),
                judge_held_out(academy, made, seed + 1),
            )
        named = [pl.lit(world).alias("world"), pl.lit(ball).alias("true_ball"), pl.lit(number).alias("academy")]
        for name, frame in zip(JUDGED, judged, strict=True):
            found[name].append(frame.select(*named, pl.all()))
        print(f"{world}: academy {number + 1} of {academies}", file=sys.stderr, flush=True)
    return {name: pl.concat(frames, how="diagonal_relaxed") for name, frames in found.items()}


def _run(academy: Academy, folder: Path, seed: int) -> Found:
    write_study(academy, folder / "study", seed)
    return run_study(folder / "study", folder / "out")
