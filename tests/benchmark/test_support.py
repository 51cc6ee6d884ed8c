from functools import partial

import numpy as np
import pytest

from pipeline.benchmark import support
from pipeline.benchmark.crowd import Shape, shape_of
from pipeline.benchmark.support import (
    BINNED_FROM,
    bandwidth_factor,
    effective_number,
    fourth_order,
    kernel_weights,
    support_density,
)

support_mask, support_masks = (partial(one, share=0.80) for one in (support.support_mask, support.support_masks))

GRID = (np.linspace(6, 20, 29), np.linspace(1500, 4000, 26))
FINE = (np.arange(5, 22.1, 0.5), np.arange(1100, 4301, 100.0))
PLAIN = Shape(1.5, 300.0, 0.0)


@pytest.fixture
def golfers():
    rng = np.random.default_rng(8)
    return rng.normal(13, 1.5, 60), rng.normal(2700, 300, 60), rng.uniform(0.2, 1, 60)


def test_kernel_is_a_gaussian_of_the_half_width():
    weights = kernel_weights(np.array([90.0, 95.0, 80.0]), 90.0, 5.0)
    np.testing.assert_allclose(weights, np.exp([0, -0.5, -2.0]))


@pytest.mark.parametrize("slope", [0.0, 120.0, -90.0])
def test_density_is_the_sum_of_kernels_along_launch_and_spin_beside_it(golfers, slope):
    launch, spin, weights = golfers
    shape = Shape(1.5, 200.0, slope)
    found = support_density(launch, spin, weights, shape, *FINE)
    h = bandwidth_factor(weights)
    along = fourth_order((FINE[0][:, None] - launch) / (h * 1.5))[:, None, :]
    beside = (FINE[1][None, :] - slope * FINE[0][:, None])[..., None] - (spin - slope * launch)
    expected = np.maximum((along * fourth_order(beside / (h * 200.0)) * weights).sum(axis=-1), 0.0)
    assert np.abs(found - expected).max() < 0.01 * expected.max()


def test_the_kernel_keeps_variance_and_weighs_one():
    # Moments of the Gaussian-based kernel of fourth order: 1, 0, -3 (of distance to the power 0, 2, 4).
    u = np.linspace(-9, 9, 20_001)
    moments = [np.sum(fourth_order(u) * u**k) * (u[1] - u[0]) / np.sqrt(2 * np.pi) for k in (0, 2, 4)]
    np.testing.assert_allclose(moments, [1, 0, -3], atol=1e-6)


def test_the_bandwidth_has_the_least_error_on_a_normal_crowd():
    # Mean integrated squared error of a kernel density estimate of a standard normal crowd in two dimensions, leading
    # terms, by numbers: the squared bias from fourth derivatives of the density, the variance from the kernel's square.
    x = np.linspace(-8, 8, 801)
    step, normal = x[1] - x[0], np.exp(-0.5 * x**2) / np.sqrt(2 * np.pi)
    fourth = normal * (x**4 - 6 * x**2 + 3)
    bends = np.sum((np.outer(fourth, normal) + np.outer(normal, fourth)) ** 2) * step**2
    rough = np.sum(fourth_order(x) ** 2) * step / (2 * np.pi)
    n, factors = 50.0, np.linspace(0.4, 1.2, 4001)
    error = factors**8 * bends / 64 + rough**2 / (n * factors**2)
    assert bandwidth_factor(np.ones(50)) == pytest.approx(factors[np.argmin(error)], rel=0.002)


def crowd(kind, golfers, rng):
    """Draw deliveries about 13.5 deg and 2700 rpm, and give the density they are drawn from over the fine grid."""
    correlation = {"together": 0.75, "against": -0.6}.get(kind, 0.0)
    apart = 1.3 if kind == "schools" else 0.0  # half of 3.7 sd apart along both
    spread = 1.2 if kind != "schools" else 0.8
    covariance = spread**2 * np.array([[1, correlation], [correlation, 1]])
    school = apart * spread * (2 * rng.integers(0, 2, golfers) - 1)
    normal = rng.standard_normal((golfers, 2)) @ np.linalg.cholesky(covariance).T
    x, y = (FINE[0][:, None] - 13.5), (FINE[1][None, :] - 2700) / 220
    inverse = np.linalg.inv(covariance)

    def bell(x, y):
        return np.exp(-0.5 * (inverse[0, 0] * x * x + 2 * inverse[0, 1] * x * y + inverse[1, 1] * y * y))

    density = bell(x - apart * spread, y + apart * spread) + bell(x + apart * spread, y - apart * spread)
    return 13.5 + normal[:, 0] + school, 2700 + 220 * (normal[:, 1] - school), density


