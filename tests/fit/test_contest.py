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
