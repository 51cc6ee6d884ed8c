"""The coach's page: the fitted model as plain values for the page's script, and the page around them.

The script works on the model itself, not on a table of answers, because the run jumps by a fifth of a yard where a
bounce more or less is made: no grid would follow it to a tenth of a yard.
"""

import base64
import hashlib
from dataclasses import asdict
from typing import Any

import numpy as np
from markupsafe import Markup

from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.frontier import HALF_GRID_MPH, Frontier
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.model import CarryModel, FittedOn
from pipeline.fit.surface import Axis, Surface
from pipeline.flight.offsets import UNSTATED
from pipeline.physics.ball import SETS, SOFT, Ball
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.physics.trajectory import GRAVITY_MPS2
from pipeline.physics.turf import BALL_RADIUS_M, MOST_BOUNCES
from pipeline.report.templating import templates_of
from pipeline.statistics.arrays import Array, plain_values
from pipeline.texts.catalogue import texts
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# The drawing, in its own units; a frame inside leaves room for the figures along the axes.
WIDTH, HEIGHT = 360, 262
FRAME = {"left": 38, "right": 348, "top": 24, "bottom": 214}
LAUNCH_TICK_DEG, SPIN_TICK_RPM = 5, 1000
NOBODY = ((5.0, 25.0), (1000.0, 5000.0))  # axes of a study without benchmarks, whose drawing is never shown


def lookup_data(model: CarryModel, frontier: Frontier, place: Place) -> dict[str, Any]:
    """Gather all that the page's script needs to answer as `pipeline.benchmark.lookup.look_up` does.

    Parameters
    ----------
    model : CarryModel
    frontier : Frontier
    place : Place
        The answers are for its standard conditions.

    Returns
    -------
    dict
        Plain values, ready for JSON; NaN is null.
    """
    usual = {name: asdict(line) if line else None for name, line in vars(model.usual).items()}
    return {
        "start": _start(frontier.speed_mph),
        "surface": {"speed": model.surface.speed, "parts": surface_parts(model.surface, model.coefficients)},
        "usual": usual,
        "interval": {known: list(edges) for known, edges in model.interval.items()},
        "frontier": plain_values(frontier),
        "half_grid_mph": HALF_GRID_MPH,
        "inside": INSIDE,
        "refusals": texts("refusals"),
        "assumed_ratio": ASSUMED_RATIO,
        "flight": flight_data(place.ball, place.standard),
        "turf": asdict(place.standard.turf),
        "drawing": _drawing(frontier),
    }


def surface_parts(surface: Surface | FlightSurface, coefficients: Array) -> list[dict[str, Any]]:
    """Write a fitted surface as a sum of tensors.

    Parameters
    ----------
    surface : Surface or FlightSurface
    coefficients : ndarray, shape (terms,)

    Returns
    -------
    list of dict
        Each with its three `axes` and its `coefficients`, lists of shape (speed, launch, spin).
    """
    if isinstance(surface, Surface):
        return [{"axes": _axes(surface.axes), "coefficients": surface.tensor(coefficients).tolist()}]
    # The multipliers enter in a straight line, so flight and its slopes are one tensor.
    flown = surface.carry + coefficients[0] * surface.drag + coefficients[1] * surface.lift
    correction = surface_parts(surface.correction, coefficients[2:])
    return [{"axes": _axes(surface.axes), "coefficients": flown.tolist()}, *correction]


def flight_data(ball: Ball, conditions: Conditions) -> dict[str, Any]:
    """Gather what a straight calm flight and its run need: ball, air, the set's ranges, constants; SI."""
    of_set = SETS[ball.coefficients]
    return {
        "ball": asdict(ball),
        "density_kg_m3": float(conditions.air.density_kg_m3),
        "kinematic_m2_s": float(conditions.air.kinematic_m2_s),
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
    style, model, page = (
        environment.get_template(name).render() for name in ("lookup.css", "lookup_model.js", "lookup_page.js")
    )
    script = f"{model}\n{page}"
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


def _axes(axes: tuple[Axis, Axis, Axis]) -> list[dict[str, Any]]:
    return [asdict(axis) for axis in axes]


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
