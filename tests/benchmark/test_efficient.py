import time
import tracemalloc
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.benchmark import support
from pipeline.benchmark.crowd import log_distance, spread_slopes
from pipeline.benchmark.efficient import Population, _Draw, efficient_at, map_at, supported_speeds
from pipeline.benchmark.support import BINNED_FROM
from pipeline.configuration import study as configuration
from pipeline.drives import typical_drives
from pipeline.fit.resampled import ResampledFits, draw_counts, refit
from pipeline.fit.trend import Line
from pipeline.fit.usual_delivery import UsualDelivery


@pytest.fixture(scope="module")
def fitted(world):
    model = fit_to(candidate_named("quadratic"), world.drives).model
    typical = typical_drives(world.drives, ["golfer"])
    return model, refit(model, world.drives, typical, draw_counts(80, 1)), Population.from_typical(typical, 12)


@pytest.fixture(scope="module", params=[80.0, 90.0, 100.0])
def at(request, fitted, roller):
    return efficient_at(*fitted, request.param, half_width_mph=5.0, tolerance_yd=5.0, roller=roller)


def true_efficient(world, world_carry, speed_mph):
    """Best over all deliveries (the optimum lies in the crowd), at the upper quartile of the planted ratios."""
    near = np.abs(world.golfers.get_column("club_speed_mph").to_numpy() - speed_mph) < 12
    ratio = np.quantile(world.golfers.get_column("speed_ratio").to_numpy()[near], 0.75)
    ball = speed_mph * ratio
    return world_carry(ball, 14 - 0.04 * (ball - 135), 2600 - 12 * (ball - 135))


def test_efficient_carry_is_the_truth_within_its_interval(at, world, world_carry):
    truth = true_efficient(world, world_carry, at.speed_mph)
    assert at.carry_yd == pytest.approx(truth, abs=1.5)
    assert at.lo90_yd - 0.5 <= truth <= at.hi90_yd + 0.5
    assert 0.1 < at.std_error_yd < 2.0


def test_the_best_delivery_is_near_the_true_one(at):
    ball = at.speed_mph * 1.472
    assert at.launch_deg == pytest.approx(14 - 0.04 * (ball - 135), abs=1.0)
    assert at.spin_rpm == pytest.approx(2600 - 12 * (ball - 135), abs=250)


def test_every_drive_in_the_window_is_truly_near_efficient(at, world, world_carry):
    window = at.window
    launch, spin = np.meshgrid(
        np.linspace(window.launch_lo_deg, window.launch_hi_deg, 30),
        np.linspace(window.spin_lo_rpm, window.spin_hi_rpm, 30),
    )
    truth = true_efficient(world, world_carry, at.speed_mph)
    ratio = np.quantile(world.golfers.get_column("speed_ratio").to_numpy(), 0.75)
    short = truth - world_carry(at.speed_mph * ratio, launch, spin)
    assert np.mean(short <= 5.0 + 1.0) > 0.95
    assert (window.launch_hi_deg - window.launch_lo_deg) > 1.0
    assert (window.spin_hi_rpm - window.spin_lo_rpm) > 200


def test_slow_golfers_get_more_spin_than_fast_ones(fitted, roller):
    slow, fast = (efficient_at(*fitted, speed, 5.0, 5.0, roller).window for speed in (75.0, 108.0))
    assert slow.spin_lo_rpm > fast.spin_lo_rpm + 100
    assert slow.spin_hi_rpm > fast.spin_hi_rpm + 100


def test_a_wider_tolerance_gives_a_wider_window(fitted, roller):
    narrow, wide = (efficient_at(*fitted, 95.0, 5.0, tolerance, roller).window for tolerance in (2.0, 8.0))

    def area(w):
        return (w.launch_hi_deg - w.launch_lo_deg) * (w.spin_hi_rpm - w.spin_lo_rpm)

    assert area(wide) > 1.3 * area(narrow)


def test_the_map_is_blank_where_nobody_is(fitted):
    at = map_at(fitted[0], fitted[2], 90.0, 5.0)
    assert 0.05 < at.supported.mean() < 0.6
    assert not at.supported[0].any()
    assert not at.supported[:, -1].any()


