"""What the proving ground measures: bias, error and coverage of every figure, and the oracle's beside them."""

from collections.abc import Iterable

import numpy as np
import polars as pl

PARTS = ("contact", "launch", "spin", "consistency", "other")
CAUSES = PARTS[:4]
FEW_SHOTS = 12
LARGE_YD, FLAG_YD = 15.0, 10.0
POWER_SHOTS = 20
BAND_GOLFERS = 12
Judged = dict[str, pl.DataFrame]


def inside(value: str, lo: str, hi: str) -> pl.Expr:
    """Say whether a value lies in its interval."""
    return (pl.col(value) >= pl.col(lo)) & (pl.col(value) <= pl.col(hi))


def clustered_error(frame: pl.DataFrame, error: pl.Expr) -> float | None:
    """Give the standard error of a mean over rows of which those of an academy go together."""
    rows = frame.select("world", "academy", error.alias("e")).drop_nulls()
    if rows.select(pl.struct("world", "academy").n_unique()).item() < 2:
        return None
    sums = rows.with_columns(pl.col("e") - pl.col("e").mean()).group_by("world", "academy").agg(pl.col("e").sum())
    count = sums.height
    return float(np.sqrt((sums.get_column("e") ** 2).sum() * count / (count - 1)) / rows.height)


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
    rows = [figure(bands, "efficient carry", *of_band)]
    for (mph,), part in _groups(bands, "band_mph"):
        rows.append(figure(part, f"efficient carry, {mph:g} mph", *of_band))
    rows.append(figure(golfers, "yards lost", *of_golfer))
    for (mph,), part in _groups(in_full_bands(golfers), "band_mph"):
        rows.append(figure(part, f"yards lost, {mph:g} mph", *of_golfer))
    for (kind,), part in _groups(golfers, "kind"):
        rows.append(figure(part, f"yards lost, fault: {kind}", *of_golfer))
    return pl.DataFrame(rows, infer_schema_length=None)


def _groups(rows: pl.DataFrame, by: str) -> Iterable[tuple[tuple[object, ...], pl.DataFrame]]:
    return rows.sort(by, maintain_order=True).group_by(by, maintain_order=True)


def measures(judged: Judged) -> dict[str, float | None]:
    """Work out every measure that a target is set for; None where there is nothing to measure it on."""
    bands, golfers, changes = full_bands(judged), assessed(judged), judged["changes"]
    held = judged["held_out"]
    carry = figures(judged).filter(pl.col("figure").is_in(["efficient carry", "yards lost"]))
    found: dict[str, float | None] = {
        "held_out_rmse_ratio": float(np.sqrt((held["rmse_yd"] ** 2).mean() / (held["oracle_rmse_yd"] ** 2).mean())),
        "held_out_readings_ratio": float(
            np.sqrt((held["rmse_yd"] ** 2).mean() / (held["readings_rmse_yd"] ** 2).mean())
        ),
        "held_out_least_ratio": float(np.sqrt((held["rmse_yd"] ** 2).mean() / (held["least_rmse_yd"] ** 2).mean())),
        "efficient_bias_yd": _of(carry, "efficient carry", "bias_yd"),
        "efficient_coverage90": _of(carry, "efficient carry", "coverage90"),
        "lost_bias_yd": _of(carry, "yards lost", "bias_yd"),
        "lost_coverage90": _of(carry, "yards lost", "coverage90"),
        "window_true_share": _mean(bands, pl.col("window_true_share")),
        "window_size_share": _mean(bands, pl.col("window_size_share")),
        "window_missing": _mean(bands, pl.col("window_true_share").is_null()),
    }
    for part in PARTS:
        found[f"{part}_bias_yd"] = _mean(golfers, pl.col(f"lost_{part}_yd") - pl.col(f"true_{part}_yd"))
    large = golfers.filter((pl.col("true_lost_yd") >= LARGE_YD) & pl.col("true_cause").is_in(CAUSES))
    found["cause_right"] = _mean(large, pl.col("main_cause") == pl.col("true_cause"))
    flagged = golfers.filter("flagged")
    found["false_flags"] = _mean(flagged, pl.col("true_lost_yd") <= FLAG_YD)
    strong = golfers.filter((pl.col("true_lost_yd") >= LARGE_YD) & (pl.col("shots") >= POWER_SHOTS))
    found["power"] = _mean(strong, pl.col("flagged"))
    found |= ranking(judged)
    same = changes.filter(pl.col("true_change_yd").abs() < 1e-6)
    found["null_change_coverage90"] = _mean(
        same, inside("true_change_yd", "lost_change_lo90_yd", "lost_change_hi90_yd")
    )
    found["null_change_found"] = _mean(same, pl.col("more_than_chance"))
    found["change_coverage90"] = _mean(changes, inside("true_change_yd", "lost_change_lo90_yd", "lost_change_hi90_yd"))
    changed = changes.filter(pl.col("more_than_chance") & (pl.col("world") == "changed"))
    found["false_changes"] = _mean(changed, pl.col("true_change_yd").abs() < 0.5)
    return found


def ranking(judged: Judged) -> dict[str, float | None]:
    """Measure shrunk yards lost on golfers with few drives: error against the raw ones', coverage, flags by luck."""
    few = judged["golfers"].filter((pl.col("shots") < FEW_SHOTS) & pl.col("ranked_lost_yd").is_not_null())
    raw, shrunk = (pl.col(c) - pl.col("true_lost_yd") for c in ("lost_yd", "ranked_lost_yd"))
    ratio = None
    if few.height:
        ratio = float(np.sqrt(few.select((shrunk**2).mean()).item() / few.select((raw**2).mean()).item()))
    return {
        "few_shots_rmse_ratio": ratio,
        "few_shots_coverage90": _mean(few, inside("true_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd")),
        "few_shots_flagged": _mean(few, pl.col("flagged")),
    }


def device_leak(judged: Judged) -> pl.DataFrame:
    """Measure how far parts differ in error between the two devices where these disagree about carry."""
    golfers = assessed(judged).filter(pl.col("world") == "devices-disagree")
    rows = []
    for part in PARTS[:3]:
        error = pl.col(f"lost_{part}_yd") - pl.col(f"true_{part}_yd")
        by = golfers.group_by("device").agg(error.mean().alias("e"), (error.var() / pl.len()).alias("v")).sort("device")
        gap = by["e"].to_list()
        rows.append({"part": part, "difference_yd": gap[1] - gap[0], "std_error_yd": float(np.sqrt(by["v"].sum()))})
    return pl.DataFrame(rows)


def _mean(rows: pl.DataFrame, value: pl.Expr) -> float | None:
    found = rows.select(value.cast(pl.Float64).mean()).item() if rows.height else None
    return None if found is None else float(found)


def _of(table: pl.DataFrame, what: str, column: str) -> float:
    return float(table.filter(pl.col("figure") == what)[column].item())
