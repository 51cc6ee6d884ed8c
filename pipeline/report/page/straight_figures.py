"""How straight, in few figures: of each golfer for the table of golfers, and of each band as it may be published."""

from typing import Any

import polars as pl

from pipeline.drives import KEYS
from pipeline.report.page.ground import Chunk, Ground
from pipeline.report.page.in_full import counts_of, with_counts
from pipeline.tables.straightness import ASSESSED, SPREAD_PERCENTILES, Straightness, StraightnessBands

NONE = {"spread_yd": None, "in_corridor": None}


def golfers_figures(chunk: Chunk) -> dict[tuple[str, str], dict[str, float | None]]:
    """Give spread_yd (of offline) and in_corridor (a share) by golfer and quarter; the not assessed aren't in it."""
    return {
        (golfer, str(row["quarter"])): {
            "spread_yd": None if row["offline_sd_yd"] is None else round(row["offline_sd_yd"], 3),
            "in_corridor": round(row["in_corridor_share"], 4),
        }
        for golfer, rows in chunk.all_of(Straightness, "status", "offline_sd_yd", "in_corridor_share").items()
        for row in rows
        if row["status"] == ASSESSED
    }


def bands_figures(ground: Ground) -> dict[tuple[str, float], dict[str, Any]]:
    """Give a band's row of `StraightnessBands` by quarter and band.

    Returns
    -------
    dict
        suppressed, corridor_yd and, None where it is suppressed or too few golfers stand behind a figure: golfers,
        spread_p25, spread_p50, spread_p75 and in_corridor_p50. A quarter of which no log says where drives came down
        isn't in it.
    """
    counts, least = counts_of(_assessed(ground), ground.bands), int(ground.settings["privacy"]["min_golfers"])
    table = ground.tables.get(StraightnessBands)
    rows = [] if table is None else [with_counts(row, counts, least) for row in table.to_dicts()]
    return {
        (str(row["quarter"]), row["band_mph"]): {
            "suppressed": row["suppressed"],
            "golfers": row["golfers"],
            **{f"spread_p{p}": row[f"offline_sd_p{p}_yd"] for p in SPREAD_PERCENTILES},
            "corridor_yd": row["corridor_yd"],
            "in_corridor_p50": row["in_corridor_p50"],
        }
        for row in rows
    }


def _assessed(ground: Ground) -> pl.DataFrame:
    """Give the rows of golfers whose straightness is assessed."""
    table = ground.tables.get(Straightness)
    if table is None:
        return ground.golfers.clear()
    known = table.filter(pl.col("status").cast(pl.String) == ASSESSED).select(pl.col(KEYS).cast(pl.String))
    return ground.golfers.join(known, on=KEYS, how="semi")
