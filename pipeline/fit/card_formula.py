"""The card's formula: how carry is calculated by hand from coefficients.csv, for every form of surface."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.drives import inputs
from pipeline.fit.flight_surface import POINTS, STEP, FlightSurface
from pipeline.fit.form import Form
from pipeline.fit.model import CarryModel
from pipeline.fit.surface import Axis
from pipeline.fit.tabulated import TabulatedSurface
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, fly_by_each
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

POWERS = {1: "z", 2: "z^2", 3: "z^3"}


@dataclass(frozen=True)
class FlightGap:
    """How far carry by the formula, each drive flown itself, is from the model, which has splines of flight.

    Attributes
    ----------
    rms_yd, most_yd : float
    drives : int
        That were flown.
    """

    rms_yd: float
    most_yd: float
    drives: int


def flight_gap(model: CarryModel, drives: pl.DataFrame, ball: Ball, air: Air) -> FlightGap | None:
    """Fly drives and compare the formula with the model; None for a form without flight.

    Parameters
    ----------
    model : CarryModel
    drives : DataFrame
        ball_speed_mph, launch_deg, spin_rpm.
    ball : Ball
        As calibrated.
    air : Air
        The standard one.
    """
    surface = model.surface
    if not isinstance(surface, FlightSurface):
        return None
    x = inputs(drives, "ball")
    shots = Launch.straight(x[0] * MPS_PER_MPH, *x[1:])

    more, less = 1 + STEP, 1 - STEP
    several = ((1.0, 1.0), (more, 1.0), (less, 1.0), (1.0, more), (1.0, less))
    balls = [ball.scaled(ball.drag * drag, ball.lift * lift) for drag, lift in several]
    flown, *moved = (flight.carry_m / METRES_PER_YARD for flight in fly_by_each(shots, balls, air))
    slopes = [(moved[place] - moved[place + 1]) / (2 * STEP) for place in (0, 2)]
    by_formula = flown + np.column_stack([*slopes, surface.correction.design(*x)]) @ model.coefficients
    away = by_formula - model.carry(*x)
    return FlightGap(float(np.sqrt(np.mean(away**2))), float(np.max(np.abs(away))), drives.height)


def formula_lines(model: CarryModel, gap: FlightGap | None = None) -> list[str]:
    """Say how carry is calculated.

    Parameters
    ----------
    model : CarryModel
        Its surface a `Surface`, a `FlightSurface` or one whose terms are tabulated.
    gap : FlightGap, optional
        See `flight_gap`.
    """
    surface = model.surface
    rows = f"the rows of coefficients.csv whose model is {surface.name}"
    lines = ["## How carry is calculated"]
    if isinstance(surface, FlightSurface):
        lines += [
            "`carry = flown + drag_multiplier x D + lift_multiplier x L + sum of estimate x term`",
            "",
            f"`drag_multiplier`, `lift_multiplier` and the estimates are {rows}. `flown` is the carry, in yards, of a "
            "ball of the set and multipliers under Flight, in the air given there, launched straight with this ball "
            "speed, launch and spin. `D` and `L` say how it changes with its drag and its lift: "
            f"`D = (carry with {1 + STEP:g} x drag - carry with {1 - STEP:g} x drag) / {2 * STEP:g}`, and `L` the same "
            "with lift.",
            "",
            "The model takes all three from natural cubic splines through flights at evenly spaced points, along spin "
            "first, then launch, then ball speed. Beyond the ends they go on as straight lines.",
            "",
            "| flights at | first | last | points |",
            "|---|---|---|---|",
            *(
                f"| {name} | {ends[0]!r} | {ends[1]!r} | {count} |"
                for name, ends, count in zip(("ball_speed", "launch", "spin"), _ends(surface), POINTS, strict=True)
            ),
            "",
        ]
        if gap is not None:
            lines += [
                f"With each drive flown itself instead, carry comes out the same to {gap.rms_yd:.2f} yd (root mean "
                f"square over {gap.drives} drives of the fit) and to {gap.most_yd:.1f} yd at the worst of them.",
                "",
            ]
    else:
        lines += ["`carry = sum of estimate x term`", "", f"The sum goes over {rows}."]
    return [
        *lines,
        "It is the carry in yards on the reference device and ball, at standard conditions.",
        "",
        f"Inputs: {surface.speed} speed in mph, launch in degrees, backspin in rpm.",
        "",
        "Rows whose term begins with `device:` or `ball:` are no part of the sum. Each is a share: drives read there, "
        "or hit with that ball, are expected at carry times 1 plus the sum of their shares.",
        *_regressor_lines(model),
    ]


def _ends(surface: FlightSurface) -> list[tuple[float, float]]:
    """Give the first and the last point of flight along each input."""
    return [
        (float(axis.centre + axis.scale * axis.knots[0]), float(axis.centre + axis.scale * axis.knots[-1]))
        for axis in surface.axes
    ]


def _regressor_lines(model: CarryModel) -> list[str]:
    """Say how further columns of the logs enter, where the model has any."""
    regressors = getattr(model, "regressors", None)
    if regressors is None or not regressors.names:
        return []
    return [
        "",
        "Rows whose term begins with `regressor:` are shares for a unit of that column of the logs. A drive's share is "
        "the estimate times (its value - center); without a value it is 0. It is added to those of device and ball.",
        "",
        "| regressor | center |",
        "|---|---|",
        *(f"| {name} | {float(center)!r} |" for name, center in zip(regressors.names, regressors.centers, strict=True)),
    ]


def piece_lines(surface: Form) -> list[str]:
    """Explain the terms: centers, scales, knots, and what each part of a term's name stands for."""
    lines = ["## Terms"]
    if isinstance(surface, TabulatedSurface):
        return [*lines, *_tabulated(surface)]
    correction = surface.correction if isinstance(surface, FlightSurface) else surface
    names = (f"{surface.speed}_speed", "launch", "spin")
    lines += [
        "`intercept` is 1. A name with `*` is the product of its parts. A part is made of the input, centered and "
        "scaled: `z = (input - center) / scale`.",
        "",
        "| input | center | scale |",
        "|---|---|---|",
        *(
            f"| {name} | {float(axis.centre)!r} | {float(axis.scale)!r} |"
            for name, axis in zip(names, correction.axes, strict=True)
        ),
        "",
        "| part | what it is |",
        "|---|---|",
        *(row for name, axis in zip(names, correction.axes, strict=True) for row in _parts(name, axis)),
    ]
    return [*lines, *_knots(names, correction.axes)]


