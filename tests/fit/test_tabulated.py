import numpy as np
import pytest
from fitting import OwnTerms, fit_to, own_candidate, world_terms

from pipeline.benchmark.efficient import Population, efficient_at
from pipeline.drives import typical_drives
from pipeline.errors import UserError
from pipeline.fit.contest import hold_contest
from pipeline.fit.natural_splines import MANY
from pipeline.fit.resampled import draw_counts, refit
from pipeline.fit.surface import Extent
from pipeline.fit.survey import Survey
from pipeline.fit.tabulated import SAMPLED, TabulatedSurface, ends_of, sample_of, tabulate

TRUTH = (-30.0, 1.7, -40.0, -40.0)


def some_terms(speed, launch, spin):
    """Terms of no input, of one, of two and of all three, none of them a polynomial."""
    return {
        "intercept": np.ones_like(speed),
        "log spin": np.log(spin),
        "speed": speed,
        "lift": np.sin(launch / 12) * np.exp(-spin / 4000),
        "all": speed * np.sqrt(launch + 5) / (1 + spin / 3000),
        "wave": np.sin(speed / 11),
    }


@pytest.fixture(scope="module")
def inputs():
    rng = np.random.default_rng(1)
    n = 3 * MANY
    return (
        rng.normal(137, 18, n).clip(85, 190),
        rng.normal(13, 3, n).clip(1, 27),
        rng.normal(2700, 600, n).clip(700, 6000),
    )


@pytest.fixture(scope="module")
def surface(inputs):
    return tabulate(OwnTerms("own", some_terms), inputs)[0]


def test_a_term_is_kept_over_the_inputs_that_it_varies_with(surface):
    shapes = {surface.labels[place]: table.values.shape[:3] for table in surface.tables for place in table.terms}
    assert shapes == {
        "intercept": (1, 1, 1), "log spin": (1, 1, 49), "speed": (49, 1, 1), "wave": (49, 1, 1), "lift": (1, 25, 25),
        "all": (15, 15, 15),
    }  # fmt: skip
    assert surface.labels == tuple(some_terms(*np.ones((3, 1))))


def fitted_to(X, y):
    return X @ np.linalg.lstsq(X, y, rcond=None)[0]


@pytest.mark.parametrize(("names", "most_yd"), [(("all",), 0.25), ((), 0.02)])
def test_the_splines_give_the_carry_that_the_terms_give(surface, inputs, names, most_yd):
    # The same fit by the terms as written; carry is none of their sums.
    speed, launch, spin = inputs
    y = 1.75 * speed - 30 - 0.9 * (launch - 13) ** 2 - 2e-6 * (spin - 2500) ** 2 * (speed / 135) ** 2
    used = [name in ("intercept", "log spin", "speed", "lift", "wave", *names) for name in surface.labels]
    exact = np.column_stack(list(some_terms(*inputs).values()))
    apart = np.abs(fitted_to(surface.design(*inputs)[:, used], y) - fitted_to(exact[:, used], y))
    assert np.sqrt(np.mean(apart**2)) < 0.01
    assert np.quantile(apart, 0.999) < 0.1
    assert np.max(apart) < most_yd  # of a term of all three inputs, at the corners of the drives


def test_many_points_are_looked_up_as_few_are_and_lines_go_on_beyond_the_grid(surface):
    rng = np.random.default_rng(2)
    n = 2 * MANY
    far = rng.uniform(40, 240, n), rng.uniform(-8, 45, n), rng.uniform(100, 9000, n)
    many = surface.design(*far)
    few = np.vstack([surface.design(*(part[k : k + 500] for part in far)) for k in range(0, n, 500)])
    np.testing.assert_allclose(many, few, rtol=1e-9, atol=1e-9)
    (_, last), *_ = surface.ends
    beyond = surface.design(last + np.arange(5.0), np.full(5, 13.0), np.full(5, 2700.0))
    assert np.max(np.abs(np.diff(beyond, n=2, axis=0))) < 1e-9
    assert np.abs(np.diff(beyond, axis=0)[:, surface.labels.index("speed")] - 1).max() < 1e-9


