"""The bands' part of the academy's page: the curve with golfers, each band's carry and window, its two pictures."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import BandMap, Chart
from pipeline.benchmark.frontier import WINDOW_EDGES
from pipeline.benchmark.window import Window
from pipeline.report.figures.golfer_dots import without_suppressed
from pipeline.report.figures.naming import delivery_name
from pipeline.report.palette import THEMES
from pipeline.shown import shown_edges
from pipeline.tables.columns import PERCENTILES
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers

# One digit more than is shown, so that no figure is rounded twice to another.
DIGITS = {"yd": 2, "mph": 1, "ratio": 4, "share": 4}
MOST_DOTS = 2000  # more golfers are one blot, and 2,000 dots draw in a tenth of a second


@dataclass(frozen=True)
class BandInputs:
    """What the part is made of.

    Attributes
    ----------
    golfers, bands : DataFrame
        All quarters.
    chart : Chart
    speed_bands : SpeedBands
    min_golfers : int
        Fewest golfers behind a published figure.
    images : mapping of str to bytes
        PNG by `naming.delivery_name`, of each band and theme.
    """

    golfers: dy.DataFrame[Golfers]
    bands: dy.DataFrame[BandTable]
    chart: Chart
    speed_bands: SpeedBands
    min_golfers: int
    images: Mapping[str, bytes]


def band_part(given: BandInputs) -> dict[str, Any]:
    """Give the part.

    Returns
    -------
    dict
        rows: of the band table, newest quarter first, bands by rising speed, see `_row`; curve: lists of club speed,
        efficient carry and the ends of its interval, without speeds that have none; dots: lists of club speed, carry,
        golfer and status of the newest quarter, none of a suppressed band; maps: by band, see `_map`; min_golfers.
    """
    ordered = given.bands.sort("quarter", "band_mph", descending=[True, False])
    newest = given.chart.quarter
    shown = without_suppressed(
        given.golfers.filter(pl.col("quarter") == newest), given.bands.filter(pl.col("quarter") == newest),
        given.speed_bands,
    )  # fmt: skip
    # Golfers stand in the order of a digest, so that every so many are drawn at random.
    drawn = shown.gather_every(max(-(-shown.height // MOST_DOTS), 1))
    return {
        "rows": [_row(row, given.speed_bands.half_width_mph) for row in ordered.iter_rows(named=True)],
        "curve": _curve(given.chart),
        "dots": [
            [_near(row["club_speed_mph"], "mph"), _near(row["carry_yd"], "yd"), row["golfer"], row["status"]]
            for row in drawn.iter_rows(named=True)
        ],
        "maps": {
            f"{centre:g}": _map(centre, given.chart.map_of(centre), given.images)
            for centre in given.speed_bands.centres_mph
        },
        "min_golfers": given.min_golfers,
    }


def _row(row: Mapping[str, Any], half_width_mph: float) -> dict[str, Any]:
    """Give a band's quarter: of a suppressed one that it is, and nothing else."""
    band = {
        "quarter": row["quarter"],
        "band_mph": row["band_mph"],
        "lo_mph": row["band_mph"] - half_width_mph,
        "hi_mph": row["band_mph"] + half_width_mph,
        "suppressed": row["suppressed"],
    }
    if row["suppressed"]:
        return band
    edges = [row[name] for name in WINDOW_EDGES]
    whole = None if None in edges else shown_edges(Window(*edges))
    efficient = [row[f"efficient_{name}_yd"] for name in ("carry", "lo90", "hi90")]
    return band | {
        "golfers": row["golfers"],
        "shots": row["shots"],
        **{f"carry_p{p}": _near(row[f"carry_p{p}_yd"], "yd") for p in PERCENTILES},
        "efficient": dict(zip(("value", "lo", "hi"), (_near(yd, "yd") for yd in efficient), strict=True)),
        "window": None if whole is None else dict(zip(("launch_deg", "spin_rpm"), whole, strict=True)),
        "speed_ratio": _near(row["speed_ratio_p50"], "ratio"),
        "in_window": _near(row["in_window_share"], "share"),
    }


def _curve(chart: Chart) -> list[list[float]]:
    lines = np.stack([chart.speeds_mph, chart.efficient_carry_yd, chart.efficient_lo90_yd, chart.efficient_hi90_yd])
    known = lines[:, np.isfinite(lines).all(axis=0)]
    return [[round(float(value), DIGITS["yd"]) for value in one] for one in known.T]


def _map(centre: float, band: BandMap | None, images: Mapping[str, bytes]) -> dict[str, Any]:
    """Give a band's pictures, by theme, and its best delivery; None where the data don't reach the band."""
    best = None
    if band is not None and band.reachable.any():
        best = {"launch_deg": band.best_launch_deg, "spin_rpm": band.best_spin_rpm}
    pictures = {theme: base64.b64encode(images[delivery_name(centre, theme)]).decode("ascii") for theme in THEMES}
    return {"best": best, "pictures": pictures}


def _near(value: float | None, unit: str) -> float | None:
    return None if value is None else round(value, DIGITS[unit])
