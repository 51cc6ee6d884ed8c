"""Progress on academies of known truth: changes, their intervals and verdicts, with and without a form of the day.

A null academy (nothing changes) and one in which half of the golfers change, each with golfers who play on a few days
and with drives that share what the day adds. Pure functions but `study`, which runs the steps in a temporary folder.
"""

import contextlib
import io
import tempfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl
from academy import QUARTERS, Academy, make_academy
from judge import Curve, golfer_truth, true_curve
from study_run import Found, run_study, write_study
from targets import Target
from true_flight import Array, carry_yd
from worlds import MANY_DAYS, World

from pipeline.coach.progress import assess_progress
from pipeline.statistics.shapley import exchange

MEASURES = {
    "club_speed": "_mph",
    "speed_ratio": "",
    "launch": "_deg",
    "spin": "_rpm",
    "carry": "_yd",
    "lost": "_yd",
}
PARTS = ("speed", "delivery")
RATE, MIN_GOLFERS = 0.10, 5
NIL = 1e-6  # a true change below it is none
TOLD = ("better", "worse", "changed")

# What a day adds to all drives of it (standard deviations), and what the golfers who change gain: assumptions.
FORM = {"club_speed_mph": 0.8, "speed_ratio": 0.006, "launch_deg": 0.6, "spin_rpm": 90.0}
GAIN = {"club_speed_mph": 3.0, "speed_ratio": 0.02, "launch_deg": 2.0, "spin_rpm": -350.0}


@dataclass(frozen=True)
class Case:
    """An academy's kind: days of a golfer and quarter (fewest, most), form of the day, share of golfers who change."""

    days: tuple[int, int] = (1, 4)
    form: float = 1.0
    changed: float = 0.0
    world: World = MANY_DAYS


CASES = {
    "nothing changed": Case(form=0.0),
    "nothing changed, form of the day": Case(),
    "half changed": Case(form=0.0, changed=0.5),
    "half changed, form of the day": Case(changed=0.5),
}


def with_days(academy: Academy, case: Case, rng: np.random.Generator) -> Academy:
    """Put an academy's drives on a few days, add what the days and the second quarter's changes add, fly them anew.

    Needs a world at sea level in standard air: readings keep their errors, carry moves as true flight does.
    """
    rows = academy.golfers.height
    names = academy.golfers.get_column("golfer").unique().sort()
    who = pl.Series(names).sample(int(case.changed * len(names)), seed=int(rng.integers(1 << 31)))
    gains = (pl.col("golfer").is_in(who.implode())) & (pl.col("quarter") == QUARTERS[1])
    golfers = academy.golfers.with_columns(
        pl.col("club_speed_mph") + gains * GAIN["club_speed_mph"],
        *((pl.col(name) + gains * GAIN[name]) for name in FORM if name != "club_speed_mph"),
    )
    moved = {name: (golfers.get_column(name) - academy.golfers.get_column(name)).to_numpy() for name in FORM}
    row = academy.drives.get_column("row").to_numpy()
    day = rng.integers(0, rng.integers(case.days[0], case.days[1] + 1, rows)[row])
    luck = {name: case.form * sd * rng.standard_normal((rows, case.days[1])) for name, sd in FORM.items()}
    add = {name: moved[name][row] + luck[name][row, day] for name in FORM}
    old = {name: academy.drives.get_column(f"true_{name}").to_numpy() for name in ("club_mph", "ball_mph")}
    club = old["club_mph"] + add["club_speed_mph"]
    ball = club * (old["ball_mph"] / old["club_mph"] + add["speed_ratio"])
    launch = np.clip(academy.drives.get_column("true_launch_deg").to_numpy() + add["launch_deg"], 2.5, 33)
    spin = np.clip(academy.drives.get_column("true_spin_rpm").to_numpy() + add["spin_rpm"], 600, 9500)
    carry = carry_yd(academy.ball, ball, launch, spin)
    true = {"club_mph": club, "ball_mph": ball, "launch_deg": launch, "spin_rpm": spin, "carry_yd": carry}
    read = {"club_mph": "club_speed_mph", "ball_mph": "ball_speed_mph"}
    ratio = (
        (pl.col(read.get(name, name)) * pl.Series(values) / pl.col(f"true_{name}")).alias(read.get(name, name))
        for name, values in true.items()
        if name != "launch_deg"
    )
    first = np.array(
        [f"2026-{1 + 3 * QUARTERS.index(q):02d}-02" for q in golfers.get_column("quarter")], "datetime64[D]"
    )
    at = first[row] + 7 * day
    # Each drive keeps its time of day: two drives of a golfer at one second would count as one.
    time = pl.col("struck_at") - pl.col("struck_at").dt.truncate("1d")
    drives = academy.drives.with_columns(
        *ratio,
        pl.col("launch_deg") + pl.Series(launch) - pl.col("true_launch_deg"),
        (pl.Series(at.astype("datetime64[ms]")) + time).alias("struck_at"),
    ).with_columns(pl.Series(f"true_{name}", values) for name, values in true.items())
    return replace(academy, golfers=golfers, drives=drives)