def smallest(density, share):
    ranked = np.sort(density, axis=None)[::-1]
    return density >= ranked[np.searchsorted(np.cumsum(ranked), share * ranked.sum())]


@pytest.mark.parametrize("kind", ["plain", "together", "against", "schools"])
def test_the_support_of_70_golfers_holds_four_fifths_of_others_on_little_more_area(kind):
    rng = np.random.default_rng(5)
    held, areas, empty = [], [], []
    for _ in range(25):
        launch, spin, density = crowd(kind, 70, rng)
        weights = rng.uniform(0.3, 1, 70)
        mask = support_mask(launch, spin, weights, shape_of(launch, spin, weights), *FINE)
        held.append(density[mask].sum() / density.sum())
        areas.append(mask.sum() / smallest(density, 0.80).sum())
        empty.append(np.mean(~smallest(density, 0.95)[mask]))
    # Standard errors over the draws are under 0.01, 0.03 and 0.01.
    assert np.mean(held) == pytest.approx(0.80, abs=0.04)
    assert np.mean(areas) == pytest.approx(1.0, abs=0.2)
    assert np.mean(empty) < 0.03


@pytest.mark.parametrize("kind", ["plain", "together", "against", "schools"])
def test_the_support_of_many_is_the_smallest_region_with_four_fifths(kind):
    launch, spin, density = crowd(kind, 8000, np.random.default_rng(3))
    mask = support_mask(launch, spin, np.ones(8000), shape_of(launch, spin, np.ones(8000)), *FINE)
    assert density[mask].sum() / density.sum() == pytest.approx(0.80, abs=0.015)
    assert mask.sum() == pytest.approx(smallest(density, 0.80).sum(), rel=0.05)


def test_the_support_is_the_densest_part_of_the_grid(golfers):
    density = support_density(*golfers, PLAIN, *GRID)
    mask = support_mask(*golfers, PLAIN, *GRID)
    assert density[mask].min() > density[~mask].max()
    assert density[mask].sum() >= 0.80 * density.sum() > density[mask].sum() - density[mask].min()


def test_replicates_have_their_own_golfers_and_smoothing(golfers):
    launch, spin, weights = golfers
    drawn = weights * np.random.default_rng(1).integers(0, 3, (3, 60))
    moved = launch + np.array([[0.0], [0.5], [1.0]])
    wide = Shape(2 * PLAIN.launch_sd_deg, PLAIN.spin_sd_rpm, PLAIN.slope_rpm_per_deg)
    shapes = [PLAIN, PLAIN, wide]
    masks = support_masks(zip(moved, [spin] * 3, drawn, shapes, strict=True), *GRID)
    for mask, l, w, shape in zip(masks, moved, drawn, shapes, strict=True):
        here = w > 0
        np.testing.assert_array_equal(mask, support_mask(l[here], spin[here], w[here], shape, *GRID))
    assert np.any(masks[0] != masks[2])
    alone = np.eye(60)[0]
    assert not support_masks([(launch, spin, alone, PLAIN)], *GRID).any()


def test_the_effective_number_counts_equal_weights_as_they_are():
    assert effective_number(np.full(7, 0.3)) == pytest.approx(7)
    assert effective_number(np.array([1.0, 1.0, 0.0])) == pytest.approx(2)


def test_the_mask_follows_the_crowd_and_leaves_the_loner_out():
    launch = np.append(np.linspace(12, 14, 20), 19.5)
    spin = np.append(np.linspace(2500, 2900, 20), 3900.0)
    mask = support_mask(launch, spin, np.ones(21), shape_of(launch, spin, np.ones(21)), *GRID)
    assert mask[np.argmin(np.abs(GRID[0] - 13)), np.argmin(np.abs(GRID[1] - 2700))]
    assert not mask[np.argmin(np.abs(GRID[0] - 19.5)), np.argmin(np.abs(GRID[1] - 3900))]


