"""Lines through sessions whose form lasts, against a general library and planted forms."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import t as student

from pipeline.coach.practice import lasting_form as practice_form
from pipeline.coach.practice.lasting_form import INDEPENDENT, LastingForm, fit_form, lines, padded

LASTING = LastingForm(0.6, 3.0)


def covariance(t, form):
    return (1 - form.share) * np.eye(len(t)) + form.share * np.exp(-np.abs(t[:, None] - t) / form.weeks)


def sessions(seed, golfers=3, form=LASTING, sd=1.0, counts=(40, 9, 23)):
    """Draw golfers' sessions over half a year, times and two quantities each."""
    rng = np.random.default_rng(seed)
    sizes = [counts[i % len(counts)] for i in range(golfers)]
    times = [np.sort(rng.uniform(0, 26, size)) for size in sizes]
    values = []
    for t in times:
        luck = sd * np.linalg.cholesky(covariance(t, form)) @ rng.standard_normal((len(t), 2))
        values.append(0.3 * t[:, None] + luck)
    return times, values, padded(np.cumsum([0, *sizes]), np.concatenate(times), np.concatenate(values))


@pytest.mark.parametrize("form", [INDEPENDENT, LASTING], ids=["days", "lasting"])
def test_lines_are_those_of_generalised_least_squares(form):
    times, values, side_by_side = sessions(1)

    found = lines(side_by_side, form, slope=True)

    for i, (t, y) in enumerate(zip(times, values, strict=True)):
        fit = sm.GLS(y[:, 1], sm.add_constant(t), sigma=covariance(t, form)).fit()
        unit = fit.normalized_cov_params
        at = found.at[i]
        assert found.slope[i, 1] == pytest.approx(fit.params[1])
        assert found.level[i, 1] == pytest.approx(fit.params @ [1, at])
        assert found.slope_unit[i] == pytest.approx(unit[1, 1])
        assert found.level_unit[i] == pytest.approx(np.array([1, at]) @ unit @ [1, at])
        assert found.squares[i, 1] == pytest.approx(fit.scale * (len(t) - 2))
        assert unit[0, 1] + at * unit[1, 1] == pytest.approx(0, abs=1e-12)  # level there and slope are independent


def test_without_a_slope_it_is_the_generalised_mean():
    times, values, side_by_side = sessions(2)

    found = lines(side_by_side, LASTING, slope=False)

    for i, (t, y) in enumerate(zip(times, values, strict=True)):
        fit = sm.GLS(y[:, 0], np.ones(len(t)), sigma=covariance(t, LASTING)).fit()
        assert found.level[i, 0] == pytest.approx(fit.params[0])
        assert found.level_unit[i] == pytest.approx(fit.normalized_cov_params[0, 0])
    assert found.slope.tolist() == [[0.0, 0.0]] * 3


def test_a_golfers_line_does_not_depend_on_the_others_or_on_how_many_are_worked_on_at_a_time(monkeypatch):
    _, _, side_by_side = sessions(3, golfers=7)
    together = lines(side_by_side, LASTING, slope=True)

    monkeypatch.setattr(practice_form, "_CHUNK", 2)
    apart = lines(side_by_side, LASTING, slope=True)

    for one, other in zip(together, apart, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-12)


def test_form_that_lasts_is_found():
    found = [fit_form(sessions(seed, golfers=40)[2]) for seed in range(3)]

    # The grid's steps are 0.15 and threefold; what 40 golfers tell scatters by about one step.
    assert np.mean([form.share for form in found]) == pytest.approx(0.6, abs=0.15)
    assert np.median([form.weeks for form in found]) == 3.0


def slopes_held(form, take):
    """Share of 90 % intervals of slopes that cover the true 0.3, under the form that `take` makes of the sessions."""
    held = []
    for seed in range(3):
        drawn = sessions(seed, golfers=60, form=form, counts=(20, 12, 16))[2]
        found = lines(drawn, take(drawn), slope=True)
        freedom = drawn.there.sum(axis=1)[:, None] - 2
        half = student.ppf(0.95, freedom) * np.sqrt(found.slope_unit[:, None] * found.squares / freedom)
        held.append(np.abs(found.slope - 0.3) <= half)
    return np.mean(held)


# None of the lasting forms is on the grid that `fit_form` searches. 360 intervals: a standard error of 1.6 %.
@pytest.mark.parametrize("form", [INDEPENDENT, LastingForm(0.5, 2.0), LastingForm(0.5, 5.0)])
def test_intervals_of_slopes_hold_whether_form_lasts_or_not(form):
    assert 0.83 < slopes_held(form, fit_form) < 0.95


def test_taken_as_independent_sessions_whose_form_lasts_would_mislead():
    assert slopes_held(LastingForm(0.5, 5.0), lambda _: INDEPENDENT) < 0.78


def test_a_form_is_rarely_seen_where_days_are_independent():
    found = [fit_form(sessions(seed, golfers=30, form=INDEPENDENT, counts=(20, 9, 15))[2]) for seed in range(6)]

    assert sum(form == INDEPENDENT for form in found) >= 4
    assert max(form.share for form in found) <= 0.3


def test_few_sessions_cannot_tell():
    assert fit_form(sessions(4, golfers=2)[2]) == INDEPENDENT  # 45 degrees of freedom


def test_form_does_not_depend_on_the_unit_of_speed():
    rng_sessions = sessions(5, golfers=20)[2]
    metric = rng_sessions._replace(values=rng_sessions.values * 0.44704)

    assert fit_form(metric) == fit_form(rng_sessions) != INDEPENDENT


def test_sessions_all_on_a_line_are_no_trouble():
    t = np.linspace(0, 20, 40)
    exact = padded(np.array([0, 40, 80]), np.concatenate([t, t]), np.tile(0.3 * t, 2)[:, None])

    form = fit_form(exact)

    assert lines(exact, form, slope=True).slope[:, 0] == pytest.approx([0.3, 0.3])