def run_progress(found: Found) -> None:
    """Run the step on an academy's results, its message swallowed."""
    at = {
        keyword: str(found.folder / name)
        for keyword, name in (
            ("drives", "drives.parquet"),
            ("model", "model.json"),
            ("frontier", "frontier.json"),
            ("replicates", "replicates.npz"),
            ("efficient_replicates", "efficient_replicates.npz"),
            ("devices", "devices.json"),
            ("golfers", "golfers.csv"),
            ("changes", "changes.csv"),
            ("progress", "progress.csv"),
            ("cohorts", "cohorts.csv"),
        )
    }
    with contextlib.redirect_stdout(io.StringIO()):
        assess_progress.run(**at, false_discovery_rate=RATE, min_golfers=MIN_GOLFERS)


def true_figures(academy: Academy, curve: Curve) -> pl.DataFrame:
    """Give the true figures of each golfer and quarter: golfer, quarter and the measures' columns."""
    return golfer_truth(academy, curve).select(
        "golfer",
        "quarter",
        "club_speed_mph",
        pl.col("usual_ratio").alias("speed_ratio"),
        pl.col("usual_launch_deg").alias("launch_deg"),
        pl.col("usual_spin_rpm").alias("spin_rpm"),
        pl.col("mean_carry_yd").alias("carry_yd"),
        pl.col("true_lost_yd").alias("lost_yd"),
    )


def judge_progress(academy: Academy, found: Found, curve: Curve) -> pl.DataFrame:
    """Hold changes and parts against the truth.

    Returns
    -------
    DataFrame
        One row per golfer and measure or part: figure, estimate, lo, hi, verdict (null for a part), truth, and gap:
        how far the parts are from adding up to the change in carry, yd.
    """
    true = true_figures(academy, curve)
    before = true.rename({name: f"{name}_then" for name in true.columns if name != "golfer"})
    both = found.golfers("progress.csv").join(true, on=["golfer", "quarter"], maintain_order="left")
    both = both.join(before.rename({"quarter_then": "since"}), on=["golfer", "since"], maintain_order="left")
    both = both.with_columns(_true_parts(academy, both))
    gap = pl.sum_horizontal(f"carry_from_{part}_yd" for part in ("speed", "delivery", "other")) - pl.col(
        "carry_change_yd"
    )
    frames = []
    for name, unit in MEASURES.items():
        edges = (f"{name}_change{unit}", f"{name}_change_lo90{unit}", f"{name}_change_hi90{unit}")
        truth = pl.col(name + unit) - pl.col(f"{name}{unit}_then")
        frames.append(_rows(both, name, edges, truth, pl.col(f"{name}_verdict").cast(pl.String), gap))
    for part in PARTS:
        edges = tuple(f"carry_from_{part}{edge}_yd" for edge in ("", "_lo90", "_hi90"))
        frames.append(
            _rows(both, f"carry from {part}", edges, pl.col(f"true_{part}_yd"), pl.lit(None, dtype=pl.String), gap)
        )
    return pl.concat(frames)


def _rows(
    both: pl.DataFrame, figure: str, edges: Sequence[str], truth: pl.Expr, verdict: pl.Expr, gap: pl.Expr
) -> pl.DataFrame:
    named = (
        pl.col(edge).cast(pl.Float64).alias(name) for edge, name in zip(edges, ("estimate", "lo", "hi"), strict=True)
    )
    return both.select(
        "golfer",
        pl.lit(figure).alias("figure"),
        *named,
        truth.alias("truth"),
        verdict.alias("verdict"),
        gap.alias("gap"),
    )


def _true_parts(academy: Academy, both: pl.DataFrame) -> list[pl.Series]:
    """Share the true change in carry out between speed and delivery, by true flight."""
    scale = 1 + academy.reference_share

    def flown(v: Array, ratio: Array, launch: Array, spin: Array) -> Array:
        return carry_yd(academy.ball, v * ratio, launch, spin) * scale

    names = ("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm")
    now, then = ([both.get_column(f"{name}{end}").to_numpy() for name in names] for end in ("", "_then"))
    speed = exchange(flown, now, then)[0]
    change = (both.get_column("carry_yd") - both.get_column("carry_yd_then")).to_numpy()
    return [pl.Series("true_speed_yd", speed), pl.Series("true_delivery_yd", change - speed)]


def study(case: str, academies: int, first: int = 0) -> pl.DataFrame:
    """Draw academies of a kind, run the pipeline on each, judge its progress; balls take turns.

    Returns
    -------
    DataFrame
        The rows of `judge_progress` with case and academy in front.
    """
    frames = []
    for number in range(first, first + academies):
        kind = CASES[case]
        ball = kind.world.balls[number % len(kind.world.balls)]
        seed = zlib.crc32(f"progress {case} {number}".encode())
        academy = with_days(make_academy(kind.world, ball, seed), kind, np.random.default_rng([seed, 1]))
        with tempfile.TemporaryDirectory() as folder:
            write_study(academy, Path(folder) / "study", seed)
            found = run_study(Path(folder) / "study", Path(folder) / "out")
            run_progress(found)
            rows = judge_progress(academy, found, true_curve(kind.world, ball))
        frames.append(rows.select(pl.lit(case).alias("case"), pl.lit(number).alias("academy"), pl.all()))
    return pl.concat(frames)


