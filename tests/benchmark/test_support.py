import numpy as np
import pytest
from scipy.stats import gaussian_kde

from pipeline.benchmark.support import (
    BINNED_FROM,
    Support,
    binned_density,
    effective_number,
    kernel_weights,
    make_support,
    replicate_masks,
    support_mask,
)

GRID = (np.linspace(6, 20, 29), np.linspace(1500, 4000, 26))


@pytest.fixture
def golfers():
    rng = np.random.default_rng(8)
    return rng.normal(13, 1.5, 60), rng.normal(2700, 300, 60), rng.uniform(0.2, 1, 60)


def test_kernel_is_a_gaussian_of_the_half_width():
    weights = kernel_weights(np.array([90.0, 95.0, 80.0]), 90.0, 5.0)
    np.testing.assert_allclose(weights, np.exp([0, -0.5, -2.0]))


def test_density_is_that_of_scipys_kernel_estimate():
    # Reference: scipy.stats.gaussian_kde in 2-D, for data whose weighted correlation is exactly nil, so that its
    # full kernel is ours along the axes.
    launch, spin = (part.ravel() for part in np.meshgrid([10.0, 12.0, 15.0], [2000.0, 2600.0, 3600.0], indexing="ij"))
    weights = np.outer([1.0, 2.0, 1.0], [0.5, 1.0, 0.7]).ravel()
    kde = gaussian_kde([launch, spin], weights=weights)
    sd = np.sqrt(np.diag(kde.covariance))
    ours = Support(launch, spin, *GRID, (float(sd[0]), float(sd[1]))).density(weights)
    points = np.array([part.ravel() for part in np.meshgrid(*GRID, indexing="ij")])
    scale = weights.sum() * 2 * np.pi * sd[0] * sd[1]
    np.testing.assert_allclose(ours.ravel(), kde(points) * scale, rtol=1e-9, atol=1e-12)


def test_bandwidth_is_scotts_with_the_effective_number():
    launch, spin = np.random.default_rng(0).normal(size=(2, 4000)) * [[2.0], [400.0]] + [[13.0], [2700.0]]
    support = make_support(launch, spin, np.ones(4000), *GRID)
    assert support.bandwidth == pytest.approx((2.0 * 4000 ** (-1 / 6), 400 * 4000 ** (-1 / 6)), rel=0.06)


def test_a_few_far_golfers_do_not_widen_the_bandwidth(golfers):
    launch, spin, weights = golfers
    plain = make_support(launch, spin, weights, *GRID)
    far = make_support(np.append(launch, [2.0, 2.5]), np.append(spin, [6000, 6500]), np.append(weights, [1, 1]), *GRID)
    # Their standard deviation alone would double the one in spin.
    assert np.std(np.append(spin, [6000, 6500])) > 2 * np.std(spin)
    assert far.bandwidth[0] < 1.3 * plain.bandwidth[0]
    assert far.bandwidth[1] < 1.3 * plain.bandwidth[1]


def test_the_support_holds_four_fifths_of_a_normal_crowd():
    # Closed form: the smallest region that holds a share q of a normal crowd is the ellipse of radius^2 = -2 ln(1 - q),
    # of area pi sd_1 sd_2 radius^2; smoothing by n^(-1/6) of the spread makes both spreads sqrt(1 + n^(-1/3)) wider.
    launch, spin = np.random.default_rng(0).normal(size=(2, 4000)) * [[1.5], [300.0]] + [[13.0], [2700.0]]
    grid = (np.arange(5, 21.1, 0.2), np.arange(1000, 4401, 50.0))
    area = make_support(launch, spin, np.ones(4000), *grid).mask(np.ones(4000)).sum() * 0.2 * 50
    expected = np.pi * 1.5 * 300 * -2 * np.log(0.2) * (1 + 4000 ** (-1 / 3))
    assert area == pytest.approx(expected, rel=0.06)


