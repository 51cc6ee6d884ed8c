import numpy as np
import polars as pl
import pytest
from fitting import candidate_named
from regressor_worlds import ATTACK_SHARE, NUISANCES, regressor_world
from scipy.stats import binom
from statsmodels.regression.linear_model import OLS

from pipeline.drives import golfer_codes, inputs
from pipeline.fit.factored import Factored
from pipeline.fit.regressor_effects import assess_regressors, effects_in_table, judge_effects, with_errors
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.tables.figures import RegressorTable

QUADRATIC = candidate_named("quadratic")


def judged(drives, *names):
    survey = Survey.of(drives, 1, regressors=names)
    return judge_effects(names, Factored.of(survey, QUADRATIC.surface(survey.extents)), survey)


def assessed(drives, *names):
    survey = Survey.of(drives, 1, regressors=names)
    found = assess_regressors(names, QUADRATIC.surface(survey.extents), survey, fit_usual_delivery(survey.typical))
    return RegressorTable.validate(found)


@pytest.fixture(scope="module")
def attacked():
    return regressor_world(3, golfers=50, attack_share=ATTACK_SHARE)


def columns_of_fit(drives, *names):
    """Build the fit's columns by hand, the regressors last, and carry."""
    survey = Survey.of(drives, 1, regressors=names)
    (frame,) = survey.drives.read()
    surface = QUADRATIC.surface(survey.extents)
    base, design = surface.base_and_design(*inputs(frame, "ball"))
    X = np.hstack([design, survey.offsets().terms(frame), survey.regressors.terms(frame)])
    return X, frame.get_column("carry_standard_yd").to_numpy() - base


def test_an_effect_is_that_of_statsmodels_and_its_error_that_of_leaving_out_each_golfer(attacked):
    found = judged(attacked, "attack_deg")["attack_deg"]
    X, y = columns_of_fit(attacked, "attack_deg")
    golfer = golfer_codes(attacked)
    every = OLS(y, X).fit().params[-1]
    without = np.array([OLS(y[golfer != k], X[golfer != k]).fit().params[-1] for k in range(50)])
    assert found["estimate"] == pytest.approx(every, rel=1e-8)
    assert found["std_error"] == pytest.approx(np.sqrt(49 / 50 * np.sum((without - every) ** 2)), rel=1e-6)


def test_the_effect_within_golfers_is_that_of_a_fit_with_a_term_for_each(attacked):
    found = judged(attacked, "attack_deg")["attack_deg"]
    X, y = columns_of_fit(attacked, "attack_deg")
    golfers = np.eye(50)[golfer_codes(attacked)]
    terms = np.hstack([golfers, X])
    assert found["within_estimate"] == pytest.approx(np.linalg.lstsq(terms, y, rcond=1e-10)[0][-1], rel=1e-6)


def test_center_spread_and_share_within_golfers_describe_the_column(attacked):
    found = judged(attacked, "attack_deg")["attack_deg"]
    means = attacked.group_by("golfer").agg(pl.col("attack_deg").mean()).get_column("attack_deg")
    values = attacked.get_column("attack_deg")
    within = attacked.select(pl.col("attack_deg") - pl.col("attack_deg").mean().over("golfer")).to_series()
    assert found["center"] == pytest.approx(means.mean())
    assert found["sd"] == pytest.approx(values.std())
    assert found["varies_within"] == pytest.approx((within**2).sum() / ((values - values.mean()) ** 2).sum())
    assert (found["known_drives"], found["golfers"]) == (attacked.height, 50)
    carry = attacked.get_column("carry_standard_yd").mean()
    assert found["yd_per_sd"] == pytest.approx(found["estimate"] * values.std() * carry)


def test_a_planted_effect_matters_and_predicts_golfers_held_out(attacked):
    row = assessed(attacked, "attack_deg", "by_drive").row(0, named=True)
    assert row["verdict"] == "matters"
    assert row["lo90"] < ATTACK_SHARE < row["hi90"]
    assert row["difference_yd"] == pytest.approx(row["rmse_with_yd"] - row["rmse_without_yd"])
    assert row["difference_yd"] < 0 < row["difference_std_error_yd"]


def test_units_change_the_effect_and_not_its_test(attacked):
    once, scaled = (
        judged(attacked.with_columns(pl.col("attack_deg") * by + to), "attack_deg")["attack_deg"]
        for by, to in ((1, 0), (1000, 5e5))
    )
    assert scaled["estimate"] == pytest.approx(once["estimate"] / 1000, rel=1e-6)
    assert scaled["p_value"] == pytest.approx(once["p_value"], rel=1e-5)
    assert scaled["yd_per_sd"] == pytest.approx(once["yd_per_sd"], rel=1e-6)


def test_a_value_that_is_not_known_counts_as_the_center(attacked):
    some = pl.int_range(pl.len()) % 3 > 0
    gappy = attacked.with_columns(pl.when(some).then("attack_deg").alias("attack_deg"))
    center = Survey.of(gappy, regressors=["attack_deg"]).regressors.centers[0]
    filled = gappy.with_columns(pl.col("attack_deg").fill_null(center))
    found = judged(gappy, "attack_deg")["attack_deg"]
    X, y = columns_of_fit(filled.with_columns(pl.col("attack_deg") - center), "attack_deg")
    assert found["known_drives"] == gappy.get_column("attack_deg").count()
    assert found["estimate"] == pytest.approx(
        OLS(y, X).fit().params[-1], rel=0.05
    )  # centers of the two differ a little
    both = assessed(gappy, "attack_deg").row(0, named=True)
    known = gappy.filter(pl.col("attack_deg").is_not_null())
    assert both["rmse_with_yd"] != pytest.approx(assessed(known, "attack_deg").row(0, named=True)["rmse_with_yd"])


