"""Step: fit the candidate models, compare them on golfers held out, keep the chosen one.

In: drives.parquet, calibration.json, the study's own candidates, regressors.parquet where it names any. Out: model.json
(the chosen model), coefficients.csv (every candidate), scores.csv, typical.parquet (one row per golfer), replicates.npz
(refits on resampled golfers), held_out.parquet (the chosen model's predictions on golfers held out, one row per drive
of the fit, in their order, with its keys) and regressors.csv (Regressors).
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import FIT_COLUMNS, MOST_KEPT, speed_of_study, typical_of_all
from pipeline.edge.artefacts import read_artefact, write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet
from pipeline.fit.candidates import candidates_of_study, enough_for_a_fit
from pipeline.fit.contest import Outcome, hold_contest
from pipeline.fit.held_out import DRIVE_KEYS, held_out_table
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.own_files import read_written
from pipeline.fit.regressor_effects import assess_regressors, effects_in_table, with_errors
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.shares import LevelShares, find_shares
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import StudyFlight
from pipeline.tables.figures import Coefficients, RegressorTable, Scores

say = partial(print, flush=True)


def run(
    drives: str,
    calibration: str,
    study: str,
    seed: int,
    air: dict[str, Any],
    choices: dict[str, Any],
    strike: float,
    own: Sequence[str],
    beside: str | None = None,
    **made: str,
) -> None:
    """Run the step; see the module's docstring.

    `choices` are the study's `Model`, `strike` its `Efficient.strike`, `made` the paths of the outputs.
    """
    method, standard = Model.model_validate(choices), StandardAir.model_validate(air)
    written = read_written(method.formulas, own)
    every = open_drives(Path(drives), beside=None if beside is None else Path(beside))
    speed = speed_of_study(every)
    used = every.usable(speed).kept(MOST_KEPT)
    enough_for_a_fit(used)
    survey = Survey.of(used, seed, number=method.folds, strike=strike, regressors=method.regressors)
    flight = read_artefact(calibration, StudyFlight).calibration
    candidates = candidates_of_study(speed, survey.extents, flight, standard, method, written)
    found = hold_contest(candidates, survey, say, method.choose)
    golfers = typical_of_all(every, ["golfer"])
    say("Refitting on resampled golfers ...")
    refits = refit(found.model, survey.drives, golfers, draw_counts(golfers.height, seed, method.replicates))
    shares = find_shares(found.model, every, refits, golfers)
    effects = assess_regressors(method.regressors, found.model.surface, survey, found.model.usual)
    chosen = shares.of_model(with_errors(found.model, effects))
    on = FittedOn(survey.shots, survey.typical.height, tuple(survey.quarters))
    write_artefact(made["model"], FittedModel(study, chosen, on))
    write_parquet(Path(made["typical"]), golfers.cast({"golfer": pl.String}))
    write_parquet(Path(made["held_out"]), held_out_table(found.held_out, keys_of(Path(drives), speed)))
    write_arrays(made["replicates"], replace(refits, offset_share=shares.draws).to_arrays())
    write_tables(made, found, shares, effects)
    say(f"Fitted {survey.shots} drives of {survey.typical.height} golfers: {found.told}.")


def write_tables(made: Mapping[str, str], found: Outcome, shares: LevelShares, effects: pl.DataFrame) -> None:
    """Write the tables of a fit as csv; that of regressors only where a study names some."""
    name = found.model.surface.name
    terms = effects_in_table(effects, shares.in_table(found.coefficients, name), name)
    write_csv(Path(made["coefficients"]), Coefficients.validate(terms))
    write_csv(Path(made["scores"]), Scores.validate(found.scores))
    if "regressors" in made:
        write_csv(Path(made["regressors"]), RegressorTable.validate(effects))


def keys_of(drives: Path, speed: str) -> pl.DataFrame:
    """Read the keys of the drives of a fit over a speed, in their order: golfer, source, row."""
    used = open_drives(drives, (*FIT_COLUMNS, "source", "row")).usable(speed)
    return used.gathered(lambda frame: frame.select(DRIVE_KEYS)).cast({"golfer": pl.String})
