import numpy as np
import pytest
from scipy import stats

from pipeline.statistics.intervals import LEVEL, MANY, Z90, Estimate, satterthwaite, t_reach, welch_error


def test_half_an_interval_is_students_and_for_many_drives_the_normal_one():
    assert t_reach([4, 12]) == pytest.approx([2.131847, 1.782288], rel=1e-6)  # any table of t, 95 % point
    assert t_reach(MANY) == pytest.approx(Z90, rel=2e-6)
    assert pytest.approx(stats.norm.ppf((1 + LEVEL) / 2), rel=1e-15) == Z90


@pytest.fixture
def samples():
    rng = np.random.default_rng(3)
    return [(rng.normal(220, 8, 14), rng.normal(228, 15, 31)), (rng.normal(0, 1, 5), rng.normal(0, 3, 4))]


def test_two_samples_have_scipys_welch_test(samples):
    now, then = (
        [np.array(values) for values in zip(*((s.var(ddof=1) / len(s), len(s) - 1) for s in side), strict=True)]
        for side in zip(*samples, strict=True)
    )
    found = Estimate(np.array([a.mean() - b.mean() for a, b in samples]), *welch_error(now, then))
    known = [stats.ttest_ind(a, b, equal_var=False) for a, b in samples]
    assert found.p_value == pytest.approx([k.pvalue for k in known], rel=1e-12)
    edges = np.array([k.confidence_interval(LEVEL) for k in known]).T
    assert np.array(found.edges90) == pytest.approx(edges, rel=1e-12)
    assert found.freedom == pytest.approx([k.df for k in known], rel=1e-12)


def test_a_known_error_adds_its_variance_and_takes_no_degree_of_freedom():
    # By hand: variance 3 + 1 + 4 = 8; freedom 8^2 / (3^2 / 9 + 1^2 / 4).
    error, freedom = welch_error((np.array([3.0]), np.array([9])), (np.array([1.0]), np.array([4])), (4.0, np.inf))
    assert error == pytest.approx([8**0.5])
    assert freedom == pytest.approx([64 / 1.25])


def test_a_golfers_quarters_are_tested_as_the_sum_of_their_variances_was_before():
    # The formulas of `quarter_changes` and of `progress` before they were one.
    rng = np.random.default_rng(4)
    own, own_then, efficient, days = rng.gamma(2, 3, (4, 50))
    shots, shots_then = rng.integers(5, 60, (2, 50))
    form_freedom, change = rng.uniform(1, 30, 50), rng.normal(0, 5, 50)

    variance = own + own_then + efficient
    freedom = variance**2 / (own**2 / (shots - 1) + own_then**2 / (shots_then - 1))
    parts = (own, shots - 1), (own_then, shots_then - 1)
    found = Estimate(change, *welch_error(*parts, (efficient, np.inf)))
    reach = stats.t.ppf(0.95, freedom) * np.sqrt(variance)
    np.testing.assert_allclose(found.edges90, [change - reach, change + reach], rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(found.p_value, 2 * stats.t.sf(np.abs(change) / np.sqrt(variance), freedom), rtol=1e-9)

    variance = own + own_then + days + efficient
    unsure = own**2 / (shots - 1) + own_then**2 / (shots_then - 1) + days**2 / form_freedom
    error, freedom = welch_error(*parts, (days, form_freedom), (efficient, np.inf))
    np.testing.assert_allclose(error, np.sqrt(variance), rtol=1e-12)
    np.testing.assert_allclose(freedom, variance**2 / unsure, rtol=1e-12)


@pytest.mark.parametrize(("now", "then"), [(0.0, 0.0), (np.nan, 1.0)])
def test_without_a_spread_of_the_drives_there_is_no_test(now, then):
    # A day's form or efficient carry alone would make a test of drives whose own spread nobody knows.
    error = welch_error((np.array([now]), np.array([9])), (np.array([then]), np.array([9])), (2.0, 5.0))
    found = Estimate(np.array([3.0]), *error)
    assert np.isnan([found.std_error, *found.edges90, found.p_value]).all()


def test_variances_that_are_known_give_the_normal_test():
    error, freedom = welch_error((np.array([1.0]), np.array([np.inf])), (np.array([3.0]), np.array([np.inf])))
    assert (error.item(), freedom.item()) == (2.0, MANY)
    assert Estimate(np.array([4.0]), error, freedom).p_value == pytest.approx(2 * stats.norm.sf(2.0), rel=1e-5)


def test_satterthwaites_freedom_is_welchs_of_two_means():
    rng = np.random.default_rng(8)
    one, other = rng.normal(0, 1, 7), rng.normal(0, 3, 12)
    variance = np.array([one.var(ddof=1) / 7, other.var(ddof=1) / 12])
    known = stats.ttest_ind(one, other, equal_var=False).df
    assert satterthwaite(variance, np.array([6.0, 11.0])) == pytest.approx(known)
    rows = np.stack([variance, 2 * variance, 0 * variance])
    assert satterthwaite(rows, np.array([6.0, 11.0])) == pytest.approx([known, known, MANY])
