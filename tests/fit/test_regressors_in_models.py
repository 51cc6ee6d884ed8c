"""Regressors in a model and in everything that predicts, refits, keeps or compares it."""

import json
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to_regressors, predict_held_out
from regressor_worlds import ATTACK_SHARE, regressor_world

from pipeline.configuration.study import StandardAir
from pipeline.drives import typical_drives
from pipeline.edge.artefacts import read_artefact, write_artefact
from pipeline.errors import UserError
from pipeline.fit.comparison import errors_of, score_both
from pipeline.fit.factored import Factored
from pipeline.fit.held_out import (
    ALL_KNOWN,
    EVERYTHING,
    EveryKnownOf,
    interval_edges,
    intervals_held_out,
    predict_from,
)
from pipeline.fit.model import Delivery, FittedModel, FittedOn, known_key
from pipeline.fit.model_changes import ComparedFit, refitted_terms
from pipeline.fit.resampled import ResampledFits, draw_counts, refit
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import Calibration
from pipeline.flight.regressors import Regressors

QUADRATIC = candidate_named("quadratic")
NAMES = ("attack_deg", "by_both")


@pytest.fixture(scope="module")
def drives():
    return regressor_world(8, golfers=50, attack_share=10 * ATTACK_SHARE)


@pytest.fixture(scope="module")
def fitted(drives):
    return fit_to_regressors(QUADRATIC, drives, *NAMES)


def regressors(*shares):
    return Regressors(NAMES, np.array([1.0, 20.0]), np.array(shares), np.array([0.1, 0.2]))


def test_a_design_is_the_distance_from_the_center_and_nothing_where_that_is_not_known():
    table = pl.DataFrame({"attack_deg": [3.0, None], "flown_yd": [200.0, 100.0]})
    of = regressors(0.01, 0.5)
    assert of.design(table).tolist() == [[2.0, 0.0], [0.0, 0.0]]  # by_both lacks
    assert of.terms(table).tolist() == [[400.0, 0.0], [0.0, 0.0]]
    assert of.added_share(table).tolist() == [0.02, 0.0]
    assert of.labels == ("regressor:attack_deg", "regressor:by_both")
    assert of.only(["by_both"]).centers.tolist() == [20.0]
    assert Regressors().design(table).shape == (2, 0)


def test_the_center_is_the_mean_of_golfers_means_and_few_golfers_make_no_regressor(drives):
    survey = Survey.of(drives, regressors=["attack_deg", "nowhere"])
    means = drives.group_by("golfer").agg(pl.col("attack_deg").mean())
    assert survey.regressors.names == ("attack_deg",)
    assert survey.regressors.centers[0] == pytest.approx(means.get_column("attack_deg").mean())


def test_planted_shares_are_recovered_beside_the_device(fitted):
    model = fitted.model
    for name, truth in zip(NAMES, (10 * ATTACK_SHARE, 0.0), strict=True):
        place = model.regressors.names.index(name)
        assert model.regressors.coefficients[place] == pytest.approx(
            truth, abs=4 * model.regressors.std_errors[place] + 0.02 * truth
        )
    assert model.offset_share[0] == pytest.approx(0.03, abs=0.015)
    assert fitted.labels[-2:] == model.regressors.labels
    np.testing.assert_array_equal(fitted.fit.std_errors[-2:], model.regressors.std_errors)


def test_expected_carry_is_at_the_centers_and_a_drives_own_values_move_its_prediction(fitted, drives):
    model = replace(fitted.model, regressors=regressors(0.01, 0.0))
    two = drives.head(2).with_columns(pl.Series("attack_deg", [3.0, None]), pl.Series("device", ["unit-B", "unit-B"]))
    expected = model.expected(Delivery.of(two))
    share = model.offset_share[0] if model.offsets.levels[0] == ("device", "unit-B") else 0.0
    np.testing.assert_allclose(predict_from(model, two, *ALL_KNOWN), expected * [1 + 0.02 / (1 + share), 1.0])
    np.testing.assert_allclose(predict_from(model, two, *ALL_KNOWN, at_centers=True), expected)
    less = [predict_from(replace(model, regressors=Regressors()), two, True, True, False)]
    np.testing.assert_allclose(predict_from(model, two, True, True, False), less[0])
    # What a swing's attack costs stays the golfer's.
    np.testing.assert_allclose(model.reference_carry(two), replace(model, regressors=Regressors()).reference_carry(two))


