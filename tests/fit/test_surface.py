import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from pipeline.fit.surface import Axis, line, quadratic, splines

KNOTS = (-1.5, -0.4, 0.3, 1.7)


@pytest.fixture
def inputs():
    rng = np.random.default_rng(1)
    return rng.normal(135, 20, 400), rng.normal(13, 3, 400), rng.normal(2700, 500, 400)


def test_spline_basis_spans_scipys_natural_spline():
    # Reference: scipy's CubicSpline with bc_type="natural" through arbitrary values at the knots.
    x = np.linspace(-1.5, 1.7, 200)
    natural = CubicSpline(KNOTS, [2.0, -1.0, 0.5, 3.0], bc_type="natural")(x)
    basis = Axis(0.0, 1.0, knots=KNOTS).basis(x)
    coefficients, *_ = np.linalg.lstsq(basis, natural, rcond=None)
    assert np.max(np.abs(basis @ coefficients - natural)) < 1e-10


@pytest.mark.parametrize("beyond", [np.linspace(-6, -1.5, 9), np.linspace(1.7, 6, 9)])
def test_spline_goes_on_straight_beyond_the_outer_knots(beyond):
    basis = Axis(0.0, 1.0, knots=KNOTS).basis(beyond)
    assert np.max(np.abs(np.diff(basis, n=2, axis=0))) < 1e-10


def test_basis_is_centred_and_scaled():
    assert Axis(100.0, 20.0, degree=2).basis([100.0, 120.0]).tolist() == [[1, 0, 0], [1, 1, 1]]


@pytest.mark.parametrize(("make", "terms"), [(line, 4), (quadratic, 10), (splines, 38)])
def test_number_of_terms(make, terms, inputs):
    surface = make(inputs, "ball")
    assert len(surface.terms) == terms
    assert len(set(surface.labels)) == terms
    assert np.linalg.matrix_rank(surface.design(*inputs)) == terms


def test_labels_name_the_products(inputs):
    assert line(inputs, "club").labels == ("intercept", "club_speed", "launch", "spin")
    assert "launch*spin" in quadratic(inputs, "ball").labels
    assert "ball_speed_2" in quadratic(inputs, "ball").labels


@pytest.mark.parametrize("make", [line, quadratic, splines])
def test_grid_equals_design_point_by_point(make, inputs):
    surface = make(inputs, "ball")
    coefficients = np.random.default_rng(2).normal(size=(3, len(surface.terms)))
    launch, spin = np.array([9.0, 12.0, 17.0]), np.array([2000.0, 3500.0])
    grid = surface.on_grid(coefficients, [120.0, 140.0, 160.0], launch, spin)
    l, p = (part.ravel() for part in np.meshgrid(launch, spin, indexing="ij"))
    for k, speed in enumerate((120.0, 140.0, 160.0)):
        direct = surface.design(np.full(6, speed), l, p) @ coefficients[k]
        np.testing.assert_allclose(grid[k].ravel(), direct, rtol=1e-10, atol=1e-10)


def test_quadratic_recovers_its_own_coefficients(inputs):
    surface = quadratic(inputs, "ball")
    truth = np.arange(1.0, 11.0)
    X = surface.design(*inputs)
    found, *_ = np.linalg.lstsq(X, X @ truth, rcond=None)
    np.testing.assert_allclose(found, truth, rtol=1e-9)


def test_an_input_without_spread_gets_no_knots():
    constant = np.full(50, 2500.0)
    surface = splines((np.linspace(90, 120, 50), np.linspace(8, 18, 50), constant), "club")
    assert surface.axes[2].knots == ()
