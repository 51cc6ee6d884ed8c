"""An academy with the model that the pipeline chooses for it, and ways to hold another model against the truth."""

from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any

import numpy as np
import polars as pl
from academy import Academy, make_academy
from judge import Curve, golfer_truth, true_curve
from true_flight import Array
from truth import people_of
from worlds import World

from pipeline.bands import SpeedBands
from pipeline.benchmark import efficient_by_speed
from pipeline.benchmark.efficient import Efficient, Population, map_at, supported_speeds
from pipeline.benchmark.frontier import Frontier
from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives, inputs, typical_drives
from pipeline.fit.candidates import Candidate, candidates_of_study
from pipeline.fit.comparison import carry_by
from pipeline.fit.contest import hold_contest
from pipeline.fit.held_out import HeldOut
from pipeline.fit.model import CarryModel
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import calibrate_best
from pipeline.physics.air_of_drives import AIR_COLUMNS

CENTRES_MPH = np.array([70.0, 80.0, 90.0, 100.0, 110.0])
HALF_WIDTH_MPH, MIN_GOLFERS, MIN_SHOTS = 5.0, 5, 12
BANDS = SpeedBands.of(CENTRES_MPH.tolist(), HALF_WIDTH_MPH)


Row = dict[str, Any]


@dataclass(frozen=True)
class Case:
    """An academy with the model that the pipeline's contest chooses for it, and the truth beside it.

    Attributes
    ----------
    academy : Academy
        Of a world at sea level in standard air, so that carry needs no move to standard conditions.
    drives : DataFrame
        Its drives with the fit's columns.
    candidate, model, held
        The chosen candidate, its fit and its predictions of golfers held out.
    seed : int
    """

    academy: Academy
    drives: pl.DataFrame
    candidate: Candidate
    model: CarryModel
    held: HeldOut
    seed: int

    @property
    def scale(self) -> float:
        """Carry on the reference device over true flight."""
        return 1 + self.academy.reference_share

    @cached_property
    def population(self) -> Population:
        """Golfers who show what deliveries exist."""
        return Population.from_typical(typical_drives(self.drives, ["golfer"]), MIN_SHOTS)

    @cached_property
    def bands_mph(self) -> Array:
        """Centres of the bands that have an efficient carry."""
        return supported_speeds(self.population, HALF_WIDTH_MPH, MIN_GOLFERS, CENTRES_MPH)

    @cached_property
    def true_carry_yd(self) -> Array:
        """True carry of every true drive, on the reference device."""
        return self.drives.get_column("true_carry_yd").to_numpy() * self.scale

    @cached_property
    def true_efficient_yd(self) -> Array:
        """True efficient carry at `bands_mph`."""
        return self.curve.at("carry_yd", self.bands_mph) * self.scale

    @property
    def curve(self) -> Curve:
        """The truth over club speed on the scale of true flight."""
        return _curve(people_of(self.academy.world), self.academy.ball)

    @cached_property
    def golfers(self) -> pl.DataFrame:
        """The truth per golfer and quarter."""
        return golfer_truth(self.academy, self.curve)


@cache
def _curve(people: World, ball: str) -> Curve:
    return true_curve(people, ball)


def make_case(world: World, ball: str, seed: int) -> Case:
    """Draw an academy, calibrate flight on it and choose a model as the pipeline does."""
    academy = make_academy(world, ball, seed)
    quarter = pl.col("row").replace_strict(dict(enumerate(academy.golfers.get_column("quarter"))))
    calm = {name: pl.lit(None, pl.Float64) for name in AIR_COLUMNS}
    # At sea level in standard air carry as measured is that at standard conditions as it is.
    carries = [pl.col("carry_yd").alias(name) for name in ("carry_measured_yd", "carry_standard_yd")]
    drives = academy.drives.with_columns(quarter.alias("quarter"), *carries, **calm)
    calibration, _ = calibrate_best(drives, "best", 15.0, 1013.25, seed)
    # Where nothing moves carry, this adds the flight alone, to which the survey gives its scale.
    survey = Survey.of(carry_by(drives, calibration, None, StandardAir()), seed)
    drives = pl.concat(survey.drives.read())
    candidates = candidates_of_study("ball", survey.extents, calibration, StandardAir())
    found = hold_contest(candidates, survey, lambda _: None)
    candidate = next(one for one in candidates if one.name == found.model.surface.name)
    return Case(academy, drives, candidate, found.model, found.held_out, seed)


