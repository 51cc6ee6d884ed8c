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
from pipeline.fit.scores import Choice, choose, score
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
    choice : Choice
        Why it was chosen.
    """

    model: CarryModel
    residual_sd_yd: float
    held_out: HeldOut
    coefficients: pl.DataFrame
    scores: pl.DataFrame
    choice: Choice

    @property
    def told(self) -> str:
        """What was chosen and how well it predicts, for the fit's last line."""
        return f"{self.choice.told}, {self.scores.filter('chosen').get_column('rmse_yd').item():.2f} yd"


def hold_contest(candidates: Sequence[Candidate], survey: Survey, say: Say, forced: str | None = None) -> Outcome:
    """Choose a model: see `compete` and `choose`. `forced` names one to use whatever the contest says."""
    entries = compete(candidates, survey, say, forced)
    scores, chosen, choice = score_table(entries, survey, forced)
    fitted, without = entries[chosen].fitted, entries[chosen].without
    say("Predicting golfers held out ...")
    held = predict_held_out(survey, without, [ALL_KNOWN, CLUB_SPEED_ALONE])
    model = fitted.model.with_interval(intervals_held_out(survey, without, held))
    coefficients = coefficient_table([entry.fitted for entry in entries])
    return Outcome(model, fitted.fit.residual_sd, held, coefficients, scores, choice)


def compete(candidates: Sequence[Candidate], survey: Survey, say: Say, forced: str | None = None) -> list[Entry]:
    """Fit each candidate and score it on held-out golfers.

    Raises
    ------
    UserError
        If none can be fitted, or not the one that is `forced`. Any other that can't is left out of the contest.
    """
    entries: list[Entry] = []
    failed: list[UserError] = []
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
            if candidate.name == forced:
                raise UserError(
                    f"model.choose in study.yaml: {forced} can't be fitted: {_in_a_sentence(error)}"
                ) from None
            say(f"{candidate.name} does not compete: {error}")
            failed.append(error)
    if not entries:
        raise failed[0]
    return entries


def _in_a_sentence(error: UserError) -> str:
    text = str(error)
    return f"{text[:1].lower()}{text[1:]}"


def score_table(
    entries: Sequence[Entry], survey: Survey, forced: str | None = None
) -> tuple[pl.DataFrame, int, Choice]:
    """List the candidates' scores; give the table `Scores`, the chosen one's place, and why it was chosen."""
    names = [entry.fitted.model.surface.name for entry in entries]
    contest = choose([entry.scores for entry in entries])
    chosen = contest if forced is None else names.index(forced)
    choice = Choice(names[chosen], names[contest], forced is not None)
    rows: list[dict[str, Any]] = [
        {
            "model": name,
            "terms": entry.terms,
            "golfers": survey.typical.height,
            "shots": survey.shots,
            **entry.scores,
            "chosen": place == chosen,
            "note": "; ".join(filter(None, (f"over {entry.fitted.model.surface.speed} speed", choice.note(name)))),
        }
        for place, (name, entry) in enumerate(zip(names, entries, strict=True))
    ]
    return pl.DataFrame(rows, schema=types_of(Scores), orient="row"), chosen, choice


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
