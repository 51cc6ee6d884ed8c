"""The model's card: what was fitted on what, how well, how carry is calculated from it, and where not to use it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.configuration.study import Efficient, StandardAir
from pipeline.fit.card_formula import FlightGap, formula_lines, piece_lines
from pipeline.fit.held_out import CLUB_SPEED_ALONE, EVERYTHING
from pipeline.fit.model import CarryModel, FittedModel, known_key
from pipeline.fit.scores import Choice
from pipeline.fit.surface import Extent
from pipeline.flight.calibrate import StudyFlight
from pipeline.markdown import shown_text
from pipeline.physics.air import Air
from pipeline.physics.ball import SETS
from pipeline.shown import signed_text
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL

KNOWN = {EVERYTHING: "everything is known", known_key(*CLUB_SPEED_ALONE): "club speed alone"}


@dataclass(frozen=True)
class CardFacts:
    """What a card says.

    Attributes
    ----------
    id : str
        Of the fit; see `pipeline.fit.kept.model_id`.
    fitted : FittedModel
    scores : DataFrame
        The table `Scores`.
    choice : Choice
        Why the model was chosen.
    extents : mapping of str to tuple of Extent
        How speed, launch and spin of the fit's drives are spread; see `Survey`.
    residual_sd_yd : float
        Residual standard deviation of the fit, yd.
    gap : FlightGap or None
        See `pipeline.fit.card_formula.flight_gap`.
    flight : StudyFlight
    air : StandardAir
    seed, folds, replicates : int
    efficient : Efficient
    level : float
        Of the interval of a drive that the card gives.
    intervals : mapping of str to (float, float)
        From `pipeline.fit.held_out.edges_at`.
    """

    id: str
    fitted: FittedModel
    scores: pl.DataFrame
    choice: Choice
    extents: Mapping[str, tuple[Extent, Extent, Extent]]
    residual_sd_yd: float
    gap: FlightGap | None
    flight: StudyFlight
    air: StandardAir
    seed: int
    folds: int
    replicates: int
    efficient: Efficient
    level: float
    intervals: Mapping[str, tuple[float, float]]


def card_text(on: CardFacts) -> str:
    """Write the card as markdown."""
    model = on.fitted.model
    lines = [
        f"# Carry model of the study {on.fitted.study}",
        "",
        f"Model {on.id}. Carry in yards as a function of {model.surface.speed} speed, launch angle and backspin.",
        "",
        *_data_lines(on),
        "",
        *_score_lines(on),
        "",
        *formula_lines(model, on.gap),
        "",
        *piece_lines(model.surface),
        "",
        *_check_lines(on),
        "",
        *_flight_lines(on),
        "",
        *_rest_lines(on),
        "",
        "## Where not to use it",
        "- Outside the speeds, launch angles and spins above; `yardband lookup` gives no number there.",
        "- For irons, woods or any club but the driver.",
        "- To design ranges, nets or fences: these distances describe golfers. Design takes a qualified designer and "
        "local rules.",
        "- To compare devices or balls as such: their terms also absorb the sites' air and ground.",
        "- To promise yards: terms describe how drives differ, not what a change of delivery gives.",
        "",
    ]
    return "\n".join(lines)


def residual_sd_yd(squares: Array, drives: int, model: CarryModel) -> float:
    """Give the residual standard deviation of a fit from sums of squared residuals, yd^2."""
    terms = model.surface.size + len(model.offsets.levels)
    return float(np.sqrt(np.sum(squares) / (drives - terms)))


def _data_lines(on: CardFacts) -> list[str]:
    model, data = on.fitted.model, on.fitted.fitted_on
    return [
        "## Fitted on",
        f"- {data.drives:,} drives of {data.golfers} golfers, {'quarters' if len(data.quarters) > 1 else 'quarter'} "
        f"{', '.join(data.quarters)}",
        *_ranges(on.extents, model.surface.speed),
        *_offset_lines(model),
    ]


def _ranges(extents: Mapping[str, tuple[Extent, Extent, Extent]], speed: str) -> list[str]:
    club, launch, spin = extents["club"]
    named = [("club speed, mph", club), ("launch, deg", launch), ("backspin, rpm", spin)]
    if speed == "ball":
        named.insert(1, ("ball speed, mph", extents["ball"][0]))
    return [
        f"- {name}: median {x.usual[1]:.1f}, 98 % of drives between {x.usual[0]:.1f} and {x.usual[2]:.1f}"
        for name, x in named
    ]


def _offset_lines(model: CarryModel) -> list[str]:
    reference = model.offsets.reference
    of = f"- reference: device {shown_text(reference.get('device', ''))}, ball {shown_text(reference.get('ball', ''))}"
    if not model.offsets.levels:
        return [f"{of}; no other device or ball has a share of carry of its own"]
    figures = zip(model.offset_share, model.offset_std_error, model.offset_golfers, strict=True)
    return [
        f"{of}; others read longer (+) or shorter (-) by a share of carry:",
        *(
            f"  - {column} {shown_text(level)}: {share:+.2%}, std. error {error:.2%}, {golfers:.0f} golfers"
            for (column, level), (share, error, golfers) in zip(model.offsets.levels, figures, strict=True)
        ),
    ]


def _score_lines(on: CardFacts) -> list[str]:
    about = "the used model" if on.choice.forced else "it"
    return [
        "## How well, on golfers held out of the fit",
        "| model | terms | rms error, yd | its std. error | mean error, yd | inside the 90 % interval | chosen |",
        "|---|---|---|---|---|---|---|",
        *(_score_line(row) for row in on.scores.iter_rows(named=True)),
        "",
        f"{on.choice.sentence} Drives of the fit scatter about {about} by {on.residual_sd_yd:.2f} yd (residual "
        "standard deviation, on the reference device and ball).",
        "",
        f"{100 * on.level:g} % interval of one drive, as a share of its expected carry:",
        *(f"- {KNOWN[name]}: {lo:+.1%} to {hi:+.1%}" for name, (lo, hi) in on.intervals.items()),
    ]


def _score_line(row: dict[str, Any]) -> str:
    mark = "yes" if row["chosen"] else ""
    return (
        f"| {shown_text(row['model'])} | {row['terms']} | {row['rmse_yd']:.2f} | {row['rmse_std_error_yd']:.2f} "
        f"| {signed_text(row['bias_yd'], 2)} | {row['coverage90']:.3f} | {mark} |"
    )


def _check_lines(on: CardFacts) -> list[str]:
    model = on.fitted.model
    speed, launch, spin = (round(x.usual[1], places) for x, places in zip(_own(on), (1, 1, 0), strict=True))
    carry = model.carry(*(np.array([value]) for value in (speed, launch, spin)))[0]
    return [
        "## To check your calculation",
        f"A drive of {speed:.1f} mph of {model.surface.speed} speed, launched at {launch:.1f} deg with {spin:.0f} rpm, "
        f"is expected to carry {carry:.2f} yd on the reference device and ball.",
    ]


def _own(on: CardFacts) -> tuple[Extent, Extent, Extent]:
    return on.extents[on.fitted.model.surface.speed]


def _flight_lines(on: CardFacts) -> list[str]:
    found = on.flight.calibration
    here = Air.of(on.air.temp_c, on.air.pressure_hpa * 100, on.air.humidity)
    fitted = (
        f"fitted to {found.drives:,} drives of {found.golfers} golfers"
        if found.drag_std_error is not None
        else "as published, since too few drives were there to fit them"
    )
    return [
        "## Flight",
        "Carry was moved to standard conditions by flights of this ball, before the fit.",
        f"- drag and lift coefficients: {found.coefficients} ({SETS[found.coefficients].source})",
        f"- drag multiplier: {found.drag!r}",
        f"- lift multiplier: {found.lift!r}",
        f"- multipliers: {fitted}",
        f"- ball: {found.ball.mass_kg} kg, {found.ball.diameter_m} m; spin decay {found.ball.spin_decay:g}",
        f"- standard conditions: {on.air.text}, no wind",
        f"- air there: density {float(here.density_kg_m3)!r} kg/m3, viscosity {float(here.viscosity_pa_s)!r} Pa s",
    ]


def _rest_lines(on: CardFacts) -> list[str]:
    model = on.fitted.model
    strike = (
        f"struck with the speed ratio that {100 * on.efficient.strike:g} % of golfers about it are below"
        if model.by_ball_speed
        else f"struck as well as the golfer whom {100 * on.efficient.strike:g} % of golfers are below, who carries "
        f"{model.better_share:.2%} farther than expected"
    )
    lines = [
        "## What it rests on",
        f"- seed {on.seed}, {on.folds} folds of golfers, {on.replicates} refits on resampled golfers",
        f"- efficient carry at a club speed: the largest expected carry over the launch and spin of "
        f"{100 * on.efficient.deliveries:g} % of golfers' deliveries about it, {strike}",
        f"- columns named lo90 and hi90 are {100 * LEVEL:g} % intervals",
    ]
    if on.level != LEVEL:
        lines.append(f"- the study's own level is {100 * on.level:g} %: model/intervals.csv has intervals at it")
    return lines
