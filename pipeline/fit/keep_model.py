"""Step: hold a new fit against the newest kept model, tell the verdict, keep the fit if it is adopted.

In: drives.parquet, the files of the fit and of flight's calibration, frontier.json, and those of the kept model that
the fit is compared with (none for the first). Out: comparison.md, verdict.json and, for an adopted fit, the folder
kept/<id>/, which is written whole or not at all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import FIT_COLUMNS, Drives, Speed, speed_of_study
from pipeline.edge.artefacts import read_artefact, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_text
from pipeline.errors import UserError
from pipeline.fit.comparison import Verdict, carry_by, fingerprint, judge, score_both
from pipeline.fit.comparison_text import Findings, write_comparison, write_first
from pipeline.fit.contest import Candidate, Survey, candidates_for
from pipeline.fit.fit_model import flight_of
from pipeline.fit.kept import Data, ModelVerdict, Record, find_kept, keep, kept_files, model_id, package_versions
from pipeline.fit.model import Delivery, FittedModel
from pipeline.fit.model_changes import (
    ComparedFit,
    levels_without_term,
    plain,
    refitted_terms,
    scale_shift_yd,
    speed_moves,
    typical_moves,
)
from pipeline.flight.calibrate import StudyFlight
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.statistics.arrays import Array

FIRST, ADOPT, KEEP = "first", "adopt", "keep"
TOLD = {
    FIRST: "Kept the model {new}, the first.",
    ADOPT: "Held the model {new} against {old}: adopted and kept; see {comparison}.",
    KEEP: "Held the model {new} against {old}: keep the old one; see {comparison}.",
}


def run(
    drives: str,
    frontier: str,
    old: Sequence[str],
    comparison: str,
    verdict: str,
    kept: str,
    study: str,
    settings: dict[str, Any],
    centres: Sequence[float],
    **fit: str,
) -> None:
    """Run the step; see the module's docstring. `fit` names the fit's files as `FILES` does."""
    folder = Path(kept)
    every = open_drives(Path(drives), (*FIT_COLUMNS, "carry_measured_yd", *AIR_COLUMNS))
    speed = speed_of_study(every)
    used = every.usable(speed)
    new = read_fitted(fit, model_id(fit), settings["air"])
    parent = Path(old[0]).parent.name if old else None
    if parent is None:
        found = Verdict(True, ())
        text = write_first(study, new, lost_parent(find_kept(folder), new.id))
    else:
        survey = Survey.of(used, settings["seed"])
        candidate = candidate_of(new, survey, speed, Path(fit["calibration"]), settings["air"])
        efficient = best_deliveries(frontier)
        findings = compare(folder, parent, new, candidate, survey, efficient, settings["seed"])
        found = judge(findings.old, new, findings.scored)
        text = write_comparison(study, new, findings, found, centres)
    outcome = (FIRST if parent is None else ADOPT) if found.adopt else KEEP
    if found.adopt:
        keep(folder, record_of(new, parent, outcome, used, settings, find_kept(folder)), fit)
    write_artefact(verdict, ModelVerdict(new.id, parent, outcome, found.reasons))
    write_text(Path(comparison), text)
    print(TOLD[outcome].format(new=new.id, old=parent, comparison=comparison))


@dataclass(frozen=True)
class _BestDrives:
    """What a comparison takes of frontier.json; a fit comes before the benchmarks and knows no more of them."""

    speed_mph: Array
    launch_deg: Array
    spin_rpm: Array


def best_deliveries(frontier: str) -> Delivery:
    """Read the efficient drive at each club speed of the new benchmarks."""
    found = read_artefact(frontier, _BestDrives)
    return Delivery(found.speed_mph, np.full_like(found.speed_mph, np.nan), found.launch_deg, found.spin_rpm)


def read_fitted(files: Mapping[str, str], name: str, air: dict[str, Any]) -> ComparedFit:
    """Read a fit from its files, named as in `FILES`.

    Raises
    ------
    UserError
        If a file is not what the workflow writes.
    """
    found = read_artefact(files["model"], FittedModel)
    flight = read_artefact(files["calibration"], StudyFlight)
    try:
        terms = pl.read_csv(files["coefficients"]).filter(pl.col("model") == found.model.surface.name)
        typical = pl.read_parquet(files["typical"])
    except (OSError, pl.exceptions.PolarsError):
        folder = Path(files["model"]).parent
        raise UserError(f"{folder}: the model can't be read; remove the folder and run snakemake again.") from None
    return ComparedFit(
        id=name,
        model=found.model,
        terms=terms,
        typical=typical,
        quarters=found.fitted_on.quarters,
        golfers=found.fitted_on.golfers,
        drives=found.fitted_on.drives,
        air=StandardAir.model_validate(air),
        calibration=flight.calibration,
        speed_ratio=flight.speed_ratio,
    )


def candidate_of(new: ComparedFit, survey: Survey, speed: Speed, calibration: Path, air: dict[str, Any]) -> Candidate:
    """Give the way in which the new model was fitted."""
    flight = flight_of(calibration, air, survey) if new.model.surface.name == "flight" else None
    return next(one for one in candidates_for(speed, flight) if one.name == new.model.surface.name)


def compare(
    folder: Path,
    parent: str,
    new: ComparedFit,
    candidate: Candidate,
    survey: Survey,
    efficient: Delivery,
    seed: int,
) -> Findings:
    """Compare the new fit with the kept one; `efficient` are the efficient drives of the new benchmarks."""
    record = next(one for one in find_kept(folder) if one.id == parent)
    old = read_fitted(kept_files(folder, parent), parent, record.settings["air"])
    drives = survey.drives
    if (old.calibration.ball, old.air) != (new.calibration.ball, new.air):
        drives = carry_by(drives, old.calibration, old.speed_ratio, old.air)
    scored, _ = score_both(old, candidate, survey, drives, seed)
    _, unknown = scale_shift_yd(old.model, new.model)
    lacking = levels_without_term(old.model, drives)
    now = package_versions()
    changed = {
        name: (record.versions.get(name, "none"), v) for name, v in now.items() if record.versions.get(name) != v
    }
    return Findings(
        old=old,
        scored=scored,
        terms=refitted_terms(old, drives),
        at_speeds=speed_moves(old, new.model, efficient),
        typical_yd=typical_moves(old.model, new.model, new.typical),
        unknown=unknown,
        without_term=tuple(f"{column} {plain(level)} ({count:,} drives)" for column, level, count in lacking),
        versions=changed,
    )


def lost_parent(records: Sequence[Record], fitted: str) -> str | None:
    """Give the parent that a kept fit has in its record, or None for a fit that isn't kept or had none."""
    return next((record.parent for record in records if record.id == fitted), None)


def record_of(
    new: ComparedFit, parent: str | None, verdict: str, used: Drives, settings: dict[str, Any], kept: Sequence[Record]
) -> Record:
    """Describe an adopted fit."""
    return Record(
        id=new.id,
        number=1 + max((record.number for record in kept), default=0),
        parent=parent,
        verdict=verdict,
        data=Data(fingerprint=fingerprint(used), quarters=list(new.quarters), drives=new.drives, golfers=new.golfers),
        settings=settings,
        versions=package_versions(),
    )