def test_the_support_is_the_densest_part_of_the_grid(golfers):
    launch, spin, weights = golfers
    support = make_support(launch, spin, weights, *GRID)
    density, mask = support.density(weights), support.mask(weights)
    assert density[mask].min() == support.level(weights) > density[~mask].max()
    assert density[mask].sum() >= 0.80 * density.sum() > density[mask].sum() - density[mask].min()


def test_replicates_have_their_own_golfers_and_smoothing(golfers):
    launch, spin, weights = golfers
    drawn = weights * np.random.default_rng(1).integers(0, 3, (3, 60))
    moved = launch + np.array([[0.0], [0.5], [1.0]])
    masks = replicate_masks(zip(moved, [spin] * 3, drawn, strict=True), *GRID)
    for mask, l, w in zip(masks, moved, drawn, strict=True):
        here = w > 0
        np.testing.assert_array_equal(mask, make_support(l[here], spin[here], w[here], *GRID).mask(w[here]))
    alone = np.eye(60)[0]
    assert not replicate_masks([(launch, spin, alone)], *GRID).any()


def test_the_effective_number_counts_equal_weights_as_they_are():
    assert effective_number(np.full(7, 0.3)) == pytest.approx(7)
    assert effective_number(np.array([1.0, 1.0, 0.0])) == pytest.approx(2)


def test_the_mask_follows_the_crowd_and_leaves_the_loner_out():
    launch = np.append(np.linspace(12, 14, 20), 19.5)
    spin = np.append(np.linspace(2500, 2900, 20), 3900.0)
    support = make_support(launch, spin, np.ones(21), *GRID)
    mask = support.mask(np.ones(21))
    assert mask[np.argmin(np.abs(GRID[0] - 13)), np.argmin(np.abs(GRID[1] - 2700))]
    assert not mask[np.argmin(np.abs(GRID[0] - 19.5)), np.argmin(np.abs(GRID[1] - 3900))]


def test_many_weights_at_once_equal_one_by_one(golfers):
    launch, spin, weights = golfers
    support = make_support(launch, spin, weights, *GRID)
    both = np.stack([weights, weights[::-1]])
    np.testing.assert_array_equal(support.mask(both)[1], support.mask(weights[::-1]))


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
    return launch, spin, rng.uniform(0.01, 1, n)


@pytest.mark.parametrize("kind", ["plain", "rounded", "alike"])
def test_golfers_gathered_at_nodes_have_the_support_of_the_kernel_sum(kind):
    launch, spin, weights = many(kind)
    grid = (np.arange(1, 26, 0.25), np.arange(500, 6000, 50.0))
    support = make_support(launch, spin, weights, *grid)
    gathered, summed = binned_density(launch, spin, weights, *grid), support.density(weights)
    gathered, summed = gathered / gathered.sum(), summed / summed.sum()
    assert np.abs(gathered - summed).max() < 0.004 * summed.max()
    exact, binned = support.mask(weights), support_mask(launch, spin, weights, *grid)
    assert exact.sum() > 50
    # Stated: under 1 in 200 of all grid points; here 1 in 50 of those in the support.
    assert np.sum(binned != exact) <= 0.02 * exact.sum()


def test_golfers_not_drawn_and_one_far_away_change_no_node():
    launch, spin, weights = many("plain")
    support = support_mask(launch, spin, weights, *GRID)
    beside = (np.append(part, more) for part, more in ((launch, 13.0), (spin, 2700.0), (weights, 0.0)))
    np.testing.assert_array_equal(support_mask(*beside, *GRID), support)
    few = np.where(np.arange(len(weights)) < 60, weights, 0.0)
    plain = make_support(launch[:60], spin[:60], weights[:60], *GRID).mask(weights[:60])
    np.testing.assert_array_equal(support_mask(launch, spin, few, *GRID), plain)
    far = support_mask(np.append(launch, 70.0), np.append(spin, 14_000.0), np.append(weights, 1e-9), *GRID)
    assert np.mean(far != support) < 0.002
