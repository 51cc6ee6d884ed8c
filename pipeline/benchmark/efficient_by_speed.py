"""Efficient carry at every club speed that the data reach, gathered into the frontier."""

from dataclasses import replace
from typing import Literal

import numpy as np

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import WEIGHT_DECIMALS, coarse
from pipeline.benchmark.drives_near import drives_near
from pipeline.benchmark.efficient import Efficient, Population, draw_crowds, efficient_at, supported_speeds
from pipeline.benchmark.frontier import WINDOW_EDGES, Frontier
from pipeline.benchmark.reach import NOWHERE, Reach
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.benchmark.window import Window
from pipeline.drives import Drives
from pipeline.fit.model import CarryModel
from pipeline.fit.resampled import ResampledFits
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.statistics.arrays import Array
from pipeline.threads import in_order

_NO_WINDOW = Window(np.nan, np.nan, np.nan, np.nan)
_COLUMNS = ("speed_mph", "carry_yd", "lo90_yd", "hi90_yd", "std_error_yd", "freedom", "launch_deg", "spin_rpm")
_TOTAL_COLUMNS = ("total_yd", "total_launch_deg", "total_spin_rpm")


def find_efficient(
    model: CarryModel,
    refits: ResampledFits,
    population: Population,
    bands: SpeedBands,
    min_golfers: int,
    tolerance_yd: float,
    roller: Roller,
    *,
    quiet: bool = False,
) -> dict[float, Efficient]:
    """Work out what is efficient at every whole mph and every band's centre that the data reach, by speed.

    Lines show progress, unless `quiet`.
    """
    if len(population.speed_mph) == 0:
        return {}
    whole_mph = np.arange(np.floor(population.speed_mph.min()), np.ceil(population.speed_mph.max()) + 1)
    speeds = np.union1d(whole_mph, np.array(bands.centres_mph))
    reached = supported_speeds(population, bands.half_width_mph, min_golfers, speeds)

    drawn = draw_crowds(model.usual, refits, population, reached.tolist(), bands.half_width_mph, quiet=quiet)

    def at(speed: float) -> Efficient:
        about = drawn[speed]
        return efficient_at(model, refits, population, speed, bands.half_width_mph, tolerance_yd, roller, about)

    return {found.speed_mph: found for found in in_order(at, reached.tolist())}


def frontier_of(
    efficient: dict[float, Efficient],
    used: Drives,
    half_width_mph: float,
    strike: float = UsualDelivery.strike,
    *,
    study: str,
    air: dict[str, float],
    turf: str,
    model_file: str,
    tolerance_yd: float,
    moved_share: float = 0.0,
    units: Literal["yards", "metres"] = "yards",
) -> Frontier:
    """Gather the frontier.

    Parameters
    ----------
    efficient : dict of float to Efficient
        By club speed.
    used : Drives
        The drives of the fit.
    half_width_mph : float
        Standard deviation of the kernel over speed, for where drives lie.
    strike, study, air, turf, model_file, tolerance_yd, moved_share, units
        See `Frontier`.

    Notes
    -----
    It is published, so what it says of the golfers and drives about a speed is rounded.
    """
    found = [efficient[speed] for speed in sorted(efficient)]
    near = drives_near(used, np.array(sorted(efficient)), half_width_mph)
    return Frontier(
        study=study,
        air=air,
        turf=turf,
        model_file=model_file,
        tolerance_yd=tolerance_yd,
        moved_share=moved_share,
        units=units,
        strike=strike,
        **{name: _column(found, name) for name in (*_COLUMNS, *_TOTAL_COLUMNS)},
        golfers=np.round(_column(found, "golfers"), WEIGHT_DECIMALS),
        **_edges("", [one.window for one in found]),
        **_edges("total_", [one.total_window for one in found]),
        near=replace(near, **{name: coarse(values) for name, values in vars(near).items()}),
        reach=_reach_of(found),
    )


def _reach_of(found: list[Efficient]) -> Reach:
    """Gather the reachable deliveries; nowhere for figures made by hand."""
    known = [one.reachable for one in found if one.reachable is not None]
    if len(known) < len(found) or not known:
        return replace(NOWHERE, doubt_yd=np.zeros((len(found), 0, 0)))
    grid = known[0].launch_deg, known[0].spin_rpm
    return Reach.of(*grid, [one.mask for one in known], [one.doubt_yd for one in known])


def errors_of(efficient: dict[float, Efficient], replicates: int) -> dict[str, Array]:
    """Gather the draws of efficient carry's error, for efficient_replicates.npz.

    Parameters
    ----------
    efficient : dict of float to Efficient
        By club speed.
    replicates : int
        Of each.

    Returns
    -------
    dict
        speed_mph, shape (n,), rising, as in the frontier; error_yd, shape (replicates, n): what replicates stand apart
        from their mean. At each speed their standard deviation is the frontier's `std_error_yd`, and two speeds go
        together as their errors do.
    """
    speeds = np.array(sorted(efficient), dtype=float)
    errors = [efficient[speed].errors_yd for speed in speeds]
    return {"speed_mph": speeds, "error_yd": np.array(errors).T if errors else np.zeros((replicates, 0))}


def _column(found: list[Efficient], name: str) -> Array:
    return np.array([getattr(one, name) for one in found], dtype=float)


def _edges(prefix: str, windows: list[Window | None]) -> dict[str, Array]:
    known = [window or _NO_WINDOW for window in windows]
    return {f"{prefix}{name}": np.array([getattr(one, name) for one in known], dtype=float) for name in WINDOW_EDGES}
