"""How good the data are, in words and counts: logs, rejected rows, devices."""

from typing import Any

import dataframely as dy
import polars as pl

from pipeline.report.page.academy_words import reject_words, value_words
from pipeline.report.page.said import capital, listed, say
from pipeline.tables.devices import Devices
from pipeline.tables.logs import Rejects, Sources
from pipeline.tables.table_set import TableSet

COUNTED = ("rows", "accepted", "rejected", "duplicates")


def quality_of(tables: TableSet) -> dict[str, Any]:
    """Give logs, rejects and devices with the sentences on them.

    Parameters
    ----------
    tables : TableSet
        `Sources`, `Rejects` and `Devices`.

    Returns
    -------
    dict
        logs: rows of `Sources` without their hash, refused ones first; rejects: what was wrong with which value and how
        often, the commonest first; devices: readings of each device against the reference device's; sentences.
    """
    logs, rejects, devices = _logs(tables[Sources]), _rejects(tables[Rejects]), _devices(tables[Devices])
    return {
        "logs": logs,
        "rejects": rejects,
        "devices": devices,
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
    return say("quality_rejects", what=most["what"], value=most["value"], n=f"{most['rows']:,}", all=f"{every:,}")


def _on_devices(devices: list[dict[str, Any]]) -> list[str]:
    if not devices:
        return [say("quality_one_device")]
    names = {row["device"] for row in devices} | {row["reference"] for row in devices}
    corrected = sorted({row["device"] for row in devices if row["corrected"]})
    return [
        say("quality_devices", n=f"{len(names)}", reference=devices[0]["reference"]),
        say("quality_corrected", devices=listed(corrected)) if corrected else say("quality_devices_alike"),
    ]
