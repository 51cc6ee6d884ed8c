"""Step: judge a new fit by the newest adopted model before it, and keep it, adopted or refused.

In: drives.parquet, tables.npz, devices.json, the files of the fit and of flight's calibration, and those of the kept
model that the fit is compared with (none for the first). Out: verdict.json, held_against.json (the scores behind the
verdict), grids.npz (grids of both models' flight, for the next time) and the folder kept/<id>/, which is written whole
or not at all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import FIT_COLUMNS, MOST_KEPT, Drives, speed_of_study
from pipeline.edge.artefacts import read_arrays, read_artefact, read_stamped, write_artefact, write_stamped
from pipeline.edge.drives_file import open_drives
from pipeline.errors import UserError
from pipeline.fit.candidates import form_again
from pipeline.fit.comparison import Scored, Verdict, fingerprint, judge
from pipeline.fit.findings import score
from pipeline.fit.form import Form
from pipeline.fit.kept import FILES, RECORD, find_kept, keep, model_id, record_of
from pipeline.fit.lineage import Data, Record, lost_parent
from pipeline.fit.model import CarryModel, FittedModel
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.survey import Survey
from pipeline.fit.verdict import ADOPT, FIRST, KEEP, ModelVerdict
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.flight.devices import StudyDevices
from pipeline.flight.standard import StudyTables
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.physics.flight_table import FlightTable
from pipeline.statistics.arrays import flattened, grouped
from pipeline.tables.logs import DriveTable

TOLD = {
    FIRST: "Kept the model {id}, the first.",
    ADOPT: "Compared the model {id} with {parent}: adopted and kept.",
    KEEP: "Compared the model {id} with {parent}: refused, and kept beside it.",
}


def run(
    drives: str,
    tables: str,
    devices: str,
    old: Sequence[str],
    verdict: str,
    scored: str,
    grids: str,
    kept: str,
    settings: dict[str, Any],
    folds: int,
    golfers: float,
    beside: str | None = None,
    flight: str = "",
    **fit: str,
) -> None:
    """Run the step; see the module's docstring.

    `fit` names the fit's files as `FILES` does, `golfers` is adoption.golfers, `flight` digests the code that flies.
    """
    records = find_kept(Path(kept))
    today = read_artefact(devices, StudyDevices)
    new = read_fitted(fit, model_id(fit), settings["air"], today.reference)
    parent = Path(old[0]).parent.name if old else None
    before = replace(read_kept(old), grids=read_grids(grids, flight)) if old else new
    every = open_to_compare(Path(drives), beside, (before.model, new.model))
    used = every.usable(speed_of_study(every)).kept(MOST_KEPT)
    found, scores, outcome = Verdict(True, ()), Scored(0, None, None, repeated=False), FIRST
    if parent is not None:
        scores = _scores(before, new, used, settings["seed"], folds, today)
        found = judge(before, new, scores, golfers=golfers)
        outcome = ADOPT if found.adopt else KEEP
    judged = ModelVerdict(new.id, parent, outcome, found.reasons, lost_parent(records, new.id))
    data = Data(fingerprint=fingerprint(used), quarters=[*new.quarters], drives=new.drives, golfers=new.golfers)
    keep(Path(kept), record_of(judged, data, settings | {"readings": today.reference}, records), fit)
    write_artefact(scored, scores)
    write_artefact(verdict, judged)
    _write_grids(grids, before, tables, flight)
    print(TOLD[outcome].format(id=new.id, parent=parent))


def _scores(old: ComparedFit, new: ComparedFit, used: Drives, seed: int, folds: int, devices: StudyDevices) -> Scored:
    survey = Survey.of(used, seed, number=folds, regressors=new.model.regressors.names)
    return score(old, new, form_of(new, survey), survey, devices)


def read_grids(path: str, code: str) -> dict[str, FlightTable]:
    """Read grids of flight that the last comparison flew with the same code, by their keys."""
    return {key: FlightTable.from_arrays(parts) for key, parts in grouped(read_stamped(Path(path), code)).items()}


def _write_grids(path: str, old: ComparedFit, tables: str, code: str) -> None:
    """Keep the grids of both fits: with either of the two the next one may be compared."""
    flown = {key: table for key, table in old.grids.items() if table.ball == old.calibration.ball}
    flown |= StudyTables.from_arrays(read_arrays(tables)).by_key
    write_stamped(Path(path), flattened({key: table.to_arrays() for key, table in flown.items()}), code)


def open_to_compare(drives: Path, beside: str | None, models: Sequence[CarryModel]) -> Drives:
    """Open all accepted drives with what comparing models on them needs.

    That is what a fit, a move of carry to other conditions and flags read, and the regressors of the models; `beside`
    is the path of regressors.parquet. A regressor that neither file has counts as not known.
    """
    stored = DriveTable.columns()
    further = [name for model in models for name in model.regressors.names if name in stored]
    columns = (*FIT_COLUMNS, "carry_measured_yd", *AIR_COLUMNS, *SIDE_COLUMNS, "struck_on", *further)
    return open_drives(drives, tuple(dict.fromkeys(columns)), None if beside is None else Path(beside))


def form_of(fit: ComparedFit, survey: Survey) -> Form:
    """Give the form of a fit, made for the drives of a survey."""
    # A straight line is one over club speed in any study.
    return form_again(fit.model.surface, fit.model.surface.speed, survey.extents, fit.calibration, fit.air)


def read_kept(files: Sequence[str]) -> ComparedFit:
    """Read a kept model from the paths of its files, its record among them."""
    by_name = {Path(file).name: file for file in files}
    record = read_record(files)
    named, told = {name: by_name[file] for name, file in FILES.items()}, record.settings
    return read_fitted(named, record.id, told["air"], told.get("readings"))


def read_record(files: Sequence[str]) -> Record:
    """Read the record among the files of a kept model."""
    return read_artefact(next(file for file in files if Path(file).name == RECORD), Record)


def read_fitted(files: Mapping[str, str], name: str, air: dict[str, Any], readings: str | None = None) -> ComparedFit:
    """Read a fit from its files, named as in `FILES`; `readings` is the device that readings are compared with.

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
        readings=readings,
    )
