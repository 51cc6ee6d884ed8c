"""Step: fit the candidate models, hold them against each other on golfers held out, keep the chosen one.

In: drives.parquet, calibration.json. Out: model.json (the chosen model), coefficients.csv (every candidate),
scores.csv, card.md, typical.parquet (one row per golfer), replicates.npz (refits on resampled golfers) and
held_out.parquet (the chosen model's predictions on golfers held out, one row per drive of the fit, in their order).
"""

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import speed_of_study, typical_of_all
from pipeline.edge.artefacts import read_artefact, write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv, write_parquet, write_text
from pipeline.errors import UserError
from pipeline.fit.card import write_card
from pipeline.fit.contest import (
    EVERYTHING,
    Candidate,
    CandidateFit,
    Factored,
    HeldOut,
    Survey,
    candidates_for,
    choose,
    enough_for_a_fit,
    fit_candidate,
    intervals_held_out,
    may_compete,
    predict_held_out,
    score,
)
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.model import CarryModel, FittedModel, FittedOn, known_key
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.flight.calibrate import StudyFlight
from pipeline.physics.air import Air
from pipeline.statistics.intervals import Z90
from pipeline.tables.figures import Coefficients, Scores
from pipeline.tables.types import types_of


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
) -> None:
    """Run the step; see the module's docstring."""
    every = open_drives(Path(drives))
    speed = speed_of_study(every)
    used = every.usable(speed)
    enough_for_a_fit(used)
    survey = Survey.of(used, seed)
    entries = compete(candidates_for(speed, flight_of(Path(calibration), air, survey)), survey)
    table, chosen = score_table(entries, survey)
    fitted, without = entries[chosen].fitted, entries[chosen].without
    print("Predicting golfers held out ...", flush=True)
    held = predict_held_out(survey, without, [(True, True, True), (False, False, False)])
    kept = fitted.model.with_interval(intervals_held_out(survey, without, held))
    golfers = typical_of_all(every, ["golfer"])
    print("Refitting on resampled golfers ...", flush=True)
    refits = refit(kept, used, golfers, draw_counts(golfers.height, seed))

    on = FittedOn(survey.shots, survey.typical.height, tuple(survey.quarters))
    write_artefact(model, FittedModel(study, kept, on))
    write_csv(Path(coefficients), Coefficients.validate(coefficient_table([entry.fitted for entry in entries])))
    write_csv(Path(scores), Scores.validate(table))
    write_text(Path(card), write_card(study, kept, table, survey, fitted.fit.residual_sd))
    write_parquet(Path(typical), golfers)
    write_parquet(Path(held_out), held_out_table(held))
    write_arrays(replicates, refits.to_arrays())
    best = table.row(chosen, named=True)
    print(
        f"Fitted {survey.shots} drives of {best['golfers']} golfers: chose {best['model']}, {best['rmse_yd']:.2f} yd."
    )


def flight_of(calibration: Path, air: dict[str, Any], survey: Survey) -> FlightMaker | None:
    """Fly the flight candidate's points at standard conditions; None where a drive has no ball speed."""
    if "ball" not in survey.extents:
        return None
    standard = StandardAir.model_validate(air)
    here = Air.of(standard.temp_c, standard.pressure_hpa * 100, standard.humidity)
    kept = read_artefact(calibration, StudyFlight).calibration
    return FlightMaker.of(kept.ball, here, survey.extents["ball"])


class Entry(NamedTuple):
    """A candidate that competes: fitted to all drives, fitted without each fold, and its scores."""

    fitted: CandidateFit
    without: list[CarryModel]
    terms: int
    scores: dict[str, float]


def compete(candidates: tuple[Candidate, ...], survey: Survey) -> list[Entry]:
    """Fit each candidate and score it on held-out golfers.

    Raises
    ------
    UserError
        If not even the straight line can be fitted. A richer candidate that can't is left out of the contest.
    """
    entries: list[Entry] = []
    trends, trends_without = fit_usual_delivery(survey.typical), survey.trends()
    for candidate in candidates:
        print(f"Fitting {candidate.name} ...", flush=True)
        try:
            reason = may_compete(candidate, survey)
            if reason is not None:
                raise UserError(f"The candidate {candidate.name} {reason}.")
            factored = Factored.of(survey, survey.surface(candidate))
            fitted = fit_candidate(candidate, survey, trends, factored)
            without = factored.without_each(survey, trends_without)
            held = predict_held_out(survey, without, [(True, True, True)])
            entries.append(Entry(fitted, without, held.terms, score(held, survey.golfer_of_drives)))
        except UserError as error:
            if not entries:
                raise
            print(f"{candidate.name} does not compete: {error}")
    return entries


def score_table(entries: list[Entry], survey: Survey) -> tuple[pl.DataFrame, int]:
    """List the candidates' scores; give the table `Scores` and the chosen one's place."""
    chosen = choose([entry.scores for entry in entries])
    rows: list[dict[str, Any]] = [
        {
            "model": entry.fitted.model.surface.name,
            "terms": entry.terms,
            "golfers": survey.typical.height,
            "shots": survey.shots,
            **entry.scores,
            "chosen": place == chosen,
            "note": f"over {entry.fitted.model.surface.speed} speed",
        }
        for place, entry in enumerate(entries)
    ]
    schema = types_of(Scores)
    return pl.DataFrame(rows, schema=schema, orient="row"), chosen


def coefficient_table(fits: list[CandidateFit]) -> pl.DataFrame:
    """List every candidate's terms with standard errors and 90 % intervals: the table `Coefficients`."""
    return pl.concat(
        pl.DataFrame(
            {
                "model": [fitted.model.surface.name] * len(fitted.labels),
                "term": list(fitted.labels),
                "estimate": fitted.fit.coefficients,
                "std_error": fitted.fit.std_errors,
                "lo90": fitted.fit.coefficients - Z90 * fitted.fit.std_errors,
                "hi90": fitted.fit.coefficients + Z90 * fitted.fit.std_errors,
            }
        )
        for fitted in fits
    )


def held_out_table(held: HeldOut) -> pl.DataFrame:
    """List measured and predicted carry, yd, per drive: from all inputs, and from club speed alone."""
    return pl.DataFrame(
        {
            "measured_yd": held.measured,
            "predicted_yd": held.predicted[EVERYTHING],
            "predicted_by_club_speed_yd": held.predicted[known_key(False, False, False)],
            "fold": held.fold.astype(np.int64),
        }
    )
