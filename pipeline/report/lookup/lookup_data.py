"""The coach's page: the fitted model as plain values for the page's script.

The script works on the model itself, not on a table of answers, because the run jumps by a fifth of a yard where a
bounce more or less is made: no grid would follow it to a tenth of a yard. Numbers are written with the digits that keep
the page's figures within 1e-6 of the package's.
"""

from dataclasses import asdict
from typing import Any

import numpy as np

from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.flown_grid import BALL_SPEED_STEP_MPH, LAUNCH_STEP_DEG, LEAST_SPIN_RPM, SPIN_STEP_RPM
from pipeline.benchmark.frontier import HALF_GRID_MPH, WINDOW_EDGES, Frontier
from pipeline.benchmark.frontier_here import LOOKED_UP_YD
from pipeline.benchmark.lookup_text import TOLD_FROM_YD
from pipeline.benchmark.reach import NODE_EVERY, Reach
from pipeline.benchmark.run_and_conditions import Place
from pipeline.coach.goals.pace import Gain
from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.form import Form
from pipeline.fit.model import CarryModel
from pipeline.fit.surface import Axis, Surface
from pipeline.fit.tabulated import TabulatedSurface
from pipeline.physics.ball import SETS, SOFT, Ball
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.physics.trajectory import GRAVITY_MPS2
from pipeline.physics.turf import BALL_RADIUS_M, FIRMNESS, MOST_BOUNCES, NEIGHBORS
from pipeline.statistics.arrays import Array, plain_values
from pipeline.statistics.intervals import Z90
from pipeline.texts.catalogue import texts
from pipeline.typed import CONDITIONS
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# The scripts of the model, in the order in which each may use those before it; the page's own come after them.
MODEL_SCRIPTS = (
    "lookup_shown.js",
    "lookup_flight.js",
    "lookup_surface.js",
    "lookup_frontier.js",
    "lookup_grid.js",
    "lookup_goal.js",
    "lookup_words.js",
    "lookup_model.js",
    "lookup_reach.js",
)

# Sections of the catalogue that the scripts say.
SPOKEN = ("refusals", "units", "asked", "numbers", "turf", "notes", "page")

# Columns of the frontier that an answer needs.
COLUMNS = (
    *("carry_yd", "lo90_yd", "hi90_yd", "std_error_yd", "launch_deg", "spin_rpm"),
    *("total_yd", "total_launch_deg", "total_spin_rpm", *WINDOW_EDGES),
)

# Decimals of what there is most of: carry at the splines' knots, yd, and its slopes with the multipliers, which enter
# times some hundredths. On the demo they put no figure off by more than 2e-8 yd; tests hold it under 1e-6.
CARRY_DECIMALS, SLOPE_DECIMALS = 8, 7


