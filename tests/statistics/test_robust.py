import numpy as np
import pytest
from statsmodels.robust.norms import TukeyBiweight
from statsmodels.robust.robust_linear_model import RLM

from pipeline.statistics.robust import robust_regression

ONE_KIND = np.zeros(40, dtype=np.int64)


def sample(seed=1, far=0):
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(40), np.arange(40) % 3 == 0]).astype(float)
    value = X @ [0.3, -0.04] + rng.normal(0, 0.02, 40)
    value[:far] -= 0.4
    return value, X


def test_noise_free_data_give_their_coefficients():
    _, X = sample()
    fit = robust_regression(X @ [0.3, -0.04], np.full(40, 1e-6), X, ONE_KIND)
    assert fit.coefficients == pytest.approx([0.3, -0.04], abs=1e-6)
    assert fit.between == {0: 0.0}


def test_it_is_statsmodels_bisquare_with_the_same_scale():
    value, X = sample(far=4)
    fit = robust_regression(value, np.zeros(40), X, ONE_KIND)
    reference = RLM(value, X, M=TukeyBiweight()).fit(scale_est="mad", cov="H1")
    assert fit.coefficients == pytest.approx(reference.params, abs=0.002)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(reference.bse, rel=0.15)


def test_some_far_off_move_it_little_and_do_not_count():
    clean, spoilt = (robust_regression(value, np.full(40, 1e-5), X, ONE_KIND) for value, X in (sample(), sample(far=6)))
    assert spoilt.coefficients == pytest.approx(clean.coefficients, abs=0.012)
    assert (spoilt.counted[:6] == 0).all()
    assert spoilt.counted[6:].mean() > 0.7


def test_the_covariance_is_the_scatter_over_samples():
    found = [robust_regression(sample(seed, far=3)[0], np.zeros(40), sample()[1], ONE_KIND) for seed in range(200)]
    scatter = np.std([fit.coefficients for fit in found], axis=0)
    error = np.sqrt(np.mean([np.diag(fit.covariance) for fit in found], axis=0))
    assert error == pytest.approx(scatter, rel=0.25)  # five standard errors of a standard deviation of 200


def test_kinds_have_variances_of_their_own():
    rng = np.random.default_rng(4)
    kind = np.repeat([0, 1], 200)
    value = rng.normal(0, np.where(kind == 0, 0.05, 0.01))
    fit = robust_regression(value, np.full(400, 0.006**2), np.ones((400, 1)), kind)
    assert np.sqrt(fit.between[0]) == pytest.approx(0.05, rel=0.25)
    assert np.sqrt(fit.between[1]) == pytest.approx(0.008, rel=0.25)  # less the luck of drives
