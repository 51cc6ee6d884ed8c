"""The contest of candidate models on golfers held out of the fit, and its tables."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Piece
from pipeline.errors import UserError
from pipeline.fit.candidates import Candidate, may_compete
from pipeline.fit.factored import BegunFit, CandidateFit, Factored, FactorsOf
from pipeline.fit.form import Form
from pipeline.fit.held_out import ALL_KNOWN, EveryKnownOf, HeldOut, PredictionsOf, intervals_held_out
from pipeline.fit.model import CarryModel
from pipeline.fit.passes import Pass, Passes, in_one_process
from pipeline.fit.scores import READINGS, Choice, Scorer, choose
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.statistics.least_squares import Factor
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
        return told_of(self.choice, self.scores)


def told_of(choice: Choice, scores: pl.DataFrame) -> str:
    """Say in a few words what was chosen and how well it predicts."""
    return f"{choice.told}, {scores.filter('chosen').get_column('rmse_yd').item():.2f} yd"


def hold_contest(candidates: Sequence[Candidate], survey: Survey, say: Say, forced: str | None = None) -> Outcome:
    """Choose a model: see `compete` and `choose`. `forced` names one to use whatever the contest says."""
    entries = compete(candidates, survey, say, forced)
    found = score_table(entries, survey, forced)
    say("Predicting golfers held out ...")
    parts = list(survey.drives.each_piece(EveryKnownOf(entries[found.chosen].without, survey.fold)))
    fitted, held = entries[found.chosen].fitted, HeldOut.joined([part.held for part in parts])
    model = fitted.model.with_interval(intervals_held_out(parts))
    coefficients = coefficient_table([entry.fitted for entry in entries])
    return Outcome(model, fitted.fit.residual_sd, held, coefficients, found.scores, found.choice)


def compete(candidates: Sequence[Candidate], survey: Survey, say: Say, forced: str | None = None) -> list[Entry]:
    """Fit each candidate and score it on held-out golfers; see `competing`."""
    return in_one_process(competing(candidates, survey, say, forced))


def competing(
    candidates: Sequence[Candidate], survey: Survey, say: Say, forced: str | None = None
) -> Passes[list[Entry]]:
    """Fit each candidate and score it on held-out golfers, in two passes.

    Raises
    ------
    UserError
        If none can be fitted, or not the one that is `forced`. Any other that can't is left out of the contest.
    """
    failed: list[UserError] = []

    def leave_out(name: str, error: UserError) -> None:
        if name == forced:
            raise UserError(f"model.choose in study.yaml: {forced} can't be fitted: {_in_a_sentence(error)}") from None
        say(f"{name} does not compete: {error}")
        failed.append(error)

    asked: dict[str, FactorsOf] = {}
    for candidate in candidates:
        say(f"Fitting {candidate.name} ...")
        if candidate.note:
            say(candidate.note)
        try:
            asked[candidate.name] = FactorsOf.of(survey, _surface(candidate, survey))
        except UserError as error:
            leave_out(candidate.name, error)
    ask = _FactorsOfAll(tuple(asked.values()))
    solved = yield Pass(survey.drives, ask, partial(_begun, ask, survey))
    begun: list[_Begun] = []
    for name, one in zip(asked, solved, strict=True):
        if isinstance(one, UserError):
            leave_out(name, one)
        else:
            begun.append(one)
    if not begun:
        raise failed[0]
    trial = _TrialOf(tuple(begun), survey.fold.astype(np.int16))
    entries: list[Entry] = yield Pass(survey.drives, trial, partial(_entries, begun, survey.typical.height))
    return entries


def _surface(candidate: Candidate, survey: Survey) -> Form:
    surface = candidate.surface(survey.extents)
    reason = may_compete(surface, survey.shots)
    if reason is not None:
        raise UserError(f"The candidate {candidate.name} {reason}.")
    return surface


@dataclass(frozen=True)
class _FactorsOfAll:
    """Asks pieces for the factors of all candidates."""

    each: tuple[FactorsOf, ...]

    def __call__(self, piece: Piece) -> list[list[tuple[int, Factor, Factor | None]]]:
        return [ask(piece) for ask in self.each]


class _Begun(NamedTuple):
    """A candidate solved for all drives, and fitted without each fold."""

    fit: BegunFit
    without: list[CarryModel]


def _begun(asked: _FactorsOfAll, survey: Survey, answers: Iterable[Any]) -> list[_Begun | UserError]:
    """Solve each candidate, or say why it can't be."""
    each = [Factored.empty(ask, survey.folds) for ask in asked.each]
    for found in answers:
        for factored, part in zip(each, found, strict=True):
            factored.join(part)
    trends, trends_without = fit_usual_delivery(survey.typical, survey.strike), survey.trends()

    def begun(factored: Factored) -> _Begun | UserError:
        try:
            return _Begun(BegunFit.of(factored, survey, trends), factored.without_each(survey, trends_without))
        except UserError as error:
            return error

    return [begun(factored) for factored in each]


@dataclass(frozen=True)
class _TrialOf:
    """Asks pieces for the residuals of all candidates and their predictions of golfers held out."""

    each: tuple[_Begun, ...]
    fold: npt.NDArray[np.int16]

    def __call__(self, piece: Piece) -> tuple[npt.NDArray[np.int32], list[Any], list[HeldOut]]:
        held = [PredictionsOf(one.without, self.fold, [ALL_KNOWN])(piece) for one in self.each]
        golfer = (piece.golfer - piece.golfer.min()).astype(np.int32)
        return golfer, [one.fit.asked(piece) for one in self.each], held


def _entries(begun: Sequence[_Begun], golfers: int, answers: Iterable[Any]) -> list[Entry]:
    """Finish the fits and score them."""
    scorers, residuals = [Scorer() for _ in begun], []
    for take in READINGS:
        for golfer, left, held in answers:
            residuals += [left] if take == Scorer.look else []
            for scorer, predicted in zip(scorers, held, strict=True):
                take(scorer, predicted, golfer)
    found = []
    for one, left, scorer in zip(begun, zip(*residuals, strict=True), scorers, strict=True):
        terms = PredictionsOf(one.without, np.zeros(0, dtype=np.int16), []).terms
        found.append(Entry(one.fit.finished(left, golfers), one.without, terms, scorer.figures))
    return found


def _in_a_sentence(error: UserError) -> str:
    text = str(error)
    return f"{text[:1].lower()}{text[1:]}"


class Scored(NamedTuple):
    """The table `Scores`, the chosen candidate's place, and why it was chosen."""

    scores: pl.DataFrame
    chosen: int
    choice: Choice


def score_table(entries: Sequence[Entry], survey: Survey, forced: str | None = None) -> Scored:
    """List the candidates' scores and choose one."""
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
    return Scored(pl.DataFrame(rows, schema=types_of(Scores), orient="row"), chosen, choice)


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
