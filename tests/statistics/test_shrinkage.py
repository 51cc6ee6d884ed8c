import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.statistics.shrinkage import between_golfers, moderated_variance, paule_mandel, shrink

# The 13 trials of BCG vaccine against tuberculosis (Colditz and others, JAMA 271 (1994) 698): cases and others among
# the vaccinated, cases and others among the rest, absolute latitude.
BCG = np.array([
    [4, 119, 11, 128, 44], [6, 300, 29, 274, 55], [3, 228, 11, 209, 42], [62, 13536, 248, 12619, 52],
    [33, 5036, 47, 5761, 13], [180, 1361, 372, 1079, 44], [8, 2537, 10, 619, 19], [505, 87886, 499, 87892, 13],
    [29, 7470, 45, 7232, 27], [17, 1699, 65, 1600, 42], [186, 50448, 141, 27197, 18], [5, 2493, 3, 2338, 33],
    [27, 16886, 29, 17825, 33],
], dtype=float)  # fmt: skip


def bcg():
    """Log risk ratios with the smoothed variances of Berkey and others (1995), and latitude less its mean."""
    cases, others, cases_rest, others_rest, latitude = BCG.T
    ratio = np.log(cases / (cases + others)) - np.log(cases_rest / (cases_rest + others_rest))
    variance = np.mean(others / cases) / (cases + others) + np.mean(others_rest / cases_rest) / (
        cases_rest + others_rest
    )
    return ratio, variance, latitude - 33.46


def test_berkeys_random_effects_of_the_bcg_trials():
    # Berkey and others, Stat. Med. 14 (1995) 395, page 408: without latitude and with it.
    ratio, variance, latitude = bcg()
    tau2, coefficients, covariance = between_golfers(ratio, variance, np.ones((13, 1)))
    assert tau2 == pytest.approx(0.2682, abs=5e-5)
    assert coefficients[0] == pytest.approx(-0.5429, abs=5e-5)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(0.1842, abs=5e-5)
    tau2, coefficients, covariance = between_golfers(ratio, variance, np.column_stack([np.ones(13), latitude]))
    assert tau2 == pytest.approx(0.1572, abs=5e-5)
    assert coefficients == pytest.approx([-0.6304, -0.0268], abs=1.1e-4)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.1591, 0.0110], abs=5e-5)


def test_a_mean_alone_agrees_with_statsmodels():
    rng = np.random.default_rng(4)
    variance = rng.uniform(1, 9, 25)
    value = rng.normal(10, 3, 25) + rng.normal(0, 1, 25) * np.sqrt(variance)
    known = combine_effects(value, variance, method_re="iterated", atol=1e-6)
    tau2, coefficients, _ = between_golfers(value, variance, np.ones((25, 1)))
    assert tau2 == pytest.approx(known.tau2, rel=1e-5)
    assert coefficients[0] == pytest.approx(known.mean_effect_re, rel=1e-7)


def test_golfers_who_differ_by_luck_alone_get_nearly_the_usual_figure():
    # Closer together than chance allows: tau is nil, and Morris's factor 9 / 11 is all that is left of the own figure.
    value, variance = 10 + 0.1 * (np.arange(12.0) % 3), np.full(12, 9.0)
    found = shrink(value, variance, np.ones((12, 1)))
    assert between_golfers(value, variance, np.ones((12, 1)))[0] == 0
    assert found.value - value.mean() == pytest.approx(2 / 11 * (value - value.mean()))


def test_the_spread_of_golfers_is_recovered():
    rng = np.random.default_rng(2)
    speed, variance = rng.uniform(-20, 20, 3000), rng.uniform(1, 60, 3000)
    value = 8 + 0.1 * speed + rng.normal(0, 5, 3000) + rng.normal(0, 1, 3000) * np.sqrt(variance)
    tau2, coefficients, _ = between_golfers(value, variance, np.column_stack([np.ones(3000), speed]))
    assert tau2**0.5 == pytest.approx(5.0, rel=0.06)
    assert coefficients == pytest.approx([8, 0.1], abs=0.3)


@pytest.mark.parametrize("golfers", [1, 2])
def test_under_three_golfers_nobody_is_shrunk(golfers):
    with pytest.raises(ValueError, match="needs 3 golfers"):
        shrink(np.zeros(golfers), np.ones(golfers), np.ones((golfers, 1)))


def squares_of(value, variance):
    def squares(tau2):
        weights = 1 / (tau2 + variance)
        return np.sum(weights * (value - np.average(value, weights=weights)) ** 2)

    return squares


@pytest.mark.parametrize("most", [1e-3, 1.0, 1e4])
def test_the_variance_between_groups_is_statsmodels_wherever_the_search_starts(most):
    rng = np.random.default_rng(5)
    variance = rng.uniform(0.5, 4, 30)
    value = rng.normal(0, 2, 30) + rng.normal(0, 1, 30) * np.sqrt(variance)
    known = combine_effects(value, variance, method_re="iterated", atol=1e-8)
    assert known.tau2 > 1
    assert paule_mandel(squares_of(value, variance), 29, most) == pytest.approx(known.tau2, rel=1e-6)


def test_equal_errors_give_the_textbook_variance():
    # Of means with the same error: their sample variance less that error.
    value, variance = np.array([1.0, 4.0, 9.0, 2.0]), np.full(4, 0.5)
    assert paule_mandel(squares_of(value, variance), 3, 1.0) == pytest.approx(value.var(ddof=1) - 0.5)


def test_groups_closer_than_chance_have_no_variance_between_them():
    assert paule_mandel(squares_of(np.array([1.0, 1.1, 0.9]), np.ones(3)), 2, 1.0) == 0


def test_a_single_drive_has_the_pooled_variance():
    variance, freedom = moderated_variance(np.array([90.0, 110.0, np.nan, 100.0]), np.array([40, 40, 1, 40]))
    # Alike within luck, so all are pooled: the mean with 39 degrees of freedom each.
    assert variance == pytest.approx([100.0] * 4)
    assert np.isinf(freedom).all()


def test_moderated_variances_recover_their_prior():
    # Smyth (2004): variances scattered as 50 * 6 / chi-squared with 6 degrees of freedom.
    rng = np.random.default_rng(6)
    true = 50 * 6 / rng.chisquare(6, 20000)
    shots = np.full(20000, 9)
    seen = true * rng.chisquare(8, 20000) / 8
    variance, freedom = moderated_variance(seen, shots)
    assert freedom[0] == pytest.approx(14, rel=0.04)
    assert variance == pytest.approx((6 * 50 + 8 * seen) / 14, rel=0.04)
    assert np.mean((np.log(variance) - np.log(true)) ** 2) < 0.7 * np.mean((np.log(seen) - np.log(true)) ** 2)
