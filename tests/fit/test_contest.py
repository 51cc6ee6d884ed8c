import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to, hold_out

from pipeline.errors import UserError
from pipeline.fit.contest import compete, hold_contest
from pipeline.fit.held_out import EVERYTHING, interval_edges
from pipeline.fit.survey import Survey
from pipeline.tables.figures import Coefficients, Scores

CANDIDATES = [candidate_named(name) for name in ("line", "quadratic", "splines")]


@pytest.fixture(scope="module")
def contest(world):
    said = []
    return hold_contest(CANDIDATES, Survey.of(world.drives, 1), said.append), said


def test_the_chosen_model_is_the_fit_to_all_drives_with_its_interval(world, contest):
    # The world's carry is a second-order surface, so splines gain nothing over it.
    found, _ = contest
    scores = Scores.validate(found.scores)
    assert scores.filter("chosen").get_column("model").to_list() == ["quadratic"]
    fitted, held = fit_to(CANDIDATES[1], world.drives), hold_out(CANDIDATES[1], Survey.of(world.drives, 1))
    np.testing.assert_allclose(found.model.coefficients, fitted.model.coefficients, rtol=1e-9)
    assert found.residual_sd_yd == pytest.approx(fitted.fit.residual_sd)
    assert found.model.interval["nothing"] == interval_edges(held.measured, held.predicted["nothing"])
    np.testing.assert_array_equal(found.held_out.predicted[EVERYTHING], held.predicted[EVERYTHING])


def test_every_candidate_has_its_scores_and_its_terms(contest):
    found, _ = contest
    assert found.scores.get_column("model").to_list() == ["line", "quadratic", "splines"]
    terms = Coefficients.validate(found.coefficients).get_column("model").value_counts(sort=True)
    assert terms.rows() == [("splines", 39), ("quadratic", 11), ("line", 5)]


def test_how_far_the_work_is_is_said(contest):
    _, said = contest
    assert said == [
        "Fitting line ...",
        "Fitting quadratic ...",
        "Fitting splines ...",
        "Predicting golfers held out ...",
    ]


def test_a_rich_candidate_that_can_not_be_fitted_is_left_out(world):
    survey, said = Survey.of(world.drives.gather_every(16), 1), []
    assert survey.shots == 150
    entries = compete(CANDIDATES, survey, said.append)
    assert [entry.fitted.model.surface.name for entry in entries] == ["line", "quadratic"]
    assert said[-1] == "splines does not compete: The candidate splines needs 190 drives."


def test_a_study_that_can_not_even_have_a_line_is_told(world):
    same = world.drives.with_columns(pl.lit(2500.0).alias("spin_rpm"))
    with pytest.raises(UserError, match="columns depend on each other"):
        compete(CANDIDATES, Survey.of(same, 1), lambda _: None)


def test_a_forced_model_is_used_and_the_contest_is_still_held(world, contest):
    found, _ = contest
    forced = hold_contest(CANDIDATES, Survey.of(world.drives, 1), lambda _: None, "line")
    assert forced.scores.drop("chosen", "note").equals(found.scores.drop("chosen", "note"))
    assert forced.scores.filter("chosen")["model"].to_list() == ["line"]
    assert forced.model.surface.name == "line"
    assert forced.scores["note"].to_list() == [
        "over club speed; named by the study; the contest would have chosen quadratic",
        "over ball speed; the contest's choice, but the study names line",
        "over ball speed",
    ]
    assert forced.told == (
        f"used line, as study.yaml says (the contest would have chosen quadratic), {forced.scores['rmse_yd'][0]:.2f} yd"
    )
    assert forced.choice.sentence == (
        "The study names line as the model to use (model.choose in study.yaml). The contest would have chosen "
        "quadratic, the simplest within one standard error of the best."
    )
    assert found.told == f"chose quadratic, {found.scores['rmse_yd'][1]:.2f} yd"


def test_a_forced_model_that_the_contest_chooses_too_is_the_same_model(world, contest):
    found, _ = contest
    forced = hold_contest(CANDIDATES, Survey.of(world.drives, 1), lambda _: None, "quadratic")
    np.testing.assert_array_equal(forced.model.coefficients, found.model.coefficients)
    assert forced.scores["note"][1] == "over ball speed; named by the study, and chosen by the contest too"
    assert "The contest chooses it too" in forced.choice.sentence
    assert "(the contest chooses it too)" in forced.told


def test_a_forced_model_that_can_not_be_fitted_is_told(world):
    survey = Survey.of(world.drives.gather_every(16), 1)
    told = "^model.choose in study.yaml: splines can't be fitted: the candidate splines needs 190 drives.$"
    with pytest.raises(UserError, match=told):
        compete(CANDIDATES, survey, lambda _: None, "splines")


def test_the_simplest_may_fail_where_another_can_be_fitted(world):
    # Here none can be fitted but the last: others need far more drives than there are.
    survey, said = Survey.of(world.drives.gather_every(16), 1), []
    entries = compete([CANDIDATES[2], CANDIDATES[0]], survey, said.append)
    assert [entry.fitted.model.surface.name for entry in entries] == ["line"]
    assert "splines does not compete: The candidate splines needs 190 drives." in said


def test_the_strike_of_a_study_reaches_the_model_and_no_candidates_score(world, contest):
    found, _ = contest
    other = hold_contest(CANDIDATES, Survey.of(world.drives, 1, strike=0.9), lambda _: None)
    assert other.scores.equals(found.scores)
    np.testing.assert_array_equal(other.model.coefficients, found.model.coefficients)
    assert (found.model.usual.strike, other.model.usual.strike) == (0.75, 0.9)
    assert other.model.usual.better_ratio(90.0) > found.model.usual.better_ratio(90.0) + 0.005
    # Without ball speed the share of carry that stands for the strike is that quantile too.
    blind = world.drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    shares = [
        compete([candidate_named("line", "club")], Survey.of(blind, 1, strike=strike), lambda _: None)[0]
        for strike in (0.5, 0.75, 0.9)
    ]
    half, quarter, tenth = (entry.fitted.model.better_share for entry in shares)
    assert half + 0.003 < quarter < tenth - 0.003