def test_alike_deliveries_make_an_area_as_wide_as_reading_errors():
    launch, spin = np.full(12, 13.0), np.full(12, 2700.0)
    grid = (np.arange(10, 16, 0.05), np.arange(2000, 3400, 10.0))
    mask = support_mask(launch, spin, np.ones(12), shape_of(launch, spin, np.ones(12)), *grid)
    wide = grid[0][mask.any(axis=1)], grid[1][mask.any(axis=0)]
    assert 0.3 < np.ptp(wide[0]) < 1.2
    assert 80 < np.ptp(wide[1]) < 320


def many(kind):
    """Give as many golfers as are gathered at nodes, a few of them far from the others."""
    rng = np.random.default_rng(4)
    n = BINNED_FROM
    launch = rng.normal(13, 1.8, n) + (rng.random(n) < 0.03) * rng.normal(0, 4, n)
    spin = rng.normal(2700, 350, n) + (rng.random(n) < 0.03) * rng.normal(600, 700, n)
    if kind == "rounded":
        launch, spin = np.round(launch, 1), np.round(spin, -1)
    if kind == "alike":
        launch, spin = 13 + 0.3 * (launch - 13), 2700 + 0.3 * (spin - 2700)
    if kind == "together":
        spin = spin + 200 * (launch - 13)
    return launch, spin, rng.uniform(0.01, 1, n)


@pytest.mark.parametrize("kind", ["plain", "rounded", "alike", "together"])
def test_golfers_gathered_at_nodes_have_the_support_of_the_kernel_sum(kind, monkeypatch):
    delivery = many(kind)
    grid = (np.arange(1, 26, 0.25), np.arange(500, 6000, 50.0))
    shape = shape_of(*delivery)
    gathered, binned = support_density(*delivery, shape, *grid), support_mask(*delivery, shape, *grid)
    monkeypatch.setattr(support, "BINNED_FROM", 10**9)
    summed, exact = support_density(*delivery, shape, *grid), support_mask(*delivery, shape, *grid)
    gathered, summed = gathered / gathered.sum(), summed / summed.sum()
    # Sharing out widens a little: by a variance of a sixth of a cell's, 0.6 % of the least smoothing's and the crowd's.
    assert 0 < np.abs(gathered - summed).max() < (0.008 if kind == "alike" else 0.004) * summed.max()
    assert exact.sum() > 50
    # Stated: under 1 in 200 of all grid points; here 1 in 50 of those in the support.
    assert np.sum(binned != exact) <= 0.02 * exact.sum()


def test_golfers_not_drawn_and_one_far_away_change_no_node():
    launch, spin, weights = many("plain")
    shape = shape_of(launch, spin, weights)
    mask = support_mask(launch, spin, weights, shape, *GRID)
    beside = (np.append(part, more) for part, more in ((launch, 13.0), (spin, 2700.0), (weights, 0.0)))
    np.testing.assert_array_equal(support_mask(*beside, shape, *GRID), mask)
    few = np.where(np.arange(len(weights)) < 60, weights, 0.0)
    plain = support_mask(launch[:60], spin[:60], weights[:60], shape, *GRID)
    np.testing.assert_array_equal(support_mask(launch, spin, few, shape, *GRID), plain)
    far = support_mask(np.append(launch, 70.0), np.append(spin, 14_000.0), np.append(weights, 1e-9), shape, *GRID)
    assert np.mean(far != mask) < 0.002


@pytest.mark.parametrize("share", [0.5, 0.8, 0.95])
def test_a_normal_crowds_region_ends_where_the_formula_says(share):
    # Of a normal crowd in two dimensions the share within r standard deviations is 1 - exp(-r^2 / 2).
    rng = np.random.default_rng(7)
    launch, spin = rng.normal(13.5, 1.2, 8000), rng.normal(2700, 220, 8000)
    everybody = np.ones(8000)
    mask = support_mask(launch, spin, everybody, shape_of(launch, spin, everybody), *FINE, share=share)
    from_middle = np.hypot((FINE[0][:, None] - 13.5) / 1.2, (FINE[1][None, :] - 2700) / 220)
    radius = np.sqrt(-2 * np.log(1 - share))
    cell = 0.5 * 100.0 / (1.2 * 220)
    assert np.sqrt(mask.sum() * cell / np.pi) == pytest.approx(radius, rel=0.04)
    assert mask[from_middle < 0.85 * radius].all()
    assert not mask[from_middle > 1.15 * radius].any()
