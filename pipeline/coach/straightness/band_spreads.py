"""How straight the golfers of each band drive, by the rules of disclosure that bands of carry are published by."""

from typing import Any

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import coarse_count, is_given, percentile, rounded
from pipeline.drives import KEYS
from pipeline.statistics.arrays import Array
from pipeline.tables.straightness import SPREAD_PERCENTILES, StraightnessBands
from pipeline.tables.types import types_of

# Coarser than carry, in steps of which figures are published. Golfers' spreads differ by few yards and a share follows
# from a spread, so that whole yards and hundredths told an attacker too much (tests/benchmark).
SPREAD_STEP_YD, SHARE_STEP = 2.0, 0.1


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
    row: dict[str, Any] = published_figures(spread, share, min_golfers)
    row |= {"suppressed": False, "golfers": coarse_count(here.height, min_golfers)}
    gone = [f"{p}th" for p in SPREAD_PERCENTILES if row[f"offline_sd_p{p}_yd"] is None]
    row["note"] = f"too few golfers for the {', '.join(gone)} percentile" if gone else None
    return row


def published_figures(spread_yd: Array, share: Array, min_golfers: int) -> dict[str, float | None]:
    """Give what may be published of the spreads, and of the shares in the corridor, of a band's golfers.

    Parameters
    ----------
    spread_yd, share : ndarray, shape (golfers,)
    min_golfers : int
        Not above the number of golfers.

    Returns
    -------
    dict
        offline_sd_p25_yd and so on, and in_corridor_p50; None where golfers are too few for a figure.
    """
    n = len(spread_yd)

    def given(values: Array, percent: int, step: float) -> float | None:
        if not is_given(n, percent, min_golfers):
            return None
        # Dividing by a whole number gives the nearest float of 0.3, which 3 times 0.1 isn't.
        return rounded(percentile(values, np.ones(n), percent, min_golfers) / step, 0) / (1 / step)

    figures = {f"offline_sd_p{p}_yd": given(spread_yd, p, SPREAD_STEP_YD) for p in SPREAD_PERCENTILES}
    return figures | {"in_corridor_p50": given(share, 50, SHARE_STEP)}
