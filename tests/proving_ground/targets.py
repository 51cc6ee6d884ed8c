"""The targets of the proving ground, and whether a measure meets one, given its Monte Carlo error."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import polars as pl
from measures import CARRY, LOST, Judged, Value, band_biases, device_leak, measures


@dataclass(frozen=True)
class Target:
    """One line: a measure has to lie from `lo` to `hi`."""

    what: str
    measure: str
    lo: float | None
    hi: float | None
    digits: int = 2


RMS = Target("expected carry, golfers held out: rms error over the oracle's", "held_out_rmse_ratio", None, 1.1)
READINGS = Target("the same over true flight's of the same readings", "held_out_readings_ratio", None, 1.1)
LEAST = Target("the same over the least that the readings' errors allow", "held_out_least_ratio", None, 1.1)
CARRY_BANDS = Target("efficient carry, worst band: bias, yd", CARRY, -1.5, 1.5)
LOST_BANDS = Target("yards lost, worst band: bias, yd", LOST, -1.5, 1.5)
FALSE_FLAGS = Target("flagged though 10 yd or less are lost", "false_flags", None, 0.10, 3)
TOLD = Target("nothing changed: academies with any change told", "null_academies_told", None, 0.10, 3)
CAUSE = Target("planted cause named, golfers who lose 15 yd or more or miss-hit", "cause_right", 0.9, None, 3)
FEW = Target("under 12 drives: ranked yards' 90 % intervals that hold the truth", "few_shots_coverage90", 0.87, 0.93, 3)
# What "done" is said to be, in every world by itself.
FIRST = (
    Target("efficient carry: 90 % intervals that hold the truth", "efficient_coverage90", 0.85, 0.95, 3),
    CARRY_BANDS,
    Target("yards lost: 90 % intervals that hold the truth", "lost_coverage90", 0.85, 0.95, 3),
    LOST_BANDS,
    FALSE_FLAGS,
    TOLD,
    CAUSE,
    FEW,
    RMS,
    READINGS,
    LEAST,
)
FURTHER = (
    Target("window: share of its area truly within the tolerance", "window_true_share", 0.95, None, 3),
    Target("window: area over that of the largest true box", "window_size_share", 0.5, None),
    Target("contact: bias, yd", "contact_bias_yd", -1.5, 1.5),
    Target("launch: bias, yd", "launch_bias_yd", -1.5, 1.5),
    Target("spin: bias, yd", "spin_bias_yd", -1.5, 1.5),
    Target("consistency: bias, yd", "consistency_bias_yd", -1.5, 1.5),
    Target("other: bias, yd", "other_bias_yd", -1.5, 1.5),
    Target("flagged of those who lose 15 yd or more, 20 drives or more", "power", 0.85, None, 3),
    Target("under 12 drives: share flagged", "few_shots_flagged", None, 0.0, 3),
    Target("nothing changed: 90 % intervals of the change that hold zero", "null_change_coverage90", 0.85, 0.95, 3),
    Target("of all changes told as more than chance: share where nothing changed", "false_changes", None, 0.10, 3),
)
WORLD_TARGETS = FIRST + FURTHER
DEVICE_LEAK = Target("a device's bias in carry: shown as contact, launch or spin, yd", "", -1.5, 1.5)
# Over all worlds together intervals are held to less.
TARGETS = (
    RMS,
    READINGS,
    Target("efficient carry: bias, yd", "efficient_bias_yd", -1.5, 1.5),
    Target("efficient carry: 90 % intervals that hold the truth", "efficient_coverage90", 0.87, 0.93, 3),
    Target("yards lost: bias, yd", "lost_bias_yd", -1.5, 1.5),
    Target("yards lost: 90 % intervals that hold the truth", "lost_coverage90", 0.87, 0.93, 3),
    *FURTHER[:7],
    CAUSE,
    FALSE_FLAGS,
    FURTHER[7],
    FEW,
    FURTHER[8],
    Target("nothing changed: 90 % intervals of the change that hold zero", "null_change_coverage90", 0.87, 0.93, 3),
    Target("nothing changed: share told as more than chance", "null_change_found", None, 0.10, 3),
    TOLD,
    FURTHER[10],
    CARRY_BANDS,
    LOST_BANDS,
)


class Verdict(IntEnum):
    """What a measure says about a target, from good to bad."""

    NOT_MEASURED = 0
    MET = 1
    CANT_SAY = 2
    MISSED = 3


def excess(value: float, target: Target) -> float:
    """Give how far a value lies outside its target, in the target's unit; negative: how far inside."""
    below = -np.inf if target.lo is None else target.lo - value
    above = -np.inf if target.hi is None else value - target.hi
    return float(max(below, above))


def luck(found: Value, target: Target) -> float | None:
    """Give the Monte Carlo error that a value is held against its target with.

    Of a share it is at least what the binomial law gives for as many rows at the target's edge: a few academies that
    all agree would have an error of zero.
    """
    edges = [edge for edge in (target.lo, target.hi) if edge is not None]
    if not found.share or not found.rows or found.value is None:
        return found.std_error
    edge = min(edges, key=lambda at: abs(at - found.value))  # type: ignore[operator]
    return max(found.std_error or 0.0, float(np.sqrt(edge * (1 - edge) / found.rows)))


