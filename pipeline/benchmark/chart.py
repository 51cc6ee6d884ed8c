"""What the figures need of the benchmarks: the efficient curve, and each band's map of expected carry.

A map has one rule of support with the lookup: it is drawn just where the lookup answers (`Frontier.holds`).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.efficient import (
    LEAST_LAUNCH_DEG,
    LEAST_SPIN_RPM,
    Efficient,
    Map,
    Population,
    map_at,
)
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.window import Window
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array, Flags

# Expected carry in a map is for drawing alone, so chart.json is kept small. Between points half a degree and 100 rpm
# apart carry is a straight line to 0.3 yd (the demo's maps, at their corners), where contours are 5 yd apart or more.
MAP_STEP_DEG, MAP_STEP_RPM = 0.5, 100.0
MAP_DECIMALS = 2
EDGE_DECIMALS = 3  # of the outline of answers, in deg and rpm


@dataclass(frozen=True)
class BandMap:
    """Expected carry over launch and spin at a band's centre, struck as the better quarter of golfers do.

    Attributes
    ----------
    band_mph : float
    launch_deg, spin_rpm : ndarray, shapes (m,) and (n,)
        The grid of `expected_carry_yd`.
    expected_carry_yd : ndarray, shape (m, n)
        In hundredths, on the whole grid; only inside `answered` it is to be shown.
    answered : ndarray, shape (k, 2)
        Outline of the deliveries for which the lookup answers, launch and spin: drives near that speed lie there.
    reach_launch_deg, reach_spin_rpm : ndarray, shapes (p,) and (q,)
        The grid of `reachable`, which is finer.
    reachable : ndarray of bool, shape (p, q)
        Where golfers of about that speed deliver: efficient carry is the largest expected carry there.
    window : Window or None
    efficient_carry_yd : float
    best_launch_deg, best_spin_rpm : float
        The delivery that gives it.
    """

    band_mph: float
    launch_deg: Array
    spin_rpm: Array
    expected_carry_yd: Array
    answered: Array
    reach_launch_deg: Array
    reach_spin_rpm: Array
    reachable: Flags
    window: Window | None
    efficient_carry_yd: float
    best_launch_deg: float
    best_spin_rpm: float


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
    frontier: Frontier,
) -> Chart:
    """Gather the chart; `table` is the band table, `frontier` that of `efficient`."""
    speeds = sorted(efficient)
    maps = []
    for centre in bands.centres_mph:
        if centre in efficient:
            reach = map_at(model, population, centre, bands.half_width_mph)
            maps.append(_band_map(model, frontier, reach, efficient[centre]))
    newest = table.get_column("quarter").max()
    carry, lo, hi = (
        np.array([getattr(efficient[v], name) for v in speeds], dtype=float)
        for name in ("carry_yd", "lo90_yd", "hi90_yd")
    )
    quarter = newest if isinstance(newest, str) else None
    return Chart(study, quarter, np.array(speeds, dtype=float), carry, lo, hi, maps)


def answered_outline(frontier: Frontier, club_speed_mph: float, points: int = 90) -> Array:
    """Give the outline of the deliveries for which the lookup answers at a club speed, whatever the speed ratio.

    Returns
    -------
    ndarray, shape (points, 2)
        Launch, deg, and spin, rpm, around the ellipse of `Frontier.holds`.
    """
    place = frontier.nearest(club_speed_mph)
    turns = np.linspace(0.0, 2 * np.pi, points, endpoint=False)
    root = np.linalg.cholesky(INSIDE * np.linalg.inv(frontier.near.inverse[place]))
    return np.asarray(frontier.near.mean[place] + np.stack([np.cos(turns), np.sin(turns)], axis=-1) @ root.T)


def _band_map(model: CarryModel, frontier: Frontier, reach: Map, best: Efficient) -> BandMap:
    edge = answered_outline(frontier, best.speed_mph)
    launch = _steps_over(edge[:, 0], MAP_STEP_DEG, LEAST_LAUNCH_DEG)
    spin = _steps_over(edge[:, 1], MAP_STEP_RPM, LEAST_SPIN_RPM)
    rows, columns = (_with_margin(np.atleast_1d(reach.supported.any(axis=axis))) for axis in (1, 0))
    return BandMap(
        best.speed_mph,
        launch,
        spin,
        model.better_on_grid(best.speed_mph, launch, spin).round(MAP_DECIMALS),
        edge.round(EDGE_DECIMALS),
        reach.launch_deg[rows],
        reach.spin_rpm[columns],
        reach.supported[rows, columns],
        frontier.window_at(best.speed_mph),
        best.carry_yd,
        best.launch_deg,
        best.spin_rpm,
    )


def _with_margin(held: Flags) -> slice:
    """Give the part of an axis that holds anything, with one point to spare where there is one."""
    places = np.flatnonzero(held)
    return slice(max(int(places[0]) - 1, 0), int(places[-1]) + 2)


def _steps_over(values: Array, step: float, least: float) -> Array:
    """Give multiples of a step that hold all values with one to spare, none below `least`."""
    first, last = max(np.floor(values.min() / step) - 1, np.ceil(least / step)), np.ceil(values.max() / step) + 1
    return np.arange(first, last + 1) * step
