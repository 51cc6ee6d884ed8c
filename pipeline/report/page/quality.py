"""How good the data are, in words and counts: logs, rejected rows, devices."""

from collections.abc import Mapping
from typing import Any

import dataframely as dy
import polars as pl

from pipeline.drives import MEASURED
from pipeline.report.page.academy_words import reject_words, value_words
from pipeline.report.page.said import capital, listed, say
from pipeline.shown import number_text
from pipeline.tables.devices import Devices
from pipeline.tables.logs import Rejects, Sources
from pipeline.tables.table_set import TableSet

# Readings of which a difference is told; carry over flight is only a hint to which speed is misread.
TOLD = ("club_speed", "ball_speed", "launch", "spin", "speed_ratio")
COUNTED = ("rows", "accepted", "rejected", "duplicates")


# What is read of drives.parquet for this part.
QUALITY_COLUMNS = ("temp_c", "pressure_hpa", "altitude_m", "ball_speed_mph", "spin_measured")


def quality_of(tables: TableSet, unknown: Mapping[str, int]) -> dict[str, Any]:
    """Give logs, rejects and devices with the sentences on them.

    Parameters
    ----------
    tables : TableSet
        `Sources`, `Rejects` and `Devices`.
    unknown : mapping
        Drives, and those of which something isn't known: the sums of what `unknown_of` gives.

    Returns
    -------
    dict
        logs: rows of `Sources` without their hash, refused ones first; rejects: what was wrong with which value and how
        often, the commonest first; devices: readings of each device against the reference device's; compared: what was
        found of each device and done about it, see `_compared`; unknown; sentences.
    """
    logs, rejects, devices = _logs(tables[Sources]), _rejects(tables[Rejects]), _devices(tables[Devices])
    return {
        "logs": logs,
        "rejects": rejects,
        "devices": devices,
        "compared": [_compared(rows) for rows in tables[Devices].partition_by("device", maintain_order=True)],
        "unknown": dict(unknown),
        "sentences": [*_on_logs(logs), _on_rejects(rejects), *_on_devices(devices)],
    }


def _logs(sources: dy.DataFrame[Sources]) -> list[dict[str, Any]]:
    names = ["source", "status", *COUNTED, "reason", "device", "device_note"]
    table = sources.sort(pl.col("status").cast(pl.String) == "used", "source").select(names)
    return table.to_dicts()


def _rejects(rejects: dy.DataFrame[Rejects]) -> list[dict[str, Any]]:
    counted = rejects.group_by("rule", "column").len("rows")
    counted = counted.sort("rows", "rule", "column", descending=[True, False, False])
    columns = (reject_words(counted["rule"]), value_words(counted["column"]), counted["rows"].to_list())
    return [{"what": what, "value": value, "rows": rows} for what, value, rows in zip(*columns, strict=True)]


def _devices(devices: dy.DataFrame[Devices]) -> list[dict[str, Any]]:
    rows = devices.filter(pl.col("reading").cast(pl.String) != "carry_over_flight").to_dicts()
    for row in rows:
        for name in ("difference", "std_error", "lo90", "hi90"):
            row[name] = None if row[name] is None else round(row[name], 4)
    return rows


def _compared(rows: pl.DataFrame) -> dict[str, Any]:
    """Say how a device compares: `found` is none (not compared), corrected, apart (left as it is) or alike."""
    first = rows.row(0, named=True)
    known = [row for row in rows.iter_rows(named=True) if row["reading"] in TOLD and row["difference"] is not None]
    corrected = [row for row in known if row["corrected"]]
    apart = [row for row in known if (row["lo90"] or 0) > 0 or (row["hi90"] or 0) < 0]
    found = "none" if first["compared_by"] == "none" else "corrected" if corrected else "apart" if apart else "alike"
    return {
        "device": first["device"],
        "reference": first["reference"],
        "golfers": first["golfers"],
        "found": found,
        "differences": [_difference(row) for row in (corrected or apart)],
        "note": first["note"],
    }


def _difference(row: dict[str, Any]) -> str:
    """Word a difference: `ball speed 2.0 % lower`."""
    degrees = row["reading"] == "launch"
    size = number_text(abs(row["difference"]) * (1 if degrees else 100), 1)
    way = "lower" if row["difference"] < 0 else "higher"
    return f"{row['reading'].replace('_', ' ')} {size} {'deg' if degrees else '%'} {way}"


def unknown_of(drives: pl.DataFrame) -> pl.DataFrame:
    """Count drives, and those of which something isn't known.

    Parameters
    ----------
    drives : DataFrame
        The columns of `QUALITY_COLUMNS`; any part of the study's.

    Returns
    -------
    DataFrame
        One row: drives; no_air, those with neither temperature nor pressure nor altitude, which count as hit in
        standard air; no_spin, those whose spin the device guessed; no_ball, those without ball speed.
    """
    air = pl.all_horizontal(pl.col("temp_c", "pressure_hpa", "altitude_m").is_null())
    return drives.select(
        drives=pl.len().cast(pl.Int64),
        no_air=air.sum().cast(pl.Int64),
        no_spin=(~MEASURED).sum().cast(pl.Int64),
        no_ball=pl.col("ball_speed_mph").is_null().sum().cast(pl.Int64),
    )


def _on_logs(logs: list[dict[str, Any]]) -> list[str]:
    sums = {name: f"{sum(log[name] for log in logs):,}" for name in COUNTED}
    refused = sum(log["status"] == "refused" for log in logs)
    used = len(logs) - refused
    many = say("quality_one_log") if used == 1 else say("quality_logs", n=f"{used:,}")
    told = [say("quality_rows", logs=capital(many), **sums)]
    if refused:
        told.append(say("quality_refused_one") if refused == 1 else say("quality_refused", n=f"{refused:,}"))
    return told


def _on_rejects(rejects: list[dict[str, Any]]) -> str:
    if not rejects:
        return say("quality_no_rejects")
    most, every = rejects[0], sum(row["rows"] for row in rejects)
    words = {"what": most["what"], "value": most["value"], "n": f"{most['rows']:,}", "all": f"{every:,}"}
    if every == 1:
        return say("quality_reject", value=capital(words["value"]), what=words["what"])
    return say("quality_reject_kinds" if most["rows"] == 1 else "quality_rejects", **words)


def _on_devices(devices: list[dict[str, Any]]) -> list[str]:
    if not devices:
        return [say("quality_one_device")]
    names = {row["device"] for row in devices} | {row["reference"] for row in devices}
    corrected = sorted({row["device"] for row in devices if row["corrected"]})
    found = list(dict.fromkeys(f"{row['note']}." for row in devices))
    return [
        say("quality_devices", n=f"{len(names)}", reference=devices[0]["reference"]),
        *found,
        say("quality_corrected", devices=listed(corrected)) if corrected else say("quality_devices_alike"),
    ]