def judge(found: Value, target: Target) -> Verdict:
    """Say whether a target is met.

    A value outside by no more than twice its error can't be told from one inside, nor one whose error isn't known.
    """
    if found.value is None:
        return Verdict.NOT_MEASURED
    out = excess(found.value, target)
    if out <= 0:
        return Verdict.MET
    error = luck(found, target)
    return Verdict.CANT_SAY if error is None or out <= 2 * error else Verdict.MISSED


def told(found: Value, target: Target) -> str:
    """Put the verdict into words; a miss with its size."""
    out = "" if found.value is None else f"{excess(found.value, target):.{target.digits}f}"
    return {
        Verdict.NOT_MEASURED: "not measured",
        Verdict.MET: "met",
        Verdict.CANT_SAY: f"can't say: {out} outside",
        Verdict.MISSED: f"**missed** by {out}",
    }[judge(found, target)]


def verdict(value: float | None, target: Target) -> str:
    """Say whether a measure lies where it has to, its error left aside; a miss with its size."""
    return told(Value(value, 0.0, 0), target)


def worst(values: dict[float, Value], target: Target) -> tuple[float | None, Value]:
    """Give the band that decides a target for every band: of the gravest verdict, the one farthest out."""
    if not values:
        return None, Value(None, None, 0)
    return max(values.items(), key=lambda one: (judge(one[1], target), excess(one[1].value or 0.0, target)))


def range_of(target: Target) -> str:
    """Say where a target's measure has to lie."""
    if target.lo is None:
        return f"at most {target.hi:g}"
    return f"at least {target.lo:g}" if target.hi is None else f"{target.lo:g} to {target.hi:g}"


def measured(judged: Judged) -> dict[str, tuple[float | None, Value]]:
    """Give every measure by name with its band, where it is the worst band's."""
    of_bands = band_biases(judged)
    bands = {target.measure: worst(of_bands[target.measure], target) for target in (CARRY_BANDS, LOST_BANDS)}
    return {name: (None, value) for name, value in measures(judged).items()} | bands


def row_of(target: Target, band_mph: float | None, found: Value) -> dict[str, object]:
    """Make a row of a target's table."""
    error = luck(found, target)
    return {
        "what": target.what,
        "target": range_of(target),
        "measured": None if found.value is None else round(found.value, target.digits),
        "std_error": None if error is None else float(f"{error:.2g}"),
        "count": found.rows,
        "band_mph": band_mph,
        "verdict": told(found, target),
    }


KINDS = {
    "measured": pl.Float64,
    "std_error": pl.Float64,
    "count": pl.Int64,
    "band_mph": pl.Float64,
    "verdict": pl.String,
}


def overall(judged: Judged) -> pl.DataFrame:
    """List each target over all of the worlds together.

    Returns
    -------
    DataFrame
        what, target, measured, std_error (Monte Carlo), count (rows that it rests on), band_mph (of the worst band),
        verdict.
    """
    found = measured(judged)
    rows = [row_of(target, *found[target.measure]) for target in TARGETS]
    leak = device_leak(judged)
    if leak.height:
        one = max(leak.to_dicts(), key=lambda row: abs(row["difference_yd"]))
        rows.append(row_of(DEVICE_LEAK, None, Value(one["difference_yd"], one["std_error_yd"], leak.height)))
    return pl.DataFrame(rows, schema_overrides=KINDS, infer_schema_length=None)


def by_world(judged: Judged) -> pl.DataFrame:
    """List each target in each world by itself.

    Returns
    -------
    DataFrame
        world, then the columns of `overall`, then rank (the `Verdict`) and outside: how far outside its range.
    """
    rows = []
    for world in judged["held_out"].get_column("world").unique(maintain_order=True).to_list():
        found = measured({name: frame.filter(pl.col("world") == world) for name, frame in judged.items()})
        for target in WORLD_TARGETS:
            band, value = found[target.measure]
            outside = None if value.value is None else excess(value.value, target)
            row = row_of(target, band, value)
            rows.append({"world": world, **row, "rank": int(judge(value, target)), "outside": outside})
    return pl.DataFrame(rows, schema_overrides=KINDS | {"outside": pl.Float64}, infer_schema_length=None)


def worst_worlds(listed: pl.DataFrame) -> pl.DataFrame:
    """Name the worst world of each target: of the gravest verdict, the one farthest outside.

    Returns
    -------
    DataFrame
        what, target, world, measured, std_error, verdict, and how many worlds met it, can't say, missed it.
    """
    graded = listed.filter(pl.col("rank") > 0)
    counts = graded.group_by("what", maintain_order=True).agg(
        (pl.col("rank") == Verdict.MET).sum().alias("met"),
        (pl.col("rank") == Verdict.CANT_SAY).sum().alias("can't say"),
        (pl.col("rank") == Verdict.MISSED).sum().alias("missed"),
    )
    last = graded.sort("rank", "outside", descending=True, maintain_order=True).unique("what", keep="first")
    named = counts.join(last, on="what", maintain_order="left")
    return named.select("what", "target", "world", "measured", "std_error", "verdict", "met", "can't say", "missed")
