"""How straight the golfers of each band drive, by the rules of disclosure that bands of carry are published by."""

from typing import Any

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import protected_percentiles, protected_ratio
from pipeline.drives import KEYS
from pipeline.tables.straightness import SPREAD_PERCENTILES, StraightnessBands
from pipeline.tables.types import types_of


def band_spreads(
    table: pl.DataFrame, club_speed: pl.DataFrame, bands: SpeedBands, min_golfers: int, corridor_yd: float
) -> pl.DataFrame:
    """Build the table `StraightnessBands`.

    Parameters
    ----------
    table : DataFrame
        The table `Straightness`.
    club_speed : DataFrame
        golfer, quarter and club_speed_mph, the mean of the drives.
    bands : SpeedBands
    min_golfers : int
        A band of fewer golfers is suppressed; no figure rests on fewer (`pipeline.benchmark.disclosure`).
    corridor_yd : float

    Returns
    -------
    DataFrame
        One row for each band and each quarter with a golfer assessed.

    Notes
    -----
    A band's own golfers count, each as much as the others: no model says how spread changes with speed, so that
    golfers of other bands can't be moved to its center as their carries are.
    """
    assessed = table.filter(pl.col("offline_sd_yd").is_not_null())
    speeds = club_speed.select(*KEYS, "club_speed_mph").with_columns(pl.col("quarter").cast(pl.String))
    golfers = assessed.join(speeds, on=KEYS, how="left", maintain_order="left", validate="1:1")
    rows = []
    for quarter in sorted(golfers.get_column("quarter").unique().to_list()):
        there = golfers.filter(pl.col("quarter") == quarter)
        for centre in bands.centres_mph:
            here = there.filter(pl.Series(bands.holds(centre, there.get_column("club_speed_mph").to_numpy())))
            named = {"quarter": quarter, "band_mph": float(centre), "corridor_yd": float(corridor_yd)}
            rows.append(named | _row(here, min_golfers))
    return pl.DataFrame(rows, schema=types_of(StraightnessBands), orient="row")


def _row(here: pl.DataFrame, min_golfers: int) -> dict[str, Any]:
    if here.height < min_golfers:
        return {"suppressed": True, "note": f"fewer than {min_golfers} golfers: their figures are suppressed"}
    spread, share = (here.get_column(name).to_numpy() for name in ("offline_sd_yd", "in_corridor_share"))
    given = protected_percentiles(spread, np.ones(here.height), here.height, min_golfers)
    row: dict[str, Any] = {f"offline_sd_p{p}_yd": given[p] for p in SPREAD_PERCENTILES}
    row |= {"suppressed": False, "golfers": here.height, "in_corridor_p50": protected_ratio(share, min_golfers)}
    gone = [f"{p}th" for p in SPREAD_PERCENTILES if given[p] is None]
    row["note"] = f"too few golfers for the {', '.join(gone)} percentile" if gone else None
    return row
