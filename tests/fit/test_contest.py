import numpy as np
import polars as pl
import pytest

from pipeline.drives import golfer_codes
from pipeline.errors import UserError
from pipeline.fit.contest import (
    EVERYTHING,
    assign_folds,
    candidates_for,
    choose,
    enough_for_a_fit,
    fit_candidate,
    hold_out,
    interval_edges,
    may_compete,
    score,
)

LINE, QUADRATIC, SPLINES = candidates_for("ball")


@pytest.fixture(scope="module")
def held(world):
    return hold_out(QUADRATIC, world.drives, seed=1)


def test_no_golfer_is_in_two_folds():
    golfer = np.repeat(np.arange(37), 5)
    fold = assign_folds(golfer, seed=1)
    assert all(len(set(fold[golfer == g])) == 1 for g in range(37))
    sizes = np.bincount(fold[::5])
    assert sizes.max() - sizes.min() <= 1


def test_folds_follow_the_seed():
    golfer = np.arange(40)
    assert (assign_folds(golfer, 1) == assign_folds(golfer, 1)).all()
    assert (assign_folds(golfer, 1) != assign_folds(golfer, 2)).any()


def test_device_offset_is_recovered(world):
    fitted = fit_candidate(QUADRATIC, world.drives)
    assert fitted.model.offsets.levels == (("device", "unit-B"),)
    error = fitted.fit.std_errors[-1]
    assert fitted.model.offset_yd[0] == pytest.approx(6.0, abs=4 * error)
    assert error < 0.3


def test_surface_recovers_the_truth_where_drives_are(world, world_carry):
    model = fit_candidate(SPLINES, world.drives).model
    ball, launch, spin = np.array([110.0, 135.0, 160.0]), np.array([15.0, 14.0, 13.0]), np.array([2900, 2600, 2300])
    np.testing.assert_allclose(model.carry(ball, launch, spin), world_carry(ball, launch, spin), atol=0.8)


def test_held_out_error_is_the_noise_for_the_right_model(held, world):
    figures = score(held, golfer_codes(world.drives))
    assert figures["rmse_yd"] == pytest.approx(3.0, rel=0.06)
    assert figures["mae_yd"] == pytest.approx(3.0 * np.sqrt(2 / np.pi), rel=0.06)
    assert abs(figures["bias_yd"]) < 0.3
    assert figures["coverage90"] == pytest.approx(0.90, abs=0.02)
    assert 0.01 < figures["rmse_std_error_yd"] < 0.2


def test_a_held_out_golfer_is_not_in_his_own_fit(world):
    # One golfer's carries are raised by 60 yd. A fit that saw him would follow; one that did not, misses by 60.
    odd = world.drives.get_column("golfer")[0]
    raised = world.drives.with_columns(pl.col("carry_standard_yd") + 60 * (pl.col("golfer") == odd))
    out = hold_out(LINE, raised, seed=1)
    base = hold_out(LINE, world.drives, seed=1)
    rows = (raised.get_column("golfer") == odd).to_numpy()
    np.testing.assert_allclose(out.predicted[EVERYTHING][rows], base.predicted[EVERYTHING][rows], rtol=1e-12)


def test_knowing_less_predicts_worse(held):
    def rmse(known):
        return np.sqrt(np.mean((held.predicted[known] - held.measured) ** 2))

    assert rmse(EVERYTHING) < rmse("launch+spin") < rmse("nothing")


def test_interval_edges_are_quantiles_of_the_ratio():
    measured = np.linspace(90, 110, 201)
    lo, hi = interval_edges(measured, np.full(201, 100.0))
    assert (lo, hi) == pytest.approx((-0.09, 0.09))


@pytest.mark.parametrize(
    ("rmse", "chosen"),
    [((5.0, 4.0, 4.0), 1), ((4.05, 4.0, 3.98), 0), ((5.0, 4.2, 4.0), 2), ((4.1, 4.05, 4.0), 0)],
)
def test_the_simplest_within_one_standard_error_is_chosen(rmse, chosen):
    assert choose([{"rmse_yd": r, "rmse_std_error_yd": 0.1} for r in rmse]) == chosen


def test_too_few_golfers_are_told(world):
    few = world.drives.filter(pl.col("golfer").is_in(world.golfers.get_column("golfer")[:5].implode()))
    with pytest.raises(UserError, match="150 usable drives of 5 golfers; a fit needs at least 20 drives of 6"):
        enough_for_a_fit(few)


def test_a_rich_candidate_needs_drives(world):
    assert may_compete(SPLINES, world.drives.head(189)) == "needs 190 drives"
    assert may_compete(SPLINES, world.drives.head(190)) is None
