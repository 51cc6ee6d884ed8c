"""What the proving ground measures: bias, error and coverage of every figure, each with its Monte Carlo error.

A measure is a mean over rows, or a ratio of two; its error takes the rows of an academy together.
"""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import polars as pl

PARTS = ("contact", "launch", "spin", "consistency", "other")
CAUSES = PARTS[:4]
FEW_SHOTS = 12
LARGE_YD, FLAG_YD = 15.0, 10.0
POWER_SHOTS = 20
BAND_GOLFERS = 12
NO_CHANGE_YD = 1e-6
CARRY, LOST = "efficient carry", "yards lost"
Judged = dict[str, pl.DataFrame]


class Value(NamedTuple):
    """A measure: its value, its Monte Carlo error (None of a single academy), how many rows it rests on.

    `share` says whether it is a share of rows, for which luck alone is known by the binomial law.
    """

    value: float | None
    std_error: float | None
    rows: int
    share: bool = False


def inside(value: str, lo: str, hi: str) -> pl.Expr:
    """Say whether a value lies in its interval."""
    return (pl.col(value) >= pl.col(lo)) & (pl.col(value) <= pl.col(hi))


def clustered_error(frame: pl.DataFrame, error: pl.Expr) -> float | None:
    """Give the standard error of a mean over rows of which those of an academy go together."""
    rows = frame.select("world", "academy", error.cast(pl.Float64).alias("e")).drop_nulls()
    if rows.select(pl.struct("world", "academy").n_unique()).item() < 2:
        return None
    sums = rows.with_columns(pl.col("e") - pl.col("e").mean()).group_by("world", "academy").agg(pl.col("e").sum())
    count = sums.height
    return float(np.sqrt(float((sums.get_column("e") ** 2).sum()) * count / (count - 1)) / rows.height)


def mean_of(frame: pl.DataFrame, value: pl.Expr, *, share: bool = False) -> Value:
    """Give the mean over rows; those without a value don't count."""
    known = frame.select("world", "academy", value.cast(pl.Float64).alias("value")).drop_nulls()
    if known.is_empty():
        return Value(None, None, 0, share)
    mean = float(known.get_column("value").to_numpy().mean())
    return Value(mean, clustered_error(known, pl.col("value")), known.height, share)


def root_of_means(frame: pl.DataFrame, over: str, under: str) -> Value:
    """Give the ratio of two root mean squares; its error by linear terms (the delta method)."""
    known = frame.select("world", "academy", over=pl.col(over) ** 2, under=pl.col(under) ** 2).drop_nulls()
    if known.is_empty():
        return Value(None, None, 0)
    below = float(known.get_column("under").to_numpy().mean())
    ratio = float(known.get_column("over").to_numpy().mean()) / below
    error = clustered_error(known, (pl.col("over") - ratio * pl.col("under")) / below)
    root = float(np.sqrt(ratio))
    return Value(root, None if error is None else error / (2 * root), known.height)


def full_bands(judged: Judged) -> pl.DataFrame:
    """Keep the bands with twelve golfers or more."""
    return judged["bands"].filter(pl.col("golfers") >= BAND_GOLFERS)


def assessed(judged: Judged) -> pl.DataFrame:
    """Keep the golfers that were assessed."""
    return judged["golfers"].filter(pl.col("status") != "not_assessed")


def in_full_bands(golfers: pl.DataFrame) -> pl.DataFrame:
    """Keep the golfers of bands with twelve golfers or more in that academy and quarter, with `band_mph`."""
    band = pl.col("club_speed_mph").add(5).floordiv(10).mul(10)
    together = pl.len().over("world", "academy", "quarter", "band_mph")
    return golfers.with_columns(band.alias("band_mph")).filter(together >= BAND_GOLFERS)


def figure(
    rows: pl.DataFrame, what: str, estimate: str, truth: str, lo: str, hi: str, oracle: str
) -> dict[str, object]:
    """Sum up one kind of figure: bias with its standard error, root mean square error, coverage, the oracle's."""
    error, best = pl.col(estimate) - pl.col(truth), pl.col(oracle) - pl.col(truth)
    found = rows.select(
        pl.len().alias("count"),
        error.mean().alias("bias_yd"),
        (error**2).mean().sqrt().alias("rmse_yd"),
        inside(truth, lo, hi).mean().alias("coverage90"),
        best.mean().alias("oracle_bias_yd"),
        (best**2).mean().sqrt().alias("oracle_rmse_yd"),
    ).row(0, named=True)
    return {"figure": what, **found, "bias_std_error_yd": clustered_error(rows, error)}


