"""What a change of loft or attack brings, held against true impact and true flight.

`python tests/proving_ground/coach_delivery.py SLOPES ACADEMIES` judges that many academies of each world: the slopes
alone, which need no fit of carry, and whole runs.
"""

import contextlib
import io
import sys
import tempfile
import zlib
from pathlib import Path

import numpy as np
import polars as pl
from academy import Academy, make_academy
from measures import clustered_error, inside
from study_run import Found, run_study, write_study
from targets import Target, table_of, verdict
from true_flight import Array, carry_yd
from true_impact import change_of_loft, leave_after, own_slopes
from worlds import SWING_WORLDS, World

from pipeline.coach.delivery import advise_delivery
from pipeline.coach.delivery.advice import KEEP_THE_LOFT
from pipeline.coach.delivery.loft_change import ATTACK_CHANGE_DEG, LOFT_STEPS_DEG
from pipeline.coach.delivery.slopes import RESPONSES, fit_delivery, slopes_table
from pipeline.coach.delivery.sums import Sums, cell_sums
from pipeline.drives import typical_drives

MIN_SHOTS = 12
# Sizes to tell slopes of launch, spin and ratio in one figure: their true slopes on loft, or so.
SIZES = {"launch_deg": 0.8, "spin_rpm": 190.0, "speed_ratio": 0.007}

TARGETS = (
    Target("slope on attack within golfers: bias, of what loft does", "attack_slope_bias", -0.05, 0.05, 3),
    Target("the same: 90 % intervals that hold the truth", "attack_slope_coverage90", 0.87, 0.93, 3),
    Target("slope on loft within golfers: bias, of what loft does", "loft_slope_bias", -0.05, 0.05, 3),
    Target("the same: 90 % intervals that hold the truth", "loft_slope_coverage90", 0.87, 0.93, 3),
    Target("naive slope of launch on attack, all drives together: bias at least, deg/deg", "naive_bias", 0.1, None, 3),
    Target("gain by a change of loft: bias, yd", "gain_bias_yd", -1.5, 1.5),
    Target("the same: 90 % intervals that hold the truth", "gain_coverage90", 0.87, 0.93, 3),
    Target("carry missed by another change of loft than the true best, yd", "missed_yd", None, 1.0),
    Target("more or less loft advised: truly a gain", "advice_right", 0.95, None, 3),
    Target("gain by more attack on top: bias, yd", "attack_gain_bias_yd", -1.5, 1.5),
    Target("the same: 90 % intervals that hold the truth", "attack_gain_coverage90", 0.87, 0.93, 3),
)  # fmt: skip


def readings(academy: Academy) -> pl.DataFrame:
    """Give an academy's drives as the pipeline's steps would have them, with names for pseudonyms."""
    whose = academy.golfers.with_row_index("row").select(pl.col("row").cast(pl.Int64), "quarter")
    drives = academy.drives.join(whose, on="row", maintain_order="left")
    return drives if academy.world.ball_speed else drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))


def true_slopes(academy: Academy) -> dict[str, Array]:
    """Give the true mean slopes over drives, at the golfers' mean club speed, on attack and on stated loft."""
    golfers = academy.golfers
    speed, shots = golfers.get_column("club_speed_mph").to_numpy(), golfers.get_column("shots").to_numpy()
    scale = np.ones((golfers.height, 3))
    scale[:, 1] = np.average(speed) / speed
    h = 0.05
    by_loft = change_of_loft(golfers, np.full(golfers.height, h)) / h
    swaps = golfers.get_column("swaps").to_numpy() * shots
    found = {"attack_deg": np.average(own_slopes(golfers) * scale, axis=0, weights=shots)}
    if swaps.any():
        found["loft_deg"] = np.average(by_loft * scale, axis=0, weights=swaps)
    return found