def _parts(name: str, axis: Axis) -> list[str]:
    rows = [f"| {name} | z |"]
    for place in range(2, axis.size):
        meaning = f"d({place - 1}) - d({len(axis.knots) - 1})" if axis.knots else POWERS[place]
        rows.append(f"| {name}_{place} | {meaning} |")
    return rows


def _knots(names: Sequence[str], axes: Sequence[Axis]) -> list[str]:
    splined = {name: axis.knots for name, axis in zip(names, axes, strict=True) if axis.knots}
    if not splined:
        return []
    last = len(next(iter(splined.values())))
    return [
        "",
        f"Natural cubic splines with {last} knots, in units of z. With `c(t) = max(z - t, 0)^3`:",
        "",
        f"`d(k) = (c(t_k) - c(t_{last})) / ((t_{last} - t_k) x (t_{last} - t_1)^2)`",
        "",
        f"| knots of | {' | '.join(f't_{k}' for k in range(1, last + 1))} |",
        f"|{'---|' * (last + 1)}",
        *(f"| {name} | {' | '.join(repr(float(knot)) for knot in knots)} |" for name, knots in splined.items()),
    ]


def _tabulated(surface: TabulatedSurface) -> list[str]:
    return [
        f"`intercept` is 1. The terms are those of `{surface.origin}`. The model keeps them by their values on grids "
        "over the inputs (in model.json) and takes natural cubic splines between these.",
        "",
        *(f"- `{label}`" for label in surface.labels),
    ]
