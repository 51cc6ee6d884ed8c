"""The coach's page: the fitted model as plain values for the page's script, and the page around them.

The script works on the model itself, not on a table of answers, because the run jumps by a fifth of a yard where a
bounce more or less is made: no grid would follow it to a tenth of a yard. Numbers are written with the digits that keep
the page's figures within 1e-6 of the package's.
"""

import base64
import hashlib
from dataclasses import asdict
from typing import Any

import numpy as np
from markupsafe import Markup

from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.flown_grid import BALL_SPEED_STEP_MPH, LAUNCH_STEP_DEG, LEAST_SPIN_RPM, SPIN_STEP_RPM
from pipeline.benchmark.frontier import HALF_GRID_MPH, WINDOW_EDGES, Frontier
from pipeline.benchmark.frontier_here import LOOKED_UP_YD
from pipeline.benchmark.reach import NODE_EVERY, Reach
from pipeline.benchmark.run_and_conditions import Place
from pipeline.coach.goals.pace import Gain
from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.model import CarryModel, FittedOn
from pipeline.fit.surface import Axis, Surface
from pipeline.flight.offsets import UNSTATED
from pipeline.physics.ball import SETS, SOFT, Ball
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.physics.trajectory import GRAVITY_MPS2
from pipeline.physics.turf import BALL_RADIUS_M, FIRMNESS, MOST_BOUNCES
from pipeline.report.templating import templates_of
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
)

# Sections of the catalogue that the scripts say.
SPOKEN = ("refusals", "units", "asked", "numbers", "turf", "notes", "page")

# Columns of the frontier that an answer needs.
COLUMNS = ("carry_yd", "lo90_yd", "hi90_yd", "std_error_yd", "launch_deg", "spin_rpm", "total_yd", *WINDOW_EDGES)

# Decimals of what is a sum of many parts: carry at the splines' knots, yd, and its slopes with the multipliers, which
# enter times some hundredths. Each puts a figure off by 1e-7 yd at most (tested).
CARRY_DECIMALS, SLOPE_DECIMALS = 8, 7

# The drawing, in its own units; a frame inside leaves room for the figures along the axes.
WIDTH, HEIGHT = 360, 262
FRAME = {"left": 38, "right": 348, "top": 24, "bottom": 214}
LAUNCH_TICK_DEG, SPIN_TICK_RPM = 5, 1000
NOBODY = ((5.0, 25.0), (1000.0, 5000.0))  # axes of a study without benchmarks, whose drawing is never shown