def figures(judged: Judged) -> pl.DataFrame:
    """Sum up efficient carry (all bands and each), yards lost (all golfers and each kind)."""
    bands, golfers = full_bands(judged), assessed(judged)
    of_band = ("estimate", "truth", "lo", "hi", "oracle")
    of_golfer = ("lost_yd", "true_lost_yd", "lost_lo90_yd", "lost_hi90_yd", "oracle_lost_yd")
    rows = [figure(bands, CARRY, *of_band)]
    for (mph,), part in _groups(bands, "band_mph"):
        rows.append(figure(part, f"{CARRY}, {mph:g} mph", *of_band))
    rows.append(figure(golfers, LOST, *of_golfer))
    for (mph,), part in _groups(in_full_bands(golfers), "band_mph"):
        rows.append(figure(part, f"{LOST}, {mph:g} mph", *of_golfer))
    for (kind,), part in _groups(golfers, "kind"):
        rows.append(figure(part, f"{LOST}, fault: {kind}", *of_golfer))
    return pl.DataFrame(rows, infer_schema_length=None)


def _groups(rows: pl.DataFrame, by: str) -> Iterable[tuple[tuple[object, ...], pl.DataFrame]]:
    return rows.sort(by, maintain_order=True).group_by(by, maintain_order=True)


def band_biases(judged: Judged) -> dict[str, dict[float, Value]]:
    """Give the bias of efficient carry and of yards lost in every band with twelve golfers or more."""
    errors = {
        CARRY: (full_bands(judged), pl.col("estimate") - pl.col("truth")),
        LOST: (in_full_bands(assessed(judged)), pl.col("lost_yd") - pl.col("true_lost_yd")),
    }
    return {
        what: {float(mph): mean_of(part, error) for (mph,), part in _groups(rows, "band_mph")}  # type: ignore[arg-type]
        for what, (rows, error) in errors.items()
    }


def measures(judged: Judged) -> dict[str, Value]:
    """Work out every measure that a target is set for, but those of single bands."""
    bands, golfers, changes, held = full_bands(judged), assessed(judged), judged["changes"], judged["held_out"]
    lost_error = pl.col("lost_yd") - pl.col("true_lost_yd")
    change = ("true_change_yd", "lost_change_lo90_yd", "lost_change_hi90_yd")
    same = changes.filter(pl.col("true_change_yd").abs() < NO_CHANGE_YD)
    told = changes.filter(pl.col("more_than_chance") & (pl.col("world") == "changed"))
    strong = golfers.filter((pl.col("true_lost_yd") >= LARGE_YD) & (pl.col("shots") >= POWER_SHOTS))
    return {
        "held_out_rmse_ratio": root_of_means(held, "rmse_yd", "oracle_rmse_yd"),
        "held_out_readings_ratio": root_of_means(held, "rmse_yd", "readings_rmse_yd"),
        "held_out_least_ratio": root_of_means(held, "rmse_yd", "least_rmse_yd"),
        "efficient_bias_yd": mean_of(bands, pl.col("estimate") - pl.col("truth")),
        # Of every band that has one: an interval has to hold however few golfers there are.
        "efficient_coverage90": mean_of(judged["bands"], inside("truth", "lo", "hi"), share=True),
        "lost_bias_yd": mean_of(golfers, lost_error),
        "lost_coverage90": mean_of(golfers, inside("true_lost_yd", "lost_lo90_yd", "lost_hi90_yd"), share=True),
        "window_true_share": mean_of(bands, pl.col("window_true_share")),
        "window_size_share": mean_of(bands, pl.col("window_size_share")),
        "window_missing": mean_of(bands, pl.col("window_true_share").is_null(), share=True),
        **{
            f"{part}_bias_yd": mean_of(golfers, pl.col(f"lost_{part}_yd") - pl.col(f"true_{part}_yd")) for part in PARTS
        },
        "cause_right": mean_of(planted(golfers), pl.col("main_cause").eq_missing(pl.col("kind")), share=True),
        "false_flags": mean_of(golfers.filter("flagged"), pl.col("true_lost_yd") <= FLAG_YD, share=True),
        "power": mean_of(strong, pl.col("flagged"), share=True),
        **ranking(judged),
        "null_change_coverage90": mean_of(same, inside(*change), share=True),
        "null_change_found": mean_of(same, pl.col("more_than_chance"), share=True),
        "null_academies_told": mean_of(academies_told(judged), pl.col("told"), share=True),
        "change_coverage90": mean_of(changes, inside(*change), share=True),
        "false_changes": mean_of(told, pl.col("true_change_yd").abs() < 0.5, share=True),
        "assessed": mean_of(judged["golfers"], pl.col("status") != "not_assessed", share=True),
    }