def test_speeds_without_golfers_are_not_supported(fitted):
    speeds = np.array([55.0, 68.0, 90.0, 115.0, 125.0])
    assert supported_speeds(fitted[2], 5.0, 5, speeds).tolist() == [68.0, 90.0, 115.0]
    assert supported_speeds(fitted[2], 5.0, 60, speeds).tolist() == []
    nobody = Population(np.array([], dtype=np.int64), np.array([]), np.array([]), np.array([]))
    assert supported_speeds(nobody, 5.0, 5, speeds).size == 0


def test_without_ball_speed_the_better_strike_still_counts(world, fitted, roller):
    # The same drives, ball speed hidden: efficient carry must come out where it was, not at the average strike.
    blind = world.drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    model = fit_to(candidate_named("quadratic", "club"), blind).model
    typical = typical_drives(blind, ["golfer"])
    refits = refit(model, blind, typical, draw_counts(80, 1))
    found = efficient_at(model, refits, Population.from_typical(typical, 12), 90.0, 5.0, 5.0, roller)
    seen = efficient_at(*fitted, 90.0, 5.0, 5.0, roller)
    assert model.better_share > 0.005
    assert found.carry_yd == pytest.approx(seen.carry_yd, abs=1.5)
    assert np.std(refits.better_share) > 0.0005


def test_efficient_total_is_the_best_of_carry_and_run(fitted, roller):
    model, _, population = fitted
    best = efficient_at(*fitted, 90.0, 5.0, 5.0, roller)
    at = map_at(model, population, 90.0, 5.0)
    ball = 90.0 * float(model.usual.better_ratio(90.0))
    total = at.carry_yd + roller.run_yd(ball, at.launch_deg[:, None], at.spin_rpm[None, :])
    assert best.total_yd == pytest.approx(total[at.supported].max())
    assert best.total_yd > best.carry_yd + 10
    # Low spin and a flatter landing pay in run.
    assert best.total_spin_rpm <= best.spin_rpm


def test_golfers_are_moved_along_the_usual_trend(fitted):
    model, _, population = fitted
    bent = replace(model.usual.launch, bend=0.2, knots_mph=(75.0, 92.0, 108.0))
    step = 95.0 - population.speed_mph
    for usual, changes in ((model.usual, False), (replace(model.usual, launch=bent), True)):
        launch, spin = population.moved_to(95.0, usual)
        own = population.departures(usual)
        off = (np.abs(own[0]) > 0.01) & (np.abs(own[1]) > 1.0)
        by_launch = ((launch - usual.launch(95.0))[off]) / own[0][off]
        by_spin = ((spin - usual.spin(95.0))[off]) / own[1][off]
        # What a golfer has beyond the usual at the own speed stays, in spreads: the same share of it in both, and all
        # of it where the spread doesn't clearly change. A bend that isn't there widens it at one end.
        np.testing.assert_allclose(by_launch, by_spin, rtol=1e-6)
        np.testing.assert_allclose(np.log(by_launch), np.log(by_launch[0]) / step[off][0] * step[off], atol=1e-6)
        assert (abs(np.log(by_launch[0])) > 1e-6) == changes


def fan(golfers, fold):
    """Give golfers about straight trends whose spread falls by a factor from 70 to 110 mph, and the trends."""
    rng = np.random.default_rng(3)
    speed = rng.uniform(68, 112, golfers)
    wide = fold ** ((90 - speed) / 40)
    usual = UsualDelivery(None, None, Line(90.0, 14.5, -0.05), Line(90.0, 2600.0, -8.0))
    launch = usual.launch(speed) + 1.2 * wide * rng.standard_normal(golfers)
    spin = usual.spin(speed) + 260 * wide * rng.standard_normal(golfers)
    return Population(np.arange(golfers), speed, launch, spin), usual