def test_grid_equals_design_point_by_point(surface):
    coefficients = np.random.default_rng(3).normal(size=(2, surface.size))
    launch, spin = np.array([-1.0, 12.0, 17.0, 40.0]), np.array([500.0, 3500.0, 7000.0])
    grid = surface.on_grid(coefficients, [120.0, 215.0], launch, spin)
    l, p = (part.ravel() for part in np.meshgrid(launch, spin, indexing="ij"))
    for k, speed in enumerate((120.0, 215.0)):
        direct = surface.design(np.full(12, speed), l, p) @ coefficients[k]
        np.testing.assert_allclose(grid[k].ravel(), direct, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(surface.on_grid(coefficients[0], 120.0, launch, spin), grid[0], rtol=1e-12)
    np.testing.assert_allclose(surface.on_grid(coefficients, 215.0, launch, spin)[1], grid[1], rtol=1e-12)


def test_terms_that_others_give_already_are_left_out_and_named(inputs):
    def terms(speed, launch, spin):
        return {"one": np.full_like(speed, 3.0), "a": speed + launch, "b": speed, "c": launch - 4.0, "d": spin * launch}

    surface, left_out = tabulate(OwnTerms("own", terms), inputs)
    assert left_out == ["c"]
    assert surface.labels == ("one", "a", "b", "d")
    np.testing.assert_allclose(surface.design(*inputs)[:, 3], inputs[1] * inputs[2], rtol=1e-9)


def test_no_terms_and_too_many_are_told(inputs):
    with pytest.raises(UserError, match=r"The candidate own \(candidates/own.py\) has no terms; give it at least one"):
        tabulate(OwnTerms("own", lambda *_: {}), inputs)
    many = OwnTerms("own", lambda speed, *_: {f"t{k}": np.sin(speed * k) for k in range(201)})
    with pytest.raises(UserError, match="has 201 terms; 200 are the most"):
        tabulate(many, inputs)


@pytest.mark.parametrize(("least", "most", "lo", "hi"), [(100, 200, 90, 210), (0.5, 30.5, 0.25, 33.5), (-2, 8, -3, 9)])
def test_a_grid_reaches_a_little_beyond_the_drives_and_keeps_the_sign(least, most, lo, hi):
    assert ends_of(Extent.of(np.linspace(least, most, 50))) == pytest.approx((lo, hi))


def test_an_input_without_spread_still_has_a_grid():
    alike = np.full(50, 2500.0)
    surface, left_out = tabulate(OwnTerms("own", some_terms), (np.linspace(90, 160, 50), np.linspace(8, 18, 50), alike))
    assert np.isfinite(surface.design([100.0], [12.0], [2500.0])).all()
    assert "log spin" in left_out  # beside the constant


def test_the_sample_is_spread_as_the_drives_are(inputs):
    sample = sample_of([Extent.of(x) for x in inputs])
    for x, found in zip(inputs, sample, strict=True):
        assert len(found) == SAMPLED
        at = [0.03, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97]
        np.testing.assert_allclose(np.quantile(found, at), np.quantile(x, at), atol=0.1 * x.std())
    assert np.max(np.abs(np.corrcoef(sample)[np.triu_indices(3, 1)])) < 0.02


def test_a_fit_finds_the_coefficients_of_its_own_terms(world):
    candidate = own_candidate("own", world_terms, Survey.of(world.drives).extents)
    fitted = fit_to(candidate, world.drives)
    assert fitted.labels[:4] == tuple(world_terms(*np.ones((3, 1))))
    apart = (fitted.fit.coefficients[:4] - TRUTH) / fitted.fit.std_errors[:4]
    assert np.max(np.abs(apart)) < 3
    assert fitted.fit.std_errors[1] < 0.02


def test_efficient_carry_is_the_optimum_of_its_own_terms(world_maker, world_carry, roller):
    world = world_maker(noise_yd=0.5)
    survey = Survey.of(world.drives)
    found = hold_contest([own_candidate("own", world_terms, survey.extents)], survey, lambda _: None, "own")
    assert isinstance(found.model.surface, TabulatedSurface)
    typical = typical_drives(world.drives, ["golfer"])
    refits = refit(found.model, world.drives, typical, draw_counts(typical.height, 1, 50))
    population = Population.from_typical(typical, 12)
    for speed in (80.0, 95.0):
        at = efficient_at(found.model, refits, population, speed, 5.0, 5.0, roller)
        ball = float(found.model.better_speed(speed))
        best = world_carry(ball, 14 - 0.04 * (ball - 135), 2600 - 12 * (ball - 135))
        assert at.carry_yd == pytest.approx(best, abs=0.3)
