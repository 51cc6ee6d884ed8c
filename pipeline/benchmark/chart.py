"""What the figures need of the benchmarks: the efficient curve, and each band's map of expected carry.

A map has one rule of support with the lookup: it has a figure just where the lookup answers (`Frontier.holds`).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.efficient import (
    LAUNCH_STEP_DEG,
    LEAST_LAUNCH_DEG,
    LEAST_SPIN_RPM,
    SPIN_STEP_RPM,
    Efficient,
    Map,
    Population,
    map_at,
)
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.window import Window
from pipeline.fit.model import CarryModel, Delivery
from pipeline.statistics.arrays import Array, Flags

# Expected carry in a map is for drawing alone: hundredths of a yard keep chart.json a sixth of its size, and move no
# contour by a hundredth of a step of the grid.
MAP_DECIMALS = 2


@dataclass(frozen=True)
class BandMap:
    """Expected carry over launch and spin at a band's centre, struck as the better quarter of golfers do.

    Attributes
    ----------
    band_mph : float
    launch_deg, spin_rpm : ndarray, shapes (m,) and (n,)
    expected_carry_yd : ndarray, shape (m, n)
        In hundredths. NaN where the lookup gives no answer: no drives near that speed lie there.
    reachable : ndarray of bool, shape (m, n)
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


def answered_carry(
    model: CarryModel, frontier: Frontier, club_speed_mph: float, launch_deg: Array, spin_rpm: Array
) -> Array:
    """Give expected carry over a grid, yd, shape (m, n), struck as the better quarter do; NaN without an answer."""
    grid = Delivery(np.array(club_speed_mph), np.array(np.nan), launch_deg[:, None], spin_rpm[None, :])
    carry = model.better_on_grid(club_speed_mph, launch_deg, spin_rpm)
    return np.where(frontier.holds(grid), carry, np.nan)


def _band_map(model: CarryModel, frontier: Frontier, reach: Map, best: Efficient) -> BandMap:
    edge = answered_outline(frontier, best.speed_mph)
    launch = _steps_over(np.append(edge[:, 0], _held(reach.launch_deg, reach, 1)), LAUNCH_STEP_DEG, LEAST_LAUNCH_DEG)
    spin = _steps_over(np.append(edge[:, 1], _held(reach.spin_rpm, reach, 0)), SPIN_STEP_RPM, LEAST_SPIN_RPM)
    rows, columns = (_places(*pair) for pair in ((launch, reach.launch_deg), (spin, reach.spin_rpm)))
    reachable = (rows >= 0)[:, None] & (columns >= 0) & reach.supported[np.ix_(rows, columns)]
    carry = answered_carry(model, frontier, best.speed_mph, launch, spin).round(MAP_DECIMALS)
    return BandMap(
        best.speed_mph,
        launch,
        spin,
        carry,
        reachable,
        frontier.window_at(best.speed_mph),
        best.carry_yd,
        best.launch_deg,
        best.spin_rpm,
    )


def _held(grid: Array, reach: Map, axis: int) -> Array:
    """Give the values of a grid at which anything is reachable; `axis` is the other one of the map."""
    return grid[reach.supported.any(axis=axis)]


def _steps_over(values: Array, step: float, least: float) -> Array:
    """Give multiples of a step that hold all values with one to spare, none below `least`."""
    first, last = max(np.floor(values.min() / step) - 1, np.ceil(least / step)), np.ceil(values.max() / step) + 1
    return np.arange(first, last + 1) * step


def _places(grid: Array, other: Array) -> npt.NDArray[np.int64]:
    """Give the place in another grid of each point of one, -1 where it isn't there; both hold multiples of a step."""
    place = np.abs(other - grid[:, None]).argmin(axis=1)
    return np.where(np.isclose(other[place], grid), place, -1)