def test_what_sets_golfers_apart_is_told_from_what_a_drive_does():
    drives = regressor_world(5, golfers=60, attack_share=ATTACK_SHARE, confounded=0.008)
    found = judged(drives, "attack_deg")["attack_deg"]
    assert found["estimate"] > 2 * ATTACK_SHARE
    assert found["within_estimate"] == pytest.approx(ATTACK_SHARE, abs=3 * found["within_std_error"])
    assert found["note"].startswith("Within golfers the effect is another")


def test_a_column_that_is_the_same_for_a_golfer_has_no_effect_within(attacked):
    found = judged(attacked, "by_golfer")["by_golfer"]
    assert found["varies_within"] == pytest.approx(0, abs=1e-12)
    assert "within_estimate" not in found
    assert found["note"].startswith("It hardly varies within golfers")


@pytest.mark.parametrize(
    ("column", "note"),
    [
        (pl.lit(None, pl.Float64), "No drive of the fit has a value."),
        (pl.lit(7.3), "It is the same for all drives."),
        (pl.when(pl.col("device") == "unit-B").then(14.0).otherwise(18.0), "It can't be separated from the devices"),
        (
            pl.col("attack_deg") * 2 + 1,
            "It can't be separated from the devices, the balls or the regressors before it.",
        ),
        (pl.when(pl.col("golfer").str.ends_with("03")).then("attack_deg"), "Only 1 golfer has a value; it needs 6."),
        (pl.when(pl.col("golfer") < "g0009").then("attack_deg"), "9 golfers with a value are too few for a fit of"),
        ((pl.col("golfer") == "g0007") * pl.col("attack_deg") * 9 + 1e-3 * pl.col("by_drive"), "One golfer alone"),
    ],
)
def test_what_the_drives_cannot_say_is_not_estimable(attacked, column, note):
    table = assessed(attacked.with_columns(x=column), "attack_deg", "x")
    row = table.row(1, named=True)
    assert row["verdict"] == "not_estimable"
    assert row["note"].startswith(note)
    assert row["p_value"] is row["q_value"] is row["estimate"] is None
    assert table.row(0, named=True)["q_value"] == table.row(0, named=True)["p_value"]  # alone in the adjustment


def test_a_column_that_the_drives_lack_is_told(attacked):
    assert assessed(attacked, "tee_mm").row(0, named=True)["note"] == "No drive of the fit has a value."


def test_no_regressors_give_an_empty_table(attacked):
    survey = Survey.of(attacked)
    assert RegressorTable.validate(assess_regressors((), None, survey, None)).is_empty()


def test_errors_of_the_test_stand_in_the_model_and_its_terms(attacked):
    from fitting import fit_to_regressors

    fitted, table = fit_to_regressors(QUADRATIC, attacked, "attack_deg"), assessed(attacked, "attack_deg")
    error = table.get_column("std_error").item()
    assert with_errors(fitted.model, table).regressors.std_errors.tolist() == [error]
    coefficients = pl.DataFrame(
        {
            "model": ["quadratic", "quadratic", "line"],
            "term": ["spin", "regressor:attack_deg", "regressor:attack_deg"],
            "estimate": [1.0, 2.0, 3.0],
            "std_error": [0.1, 0.2, 0.3],
            "lo90": [0.0, 0.0, 0.0],
            "hi90": [1.0, 1.0, 1.0],
        }
    )
    told = effects_in_table(table, coefficients, "quadratic")
    assert told.get_column("std_error").to_list() == [0.1, error, 0.3]
    assert told.row(1)[4:] == table.select("lo90", "hi90").row(0)


def within_luck(count, of, rate):
    """Say whether so many of so many are what a rate brings about, but once in a thousand."""
    lo, hi = binom.interval(0.999, of, rate)
    return lo <= count <= hi


def test_regressors_that_do_nothing_are_rarely_said_to_matter():
    p = np.array([[row["p_value"] for row in judged(regressor_world(s, golfers=30, shots=8), *NUISANCES).values()]
                  for s in range(200)])  # fmt: skip
    assert p.shape == (200, 3)
    for column in p.T:
        assert within_luck(np.sum(column < 0.05), 200, 0.05)
        assert within_luck(np.sum(column < 0.5), 200, 0.5)


def test_a_planted_effect_is_found_and_its_interval_holds_the_truth():
    rows = [
        judged(regressor_world(500 + s, golfers=80, shots=15, attack_share=ATTACK_SHARE), "attack_deg")["attack_deg"]
        for s in range(20)
    ]
    assert sum(row["verdict"] == "matters" for row in rows) >= 19
    assert within_luck(sum(row["lo90"] <= ATTACK_SHARE <= row["hi90"] for row in rows), 20, 0.9)
