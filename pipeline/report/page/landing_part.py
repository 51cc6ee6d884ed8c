"""How drives land and run on each turf, of golfers and of bands: the rows of one small table.

Run is total less carry as both are shown, so that the three add up.
"""

from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from pipeline.report.page.ground import Chunk, Ground
from pipeline.report.page.in_full import with_efficient
from pipeline.report.page.said import remarks_of
from pipeline.shown import whole
from pipeline.tables.landing import TURFS, LandingBands, Landings

Row = Mapping[str, Any]
Part = dict[str, Any]


def landings_of(chunk: Chunk) -> dict[str, Part]:
    """Give by golfer of the newest quarter how the typical drive lands and runs.

    Returns
    -------
    dict
        By golfer: carry_yd; descent_deg; and turfs, soft to firm: turf, run and total (each value, lo, hi), best
        (launch_deg, spin_rpm, descent_deg, or None), gain_yd (of total) and cost_yd (of carry) of the best delivery
        for total next to the efficient one; and notes as sentences. A golfer of whom nothing is known isn't in it.
    """
    found = {}
    for golfer, rows in chunk.newest_of(Landings).items():
        carry = chunk.now[golfer]["shown_carry_yd"] if golfer in chunk.now else None
        if carry is not None and (part := _part(_by_turf(rows), carry, chunk.ground)):
            found[golfer] = part
    return found


def band_landings_of(ground: Ground) -> dict[str, Part]:
    """Give the same of an efficient drive by band, such as "90"; suppressed bands aren't in it."""
    table, by_band = ground.tables.get(LandingBands), dict[float, list[Row]]()
    if table is not None:
        newest = pl.col("quarter") == ground.newest if "quarter" in table.columns else pl.lit(True)
        for row in table.filter(newest).to_dicts():
            by_band.setdefault(row["band_mph"], []).append(row)
    found = {}
    for band, unsorted in by_band.items():
        rows = _by_turf(unsorted)
        carry = with_efficient(rows[0], ground.frontier)["efficient_carry_yd"]  # None where the band is suppressed
        if carry is not None and (part := _part(rows, ground.units.distance_whole(carry), ground)):
            found[f"{band:g}"] = part
    return found


def _by_turf(rows: Iterable[Row]) -> list[Row]:
    """Put rows of turfs in their order, from soft to firm."""
    return sorted(rows, key=lambda row: TURFS.index(row["turf"]))


def _part(rows: list[Row], carry: int, ground: Ground) -> Part | None:
    turfs = [_turf(row, carry, ground) for row in rows if row["total_yd"] is not None]
    descent = rows[0]["descent_deg"]
    if not turfs:
        return None
    return {
        "carry_yd": ground.yd(carry),
        "descent_deg": _tenth(descent),
        "turfs": turfs,
        "notes": remarks_of(row["note"] for row in rows),
    }


def _turf(row: Row, carry: int, ground: Ground) -> Part:
    total = ground.units.distance_whole(row["total_yd"])
    return {
        "turf": row["turf"],
        "run": _estimate(row["run_lo90_yd"], row["run_hi90_yd"], total - carry, ground),
        "total": _estimate(row["total_lo90_yd"], row["total_hi90_yd"], total, ground),
        "best": _best(row),
        "gain_yd": _whole(row["total_gain_yd"], ground),
        "cost_yd": _whole(row["carry_cost_yd"], ground),
    }


def _estimate(low_yd: float | None, high_yd: float | None, shown: int, ground: Ground) -> Part:
    """Give a figure as shown with its interval, which holds it as shown too."""
    whole_of = ground.units.distance_whole
    return {
        "value": ground.yd(shown),
        "lo": None if low_yd is None else ground.yd(min(whole_of(low_yd), shown)),
        "hi": None if high_yd is None else ground.yd(max(whole_of(high_yd), shown)),
    }


def _best(row: Row) -> Part | None:
    if row["best_launch_deg"] is None or row["best_spin_rpm"] is None:
        return None
    return {
        "launch_deg": _tenth(row["best_launch_deg"]),
        "spin_rpm": 10 * whole(row["best_spin_rpm"] / 10),
        "descent_deg": _tenth(row["best_descent_deg"]),
    }


def _whole(yd: float | None, ground: Ground) -> float | None:
    return None if yd is None else ground.yd(ground.units.distance_whole(yd))


def _tenth(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
