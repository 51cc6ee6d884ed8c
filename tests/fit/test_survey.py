import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to, numbers_of

from pipeline.fit.survey import Survey, share_out


def test_folds_are_as_even_as_can_be_and_follow_the_seed():
    fold = share_out(37, 1)
    assert sorted(np.bincount(fold)) == [3] * 3 + [4] * 7
    np.testing.assert_array_equal(fold, share_out(37, 1))
    assert (fold != share_out(37, 2)).any()


def test_a_study_may_have_other_folds_and_another_strike(world):
    survey = Survey.of(world.drives, 1, number=5, strike=0.9)
    assert survey.folds == 5
    assert sorted(np.bincount(survey.fold)) == [16] * 5
    assert {usual.strike for usual in survey.trends()} == {0.9}
    assert len(survey.trends()) == 5


def test_few_golfers_have_a_fold_each():
    assert sorted(share_out(4, 1)) == [0, 1, 2, 3]


def test_a_golfer_has_one_fold_whatever_the_order_of_the_drives(world):
    survey = Survey.of(world.drives, 1)
    shuffled = Survey.of(world.drives.sample(fraction=1, shuffle=True, seed=2), 1)
    assert survey.fold_of_golfers.equals(shuffled.fold_of_golfers)
    assert survey.fold_of_golfers.get_column("golfer").to_list() == sorted(set(world.drives.get_column("golfer")))
    assert survey.folds == 10


def test_given_folds_and_chosen_drives_are_kept(world):
    folds = world.golfers.select("golfer", (pl.int_range(pl.len()) % 3).alias("fold"))
    survey = Survey.of(world.drives, folds=folds, among=pl.col("device") == "unit-A")
    assert survey.fold_of_golfers.equals(folds)
    assert survey.levels.get_column("device").unique().to_list() == ["unit-A"]
    assert survey.shots == world.drives.filter(pl.col("device") == "unit-A").height
    # Who doesn't enter the fit is still predicted.
    assert survey.typical.get_column("shots").sum() == len(numbers_of(survey.drives)) == world.drives.height


def test_a_drive_without_ball_speed_leaves_no_spread_of_it(world):
    one_missing = pl.when(pl.int_range(pl.len()) > 0).then(pl.col("ball_speed_mph")).alias("ball_speed_mph")
    assert set(Survey.of(world.drives).extents) == {"club", "ball"}
    assert set(Survey.of(world.drives.with_columns(one_missing)).extents) == {"club"}


def test_offsets_without_a_fold_see_only_the_other_drives(world):
    # All drives at the second device are by golfers of fold 0.
    folds = world.golfers.select("golfer", pl.when(pl.int_range(pl.len()) % 3 == 0).then(0).otherwise(1).alias("fold"))
    survey = Survey.of(world.drives, folds=folds)
    assert survey.offsets().levels == (("device", "unit-B"),)
    assert survey.offsets(without=1).reference["device"] == "unit-B"
    assert survey.offsets(without=0).levels == ()


def test_trends_are_those_of_the_other_golfers(world):
    survey = Survey.of(world.drives, 1)
    trends = survey.trends()
    assert len(trends) == 10
    rest = survey.typical.filter(pl.Series(survey.fold != 4))
    assert trends[4].launch.centre_mph == pytest.approx(rest.get_column("club_speed_mph").mean())


def test_flown_carry_is_scaled_to_the_commonest_device(world):
    # A flight that could not be calibrated: its scale is no device's.
    wrong = world.drives.with_columns(pl.col("flown_yd") * 0.5)
    found = pl.concat(Survey.of(wrong).drives.read())
    on_a = found.filter(device="unit-A")
    assert on_a["flown_yd"].sum() == pytest.approx(on_a["carry_standard_yd"].sum())
    on_b = found.filter(device="unit-B")
    assert on_b["carry_standard_yd"].sum() / on_b["flown_yd"].sum() == pytest.approx(1.03, abs=0.003)


def test_drives_of_a_fit_are_straightened(world):
    # A model is of straight drives: those that curve carry less by what that costs, where it is known.
    curve = np.random.default_rng(3).uniform(0, 8, world.drives.height)
    known = pl.int_range(pl.len()) % 3 > 0
    cost = pl.when(known).then(pl.Series(curve))
    curved = world.drives.with_columns(
        curve_yd=cost, carry_standard_yd=pl.col("carry_standard_yd") - cost.fill_null(0.0)
    )
    straight, found = (pl.concat(Survey.of(one).drives.read()) for one in (world.drives, curved))
    for name in ("carry_standard_yd", "flown_yd"):
        np.testing.assert_allclose(found[name], straight[name], rtol=1e-12)


def test_unknown_curves_leave_a_fit_as_it_is_to_the_last_bit(world):
    unknown = world.drives.with_columns(curve_yd=pl.lit(None, pl.Float64))
    plain, same = (fit_to(candidate_named("quadratic"), one).model for one in (world.drives, unknown))
    np.testing.assert_array_equal(same.coefficients, plain.coefficients)
    np.testing.assert_array_equal(same.offset_share, plain.offset_share)
