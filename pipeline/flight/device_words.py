"""What is said of devices: beside their logs, at their golfers, and in the table `Devices`."""

import numpy as np
import polars as pl

from pipeline.flight.compare import Comparison, Difference, stands_out
from pipeline.flight.devices import READINGS, DeviceReadings
from pipeline.flight.offsets import UNSTATED
from pipeline.statistics.intervals import t_reach
from pipeline.tables.devices import READING_WORDS, Devices
from pipeline.tables.logs import Sources
from pipeline.tables.types import types_of

NAMES = {name: word.replace("_", " ") for name, word in zip(READINGS, READING_WORDS, strict=False)}
# Corrections from this size on are worth telling a golfer: 1 % of a speed is 2 to 3 yd.
TOLD_FROM = {"club_speed_mph": 0.01, "ball_speed_mph": 0.01, "launch_deg": 0.5, "spin_rpm": 0.05}


def described(found: Comparison, reference: str) -> DeviceReadings:
    """Give a comparison as it stands in devices.json."""
    return DeviceReadings(
        found.device,
        found.compared_by,
        found.correction.tolist(),
        found.doubt.tolist(),
        float(found.freedom) if np.isfinite(found.freedom) else 1e6,
        note_of(found, reference),
        golfer_note_of(found, reference),
    )


def reference_entry(reference: str) -> DeviceReadings:
    """Describe the reference itself."""
    nothing = np.zeros((len(READINGS),) * 2).tolist()
    return DeviceReadings(
        reference, "reference", [0.0] * len(READINGS), nothing, 1e6, f"{reference} is the reference device", None
    )


def devices_table(comparisons: list[Comparison], reference: str) -> pl.DataFrame:
    """List the differences: the table `Devices`."""
    rows = []
    for found in comparisons:
        note = note_of(found, reference)
        for reading, word in zip((*READINGS, "speed_ratio", "carry_over_flight"), READING_WORDS, strict=True):
            one = found.differences.get(reading, Difference(np.nan, np.nan, 1.0))
            corrected = reading in READINGS and found.correction[READINGS.index(reading)] != 0
            row = {"device": found.device, "reading": word, "reference": reference, "golfers": found.golfers}
            row |= dict(zip(("difference", "std_error", "lo90", "hi90"), _figures(one, reading), strict=True))
            rows.append(row | {"compared_by": found.compared_by, "corrected": bool(corrected), "note": note})
    table = pl.DataFrame(rows, schema=types_of(Devices), orient="row")
    return table.sort("device", maintain_order=True)


def _figures(one: Difference, reading: str) -> tuple[float | None, ...]:
    """Give difference, standard error and ends as shares, or deg for launch; None where they aren't known."""
    if not np.isfinite(one.value) or not np.isfinite(one.std_error):
        return None, None, None, None
    reach = float(t_reach(one.freedom)) * one.std_error
    if reading == "launch_deg":
        return one.value, one.std_error, one.value - reach, one.value + reach
    value, low, high = (float(np.expm1(x)) for x in (one.value, one.value - reach, one.value + reach))
    return value, (1 + value) * one.std_error, low, high


def amount(one: Difference, reading: str, ways: tuple[str, str]) -> tuple[str, str]:
    """Say how much a device reads too low or too high, and between which ends; `ways` are words for the two."""
    value, _, low, high = (x or 0.0 for x in _figures(one, reading))
    unit, factor = ("deg", 1.0) if reading == "launch_deg" else ("%", 100.0)
    sign = -1.0 if value < 0 else 1.0
    ends = sorted((sign * low * factor, sign * high * factor))
    return f"{abs(value) * factor:.1f} {unit} {ways[value > 0]}", f"{ends[0]:.1f} to {ends[1]:.1f} {unit}"


def note_of(found: Comparison, reference: str) -> str:
    """Say what was found of a device, clauses."""
    if found.compared_by == "none":
        return (
            f"{found.device} could not be compared with {reference}: {found.reason}; "
            "its golfers' intervals allow for misread speeds"
        )
    said = [_corrected(found, reference)] if found.correction.any() else [_as_it_is(found, reference)]
    for reading in found.beyond:
        much, ends = amount(found.differences[reading], reading, ("lower", "higher"))
        said.append(
            f"{NAMES[reading]} on {found.device} is {much} than on {reference} ({ends}), more than golfers differ; "
            "not corrected, check the device"
        )
    return "; ".join(said)


