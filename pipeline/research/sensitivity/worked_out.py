"""One scenario worked out: the chosen form fitted anew, efficient carry from it, and golfers' yards lost.

No contest and no replicates: what is doubtful of a figure is taken from the study as it is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import polars as pl

from pipeline.bands import SpeedBands
from pipeline.benchmark.efficient import (
    LAUNCH_STEP_DEG,
    SPIN_STEP_RPM,
    Map,
    Population,
    best_of,
    map_at,
    supported_speeds,
)
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.window import Window
from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import Drives, Speed, speed_of_study, typical_of_all
from pipeline.errors import UserError
from pipeline.fit.candidates import candidates_of_study, enough_for_a_fit, may_compete
from pipeline.fit.comparison import carry_by
from pipeline.fit.factored import Factored, fit_candidate
from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.form import Form
from pipeline.fit.model import CarryModel
from pipeline.fit.model_changes import plain
from pipeline.fit.references import References, find_references
from pipeline.fit.resampled import refit
from pipeline.fit.shares import find_shares
from pipeline.fit.surface import Extent
from pipeline.fit.survey import Survey
from pipeline.fit.tabulated import Written
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.golfers.flags import FlagRules
from pipeline.golfers.losses import losses
from pipeline.research.sensitivity.scenarios import Scenario
from pipeline.shown import number_text
from pipeline.statistics.arrays import Array
from pipeline.tables.golfers import PARTS

JUDGED = ("shots", "efficient_yd", "lost_yd", *PARTS)  # what a scenario changes of a golfer's quarter


@dataclass(frozen=True)
class Asked:
    """What a study asks, and what its scenarios start from.

    Attributes
    ----------
    drives : Drives
        All accepted drives, with the columns of `FIT_COLUMNS`, carry_measured_yd and `AIR_COLUMNS`.
    model : CarryModel
        As published.
    frontier : Frontier
        As published: scenarios keep to its club speeds, and their windows to its doubt.
    flight : StudyFlight
    bands : SpeedBands
    min_golfers : int
    flags : FlagRules
    air : StandardAir
    seed : int
    deliveries, strike : float
        As in the configuration's `Efficient`.
    choices : Model, optional
        Which candidates there are; all built-in ones unless given.
    written : sequence of Written
        Candidates of the researcher's own.
    """

    drives: Drives
    model: CarryModel
    frontier: Frontier
    flight: StudyFlight
    bands: SpeedBands
    min_golfers: int
    flags: FlagRules
    air: StandardAir
    seed: int
    deliveries: float
    strike: float
    choices: Model | None = None
    written: Sequence[Written] = ()

    @cached_property
    def speed(self) -> Speed:
        """The speed that the study is fitted on."""
        return speed_of_study(self.drives)

    @cached_property
    def extents(self) -> Mapping[str, tuple[Extent, Extent, Extent]]:
        """How the inputs of the fit are spread, by the speed."""
        return Survey.of(self.drives.usable(self.speed), self.seed).extents

    @property
    def regressors(self) -> tuple[str, ...]:
        """Further columns that carry depends on in every scenario."""
        return self.choices.regressors if self.choices else ()

    @cached_property
    def newest(self) -> str:
        """The newest quarter."""
        quarters = self.drives.gathered(lambda frame: frame.select(pl.col("quarter").max()))
        return str(quarters.to_series().max())


@dataclass(frozen=True)
class Found:
    """What a scenario comes to.

    Attributes
    ----------
    drives, golfers : int
        Of the fit.
    frontier : Frontier
        The published one with this scenario's efficient carry and delivery; NaN where it doesn't reach.
    windows : mapping of float to Window or None
        By the center of a band.
    lost : DataFrame
        Of the newest quarter, from `losses`: golfer and the columns of `JUDGED`.
    note : str or None
        On the device and ball that carry is of.

    Notes
    -----
    All carry is on the published model's reference device and ball, also where a scenario leaves these out: another
    reference would move every figure by its own share, and that is no doubt.
    """

    drives: int
    golfers: int
    frontier: Frontier
    windows: Mapping[float, Window | None]
    lost: pl.DataFrame
    note: str | None = None


def work_out(asked: Asked, scenario: Scenario) -> Found:
    """Work a scenario out.

    Raises
    ------
    UserError
        If too few drives or golfers remain for a fit.
    """
    moved = asked.drives if scenario.calibration is None else _moved(asked, scenario.calibration)
    fitted = _chosen(moved, scenario.fitted)
    used = fitted.usable(asked.speed)
    _enough(used)
    form = _form(asked, scenario)
    strike = asked.strike if scenario.strike is None else scenario.strike
    survey = Survey.of(used, asked.seed, strike=strike, regressors=asked.regressors)
    reason = may_compete(form, survey.shots)
    if reason is not None:
        raise UserError(f"the candidate {form.name} {reason}")
    model = refitted(survey, form, fitted)
    min_shots = asked.flags.min_shots if scenario.min_shots is None else scenario.min_shots
    share = asked.deliveries if scenario.deliveries is None else scenario.deliveries
    population = Population.from_typical(typical_of_all(fitted, ["golfer"]), min_shots, share)
    frontier, windows = _efficient(asked, model, population)
    judged = _chosen(moved, scenario.judged).mapped(lambda frame: frame.filter(pl.col("quarter") == asked.newest))
    lost = judged.gathered(lambda frame: losses(frame, model, frontier)).select("golfer", *JUDGED)
    scale, unknown = _scale(asked.model, model)
    here = replace(frontier, carry_yd=frontier.carry_yd / scale)
    yards = [name for name in JUDGED if name.endswith("_yd")]
    note = _reference_words(asked.model, model, scale, unknown)
    return Found(survey.shots, survey.typical.height, here, windows, lost.with_columns(pl.col(yards) / scale), note)


def _enough(used: Drives) -> None:
    try:
        enough_for_a_fit(used)
    except UserError:
        raise UserError("too few drives or golfers are left for a fit") from None


def _scale(published: CarryModel, model: CarryModel) -> tuple[float, list[str]]:
    """Give what brings the study's carry to a scenario's reference, a factor, and which device or ball isn't known."""
    changes = find_references(published, model).changes
    known = References(tuple(one for one in changes if one.told_by != "nobody"))
    return known.factor, [f"{one.column} {plain(one.new)}" for one in changes if one.told_by == "nobody"]