@pytest.mark.parametrize("speed", [72.0, 90.0, 108.0])
def test_golfers_moved_to_a_speed_are_as_wide_apart_as_golfers_of_it(speed):
    population, usual = fan(4000, 2.5)
    launch, spin = population.moved_to(speed, usual)
    wide = 2.5 ** ((90 - speed) / 40)
    # A tenth of the slope is lost where distances are held: 4 % of the spread on the way from 90 mph.
    assert np.std(launch) == pytest.approx(1.2 * wide, rel=0.08)
    assert np.std(spin) == pytest.approx(260 * wide, rel=0.08)
    assert np.mean(launch) == pytest.approx(float(usual.launch(speed)), abs=0.1)


def test_replicates_spread_by_their_own_golfers():
    population, usual = fan(300, 2.5)
    counts = np.stack([np.ones(300), np.where(population.speed_mph > 95, 0, 2)]).astype(np.uint8)
    trends = {"launch": np.tile([14.5, -0.05, 0.0], (2, 1)), "spin": np.tile([2600.0, -8.0, 0.0], (2, 1))}
    refits = SimpleNamespace(counts=counts, **trends)
    spreading = population.spreading(usual, counts)
    same, slower = (_Draw.of(usual, refits, population, spreading, draw).at(75.0, 5.0) for draw in (0, 1))
    np.testing.assert_allclose(same[:2], population.moved_to(75.0, usual), rtol=1e-12)
    here = population.speed_mph <= 95
    departures = population.departures(usual)
    slope = spread_slopes(population.speed_mph, log_distance(*departures), counts[1:], population.place)[0]
    wider = np.exp(slope * (75.0 - population.speed_mph))[here]
    assert not np.allclose(slower[0], same[0][here], atol=0.01)
    np.testing.assert_allclose(slower[0], usual.launch(75.0) + wider * departures[0][here], rtol=1e-12)
    np.testing.assert_allclose(slower[1], usual.spin(75.0) + wider * departures[1][here], rtol=1e-12)
    np.testing.assert_allclose(slower[2], 2 * population.shape_weights(75.0, 5.0)[here], rtol=1e-12)


def test_the_support_is_wide_where_golfers_differ_and_narrow_where_they_are_alike(fitted):
    population, usual = fan(200, 2.5)
    model = replace(fitted[0], usual=replace(fitted[0].usual, launch=usual.launch, spin=usual.spin))
    areas = [map_at(model, population, speed, 5.0).supported.sum() * 0.25 * 50 for speed in (72.0, 108.0)]
    # Closed form: the ellipse that holds four fifths of a normal crowd.
    true = [np.pi * 1.2 * 260 * -2 * np.log(0.2) * 2.5 ** ((90 - speed) / 20) for speed in (72.0, 108.0)]
    np.testing.assert_allclose(areas, true, rtol=0.2)


def test_a_larger_share_of_deliveries_reaches_farther_and_changes_no_carry(fitted, roller):
    model, refits, population = fitted
    few, many = (replace(population, deliveries=share) for share in (0.5, 0.95))
    inner, outer = (map_at(model, one, 90.0, 5.0) for one in (few, many))
    np.testing.assert_array_equal(inner.carry_yd, outer.carry_yd)
    assert outer.supported[inner.supported].all()
    # Closed form of a normal crowd: areas go as -ln(1 - share).
    assert outer.supported.sum() / inner.supported.sum() == pytest.approx(np.log(0.05) / np.log(0.5), rel=0.25)
    # A crowd that launches 6 deg lower ends before the best launch, so a farther edge carries more.
    lower = population.launch_deg - 6.0
    found = [efficient_at(model, refits, replace(one, launch_deg=lower), 90.0, 5.0, 5.0, roller) for one in (few, many)]
    assert found[1].carry_yd > found[0].carry_yd + 2.0
    # Replicates reach as far as the estimate does: else their distance from it would be the error.
    assert max(one.std_error_yd for one in found) < 2.0


def test_the_share_of_deliveries_is_that_of_a_study_that_says_nothing(world):
    assert Population.deliveries == configuration.Efficient().deliveries
    typical = typical_drives(world.drives, ["golfer"])
    assert Population.from_typical(typical, 12, 0.6).deliveries == 0.6