def lookup_data(
    model: CarryModel,
    frontier: Frontier,
    place: Place,
    refits: Array,
    gain: Gain | None = None,
    reaching: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Gather all that the page's script needs to answer as the commands `lookup` and `goal` do.

    Parameters
    ----------
    model : CarryModel
    frontier : Frontier
        At the study's standard conditions.
    place : Place
        Its ball and standard conditions.
    refits : ndarray, shape (replicates, terms of the surface)
        Coefficients refitted on resampled golfers.
    gain : Gain or None
        The pace at which golfers here gain club speed.
    reaching : dict or None
        From `reaching_data`: how drives scatter.

    Returns
    -------
    dict
        Plain values, ready for JSON; NaN is null.
    """
    return {
        "model": model_data(model, refits),
        "frontier": frontier_data(frontier),
        "standard": {**frontier.air, "turf": frontier.turf},
        "flight": flight_data(place.ball),
        "turfs": {name: [asdict(one) for one in (turf, *NEIGHBORS[turf])] for name, turf in FIRMNESS.items()},
        "grid": {
            "ball_step_mph": BALL_SPEED_STEP_MPH,
            "launch_step_deg": LAUNCH_STEP_DEG,
            "spin_step_rpm": SPIN_STEP_RPM,
            "least_spin_rpm": LEAST_SPIN_RPM,
        },
        "half_grid_mph": HALF_GRID_MPH,
        "inside": INSIDE,
        "node_every": NODE_EVERY,
        "looked_up_yd": LOOKED_UP_YD,
        "moved_share": frontier.moved_share,
        "told_from_yd": TOLD_FROM_YD,
        "z90": Z90,
        "gain": None if gain is None else asdict(gain),
        "reaching": reaching,
        "condition_limits": {name: list(limits) for name, limits in CONDITIONS.items()},
        "texts": {section: texts(section) for section in SPOKEN},
    }


def model_data(model: CarryModel, refits: Array) -> dict[str, Any]:
    """Write a carry model: its surface, what is usual at a club speed, and the interval of one drive."""
    return {
        "surface": surface_data(model.surface, model.coefficients, refits),
        "usual": {name: asdict(line) if line else None for name, line in model.usual.lines.items()},
        "interval": {known: list(edges) for known, edges in model.interval.items()},
        "better_share": model.better_share,
        "assumed_ratio": ASSUMED_RATIO,
    }


def surface_data(surface: Form, coefficients: Array, refits: Array) -> dict[str, Any]:
    """Write a fitted surface: its terms one by one, and flight and tabulated terms by their values at splines' knots.

    Parameters
    ----------
    surface : Form
    coefficients : ndarray, shape (terms,)
    refits : ndarray, shape (replicates, terms)

    Returns
    -------
    dict
        `flight` is None for a surface without it; else carry and its slopes with the multipliers of drag and lift,
        whose coefficients come first. `tables` has the terms of a `TabulatedSurface`, which has no others.
        `covariance` has the rows of the refits' covariance up to the diagonal.
    """
    correction = surface.correction if isinstance(surface, FlightSurface) else surface
    products = correction if isinstance(correction, Surface) else None
    spread = np.atleast_2d(np.cov(refits.T, ddof=0)) if len(refits) else np.zeros((len(coefficients),) * 2)
    sizes = np.maximum(np.abs(coefficients), np.sqrt(np.diag(spread)))
    return {
        "speed": surface.speed,
        "axes": [asdict(axis) for axis in products.axes] if products else [],
        "terms": [list(term) for term in products.terms] if products else [],
        "coefficients": coefficients.tolist(),
        "covariance": [row[: place + 1].tolist() for place, row in enumerate(spread)],
        "flight": _flown(surface) if isinstance(surface, FlightSurface) else None,
        "tables": _tables(surface, sizes) if isinstance(surface, TabulatedSurface) else [],
    }


def _tables(surface: TabulatedSurface, sizes: Array) -> list[dict[str, Any]]:
    """Write tabulated terms by their values at the knots, with the decimals that coefficients of such sizes ask for."""
    # Coefficient times value is off by less than half of the last of CARRY_DECIMALS.
    decimals = np.ceil(np.log10(np.maximum(sizes, 10.0**-CARRY_DECIMALS))).astype(int) + CARRY_DECIMALS
    return [
        {
            "knots": [knots.tolist() for knots in splines.knots],
            "terms": list(table.terms),
            "values": [
                np.round(table.values[..., k].ravel(), int(decimals[place])).tolist()
                for k, place in enumerate(table.terms)
            ],
        }
        for table, splines in zip(surface.tables, surface.splines, strict=True)
    ]


def _flown(surface: FlightSurface) -> dict[str, Any]:
    """Write flight by its values at the knots, flat; they need far fewer digits than the splines' coefficients."""
    bases = [axis.basis(axis.centre + axis.scale * np.array(axis.knots)) for axis in surface.axes]

    def at_knots(tensor: Array, decimals: int) -> list[float]:
        found = np.einsum("ia,jb,kc,abc->ijk", *bases, tensor, optimize=True)
        return [float(value) for value in np.round(found.ravel(), decimals)]

    return {
        "axes": [_knots(axis) for axis in surface.axes],
        "carry": at_knots(surface.carry, CARRY_DECIMALS),
        "drag": at_knots(surface.drag, SLOPE_DECIMALS),
        "lift": at_knots(surface.lift, SLOPE_DECIMALS),
    }


def _knots(axis: Axis) -> dict[str, Any]:
    return {"centre": axis.centre, "scale": axis.scale, "knots": list(axis.knots)}


def frontier_data(frontier: Frontier) -> dict[str, Any]:
    """Write what an answer needs of the frontier."""
    columns = {name: plain_values(frontier)[name] for name in COLUMNS}
    return {
        "speed_mph": frontier.speed_mph.tolist(),
        "columns": columns,
        "near": plain_values(frontier.near),
        "reach": reach_data(frontier.reach),
        "tolerance_yd": frontier.tolerance_yd,
    }


def reach_data(reach: Reach) -> dict[str, Any]:
    """Write the reachable deliveries, their runs as one flat list of whole numbers."""
    return {
        "launch_deg": reach.launch_deg.tolist(),
        "spin_rpm": reach.spin_rpm.tolist(),
        "runs": reach.runs.astype(int).ravel().tolist(),
        "doubt_yd": reach.doubt_yd.tolist(),
    }


def flight_data(ball: Ball) -> dict[str, Any]:
    """Gather what a flight and its run need beside air, wind and turf: ball, ranges of its set, constants; SI."""
    of_set = SETS[ball.coefficients]
    return {
        "ball": asdict(ball),
        "reynolds": list(of_set.reynolds),
        "spin_ratio": list(of_set.spin_ratio),
        "soft": SOFT,
        "gravity_mps2": GRAVITY_MPS2,
        "ball_radius_m": BALL_RADIUS_M,
        "most_bounces": MOST_BOUNCES,
        "mps_per_mph": MPS_PER_MPH,
        "metres_per_yard": METRES_PER_YARD,
    }