def _corrected(found: Comparison, reference: str) -> str:
    whom = (
        f"{found.golfers} golfers on both" if found.compared_by == "same golfers" else "by the better golfers' strikes"
    )
    parts = []
    for reading, change in zip(READINGS, found.correction, strict=True):
        if change != 0:
            much, ends = amount(found.differences[reading], reading, ("low", "high"))
            parts.append(f"{NAMES[reading]} {much} ({ends})")
    said = f"{found.device} reads {' and '.join(parts)} against {reference}, {whom}; corrected"
    if found.causes is None:
        return said
    at_fault = "club" if found.correction[0] else "ball"
    other = "ball" if at_fault == "club" else "club"
    chance = getattr(found.causes, other) / found.causes.misread
    return f"{said} (chance that {other} speed is at fault instead: {100 * chance:.0f} %)"


def _as_it_is(found: Comparison, reference: str) -> str:
    ratio = found.differences["speed_ratio"]
    if not np.isfinite(ratio.value):
        return f"{found.device} reads like {reference} as far as {found.golfers} golfers on both show; no ball speed"
    much, ends = amount(ratio, "speed_ratio", ("lower", "higher"))
    if found.causes is not None and stands_out(ratio):
        how, chance = "worse" if ratio.value < 0 else "better", 100 * found.causes.misread
        return (
            f"the better golfers' speed ratio on {found.device} is {much} than on {reference} ({ends}): they may "
            f"strike {how}, or a speed is misread (chance {chance:.0f} %); not corrected, its golfers' intervals "
            "allow for it"
        )
    whom = f"{found.golfers} golfers on both" if found.compared_by == "same golfers" else "the better golfers' strikes"
    return f"{found.device} reads like {reference} as far as {whom} show: speed ratio {much} ({ends})"


def golfer_note_of(found: Comparison, reference: str) -> str | None:
    """Say what a device's golfers should know; None where nothing worth telling was found."""
    if found.compared_by == "none":
        return f"{found.device} could not be compared with {reference}: the interval allows for misread speeds"
    told = []
    for reading, change in zip(READINGS, found.correction, strict=True):
        if abs(change) >= TOLD_FROM[reading]:
            told.append(f"{NAMES[reading]} {amount(found.differences[reading], reading, ('low', 'high'))[0]}")
    if told:
        return f"{found.device} reads {' and '.join(told)}: corrected"
    if found.causes is not None and stands_out(found.differences["speed_ratio"]) and not found.correction.any():
        return f"{found.device} may misread a speed: the interval allows for it"
    return None


def with_devices(sources: pl.DataFrame, drives: pl.DataFrame, notes: dict[str, str]) -> pl.DataFrame:
    """Add to the table of log files which device measured each and what was found of it.

    Parameters
    ----------
    sources : DataFrame
        Schema Sources.
    drives : DataFrame
        source and device of the drives, null where no log says.
    notes : dict of str to str
        Device: what is said of it; empty where there is one device.
    """
    named = drives.select("source", pl.col("device").fill_null(UNSTATED).alias("named"), "device").unique()
    said = pl.col("named").replace_strict(notes, default=None, return_dtype=pl.String)
    told = (
        named.sort("source", "named")
        .group_by("source", maintain_order=True)
        .agg(
            pl.col("device").drop_nulls().str.join(", ").alias("device"),
            said.drop_nulls().str.join("; ").alias("device_note"),
        )
        .with_columns(pl.when(pl.col(c) != "").then(pl.col(c)).alias(c) for c in ("device", "device_note"))
    )
    joined = sources.drop("device", "device_note").join(told, on="source", how="left", maintain_order="left")
    # DuckDB keeps no words as such.
    return joined.select(pl.col(name).cast(kind) for name, kind in types_of(Sources).items())