def rms(values: Array) -> float:
    """Give the root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))


def row(figure: str, in_use: float | None, alternative: float | None, target: float | None = 0.0) -> Row:
    """Make a row: a figure of one academy by both ways, and what it should be; None for what there isn't."""
    return {"figure": figure, "in_use": in_use, "alternative": alternative, "target": target}


def efficient_yd(case: Case, model: CarryModel, speeds_mph: Array) -> tuple[Array, Array, Array]:
    """Give efficient carry, yd, its launch, deg, and spin, rpm, by a model at club speeds, each shape (n,)."""
    found = []
    for v in speeds_mph:
        at = map_at(model, case.population, float(v), HALF_WIDTH_MPH)
        best = np.unravel_index(np.argmax(np.where(at.supported, at.carry_yd, -np.inf)), at.carry_yd.shape)
        found.append((at.carry_yd[best], at.launch_deg[best[0]], at.spin_rpm[best[1]]))
    carry, launch, spin = np.array(found).T
    return carry, launch, spin


def frontier_of(case: Case, model: CarryModel) -> Frontier:
    """Give efficient carry and its delivery at every whole mph that the golfers reach."""
    speed = case.population.speed_mph
    whole = np.arange(np.floor(speed.min()), np.ceil(speed.max()) + 1)
    speeds = supported_speeds(case.population, HALF_WIDTH_MPH, MIN_GOLFERS, whole)
    unknown = np.nan
    efficient = {
        v: Efficient(v, carry, carry, carry, 0.0, launch, spin, None, unknown, unknown, unknown, unknown, None)
        for v, carry, launch, spin in zip(speeds.tolist(), *efficient_yd(case, model, speeds), strict=True)
    }
    return efficient_by_speed.frontier_of(
        efficient,
        Drives.of(case.drives),
        HALF_WIDTH_MPH,
        study="considered",
        air={},
        turf="normal",
        model_file="",
        tolerance_yd=5.0,
    )


def against_truth(case: Case, in_use: CarryModel, other: CarryModel) -> list[Row]:
    """Hold two models' expected and efficient carry against each other and against the truth."""
    expected = [model.carry(*inputs(case.drives, "ball")) for model in (in_use, other)]
    efficient = [efficient_yd(case, model, case.bands_mph)[0] for model in (in_use, other)]
    off = [e - case.true_efficient_yd for e in efficient]
    return [
        row("expected carry of drives: rms difference, yd", None, rms(expected[1] - expected[0]), None),
        row("expected carry of drives: rms error, yd", *(rms(e - case.true_carry_yd) for e in expected)),
        row("efficient carry of bands: rms difference, yd", None, rms(efficient[1] - efficient[0]), None),
        row("efficient carry of bands: bias, yd", *(float(e.mean()) for e in off)),
        row("efficient carry of bands: rms error, yd", *(rms(e) for e in off)),
    ]


def problem(model: CarryModel, drives: pl.DataFrame) -> tuple[Array, Array]:
    """Give the least-squares problem of a model's form: design of surface and offsets, and carry less the base."""
    x = inputs(drives, model.surface.speed)
    X = np.hstack([model.surface.design(*x), model.offsets.terms(drives)])
    return X, drives.get_column("carry_standard_yd").to_numpy() - model.surface.base(*x)


def with_coefficients(model: CarryModel, found: Array) -> CarryModel:
    """Give a model other coefficients, those of the offsets last."""
    split = model.surface.size
    return replace(model, coefficients=found[:split], offset_share=found[split:])


def own_scale(case: Case) -> Array:
    """Give carry on each drive's own device over true flight, shape (n,)."""
    world = case.academy.world
    on_b = case.drives.get_column("device").eq("unit-B").to_numpy()
    ranged = case.drives.get_column("ball").eq("range").to_numpy()
    return (1 + on_b * world.device_b_share) * (1 + ranged * world.range_ball_share)
