"""Everything that a new fit changes beside a kept model: scores, terms, and where expected carry moves."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.drives import Drives
from pipeline.fit.comparison import Scored, carry_by, score_both
from pipeline.fit.flight_surface import Form
from pipeline.fit.model import Delivery
from pipeline.fit.model_changes import (
    ComparedFit,
    levels_without_term,
    plain,
    refitted_terms,
    scale_change,
    speed_moves,
    typical_moves,
)
from pipeline.fit.survey import Survey
from pipeline.statistics.arrays import Array


@dataclass(frozen=True)
class Findings:
    """What was found of a new fit and the kept one that it is compared with.

    Attributes
    ----------
    old : ComparedFit
    scored : Scored
    terms : DataFrame or None
        From `refitted_terms`.
    at_speeds : DataFrame
        From `speed_moves`.
    typical_yd : ndarray, shape (golfers,)
        From `typical_moves`.
    unknown : tuple of str
        From `scale_change`.
    without_term : tuple of str
        Devices and balls of the new drives that the old model has no term for.
    versions : mapping
        Packages whose version changed: name to (old, new).
    """

    old: ComparedFit
    scored: Scored
    terms: pl.DataFrame | None
    at_speeds: pl.DataFrame
    typical_yd: Array
    unknown: tuple[str, ...]
    without_term: tuple[str, ...]
    versions: Mapping[str, tuple[str, str]]


def drives_of_old(old: ComparedFit, new: ComparedFit, drives: Drives) -> Drives:
    """Give the new fit's drives with carry at the old fit's standard conditions, by the old calibration of flight."""
    if (old.calibration.ball, old.air) == (new.calibration.ball, new.air):
        return drives
    return carry_by(drives, old.calibration, old.speed_ratio, old.air)


def compare(
    old: ComparedFit,
    new: ComparedFit,
    form: Form,
    survey: Survey,
    efficient: Delivery,
    versions: Mapping[str, tuple[str, str]],
    scored: Scored | None = None,
) -> Findings:
    """Compare a new fit with a kept one.

    Parameters
    ----------
    old, new : ComparedFit
    form : Surface or FlightSurface
        The new model's form, made for the drives of the survey.
    survey : Survey
        Of the drives of the new fit, with `carry_measured_yd` and the air columns.
    efficient : Delivery
        The efficient drive at each club speed of the new benchmarks.
    versions : mapping
        See `Findings`.
    scored : Scored or None
        Where the two were scored before; None scores them.
    """
    drives = drives_of_old(old, new, survey.drives)
    if scored is None:
        scored, _ = score_both(old, form, survey, drives)
    _, unknown = scale_change(old.model, new.model)
    lacking = levels_without_term(old.model, drives)
    return Findings(
        old=old,
        scored=scored,
        terms=refitted_terms(old, drives),
        at_speeds=speed_moves(old, new.model, efficient),
        typical_yd=typical_moves(old.model, new.model, new.typical),
        unknown=unknown,
        without_term=tuple(f"{column} {plain(level)} ({count:,} drives)" for column, level, count in lacking),
        versions=versions,
    )