def figures(rows: pl.DataFrame) -> pl.DataFrame:
    """Sum up each figure of each case: bias, coverage, shares told, wrongly told and of changes told.

    Returns
    -------
    DataFrame
        case, figure, count, bias, rmse, coverage90, told (share of verdicts but chance), named (share of academies with
        any told), false_told (of golfers told, the share that didn't change or changed the other way, in the mean over
        academies) and found (of golfers who changed, the share told).
    """
    truth, told = pl.col("truth"), pl.col("verdict").is_in(TOLD)
    same = truth.abs() < NIL
    # More of a figure is better, but of yards lost less; launch and spin have no direction of their own here.
    sign = pl.when(pl.col("figure") == "lost").then(-1).otherwise(1)
    against = pl.col("figure").is_in(["club_speed", "speed_ratio", "carry", "lost"]) & (
        ((pl.col("verdict") == "better") & (sign * truth < 0)) | ((pl.col("verdict") == "worse") & (sign * truth > 0))
    )
    by = ["case", "figure"]
    marked = rows.with_columns(told=told, wrong=told & (same | against), changed=~same)
    academies = marked.group_by(*by, "academy", maintain_order=True).agg(
        pl.col("told").any().alias("named"),
        (pl.col("wrong").sum() / pl.max_horizontal(pl.col("told").sum(), 1)).alias("false_told"),
    )
    error = pl.col("estimate") - truth
    whole = marked.group_by(by).agg(
        pl.len().alias("count"),
        error.mean().alias("bias"),
        (error**2).mean().sqrt().alias("rmse"),
        truth.is_between("lo", "hi").mean().alias("coverage90"),
        pl.col("told").mean(),
        pl.col("told").filter("changed").mean().alias("found"),
    )
    return whole.join(academies.group_by(by).agg(pl.col("named", "false_told").mean()), on=by).sort(by)


def measures(rows: pl.DataFrame) -> dict[str, float | None]:
    """Work out every measure that a target is set for; None where there is nothing to measure it on.

    Of other cases than `CASES` changes and parts are measured alone.
    """
    null = rows.filter(pl.col("case").str.starts_with("nothing") & pl.col("verdict").is_not_null())
    half = rows.filter(pl.col("case").str.starts_with("half") & pl.col("verdict").is_not_null())
    # With and without form together: of single kinds the worst of six measures would be luck.
    half = figures(
        half.with_columns(pl.lit("half").alias("case"), pl.format("{} {}", "case", "academy").alias("academy"))
    )
    held = pl.col("truth").is_between("lo", "hi")
    formed = pl.col("case").str.ends_with("form of the day")
    changed = pl.col("verdict").is_not_null()
    return {
        "progress_coverage90": _mean(rows.filter(changed & ~formed), held),
        "progress_form_coverage90": _mean(rows.filter(changed & formed), held),
        "progress_speed_part_coverage90": _mean(rows.filter(pl.col("figure") == "carry from speed"), held),
        "progress_delivery_part_coverage90": _mean(rows.filter(pl.col("figure") == "carry from delivery"), held),
        "progress_null_told": _mean(null.filter(~formed), pl.col("verdict").is_in(TOLD)),
        "progress_form_null_told": _mean(null.filter(formed), pl.col("verdict").is_in(TOLD)),
        "progress_false_told": None if half.is_empty() else float(half["false_told"].max()),
        "progress_gap_yd": float(rows["gap"].abs().max()) if rows.height else None,
    }


def _mean(rows: pl.DataFrame, value: pl.Expr) -> float | None:
    found = rows.select(value.cast(pl.Float64).mean()).item() if rows.height else None
    return None if found is None else float(found)


TARGETS = (
    Target("progress: 90 % intervals of changes that hold the truth", "progress_coverage90", 0.87, 0.93, 3),
    Target("the same where days have a form", "progress_form_coverage90", 0.87, 0.93, 3),
    Target("carry gained by speed: intervals that hold the truth", "progress_speed_part_coverage90", 0.87, 0.93, 3),
    Target("carry gained by delivery: the same", "progress_delivery_part_coverage90", 0.87, 0.93, 3),
    Target("nothing changed: share told better, worse or changed", "progress_null_told", None, 0.10, 3),
    Target("the same where days have a form", "progress_form_null_told", None, 0.10, 3),
    Target("half changed: of those told, share told wrongly, worst measure", "progress_false_told", None, 0.10, 3),
    Target("parts of the carry gained: largest gap to the change, yd", "progress_gap_yd", None, 1e-6, 7),
)  # fmt: skip
