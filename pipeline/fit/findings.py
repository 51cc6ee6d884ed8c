"""Everything that a new fit changes beside a kept model: scores, terms, references, and where expected carry moves."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from pipeline.drives import Drives, straightened
from pipeline.fit.comparison import Scored, carry_by, score_both
from pipeline.fit.form import Form
from pipeline.fit.model import Delivery
from pipeline.fit.model_changes import (
    ComparedFit,
    conditions_terms,
    levels_without_term,
    refitted_terms,
    speed_moves,
    typical_moves,
)
from pipeline.fit.references import SAME, References, find_references
from pipeline.fit.setting_changes import NO_CHANGES, SettingChanges
from pipeline.fit.survey import Survey
from pipeline.flight.devices import NO_DEVICES, StudyDevices
from pipeline.markdown import shown_text
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
    references : References
    conditions_differ : bool
        Whether carry of the two is at other standard conditions, or moved there by another flight.
    conditions : ndarray or None
        From `conditions_terms`; None where nothing differs, too.
    without_term : tuple of str
        Devices and balls of the new drives that the old model has no term for.
    versions : mapping
        Packages whose version changed: name to (old, new).
    settings : SettingChanges
    """

    old: ComparedFit
    scored: Scored
    terms: pl.DataFrame | None
    at_speeds: pl.DataFrame
    typical_yd: Array
    references: References
    conditions_differ: bool
    conditions: Array | None
    without_term: tuple[str, ...]
    versions: Mapping[str, tuple[str, str]]
    settings: SettingChanges = field(default=NO_CHANGES)


def references_of(old: ComparedFit, new: ComparedFit, devices: StudyDevices = NO_DEVICES) -> References:
    """Find what changed of two fits' references; `devices` are the study's as they are compared today."""
    return find_references(old.model, new.model, old.readings, new.readings, devices)


def conditions_differ(old: ComparedFit, new: ComparedFit) -> bool:
    """Say whether carry of the two fits is at other standard conditions, or moved there by another flight."""
    return (old.calibration.ball, old.air) != (new.calibration.ball, new.air)


def drives_of_old(
    old: ComparedFit, new: ComparedFit, drives: pl.DataFrame | Drives, references: References = SAME
) -> Drives:
    """Give the new drives as the old fit takes them.

    Parameters
    ----------
    old, new : ComparedFit
    drives : DataFrame or Drives
        With `carry_measured_yd` and the air columns.
    references : References

    Returns
    -------
    Drives
        Readings on the scale of the old fit's, carry_standard_yd at its standard conditions by its own calibration, and
        carry_now_yd, as the new fit has it.
    """
    now = pl.col("carry_standard_yd").alias("carry_now_yd")
    read = Drives.of(drives).mapped(lambda frame: references.old_drives(frame).with_columns(now))
    if not conditions_differ(old, new) and not references.moves_readings:
        return read
    return carry_by(read, old.calibration, old.speed_ratio, old.air, old.grids)


def score(old: ComparedFit, new: ComparedFit, form: Form, survey: Survey, devices: StudyDevices = NO_DEVICES) -> Scored:
    """Score both models, each on carry and readings of its own; parameters as for `compare`."""
    drives = drives_of_old(old, new, survey.drives, references_of(old, new, devices)).mapped(straightened)
    return score_both(old, form, survey, drives)[0]


def compare(
    old: ComparedFit,
    new: ComparedFit,
    form: Form,
    survey: Survey,
    efficient: Delivery,
    versions: Mapping[str, tuple[str, str]],
    scored: Scored | None = None,
    *,
    devices: StudyDevices = NO_DEVICES,
    settings: SettingChanges = NO_CHANGES,
) -> Findings:
    """Compare a new fit with a kept one.

    Parameters
    ----------
    old, new : ComparedFit
    form : Form
        The new model's form, made for the drives of the survey.
    survey : Survey
        Of the drives of the new fit, with `carry_measured_yd` and the air columns.
    efficient : Delivery
        The efficient drive at each club speed of the new benchmarks.
    versions : mapping
        See `Findings`.
    scored : Scored or None
        From `score`, where that was done before; None scores them.
    devices : StudyDevices
        The study's, as they are compared today.
    settings : SettingChanges
        From the two records.
    """
    references = references_of(old, new, devices)
    drives = drives_of_old(old, new, survey.drives, references).mapped(straightened)
    lacking = levels_without_term(old.model, drives)
    return Findings(
        old=old,
        scored=score_both(old, form, survey, drives)[0] if scored is None else scored,
        terms=refitted_terms(old, drives),
        at_speeds=speed_moves(old, new.model, efficient, references),
        typical_yd=typical_moves(old.model, new.model, new.typical, references),
        references=references,
        conditions_differ=(other := conditions_differ(old, new)),
        conditions=conditions_terms(old, drives) if other else None,
        without_term=tuple(f"{column} {shown_text(level)} ({count:,} drives)" for column, level, count in lacking),
        versions=versions,
        settings=settings,
    )
