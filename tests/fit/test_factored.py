import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.drives import golfer_codes, inputs
from pipeline.fit.factored import Factored
from pipeline.fit.survey import Survey


def scaled(drives):
    """Scale flown carry as a survey does."""
    commonest = drives.filter(device="unit-A")
    scale = commonest.get_column("carry_standard_yd").sum() / commonest.get_column("flown_yd").sum()
    return drives.with_columns(pl.col("flown_yd") * scale)


QUADRATIC, SPLINES = (candidate_named(name) for name in ("quadratic", "splines"))


def test_device_offset_is_recovered(world):
    fitted = fit_to(QUADRATIC, world.drives)
    assert fitted.model.offsets.levels == (("device", "unit-B"),)
    error = fitted.fit.std_errors[-1]
    assert fitted.model.offset_share[0] == pytest.approx(0.03, abs=4 * error)
    assert error < 0.0015


def test_surface_recovers_the_truth_where_drives_are(world, world_carry):
    model = fit_to(SPLINES, world.drives).model
    ball, launch, spin = np.array([110.0, 135.0, 160.0]), np.array([15.0, 14.0, 13.0]), np.array([2900, 2600, 2300])
    np.testing.assert_allclose(model.carry(ball, launch, spin), world_carry(ball, launch, spin), atol=0.8)


def test_a_fit_from_factors_is_that_of_statsmodels_with_errors_by_golfer(world):
    from statsmodels.regression.linear_model import OLS

    fitted = fit_to(QUADRATIC, world.drives)
    design = fitted.model.surface.design(*inputs(world.drives, "ball"))
    X = np.hstack([design, fitted.model.offsets.terms(scaled(world.drives))])
    y = world.drives.get_column("carry_standard_yd").to_numpy()
    reference = OLS(y, X).fit(cov_type="cluster", cov_kwds={"groups": golfer_codes(world.drives)})
    np.testing.assert_allclose(fitted.fit.coefficients, reference.params, rtol=1e-8)
    np.testing.assert_allclose(fitted.fit.std_errors, reference.bse, rtol=1e-8)


def test_a_fit_without_a_fold_is_that_of_the_other_drives_alone(world):
    survey = Survey.of(world.drives, 1)
    surface = QUADRATIC.surface(survey.extents)
    factored = Factored.of(survey, surface)
    rest = world.drives.filter(survey.fold[golfer_codes(world.drives)] != 3)
    alone = Factored.of(Survey.of(rest, 1), surface).solve(survey.offsets())
    held_out = factored.solve(survey.offsets(), without=3)
    size = surface.size
    np.testing.assert_allclose(held_out.coefficients[:size], alone.coefficients[:size], rtol=1e-9)
    # Flown carry was scaled by all drives.
    np.testing.assert_allclose(held_out.coefficients[size:], alone.coefficients[size:], rtol=1e-3)
    assert held_out.rows == alone.rows == rest.height
