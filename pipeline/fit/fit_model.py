"""Step: fit the candidate models, compare them on golfers held out, keep the chosen one.

In: drives.parquet, calibration.json. Out: model.json (the chosen model), coefficients.csv (every candidate),
scores.csv, card.md, typical.parquet (one row per golfer), replicates.npz (refits on resampled golfers) and
held_out.parquet (the chosen model's predictions on golfers held out, one row per drive of the fit, in their order).
"""

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import speed_of_study, typical_of_all
from pipeline.edge.artefacts import read_artefact, write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet, write_text
from pipeline.fit.candidates import candidates_of_study, enough_for_a_fit
from pipeline.fit.card import write_card
from pipeline.fit.contest import hold_contest
from pipeline.fit.held_out import held_out_table
from pipeline.fit.model import FittedModel, FittedOn
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.shares import find_shares
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import StudyFlight
from pipeline.tables.figures import Coefficients, Scores

say = partial(print, flush=True)


def run(
    drives: str,
    model: str,
    coefficients: str,
    scores: str,
    card: str,
    typical: str,
    replicates: str,
    held_out: str,
    calibration: str,
    study: str,
    seed: int,
    air: dict[str, Any],
    choices: dict[str, Any],
    strike: float,
) -> None:
    """Run the step; see the module's docstring. `choices` are the study's `Model`, `strike` its `Efficient.strike`."""
    method = Model.model_validate(choices)
    every = open_drives(Path(drives))
    speed = speed_of_study(every)
    used = every.usable(speed)
    enough_for_a_fit(used)
    survey = Survey.of(used, seed, number=method.folds, strike=strike)
    flight, standard = read_artefact(calibration, StudyFlight).calibration, StandardAir.model_validate(air)
    candidates = candidates_of_study(speed, survey.extents, flight, standard, method)
    found = hold_contest(candidates, survey, say, method.choose)
    golfers = typical_of_all(every, ["golfer"])
    say("Refitting on resampled golfers ...")
    refits = refit(found.model, survey.drives, golfers, draw_counts(golfers.height, seed, method.replicates))
    shares = find_shares(found.model, every, refits, golfers)
    on = FittedOn(survey.shots, survey.typical.height, tuple(survey.quarters))
    write_artefact(model, FittedModel(study, chosen := shares.of_model(found.model), on))
    write_csv(Path(coefficients), Coefficients.validate(shares.in_table(found.coefficients, chosen.surface.name)))
    write_csv(Path(scores), Scores.validate(found.scores))
    write_text(Path(card), write_card(study, chosen, found.scores, survey, found.residual_sd_yd, found.choice))
    write_parquet(Path(typical), golfers.cast({"golfer": pl.String}))
    write_parquet(Path(held_out), held_out_table(found.held_out))
    write_arrays(replicates, replace(refits, offset_share=shares.draws).to_arrays())
    say(f"Fitted {survey.shots} drives of {survey.typical.height} golfers: {found.told}.")
