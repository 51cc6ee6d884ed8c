"""Step: fit the candidate models, compare them on golfers held out, keep the chosen one.

In: drives.parquet, calibration.json, the study's own candidates. Out: model.json (the chosen model), coefficients.csv
(every candidate), scores.csv, typical.parquet (one row per golfer), replicates.npz (refits on resampled
golfers) and held_out.parquet (the chosen model's predictions on golfers held out, one row per drive of the fit, in
their order, with its keys).
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import FIT_COLUMNS, speed_of_study, typical_of_all
from pipeline.edge.artefacts import read_artefact, write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet
from pipeline.fit.candidates import candidates_of_study, enough_for_a_fit
from pipeline.fit.contest import hold_contest
from pipeline.fit.held_out import DRIVE_KEYS, held_out_table
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.own_files import read_written
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.shares import find_shares
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import StudyFlight
from pipeline.tables.figures import Coefficients, Scores

say = partial(print, flush=True)


def run(
    drives: str,
    calibration: str,
    own: Sequence[str],
    study: str,
    seed: int,
    air: dict[str, Any],
    choices: dict[str, Any],
    strike: float,
    **out: str,
) -> None:
    """Run the step; `choices` are the study's `Model`, `strike` its `Efficient.strike`, `out` the files it makes."""
    method, standard = Model.model_validate(choices), StandardAir.model_validate(air)
    written = read_written(method.formulas, own)
    every = open_drives(Path(drives))
    speed = speed_of_study(every)
    used = every.usable(speed)
    enough_for_a_fit(used)
    survey = Survey.of(used, seed, number=method.folds, strike=strike)
    flight = read_artefact(calibration, StudyFlight).calibration
    candidates = candidates_of_study(speed, survey.extents, flight, standard, method, written)
    found = hold_contest(candidates, survey, say, method.choose)
    golfers = typical_of_all(every, ["golfer"])
    say("Refitting on resampled golfers ...")
    refits = refit(found.model, survey.drives, golfers, draw_counts(golfers.height, seed, method.replicates))
    shares = find_shares(found.model, every, refits, golfers)
    on = FittedOn(survey.shots, survey.typical.height, tuple(survey.quarters))
    write_artefact(out["model"], FittedModel(study, chosen := shares.of_model(found.model), on))
    terms = Coefficients.validate(shares.in_table(found.coefficients, chosen.surface.name))
    write_csv(Path(out["coefficients"]), terms)
    write_csv(Path(out["scores"]), Scores.validate(found.scores))
    write_parquet(Path(out["typical"]), golfers.cast({"golfer": pl.String}))
    write_parquet(Path(out["held_out"]), held_out_table(found.held_out, keys_of(Path(drives), speed)))
    write_arrays(out["replicates"], replace(refits, offset_share=shares.draws).to_arrays())
    say(f"Fitted {survey.shots} drives of {survey.typical.height} golfers: {found.told}.")


def keys_of(drives: Path, speed: str) -> pl.DataFrame:
    """Read the keys of the drives of a fit over a speed, in their order: golfer, source, row."""
    used = open_drives(drives, (*FIT_COLUMNS, "source", "row")).usable(speed)
    return used.gathered(lambda frame: frame.select(DRIVE_KEYS)).cast({"golfer": pl.String})
