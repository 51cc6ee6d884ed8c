"""The data's part of the academy's page: what became of every row, what disagreed, what wasn't known."""

from typing import Any

import dataframely as dy
import polars as pl

from pipeline.drives import MEASURED, Drives
from pipeline.report.page.academy_words import reject_words, value_words
from pipeline.shown import number_text
from pipeline.tables.devices import Devices
from pipeline.tables.figures import BandTable
from pipeline.tables.logs import Rejects, Sources

COUNTS = ("rows", "accepted", "rejected", "duplicates")
# What is read of drives.parquet for this part.
QUALITY_COLUMNS = ("golfer", "temp_c", "pressure_hpa", "altitude_m", "spin_measured", "ball_speed_mph")
# Readings of which a difference is told; carry over flight is only a hint to which speed is misread.
TOLD = ("club_speed", "ball_speed", "launch", "spin", "speed_ratio")


def quality_part(
    *,
    sources: dy.DataFrame[Sources],
    rejects: dy.DataFrame[Rejects],
    devices: dy.DataFrame[Devices],
    bands: dy.DataFrame[BandTable],
    drives: pl.DataFrame | Drives,
) -> dict[str, Any]:
    """Give the part.

    Parameters
    ----------
    sources, rejects, devices, bands : DataFrame
    drives : DataFrame or Drives
        The columns of `QUALITY_COLUMNS`.

    Returns
    -------
    dict
        totals: logs, refused, and sums of `COUNTS`; logs: rows of sources, the refused first, then by name; rejects:
        what was wrong, with which value, in how many rows, the commonest first; devices: see `_device`; unknown: drives
        in all, and those without air, measured spin or ball speed; suppressed: quarter and bands, newest first.
    """
    sums = sources.select(pl.col(*COUNTS).sum()).row(0, named=True)
    logs = sources.sort(pl.col("status") == "used", "source")
    hidden = bands.filter("suppressed").sort("quarter", "band_mph", descending=[True, False])
    by_quarter = hidden.group_by("quarter", maintain_order=True).agg("band_mph")
    return {
        "totals": {"logs": sources.height, "refused": int((sources["status"] == "refused").sum()), **sums},
        "logs": logs.select("source", "status", "device", *COUNTS, "reason").to_dicts(),
        "rejects": _rejects(rejects),
        "devices": [_device(rows) for rows in devices.partition_by("device", maintain_order=True)],
        "unknown": unknown_of(drives),
        "suppressed": [{"quarter": quarter, "bands_mph": centres} for quarter, centres in by_quarter.iter_rows()],
    }


def unknown_of(drives: pl.DataFrame | Drives) -> dict[str, int]:
    """Count the drives, and those of which something isn't known.

    Returns
    -------
    dict
        drives; no_air, those with neither temperature nor pressure nor altitude: they count as hit in standard air;
        no_spin, those whose spin the device guessed; no_ball, those without ball speed.
    """
    air = pl.all_horizontal(pl.col("temp_c", "pressure_hpa", "altitude_m").is_null())
    counted = Drives.of(drives).gathered(
        lambda frame: frame.select(
            drives=pl.len().cast(pl.Int64),
            no_air=air.sum().cast(pl.Int64),
            no_spin=(~MEASURED).sum().cast(pl.Int64),
            no_ball=pl.col("ball_speed_mph").is_null().sum().cast(pl.Int64),
        )
    )
    return counted.sum().row(0, named=True)


def _rejects(rejects: dy.DataFrame[Rejects]) -> list[dict[str, Any]]:
    counted = (
        rejects.group_by("rule", "column").len("rows").sort("rows", "rule", "column", descending=[True, False, False])
    )
    told = zip(reject_words(counted["rule"]), value_words(counted["column"]), counted["rows"], strict=True)
    return [{"wrong": wrong, "value": value, "rows": rows} for wrong, value, rows in told]


def _device(rows: pl.DataFrame) -> dict[str, Any]:
    """Say of a device how it compares: `found` is none, corrected, apart (left as it is) or alike."""
    first = rows.row(0, named=True)
    told = [row for row in rows.iter_rows(named=True) if row["reading"] in TOLD and row["difference"] is not None]
    corrected = [row for row in told if row["corrected"]]
    apart = [row for row in told if row["lo90"] > 0 or row["hi90"] < 0]
    found = "none" if first["compared_by"] == "none" else "corrected" if corrected else "apart" if apart else "alike"
    return {
        "device": first["device"],
        "reference": first["reference"],
        "golfers": first["golfers"],
        "same_golfers": first["compared_by"] == "same golfers",
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
