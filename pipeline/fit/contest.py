"""The contest of candidate models on golfers held out of the fit, and its tables."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import polars as pl

from pipeline.errors import UserError
from pipeline.fit.candidates import Candidate, may_compete
from pipeline.fit.factored import CandidateFit, Factored, fit_candidate
from pipeline.fit.held_out import ALL_KNOWN, CLUB_SPEED_ALONE, HeldOut, intervals_held_out, predict_held_out
from pipeline.fit.model import CarryModel
from pipeline.fit.scores import choose, score
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.tables.figures import Scores
from pipeline.tables.types import types_of

Say = Callable[[str], None]  # takes a line on how far the work is


class Entry(NamedTuple):
    """A candidate that competes: fitted to all drives, fitted without each fold, and its scores."""

    fitted: CandidateFit
    without: list[CarryModel]
    terms: int
    scores: dict[str, float]


@dataclass(frozen=True)
class Outcome:
    """What a contest gives.

    Attributes
    ----------
    model : CarryModel
        The chosen one, with its interval.
    residual_sd_yd : float
        Of its fit.
    held_out : HeldOut
        Its predictions from everything known and from club speed alone.
    coefficients, scores : DataFrame
        The tables `Coefficients` and `Scores`.
    """

    model: CarryModel
    residual_sd_yd: float
    held_out: HeldOut
    coefficients: pl.DataFrame
    scores: pl.DataFrame


def hold_contest(candidates: Sequence[Candidate], survey: Survey, say: Say) -> Outcome:
    """Choose a model: see `compete` and `choose`."""
    entries = compete(candidates, survey, say)
    scores, chosen = score_table(entries, survey)
    fitted, without = entries[chosen].fitted, entries[chosen].without
    say("Predicting golfers held out ...")
    held = predict_held_out(survey, without, [ALL_KNOWN, CLUB_SPEED_ALONE])
    model = fitted.model.with_interval(intervals_held_out(survey, without, held))
    coefficients = coefficient_table([entry.fitted for entry in entries])
    return Outcome(model, fitted.fit.residual_sd, held, coefficients, scores)


def compete(candidates: Sequence[Candidate], survey: Survey, say: Say) -> list[Entry]:
    """Fit each candidate and score it on held-out golfers.

    Raises
    ------
    UserError
        If not even the straight line can be fitted. A richer candidate that can't is left out of the contest.
    """
    entries: list[Entry] = []
    trends, trends_without = fit_usual_delivery(survey.typical, survey.strike), survey.trends()
    for candidate in candidates:
        say(f"Fitting {candidate.name} ...")
        try:
            surface = candidate.surface(survey.extents)
            reason = may_compete(surface, survey.shots)
            if reason is not None:
                raise UserError(f"The candidate {candidate.name} {reason}.")
            factored = Factored.of(survey, surface)
            fitted = fit_candidate(factored, survey, trends)
            without = factored.without_each(survey, trends_without)
            held = predict_held_out(survey, without, [ALL_KNOWN])
            entries.append(Entry(fitted, without, held.terms, score(held, survey.golfer_of_drives)))
        except UserError as error:
            if not entries:
                raise
            say(f"{candidate.name} does not compete: {error}")
    return entries


def score_table(entries: Sequence[Entry], survey: Survey) -> tuple[pl.DataFrame, int]:
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
    return pl.DataFrame(rows, schema=types_of(Scores), orient="row"), chosen


def coefficient_table(fits: Sequence[CandidateFit]) -> pl.DataFrame:
    """List every candidate's terms with standard errors and 90 % intervals: the table `Coefficients`."""
    return pl.concat(
        pl.DataFrame(
            {
                "model": [fitted.model.surface.name] * len(fitted.labels),
                "term": list(fitted.labels),
                "estimate": fitted.fit.coefficients,
                "std_error": fitted.fit.std_errors,
                **dict(zip(("lo90", "hi90"), fitted.fit.edges90, strict=True)),
            }
        )
        for fitted in fits
    )