def judge_slopes(academy: Academy) -> pl.DataFrame:
    """Hold slopes against the truth; one row per response and predictor, the naive slope over all drives beside it."""
    drives = readings(academy)
    typical = typical_drives(drives, ["golfer", "quarter"])
    sums = Sums.of(
        cell_sums(
            drives, typical.with_columns((pl.col("club_speed_mph") * pl.col("speed_ratio")).alias("ball_speed_mph"))
        )
    )
    table = slopes_table(sums, fit_delivery(sums))
    naive = drives.select(
        launch_deg=pl.cov("attack_deg", "launch_deg") / pl.col("attack_deg").var(),
        spin_rpm=pl.cov("attack_deg", "spin_rpm") / pl.col("attack_deg").var(),
        speed_ratio=pl.cov("attack_deg", pl.col("ball_speed_mph") / pl.col("club_speed_mph"))
        / pl.col("attack_deg").var(),
    ).row(0, named=True)
    rows = [
        {"response": response, "predictor": predictor, "truth": truth, "naive": naive[response]}
        for predictor, values in true_slopes(academy).items()
        for response, truth in zip(RESPONSES, values.tolist(), strict=True)
    ]
    within = table.filter(pl.col("scope") == "within").drop("scope")
    between = table.filter(pl.col("scope") == "between").select("response", "predictor", between="slope")
    return (
        pl.DataFrame(rows)
        .join(within, on=["response", "predictor"], maintain_order="left")
        .join(between, on=["response", "predictor"], maintain_order="left")
    )


def advise(found: Found) -> None:
    """Run the step on an academy's results, its message swallowed."""
    made = {"drives": "drives.parquet", "model": "model.json", "replicates": "replicates.npz"}
    made |= {
        "frontier": "frontier.json",
        "golfers": "golfers.csv",
        "slopes": "delivery_slopes.csv",
        "delivery": "delivery.csv",
    }
    with contextlib.redirect_stdout(io.StringIO()):
        advise_delivery.run(**{k: str(found.folder / v) for k, v in made.items()}, min_shots=MIN_SHOTS)


def judge_delivery(academy: Academy, found: Found) -> pl.DataFrame:
    """Hold what a change brings against true impact and flight; one row per golfer with a figure."""
    told = found.golfers("delivery.csv").filter(pl.col("gain_yd").is_not_null())
    true = told.join(academy.usual, on=["golfer", "quarter"], maintain_order="left", suffix="_true")
    true = true.with_columns(launch_deg=pl.col("launch_deg_true"), attack_deg=pl.col("attack_deg_true"))
    true = true.with_columns(club_speed_mph=pl.col("club_speed_mph_true"))

    def carry(loft_deg: Array, attack_deg: float = 0.0) -> Array:
        """Fly the true typical drives after changes of stated loft, shape (golfers, ...), and of attack."""
        speed, ratio, launch, spin = (
            true.get_column(c).to_numpy().reshape((-1,) + (1,) * (loft_deg.ndim - 1))
            for c in ("club_speed_mph", "usual_ratio", "usual_launch_deg", "usual_spin_rpm")
        )
        move = leave_after(true, loft_deg, attack_deg) - leave_after(true, 0.0 * loft_deg)
        return np.asarray(
            carry_yd(academy.ball, speed * (ratio + move[..., 2]), launch + move[..., 0], spin + move[..., 1])
            * (1 + academy.reference_share)
        )

    change, top = (told.get_column(c).to_numpy() for c in ("loft_change_deg", "attack_loft_change_deg"))
    now, best = carry(np.zeros(len(change))), carry(change)
    trials = carry(np.broadcast_to(LOFT_STEPS_DEG, (len(change), len(LOFT_STEPS_DEG))))
    least, most = (told.get_column(c).to_numpy()[:, None] for c in ("loft_least_deg", "loft_most_deg"))
    reached = (least <= LOFT_STEPS_DEG) & (most >= LOFT_STEPS_DEG)
    most_yd = np.where(reached, trials, -np.inf).max(axis=1)
    by_attack = carry(np.nan_to_num(top.astype(float)), ATTACK_CHANGE_DEG) - best
    return told.with_columns(
        kind=true.get_column("kind"),
        true_carry_now_yd=now,
        true_gain_yd=best - now,
        true_missed_yd=most_yd - best,
        true_attack_gain_yd=by_attack,
    )