def test_errors_are_smaller_by_what_the_regressor_explains(fitted, drives):
    without = fit_to_regressors(QUADRATIC, drives).model
    some, none = (np.std(errors_of(model, drives)) for model in (fitted.model, without))
    assert some < 0.8 * none


def test_held_out_predictions_know_the_regressors_and_intervals_of_a_delivery_do_not(drives):
    survey = Survey.of(drives, 1, regressors=NAMES)
    factored = Factored.of(survey, QUADRATIC.surface(survey.extents))
    models = factored.without_each(survey, survey.trends())
    held = predict_held_out(survey, models, [ALL_KNOWN])
    parts = [EveryKnownOf(models, survey.fold)(piece) for piece in survey.drives.pieces()]
    edges = intervals_held_out(parts)[known_key(*ALL_KNOWN)]
    knowing = interval_edges(held.measured, held.predicted[EVERYTHING])
    assert edges[1] - edges[0] > 1.2 * (knowing[1] - knowing[0])
    assert held.terms == models[0].surface.size + 1 + 2
    plain = factored.without_each(survey, survey.trends(), leave_out="attack_deg")
    assert {model.regressors.names for model in plain} == {("by_both",)}


def test_refits_have_the_regressors_too(fitted, drives):
    typical = typical_drives(drives, ["golfer"])
    survey = Survey.of(drives, regressors=NAMES)
    counts = np.vstack([np.ones(50, dtype=np.int64), draw_counts(50, 1, 60)])
    found = refit(fitted.model, survey.drives, typical, counts)
    np.testing.assert_allclose(found.regressors[0], fitted.model.regressors.coefficients, rtol=1e-6)
    np.testing.assert_allclose(found.offset_share[0], fitted.model.offset_share, rtol=1e-6)
    spread = found.regressors[1:].std(axis=0) / fitted.model.regressors.std_errors
    assert np.all((spread > 0.5) & (spread < 2))
    before = {name: array for name, array in found.to_arrays().items() if name != "regressors"}
    assert ResampledFits(**before).regressors.size == 0


def test_a_model_is_written_and_read_with_its_regressors_and_one_of_before_without(fitted, tmp_path):
    path = tmp_path / "model.json"
    write_artefact(path, FittedModel("a", fitted.model, FittedOn(10, 5, ("2026Q3",))))
    again = read_artefact(path, FittedModel).model.regressors
    assert again.names == fitted.model.regressors.names
    np.testing.assert_array_equal(again.coefficients, fitted.model.regressors.coefficients)
    stored = json.loads(path.read_text())
    del stored["model"]["regressors"]
    path.write_text(json.dumps(stored))
    assert read_artefact(path, FittedModel).model.regressors.labels == ()
    stored["model"]["regressors"] = {"names": 3}
    path.write_text(json.dumps(stored))
    with pytest.raises(UserError, match="isn't what the workflow writes there"):
        read_artefact(path, FittedModel)


def compared(fitted, drives):
    lo, hi = fitted.fit.edges90
    terms = pl.DataFrame({"term": fitted.labels, "estimate": fitted.fit.coefficients, "lo90": lo, "hi90": hi})
    calibration = Calibration("smits-smith-1994", 1.0, 1.0, None, None, [], 0, 0, None, None, "")
    typical = typical_drives(drives, ["golfer"])
    return ComparedFit("k000000000001", fitted.model, terms, typical, ("2026Q3",), 50, drives.height, StandardAir(),
                       calibration, 1.46)  # fmt: skip


def test_fits_with_and_without_a_regressor_are_compared_both_ways(fitted, drives):
    plain = fit_to_regressors(QUADRATIC, drives)
    for old, names, sign in ((plain, NAMES, -1), (fitted, (), 1)):
        survey = Survey.of(drives, 1, regressors=names)
        scored, _ = score_both(compared(old, drives), QUADRATIC.surface(survey.extents), survey, survey.drives)
        assert scored.repeated
        assert sign * scored.on_all.difference_yd > 1


def test_an_old_models_regressor_that_the_drives_lack_counts_as_its_center(fitted, drives):
    lacking = drives.drop("attack_deg")
    survey = Survey.of(lacking, 1)
    old = compared(fitted, drives)
    scored, _ = score_both(old, QUADRATIC.surface(survey.extents), survey, survey.drives)
    assert scored.on_all.difference_yd == pytest.approx(0, abs=0.2)  # by_both stays
    terms = refitted_terms(old, lacking)
    assert terms.filter(term="regressor:attack_deg").get_column("new").item() is None
    again = refitted_terms(old, drives)
    assert not again.get_column("apart").any()
    assert again.get_column("new").null_count() == 0
