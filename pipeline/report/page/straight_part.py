"""How straight a golfer drives: figures, the ellipse, drives to draw, and whether more carry cost straightness."""

from typing import Any

import polars as pl

from pipeline.coach.straightness.offline import COLUMNS, SideFlight, landings_of
from pipeline.drives import Drives
from pipeline.report.page.facts import evenly_thinned
from pipeline.report.page.ground import Chunk, Row
from pipeline.tables.progress import Progress
from pipeline.tables.straightness import ASSESSED, Straightness
from pipeline.tables.table_set import TableSet

LANDING_COLUMNS = COLUMNS  # what `landings_to_draw` reads of drives.parquet
LEAST_WIND_YD = 0.5  # a cross wind that did less doesn't show in whole yards
DAYS_UNKNOWN = "the intervals don't cover a day's form"

# Verdicts on carry and on the spread of offline, and what they are together.
TOGETHER = {
    ("better", "worse"): "longer_wilder",
    ("worse", "better"): "shorter_straighter",
    ("better", "better"): "longer_straighter",
}


def is_known(tables: TableSet) -> bool:
    """Say whether any log of the study tells where drives came down."""
    table = tables.get(Straightness)
    return table is not None and not table.is_empty()


def landings_to_draw(drives: Drives, quarter: str, flight: SideFlight) -> pl.DataFrame:
    """Pick a quarter's drives to draw, evenly thinned, and say where they came down.

    Parameters
    ----------
    drives : Drives
        The columns of `LANDING_COLUMNS`.
    quarter : str
    flight : SideFlight
        As for the table `Straightness`, so that drives and ellipse tell one thing.

    Returns
    -------
    DataFrame
        golfer, offline_yd and carry_yd (at standard conditions), in the order in which the drives were logged.
    """
    is_told = pl.col("offline_yd").is_not_null() | pl.all_horizontal(
        pl.col("launch_side_deg", "spin_axis_deg").is_not_null()
    )

    def landed(frame: pl.DataFrame) -> pl.DataFrame:
        drawn = evenly_thinned(frame.filter((pl.col("quarter") == quarter) & is_told))
        return landings_of(drawn, flight).select("golfer", "offline_yd", "carry_yd")

    return drives.gathered(landed)


def straight_of(chunk: Chunk) -> dict[str, dict[str, Any]]:
    """Give how straight each golfer drove in the last quarter with drives.

    Returns
    -------
    dict
        By golfer; nothing in a study whose logs don't say it. `known`: whether there are figures; if not, `why`:
        "offline" (no drive says where it came down), "few" (drives) or "partly" (fewer than half of them say it). If
        so: `offline_yd`, `spread_yd` and `in_corridor`, each with value, lo and hi; `corridor_yd`; `ellipse` (carry_yd
        of its center; standard deviations long_yd and short_yd; tilt_deg) or None; `drives`, those of the newest
        quarter as [offline_yd, carry_yd]; `together`, one of the words of `TOGETHER` or None; `notes`.
    """
    ground = chunk.ground
    if not is_known(ground.tables):
        return {}
    found, progress = chunk.all_of(Straightness), chunk.by_golfer(Progress, "carry_verdict", "offline_sd_verdict")
    told = {}
    for golfer, history in chunk.histories.items():
        last = history[-1]
        row = next((row for row in found.get(golfer, []) if row["quarter"] == last["quarter"]), None)
        if row is None or row["status"] != ASSESSED:
            told[golfer] = {"known": False, "why": _why(row, ground.min_shots)}
            continue
        told[golfer] = _figures(row, last)
        shift = _shift(last)
        told[golfer]["drives"] = [
            [round(offline, 1), round(carry + shift, 1)] for offline, carry in chunk.landings.get(golfer, [])
        ]
        told[golfer]["together"] = _together(progress.get(golfer))
    return told


def _why(row: Row | None, min_shots: int) -> str:
    if row is None or row["known"] == 0:
        return "offline"
    return "few" if row["shots"] < min_shots else "partly"


def _figures(row: Row, golfers_row: Row) -> dict[str, Any]:
    ellipse = None
    if row["long_axis_yd"] is not None:
        ellipse = {
            "carry_yd": round(row["carry_yd"] + _shift(golfers_row), 3),
            "long_yd": round(row["long_axis_yd"], 3),
            "short_yd": round(row["short_axis_yd"], 3),
            "tilt_deg": round(row["axis_tilt_deg"] or 0.0, 3),
        }
    return {
        "known": True,
        "corridor_yd": row["corridor_yd"],
        "offline_yd": _estimate(row, "offline_mean", "_yd", 3),
        "spread_yd": _estimate(row, "offline_sd", "_yd", 3),
        "in_corridor": _estimate(row, "in_corridor_share", "", 4),
        "ellipse": ellipse,
        "notes": _notes(row),
    }


def _shift(row: Row) -> float:
    """Give what takes out of the drives' carry what device and ball add, so that they lie about the golfer's."""
    return float(row["carry_yd"] - row["mean_yd"])


def _estimate(row: Row, name: str, unit: str, digits: int) -> dict[str, float | None]:
    columns = {"value": f"{name}{unit}", "lo": f"{name}_lo90{unit}", "hi": f"{name}_hi90{unit}"}
    return {key: None if row[column] is None else round(row[column], digits) for key, column in columns.items()}


def _notes(row: Row) -> list[str]:
    wind = row["cross_wind_yd"]
    said = {
        "calculated": 2 * row["calculated"] > row["known"],
        "wind": wind is not None and abs(wind) >= LEAST_WIND_YD,
        "days": DAYS_UNKNOWN in (row["note"] or ""),
    }
    return [name for name, yes in said.items() if yes]


def _together(row: Row | None) -> str | None:
    if row is None:
        return None
    return TOGETHER.get((row["carry_verdict"], row["offline_sd_verdict"]))