def lookup_data(
    model: CarryModel, frontier: Frontier, place: Place, refits: Array, gain: Gain | None = None
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

    Returns
    -------
    dict
        Plain values, ready for JSON; NaN is null.
    """
    return {
        "start": _start(frontier.speed_mph),
        "model": model_data(model, refits),
        "frontier": frontier_data(frontier),
        "standard": {**frontier.air, "turf": frontier.turf},
        "flight": flight_data(place.ball),
        "turfs": {name: asdict(turf) for name, turf in FIRMNESS.items()},
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
        "z90": Z90,
        "gain": None if gain is None else asdict(gain),
        "condition_limits": {name: list(limits) for name, limits in CONDITIONS.items()},
        "texts": {section: texts(section) for section in SPOKEN},
        "drawing": _drawing(frontier),
    }


def model_data(model: CarryModel, refits: Array) -> dict[str, Any]:
    """Write a carry model: its surface, what is usual at a club speed, and the interval of one drive."""
    return {
        "surface": surface_data(model.surface, model.coefficients, refits),
        "usual": {name: asdict(line) if line else None for name, line in vars(model.usual).items()},
        "interval": {known: list(edges) for known, edges in model.interval.items()},
        "better_share": model.better_share,
        "assumed_ratio": ASSUMED_RATIO,
    }


def surface_data(surface: Surface | FlightSurface, coefficients: Array, refits: Array) -> dict[str, Any]:
    """Write a fitted surface: its terms one by one, and flight by its values at the splines' knots.

    Parameters
    ----------
    surface : Surface or FlightSurface
    coefficients : ndarray, shape (terms,)
    refits : ndarray, shape (replicates, terms)

    Returns
    -------
    dict
        `flight` is None for a surface without it; else carry and its slopes with the multipliers of drag and lift,
        whose coefficients come first. `covariance` has the rows of the refits' covariance up to the diagonal.
    """
    correction = surface.correction if isinstance(surface, FlightSurface) else surface
    spread = np.atleast_2d(np.cov(refits.T, ddof=0)) if len(refits) else np.zeros((len(coefficients),) * 2)
    return {
        "speed": surface.speed,
        "axes": [asdict(axis) for axis in correction.axes],
        "terms": [list(term) for term in correction.terms],
        "coefficients": coefficients.tolist(),
        "covariance": [row[: place + 1].tolist() for place, row in enumerate(spread)],
        "flight": _flown(surface) if isinstance(surface, FlightSurface) else None,
    }


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


def build_lookup_page(
    data: dict[str, Any], *, study: str, fitted_on: FittedOn, conditions: str, window_tolerance_yd: float
) -> str:
    """Build the coach's page.

    Parameters
    ----------
    data : dict
        From `lookup_data`.
    study : str
        Its name.
    fitted_on : FittedOn
    conditions : str
        From `conditions_text`.
    window_tolerance_yd : float

    Returns
    -------
    str
        A whole HTML document that needs no other file and that may not reach for any.
    """
    environment = templates_of("lookup")
    environment.policies["json.dumps_kwargs"] = {"sort_keys": True, "allow_nan": False, "separators": (",", ":")}
    style = environment.get_template("lookup.css").render()
    script = "\n".join(environment.get_template(name).render() for name in (*MODEL_SCRIPTS, "lookup_page.js"))
    policy = {
        "default-src": "'none'",
        "script-src": _digest(script),
        "style-src": _digest(style),
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    quarters = fitted_on.quarters
    # Markup is right here: style and script are the package's own files.
    return environment.get_template("lookup.html.j2").render(
        data=data,
        study=study,
        drawing=data["drawing"],
        style=Markup(style),
        script=Markup(script),
        policy="; ".join(f"{name} {allowed}" for name, allowed in policy.items()),
        fitted=fitted_on,
        quarters=quarters[0] if len(quarters) == 1 else f"{quarters[0]} to {quarters[-1]}",
        conditions=conditions,
        tolerance_yd=window_tolerance_yd,
    )


def conditions_text(air: dict[str, float], turf: str, reference: dict[str, str]) -> str:
    """Say in plain words what conditions the page's figures are for.

    Parameters
    ----------
    air : dict
        temp_c, pressure_hpa and humidity of the study's standard air.
    turf : str
        Firmness of the fairway.
    reference : dict
        Device and ball that carry is moved to, by `device` and `ball`; left out where the logs don't state them.
    """
    damp = "dry" if air["humidity"] == 0 else f"{100 * air['humidity']:.0f} % humidity"
    named = [f"{kind} {level}" for kind, level in sorted(reference.items(), reverse=True) if level != UNSTATED]
    scale = f", on the scale of {' and '.join(named)}" if named else ""
    return f"calm air of {air['temp_c']:g} deg C and {air['pressure_hpa']:g} hPa, {damp}, {turf} turf{scale}"


def _start(speeds_mph: Array) -> str:
    if len(speeds_mph) == 0:
        return texts("refusals")["no_benchmarks"]
    return f"Enter a club speed from {speeds_mph[0]:g} to {speeds_mph[-1]:g} mph: that is how far the data reach."


def _drawing(frontier: Frontier) -> dict[str, Any]:
    """Lay out the drawing: axes that hold every delivery which the data reach at any speed, and their ticks."""
    (launch_lo, launch_hi), (spin_lo, spin_hi) = _extent(frontier)
    left, right, top, bottom = (FRAME[side] for side in ("left", "right", "top", "bottom"))
    return {
        "width": WIDTH,
        "height": HEIGHT,
        "frame": FRAME,
        "launch": _scale(launch_lo, launch_hi, LAUNCH_TICK_DEG, bottom, top),
        "spin": _scale(spin_lo, spin_hi, SPIN_TICK_RPM, left, right),
    }


def _extent(frontier: Frontier) -> tuple[tuple[float, float], tuple[float, float]]:
    mean = frontier.near.mean
    if len(mean) == 0:
        return NOBODY
    covariance = np.linalg.inv(frontier.near.inverse)
    room = np.sqrt(INSIDE * np.diagonal(covariance, axis1=1, axis2=2))
    lo, hi = (mean - room).min(axis=0), (mean + room).max(axis=0)
    return (float(lo[0]), float(hi[0])), (float(lo[1]), float(hi[1]))


def _scale(lo: float, hi: float, tick: int, first: float, last: float) -> dict[str, Any]:
    """Widen a range to fifths of its tick step and place the ticks from `first` to `last`."""
    step = tick / 5
    lo, hi = float(np.floor(lo / step) * step), float(np.ceil(hi / step) * step)
    values = np.arange(np.ceil(lo / tick), np.floor(hi / tick) + 1) * tick
    places = np.round(first + (last - first) * (values - lo) / (hi - lo), 2)
    ticks = [{"at": at, "text": f"{value:,.0f}"} for at, value in zip(places.tolist(), values.tolist(), strict=True)]
    return {"lo": lo, "hi": hi, "ticks": ticks}


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