def planted(golfers: pl.DataFrame) -> pl.DataFrame:
    """Keep golfers whose planted fault costs them enough to be named.

    A fault shows when 15 yd or more are lost. Mishits cost less: golfers whose fault they are count when they lose
    10 yd or are flagged. Without ball speed nobody can tell how a ball was struck, so a contact fault can't be named.
    """
    large = pl.col("true_lost_yd") >= LARGE_YD
    mishits = (pl.col("kind") == "consistency") & (pl.col("flagged") | (pl.col("true_lost_yd") >= FLAG_YD))
    unseen = (pl.col("kind") == "contact") & pl.col("lost_contact_yd").is_null()
    return golfers.filter(pl.col("kind").is_in(CAUSES) & (large | mishits) & ~unseen)


def academies_told(judged: Judged) -> pl.DataFrame:
    """Say of each academy where nothing changed whether anything is told to have changed, by any of the two tables.

    Told is: a change more than chance in changes.csv, or carry or yards lost better or worse in progress.csv.
    """
    keys = ["world", "academy"]
    same = judged["changes"].group_by(keys, maintain_order=True).agg(
        (pl.col("true_change_yd").abs() < NO_CHANGE_YD).all().alias("same"), pl.col("more_than_chance").any()
    )  # fmt: skip
    if "progress" not in judged:
        return same.filter("same").with_columns(told=pl.col("more_than_chance"))
    seen = judged["progress"].filter(pl.col("figure").is_in(["carry", "lost"]))
    verdicts = seen.group_by(keys).agg(pl.col("verdict").is_in(["better", "worse"]).any().alias("seen"))
    both = same.filter("same").join(verdicts, on=keys, how="left", maintain_order="left")
    return both.with_columns(told=pl.col("more_than_chance") | pl.col("seen").fill_null(value=False))


def ranking(judged: Judged) -> dict[str, Value]:
    """Measure shrunk yards lost on golfers with few drives: error against the raw ones', coverage, flags by luck."""
    few = judged["golfers"].filter((pl.col("shots") < FEW_SHOTS) & pl.col("ranked_lost_yd").is_not_null())
    errors = few.with_columns(
        raw=pl.col("lost_yd") - pl.col("true_lost_yd"), shrunk=pl.col("ranked_lost_yd") - pl.col("true_lost_yd")
    )
    return {
        "few_shots_rmse_ratio": root_of_means(errors, "shrunk", "raw"),
        "few_shots_coverage90": mean_of(few, inside("true_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd"), share=True),
        "few_shots_flagged": mean_of(few, pl.col("flagged"), share=True),
    }


def device_leak(judged: Judged) -> pl.DataFrame:
    """Measure how far parts differ in error between the two devices where these disagree about carry."""
    golfers = assessed(judged).filter(pl.col("world") == "devices-disagree")
    rows = []
    for part in PARTS[:3] if golfers.height else ():
        error = pl.col(f"lost_{part}_yd") - pl.col(f"true_{part}_yd")
        by = golfers.group_by("device").agg(error.mean().alias("e"), (error.var() / pl.len()).alias("v")).sort("device")
        gap, variances = by["e"].to_list(), by["v"].to_numpy()
        rows.append({"part": part, "difference_yd": gap[1] - gap[0], "std_error_yd": float(np.sqrt(variances.sum()))})
    return pl.DataFrame(rows, schema={"part": pl.String, "difference_yd": pl.Float64, "std_error_yd": pl.Float64})
