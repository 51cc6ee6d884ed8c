"""One candidate fitted to drives, or predicting them on golfers held out; the product does both from one survey."""

from pipeline.fit.candidates import candidates_for
from pipeline.fit.factored import Factored, fit_candidate
from pipeline.fit.held_out import COMBINATIONS, predict_held_out
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery


def candidate_named(name, speed="ball", flight=None):
    return next(one for one in candidates_for(speed, flight) if one.name == name)


def fit_to(candidate, drives):
    survey = Survey.of(drives)
    factored = Factored.of(survey, candidate.surface(survey.extents))
    return fit_candidate(factored, survey, fit_usual_delivery(survey.typical))


def hold_out(candidate, survey, known=COMBINATIONS):
    factored = Factored.of(survey, candidate.surface(survey.extents))
    return predict_held_out(survey, factored.without_each(survey, survey.trends()), known)


def fit_to_regressors(candidate, drives, *names):
    survey = Survey.of(drives, regressors=names)
    factored = Factored.of(survey, candidate.surface(survey.extents))
    return fit_candidate(factored, survey, fit_usual_delivery(survey.typical))
