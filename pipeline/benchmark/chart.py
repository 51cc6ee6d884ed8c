"""What the figures need of the benchmarks: the efficient curve, and each band's map of expected carry.

A map has one rule of support with the lookup: it is drawn just where the lookup answers (`Frontier.holds`).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.efficient import LEAST_LAUNCH_DEG, LEAST_SPIN_RPM
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.reach import Reach
from pipeline.benchmark.window import Window
from pipeline.fit.model import CarryModel
from pipeline.statistics.arrays import Array, Flags

# Expected carry in a map is for drawing alone, so chart.json is kept small. Between points half a degree and 100 rpm
# apart carry is a straight line to 0.3 yd (the demo's maps, at their corners), where contours are 5 yd apart or more.
MAP_STEP_DEG, MAP_STEP_RPM = 0.5, 100.0
MAP_DECIMALS = 2
EDGE_DECIMALS = 3  # of the outlines of answers, in deg and rpm
OUTLINE_POINTS = 90  # about an ellipse: they leave 0.08 % of it out


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
    answered : list of ndarray, shape (k, 2)
        Outlines, launch and spin, which together hold the deliveries for which the lookup answers.
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
    answered: list[Array]
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


def chart_of(table: pl.DataFrame, model: CarryModel, frontier: Frontier, bands: SpeedBands) -> Chart:
    """Gather the chart; `table` is the band table."""
    reached = set(frontier.speed_mph.tolist())
    maps = [_band_map(model, frontier, centre) for centre in bands.centres_mph if centre in reached]
    newest = table.get_column("quarter").max()
    quarter = newest if isinstance(newest, str) else None
    curve = (frontier.speed_mph, frontier.carry_yd, frontier.lo90_yd, frontier.hi90_yd)
    return Chart(frontier.study, quarter, *curve, maps)


def answered_outlines(frontier: Frontier, club_speed_mph: float) -> list[Array]:
    """Give outlines of the deliveries for which the lookup answers at a club speed, whatever the speed ratio.

    Returns
    -------
    list of ndarray, shape (k, 2)
        Launch, deg, and spin, rpm: the ellipse of drives near the speed, and what golfers reach outside of it
        (`Frontier.holds`). A delivery inside any of them has an answer. All run the same way around.
    """
    place = frontier.nearest(club_speed_mph)
    turns = np.linspace(0.0, 2 * np.pi, OUTLINE_POINTS, endpoint=False)
    root = np.linalg.cholesky(INSIDE * np.linalg.inv(frontier.near.inverse[place]))
    ellipse = frontier.near.mean[place] + np.stack([np.cos(turns), np.sin(turns)], axis=-1) @ root.T
    corners = [_corners(frontier.reach, *run) for run in _runs(_cells(frontier, club_speed_mph))]
    return [ellipse, *(one for one in corners if not _inside(frontier, club_speed_mph, one))]


def reachable_at(frontier: Frontier, club_speed_mph: float) -> Flags:
    """Give the points of the grid of `Frontier.reach` that are reachable at a club speed, shape (m, n)."""
    below, above = (int(place) for place in frontier.about(club_speed_mph))
    return np.asarray(frontier.reach.masks[below] & frontier.reach.masks[above])


def _cells(frontier: Frontier, club_speed_mph: float) -> Flags:
    below, above = (int(place) for place in frontier.about(club_speed_mph))
    return np.asarray(frontier.reach.cells[below] & frontier.reach.cells[above])


def _runs(cells: Flags) -> list[tuple[int, int, int]]:
    """List runs of cells along the spin: place of the launch, first cell, and the one after the last."""
    edges = np.diff(np.pad(cells.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    rows, first = np.nonzero(edges == 1)
    return list(zip(rows.tolist(), first.tolist(), np.nonzero(edges == -1)[1].tolist(), strict=True))


def _corners(reach: Reach, row: int, first: int, end: int) -> Array:
    """Give the corners of a run of cells, the same way around as the ellipse."""
    (low, high), (left, right) = reach.launch_deg[[row, row + 1]], reach.spin_rpm[[first, end]]
    return np.array([[low, left], [high, left], [high, right], [low, right]])


def _inside(frontier: Frontier, club_speed_mph: float, corners: Array) -> bool:
    """Say whether a box lies in the ellipse of the drives near a speed."""
    place = frontier.nearest(club_speed_mph)
    step = corners - frontier.near.mean[place]
    return bool((np.einsum("ki,ij,kj->k", step, frontier.near.inverse[place], step) <= INSIDE).all())


def _band_map(model: CarryModel, frontier: Frontier, centre_mph: float) -> BandMap:
    outlines = answered_outlines(frontier, centre_mph)
    edge = np.concatenate(outlines)
    launch = _steps_over(edge[:, 0], MAP_STEP_DEG, LEAST_LAUNCH_DEG)
    spin = _steps_over(edge[:, 1], MAP_STEP_RPM, LEAST_SPIN_RPM)
    reachable = reachable_at(frontier, centre_mph)
    rows, columns = (_with_margin(np.atleast_1d(reachable.any(axis=axis))) for axis in (1, 0))
    best = frontier.best_delivery(centre_mph, np.nan)
    return BandMap(
        centre_mph,
        launch,
        spin,
        model.better_on_grid(centre_mph, launch, spin).round(MAP_DECIMALS),
        [one.round(EDGE_DECIMALS) for one in outlines],
        frontier.reach.launch_deg[rows],
        frontier.reach.spin_rpm[columns],
        reachable[rows, columns],
        frontier.window_at(centre_mph),
        float(frontier.at("carry_yd", centre_mph)),
        float(best.launch_deg),
        float(best.spin_rpm),
    )


def _with_margin(held: Flags) -> slice:
    """Give the part of an axis that holds anything, with one point to spare where there is one; all if nothing is."""
    places = np.flatnonzero(held)
    return slice(max(int(places[0]) - 1, 0), int(places[-1]) + 2) if len(places) else slice(0, len(held))


def _steps_over(values: Array, step: float, least: float) -> Array:
    """Give multiples of a step that hold all values with one to spare, none below `least`."""
    first, last = max(np.floor(values.min() / step) - 1, np.ceil(least / step)), np.ceil(values.max() / step) + 1
    return np.arange(first, last + 1) * step
