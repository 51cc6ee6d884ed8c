import numpy as np
import pytest
from scipy.stats import gaussian_kde

from pipeline.benchmark.support import Support, kernel_weights, make_support

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


def test_all_but_the_most_unusual_fifth_reach_the_level(golfers):
    launch, spin, weights = golfers
    support = make_support(launch, spin, weights, *GRID)
    here = np.array(
        [
            support.__class__(launch, spin, np.array([a]), np.array([b]), support.bandwidth).density(weights)
            for a, b in zip(launch, spin, strict=True)
        ]
    ).ravel()
    inside = weights[here >= support.level(weights) - 1e-12].sum() / weights.sum()
    assert 0.80 <= inside < 0.80 + weights.max() / weights.sum()


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