def test_the_interval_takes_up_how_far_replicates_lie_from_the_estimate(fitted, roller):
    model, refits, population = fitted
    best = efficient_at(*fitted, 90.0, 5.0, 5.0, roller)
    # Replicates that all carry 3 yd more than the estimate show a bias of the method, though they agree.
    higher = replace(refits, better_share=refits.better_share + 3.0 / best.carry_yd)
    moved = efficient_at(model, higher, population, 90.0, 5.0, 5.0, roller)
    assert moved.carry_yd == best.carry_yd
    assert moved.std_error_yd == pytest.approx(np.hypot(3.0, best.std_error_yd), rel=0.1)


def test_the_doubt_of_few_golfers_is_wider(fitted, roller):
    model, refits, population = fitted
    few = Population(*(part[::5] for part in vars(population).values() if isinstance(part, np.ndarray)))
    some, all_ = (efficient_at(model, refits, who, 90.0, 5.0, 5.0, roller) for who in (few, population))
    assert some.std_error_yd > 1.3 * all_.std_error_yd
    # Student's t with few degrees of freedom reaches beyond 1.645 standard errors.
    assert some.hi90_yd - some.carry_yd > 1.75 * some.std_error_yd
    assert all_.hi90_yd - all_.carry_yd < 1.75 * all_.std_error_yd


def crowd_of(model, golfers):
    """Give golfers about the model's own trends."""
    rng = np.random.default_rng(9)
    speed = rng.normal(92, 10, golfers)
    launch = model.usual.launch(speed) + rng.normal(0, 1.8, golfers)
    return Population(np.arange(golfers), speed, launch, model.usual.spin(speed) + rng.normal(0, 350, golfers))


def drawn_from(refits, golfers, replicates):
    counts = draw_counts(golfers, 2, replicates).astype(np.uint8)
    return ResampledFits(counts, *(part[:replicates] for name, part in vars(refits).items() if name != "counts"))


@pytest.mark.parametrize("speed", [72.0, 90.0, 108.0])
def test_many_golfers_gathered_at_nodes_have_the_same_efficient_carry(speed, fitted, roller, monkeypatch):
    model, refits, _ = fitted
    population = crowd_of(model, 2 * BINNED_FROM)
    draws = drawn_from(refits, 2 * BINNED_FROM, 20)
    binned = efficient_at(model, draws, population, speed, 5.0, 5.0, roller)
    near = map_at(model, population, speed, 5.0).supported
    monkeypatch.setattr(support, "BINNED_FROM", 10**9)
    exact = efficient_at(model, draws, population, speed, 5.0, 5.0, roller)
    assert np.mean(map_at(model, population, speed, 5.0).supported != near) < 0.001
    assert binned.carry_yd == pytest.approx(exact.carry_yd, abs=0.02)
    assert binned.total_yd == pytest.approx(exact.total_yd, abs=0.02)
    assert binned.std_error_yd == pytest.approx(exact.std_error_yd, rel=0.02)


def test_counts_may_be_bytes(fitted, roller):
    model, refits, population = fitted
    few = drawn_from(refits, 80, 20)
    wide = replace(few, counts=few.counts.astype(np.int64))
    # Golfers who all launch too low have their best at the edge of their deliveries, so that every weight tells.
    low = replace(population, launch_deg=population.launch_deg - 5)
    narrow, plain = (efficient_at(model, draws, low, 90.0, 5.0, 5.0, roller) for draws in (few, wide))
    assert narrow == plain


@pytest.mark.long
def test_the_build_of_200000_golfers_takes_little_time_and_memory(fitted, roller, capsys):
    model, refits, _ = fitted
    population = crowd_of(model, 200_000)
    draws = drawn_from(refits, 200_000, 200)
    tracemalloc.start()
    map_at(model, population, 90.0, 5.0)
    efficient_at(
        model, replace(draws, **{k: v[:5] for k, v in vars(draws).items()}), population, 90.0, 5.0, 5.0, roller
    )
    peak_mb = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    before = time.process_time()
    efficient_at(model, draws, population, 90.0, 5.0, 5.0, roller)
    took = time.process_time() - before
    with capsys.disabled():
        print(f"\none of 60 club speeds takes {took:.2f} s and {peak_mb:.0f} MB")
    assert took < 3.0
    assert peak_mb < 200
