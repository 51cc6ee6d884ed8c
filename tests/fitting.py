"""One candidate fitted to drives, or predicting them on golfers held out; the product does both from one survey."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.fit.candidates import candidates_for, tabulated
from pipeline.fit.factored import Factored, fit_candidate
from pipeline.fit.held_out import COMBINATIONS, HeldOut, PredictionsOf
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery


def candidate_named(name, speed="ball", flight=None):
    return next(one for one in candidates_for(speed, flight) if one.name == name)


def fit_to(candidate, drives):
    survey = Survey.of(drives)
    factored = Factored.of(survey, candidate.surface(survey.extents))
    return fit_candidate(factored, survey, fit_usual_delivery(survey.typical))


def numbers_of(drives):
    """Give each drive its golfer's number, shape (n,)."""
    return np.concatenate([piece.golfer for piece in drives.pieces()])


def predict_held_out(survey, models, known):
    """Predict all golfers of a survey, each by the model fitted without their fold."""
    return HeldOut.joined(list(survey.drives.each_piece(PredictionsOf(models, survey.fold, known))))


def hold_out(candidate, survey, known=COMBINATIONS):
    factored = Factored.of(survey, candidate.surface(survey.extents))
    return predict_held_out(survey, factored.without_each(survey, survey.trends()), known)


@dataclass(frozen=True)
class OwnTerms:
    """What a researcher wrote, as `Written` has it."""

    name: str
    terms: Callable
    speed: str = "ball"
    origin: str = "candidates/own.py"

    def columns(self, inputs):  # noqa: ARG002
        return self.terms


def own_candidate(name, terms, extents, speed="ball"):
    """Make a candidate of terms, as a study on ball speed does."""
    return tabulated(OwnTerms(name, terms, speed), "ball", extents)


def world_terms(ball_mph, launch_deg, spin_rpm):
    """Give the terms of which the small world's carry is made, by coefficients -30, 1.7, -40 and -40."""
    off_launch = (launch_deg - (14 - 0.04 * (ball_mph - 135))) / 9
    off_spin = (spin_rpm - (2600 - 12 * (ball_mph - 135))) / 2200
    return {
        "intercept": np.ones_like(ball_mph),
        "speed": ball_mph,
        "launch off its best": off_launch**2,
        "spin off its best": off_spin**2,
    }


def fit_to_regressors(candidate, drives, *names):
    survey = Survey.of(drives, regressors=names)
    factored = Factored.of(survey, candidate.surface(survey.extents))
    return fit_candidate(factored, survey, fit_usual_delivery(survey.typical))
