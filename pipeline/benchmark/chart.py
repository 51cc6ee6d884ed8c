"""What the figures need of the benchmarks: the efficient curve, and each band's map of expected carry."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.efficient import Efficient, Population, map_at
from pipeline.benchmark.window import Window
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array, Flags


@dataclass(frozen=True)
class BandMap:
    """Expected carry over launch and spin at a band's centre, struck as the better quarter of golfers do.

    Attributes
    ----------
    band_mph : float
    launch_deg, spin_rpm : ndarray, shapes (m,) and (n,)
    expected_carry_yd : ndarray, shape (m, n)
    supported : ndarray of bool, shape (m, n)
        Where golfers of about that speed deliver.
    window : Window or None
    efficient_carry_yd : float
    """

    band_mph: float
    launch_deg: Array
    spin_rpm: Array
    expected_carry_yd: Array
    supported: Flags
    window: Window | None
    efficient_carry_yd: float


@dataclass(frozen=True)
class Chart:
    """chart.json: the efficient curve over n club speeds with its 90 % interval, and the maps of the bands.

    Attributes
    ----------
    study : str
    quarter : str or None
        The newest one; None without any golfer.
    speeds_mph, efficient_carry_yd, efficient_lo90_yd, efficient_hi90_yd : ndarray, shape (n,)
    bands : list of BandMap
        Bands that the data don't reach are left out.
    """

    study: str
    quarter: str | None
    speeds_mph: Array
    efficient_carry_yd: Array
    efficient_lo90_yd: Array
    efficient_hi90_yd: Array
    bands: list[BandMap]

    def map_of(self, band_mph: float) -> BandMap | None:
        """Give the map of a band; None where the data don't reach it."""
        return next((one for one in self.bands if one.band_mph == band_mph), None)


def chart_of(
    study: str,
    table: pl.DataFrame,
    model: CarryModel,
    population: Population,
    efficient: dict[float, Efficient],
    bands: SpeedBands,
) -> Chart:
    """Gather the chart; `table` is the band table."""
    speeds = sorted(efficient)
    maps = []
    for centre in bands.centres_mph:
        if centre in efficient:
            at, best = map_at(model, population, centre, bands.half_width_mph), efficient[centre]
            maps.append(
                BandMap(centre, at.launch_deg, at.spin_rpm, at.carry_yd, at.supported, best.window, best.carry_yd)
            )
    newest = table.get_column("quarter").max()
    carry, lo, hi = (
        np.array([getattr(efficient[v], name) for v in speeds], dtype=float)
        for name in ("carry_yd", "lo90_yd", "hi90_yd")
    )
    quarter = newest if isinstance(newest, str) else None
    return Chart(study, quarter, np.array(speeds, dtype=float), carry, lo, hi, maps)