def _reference_words(published: CarryModel, model: CarryModel, scale: float, unknown: Sequence[str]) -> str | None:
    """Say that a scenario's carry, on another reference than the study's, was brought to the study's."""
    before, after = published.offsets.reference, model.offsets.reference
    others = [f"{column} {plain(level)}" for column, level in after.items() if before.get(column) != level]
    if not others:
        return None
    read = f"{number_text(100 * abs(scale - 1), 1)} % {'longer' if scale > 1 else 'shorter'}"
    apart = f", but for what {' and '.join(unknown)} adds, which isn't known apart" if unknown else ""
    return f"carry of {' and '.join(others)} reads {read} and is brought to the study's reference{apart}"


def _chosen(drives: Drives, kept: pl.Expr | None) -> Drives:
    return drives if kept is None else drives.mapped(lambda frame: frame.filter(kept))


def _moved(asked: Asked, calibration: Calibration) -> Drives:
    return carry_by(asked.drives, calibration, asked.flight.speed_ratio, asked.air).held()


def _form(asked: Asked, scenario: Scenario) -> Form:
    """Give the surface of a scenario: the published one unless its form or its flight is another.

    The published one's centers, scales and knots stay, so that nothing but what is asked for changes.
    """
    surface = asked.model.surface
    flown = isinstance(surface, FlightSurface) and scenario.calibration is not None
    if scenario.candidate is None and not flown:
        return surface
    calibration, name = scenario.calibration or asked.flight.calibration, scenario.candidate or surface.name
    candidates = candidates_of_study(asked.speed, asked.extents, calibration, asked.air, asked.choices, asked.written)
    for one in candidates:
        if one.name == name:
            return one.surface(asked.extents)
    raise UserError(f"there is no way to make the candidate {name} here")


def refitted(survey: Survey, form: Form, every: Drives) -> CarryModel:
    """Fit a form to all drives of a survey, with the shares of all devices and balls of `every` drive."""
    fitted = fit_candidate(Factored.of(survey, form), survey, fit_usual_delivery(survey.typical, survey.strike)).model
    golfers = typical_of_all(every, ["golfer"])
    # One draw that holds each golfer once: shares don't depend on draws, their errors would.
    once = refit(fitted, survey.drives, golfers, np.ones((1, golfers.height), dtype=np.uint8))
    return find_shares(fitted, every, once, golfers).of_model(fitted)


def _efficient(asked: Asked, model: CarryModel, population: Population) -> tuple[Frontier, dict[float, Window | None]]:
    """Work out what is efficient at the published club speeds, and the bands' windows."""
    base, half_width = asked.frontier, asked.bands.half_width_mph
    carry, launch, spin = np.full((3, len(base.speed_mph)), np.nan)
    windows: dict[float, Window | None] = {}
    for speed in supported_speeds(population, half_width, asked.min_golfers, base.speed_mph).tolist():
        place = int(np.searchsorted(base.speed_mph, speed))
        at = map_at(model, population, speed, half_width)
        surely = _doubt_on(base, place, at)
        carry[place], launch[place], spin[place], window = best_of(at, at.carry_yd, base.tolerance_yd - surely)
        if speed in asked.bands.centres_mph:
            windows[speed] = window
    return replace(base, carry_yd=carry, launch_deg=launch, spin_rpm=spin), windows


def _doubt_on(base: Frontier, place: int, at: Map) -> Array:
    """Give the published doubt of deliveries on a map's own grid, yd; beyond the published grid that of its edge.

    All grids are whole steps, so points of one stand on those of another.
    """
    reach = base.reach
    known = reach.doubt_at(place)
    rows, columns = (
        np.rint((grid - there[0]) / step).astype(int).clip(0, len(there) - 1)
        for grid, there, step in (
            (at.launch_deg, reach.launch_deg, LAUNCH_STEP_DEG),
            (at.spin_rpm, reach.spin_rpm, SPIN_STEP_RPM),
        )
    )
    return np.asarray(known[np.ix_(rows, columns)])