def measures(slopes: pl.DataFrame, golfers: pl.DataFrame) -> dict[str, float | None]:
    """Work out what `TARGETS` are set for, from rows with world and academy in front."""
    size = pl.col("response").replace_strict(SIZES)
    found: dict[str, float | None] = {}
    for name in ("attack", "loft"):
        rows = slopes.filter((pl.col("predictor") == f"{name}_deg") & pl.col("slope").is_not_null())
        found[f"{name}_slope_bias"] = _worst(rows, (pl.col("slope") - pl.col("truth")) / size)
        found[f"{name}_slope_coverage90"] = _mean(rows, inside("truth", "lo90", "hi90"))
    launch = slopes.filter((pl.col("predictor") == "attack_deg") & (pl.col("response") == "launch_deg"))
    found["naive_bias"] = _mean(launch, (pl.col("naive") - pl.col("truth")).abs())
    changed = golfers.filter(pl.col("loft_change_deg") != 0)
    found["gain_bias_yd"] = _mean(changed, pl.col("gain_yd") - pl.col("true_gain_yd"))
    found["gain_coverage90"] = _mean(changed, inside("true_gain_yd", "gain_lo90_yd", "gain_hi90_yd"))
    found["missed_yd"] = _mean(golfers, pl.col("true_missed_yd"))
    found["advice_right"] = _mean(golfers.filter(pl.col("advice") != KEEP_THE_LOFT), pl.col("true_gain_yd") > 0)
    top = golfers.filter(pl.col("attack_gain_yd").is_not_null())
    found["attack_gain_bias_yd"] = _mean(top, pl.col("attack_gain_yd") - pl.col("true_attack_gain_yd"))
    found["attack_gain_coverage90"] = _mean(
        top, inside("true_attack_gain_yd", "attack_gain_lo90_yd", "attack_gain_hi90_yd")
    )
    return found


def _mean(rows: pl.DataFrame, value: pl.Expr) -> float | None:
    found = rows.select(value.cast(pl.Float64).mean()).item() if rows.height else None
    return None if found is None else float(found)


def _worst(rows: pl.DataFrame, value: pl.Expr) -> float | None:
    means = rows.group_by("response").agg(value.mean().alias("mean")).get_column("mean").to_list()
    return max(means, key=abs) if means else None


def drawn(name: str, world: World, number: int) -> tuple[Academy, int]:
    """Draw an academy of a world; academies take the world's true balls in turn."""
    seed = zlib.crc32(f"swing {name} {number}".encode())
    return make_academy(world, world.balls[number % len(world.balls)], seed), seed


def prove_delivery(name: str, slopes: int, academies: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Judge some academies of a world: slopes of so many, whole runs of the first of them.

    Returns
    -------
    tuple of DataFrame
        From `judge_slopes` and `judge_delivery`, each with world and academy in front. Whole runs leave out the worlds
        where golfers have two lofts, whose typical drive is of neither.
    """
    of_slopes, of_golfers = [], []
    for number in range(slopes):
        academy, seed = drawn(name, SWING_WORLDS[name], number)
        named = [pl.lit(name).alias("world"), pl.lit(number).alias("academy")]
        of_slopes.append(judge_slopes(academy).select(*named, pl.all()))
        if number < academies and not academy.world.loft_swaps:
            with tempfile.TemporaryDirectory() as folder:
                write_study(academy, Path(folder) / "study", seed)
                found = run_study(Path(folder) / "study", Path(folder) / "out")
                advise(found)
                golfers = judge_delivery(academy, found)
            of_golfers.append(golfers.select(*named, pl.all()))
    golfers = pl.concat(of_golfers, how="diagonal_relaxed") if of_golfers else pl.DataFrame()
    return pl.concat(of_slopes, how="diagonal_relaxed"), golfers


def targets_table(found: dict[str, float | None]) -> pl.DataFrame:
    """Hold measures against `TARGETS`."""
    rows = [{"what": t.what, "measured": found[t.measure], "verdict": verdict(found[t.measure], t)} for t in TARGETS]
    return pl.DataFrame(rows, infer_schema_length=None)


if __name__ == "__main__":
    parts = [prove_delivery(name, int(sys.argv[1]), int(sys.argv[2])) for name in SWING_WORLDS]
    all_slopes = pl.concat([part[0] for part in parts], how="diagonal_relaxed")
    all_golfers = pl.concat([part[1] for part in parts if part[1].height], how="diagonal_relaxed")
    if len(sys.argv) > 3:
        all_slopes.write_parquet(Path(sys.argv[3]) / "slopes.parquet")
        all_golfers.write_parquet(Path(sys.argv[3]) / "delivery.parquet")
    print(table_of(targets_table(measures(all_slopes, all_golfers))))
    gain = pl.col("gain_yd") - pl.col("true_gain_yd")
    print("standard error of the gain's bias, yd:", clustered_error(all_golfers, gain))
