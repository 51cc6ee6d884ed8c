"""Step: compare a new fit with the newest kept model, write the verdict, keep the fit if it is adopted.

In: drives.parquet, the files of the fit and of flight's calibration, frontier.json, and those of the kept model that
the fit is compared with (none for the first). Out: comparison.md, verdict.json and, for an adopted fit, the folder
kept/<id>/, which is written whole or not at all.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import FIT_COLUMNS, Drives, Speed, speed_of_study
from pipeline.edge.artefacts import read_artefact, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_text
from pipeline.errors import UserError
from pipeline.fit.candidates import candidates_of_study
from pipeline.fit.comparison import Verdict, fingerprint, judge
from pipeline.fit.comparison_text import write_comparison, write_first
from pipeline.fit.findings import Findings, compare
from pipeline.fit.kept import (
    FILES,
    Data,
    Record,
    find_kept,
    keep,
    kept_files,
    lost_parent,
    model_id,
    record_of,
    versions_changed,
)
from pipeline.fit.model import Delivery, FittedModel
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.survey import Survey
from pipeline.fit.verdict import ModelVerdict
from pipeline.flight.calibrate import StudyFlight
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.tables.logs import DriveTable

FIRST, ADOPT, KEEP = "first", "adopt", "keep"
TOLD = {
    FIRST: "Kept the model {new}, the first.",
    ADOPT: "Compared the model {new} with {old}: adopted and kept; see {comparison}.",
    KEEP: "Compared the model {new} with {old}: keep the old one; see {comparison}.",
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
    choices: dict[str, Any],
    beside: str | None = None,
    **fit: str,
) -> None:
    """Run the step; see the module's docstring. `choices` are the study's `Model`, `fit` the files as in `FILES`."""
    folder, method = Path(kept), Model.model_validate(choices)
    records = find_kept(folder)
    every = _drives_of_both(drives, old, beside)
    used = every.usable(speed := speed_of_study(every))
    new = read_fitted(fit, model_id(fit), settings["air"])
    parent = Path(old[0]).parent.name if old else None
    if parent is None:
        found = Verdict(True, ())
        text = write_first(study, new, lost_parent(records, new.id))
    else:
        record = next(one for one in records if one.id == parent)
        best = _efficient(read_artefact(frontier, Frontier))
        survey = Survey.of(used, settings["seed"], number=method.folds, regressors=method.regressors)
        findings = _compared(folder, record, new, survey, speed, best, method)
        found = judge(findings.old, new, findings.scored)
        text = write_comparison(study, new, findings, found, centres)
    outcome = (FIRST if parent is None else ADOPT) if found.adopt else KEEP
    if found.adopt:
        data = Data(fingerprint=fingerprint(used), quarters=[*new.quarters], drives=new.drives, golfers=new.golfers)
        keep(folder, record_of(new.id, parent, outcome, data, settings, records), fit)
    write_artefact(verdict, ModelVerdict(new.id, parent, outcome, found.reasons))
    write_text(Path(comparison), text)
    print(TOLD[outcome].format(new=new.id, old=parent, comparison=comparison))


def _efficient(reached: Frontier) -> Delivery:
    """Give the efficient drive at each club speed of the benchmarks."""
    return reached.best_delivery(reached.speed_mph, np.full_like(reached.speed_mph, np.nan))


def _drives_of_both(drives: str, old: Sequence[str], beside: str | None) -> Drives:
    """Open the drives with the new fit's regressors, and the kept model's that any study's drives have."""
    model = next((path for path in old if Path(path).name == FILES["model"]), None)
    names = () if model is None else read_artefact(model, FittedModel).model.regressors.names
    known = (name for name in names if name in DriveTable.columns())
    columns = dict.fromkeys((*FIT_COLUMNS, "carry_measured_yd", *AIR_COLUMNS, *known))
    return open_drives(Path(drives), [*columns], None if beside is None else Path(beside))


def _compared(
    folder: Path,
    record: Record,
    new: ComparedFit,
    survey: Survey,
    speed: Speed,
    efficient: Delivery,
    choices: Model,
) -> Findings:
    """Read the kept model of a record and compare the new fit with it."""
    old = read_fitted(kept_files(folder, record.id), record.id, record.settings["air"])
    candidates = candidates_of_study(speed, survey.extents, new.calibration, new.air, choices)
    form = next(one for one in candidates if one.name == new.model.surface.name).surface(survey.extents)
    return compare(old, new, form, survey, efficient, versions_changed(record))


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
