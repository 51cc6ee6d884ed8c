import numpy as np
import pytest

from pipeline.benchmark.crowd import Shape, log_distance, shape_of, spread_slopes


def normal(golfers, correlation, seed=0):
    z = np.random.default_rng(seed).standard_normal((2, golfers))
    return 13 + 1.2 * z[0], 2700 + 250 * (correlation * z[0] + np.sqrt(1 - correlation**2) * z[1])


@pytest.mark.parametrize("correlation", [0.0, 0.75, -0.6])
def test_the_shape_of_a_normal_crowd_is_its_covariance(correlation):
    found = [shape_of(*normal(150, correlation, seed), np.ones(150)) for seed in range(20)]
    launch, spin, slope = np.mean([list(vars(one).values()) for one in found], axis=0)
    assert launch == pytest.approx(1.2, rel=0.06)
    assert spin == pytest.approx(250 * np.sqrt(1 - correlation**2), rel=0.06)
    # The passes come within a fifth of the slope.
    assert slope == pytest.approx(0.9 * correlation * 250 / 1.2, abs=20)


def test_two_schools_have_the_shape_of_one():
    # The covariance of both together has a slope of -167 rpm a degree and 2.2 times the spread of launch. Only half of
    # all pairs lie within a school, which makes spreads sqrt(0.307 / 0.137) = 1.5 times those of one.
    found = []
    for seed in range(20):
        launch, spin = normal(100, 0.0, seed)
        school = np.repeat([-1.0, 1.0], 50)
        found.append(shape_of(launch + 2.4 * school, spin - 500 * school, np.ones(100)))
    launch, spin, slope = np.mean([list(vars(one).values()) for one in found], axis=0)
    assert launch == pytest.approx(1.5 * 1.2, rel=0.1)
    assert abs(slope) < 40
    assert spin == pytest.approx(1.5 * 250, rel=0.1)


def test_golfers_with_a_fault_or_of_little_weight_hardly_change_the_shape():
    launch, spin = normal(60, 0.5)
    plain = shape_of(launch, spin, np.ones(60))
    faulty = shape_of(np.append(launch, [6, 5.5, 13, 12]), np.append(spin, [2700, 2600, 5000, 5200]), np.ones(64))
    away = shape_of(np.append(launch, 40.0), np.append(spin, 9000.0), np.append(np.ones(60), 1e-9))
    # Plain standard deviations grow by two thirds.
    assert faulty.launch_sd_deg == pytest.approx(plain.launch_sd_deg, rel=0.25)
    assert faulty.spin_sd_rpm == pytest.approx(plain.spin_sd_rpm, rel=0.25)
    assert away == plain


def test_a_shape_of_hardly_anybody_or_of_one_delivery_is_none():
    assert shape_of(np.array([13.0, 14.0]), np.array([2700.0, 2500.0]), np.ones(2)) == Shape(0.0, 0.0, 0.0)
    alike = shape_of(np.full(9, 13.0), np.full(9, 2700.0), np.ones(9))
    assert (alike.launch_sd_deg, alike.spin_sd_rpm, alike.slope_rpm_per_deg) == pytest.approx((0, 0, 0), abs=1e-6)


def fan(golfers, per_mph, seed=1):
    """Give speeds and deliveries' distances whose spread changes by a share per mph."""
    rng = np.random.default_rng(seed)
    speed = rng.uniform(68, 112, golfers)
    wide = np.exp(per_mph * (speed - 90))
    return speed, log_distance(1.2 * wide * rng.standard_normal(golfers), 250 * wide * rng.standard_normal(golfers))


def test_a_spread_that_falls_with_speed_is_found():
    speed, distances = fan(20_000, -0.023)
    found = spread_slopes(speed, distances, np.ones((1, len(speed))), np.arange(len(speed)))
    # Distances are held to where 95 % of a normal crowd lie, which takes a tenth of the slope.
    assert -0.023 < found[0] < -0.0195


def test_a_spread_that_does_not_change_is_left_as_it_is_more_often_than_not():
    found = np.array([spread_slopes(*fan(70, 0.0, seed), np.ones((1, 70)), np.arange(70))[0] for seed in range(200)])
    # Least squares alone never give zero; a slope within one standard error of it, 68 in 100, is pulled to it.
    assert 0.58 < np.mean(found == 0) < 0.78
    assert abs(np.mean(found)) < 0.001


def test_a_draws_slope_is_that_of_its_golfers_listed_one_by_one():
    speed, distances = fan(300, -0.02)
    rng = np.random.default_rng(2)
    counts = rng.integers(0, 4, (5, 400)).astype(np.uint8)
    place = rng.permutation(400)[:300]
    found = spread_slopes(speed, distances, counts, place)
    for slope, drawn in zip(found, counts[:, place], strict=True):
        x, y = np.repeat(speed, drawn), np.repeat(distances, drawn)
        (line, _), covariance = np.polyfit(x, y, 1, cov="unscaled")
        variance = covariance[0, 0] * np.mean((y - np.polyval(np.polyfit(x, y, 1), x)) ** 2)
        assert slope == pytest.approx(line * max(0, 1 - variance / line**2), rel=1e-6, abs=1e-12)
        assert line < 0


def test_nobody_nearer_or_farther_and_one_speed_give_no_slope():
    everyone = np.ones((1, 9)), np.arange(9)
    assert spread_slopes(np.full(9, 90.0), np.linspace(0, 1, 9), *everyone)[0] == 0
    assert spread_slopes(np.linspace(80, 100, 9), log_distance(np.zeros(9), np.ones(9)), *everyone)[0] == 0
    assert spread_slopes(np.linspace(80, 100, 9), np.linspace(0, 1, 9), np.zeros((1, 9)), np.arange(9))[0] == 0


def test_golfers_with_a_fault_count_no_more_than_the_widest_others():
    launch, spin = np.array([0.5, -1.0, 1.0, -7.0, 900.0]), np.array([100.0, -200.0, 200.0, 10.0, 5.0])
    distances = log_distance(launch, spin)
    assert distances[3] == distances[4] == pytest.approx(0.5 * np.log(-2 * np.log(0.05)), abs=1e-3)
