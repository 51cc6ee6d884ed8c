from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.benchmark.efficient import Population
from pipeline.drives import typical_drives
from pipeline.fit.resampled import draw_counts, per_golfer_sums, refit
from pipeline.fit.usual_delivery import fit_usual_delivery, strike_effects, strikes_of

QUADRATIC = candidate_named("quadratic")


@pytest.fixture(scope="module")
def fitted(world):
    return fit_to(QUADRATIC, world.drives)


def test_every_golfer_once_gives_the_fit_itself(world, fitted):
    typical = typical_drives(world.drives, ["golfer"])
    found = refit(fitted.model, world.drives, typical, np.ones((1, 80), dtype=np.int64))
    np.testing.assert_allclose(found.coefficients[0], fitted.model.coefficients, rtol=1e-8)
    better = fitted.model.usual.better_ratio
    assert found.better_speed(fitted.model, 90.0)[0] == pytest.approx(90.0 * float(better(90.0)), rel=1e-9)
    usual = fitted.model.usual
    there = np.array([70.0, 90.0, 112.0])
    for line, terms in ((usual.launch, found.launch), (usual.spin, found.spin), (better, found.better_ratio)):
        np.testing.assert_allclose(line.of_draws(terms[0], there), line(there), rtol=1e-9)


def test_a_replicate_equals_a_fit_on_the_drawn_golfers(world, fitted):
    counts = draw_counts(80, seed=1, replicates=1)
    typical = typical_drives(world.drives, ["golfer"])
    found = refit(fitted.model, world.drives, typical, counts)
    drawn = dict(zip(typical.get_column("golfer").to_list(), counts[0].tolist(), strict=True))
    table = pl.concat(world.drives.filter(golfer=name) for name, n in drawn.items() for _ in range(n))
    surface = fitted.model.surface
    speed, launch, spin = (table.get_column(c).to_numpy() for c in ("ball_speed_mph", "launch_deg", "spin_rpm"))
    X = np.hstack([surface.design(speed, launch, spin), fitted.model.offsets.terms(table)])
    direct, *_ = np.linalg.lstsq(X, table.get_column("carry_standard_yd").to_numpy(), rcond=None)
    np.testing.assert_allclose(found.coefficients[0], direct[: len(surface.terms)], rtol=1e-6, atol=1e-6)


def test_spread_over_replicates_agrees_with_clustered_errors(world, fitted):
    typical = typical_drives(world.drives, ["golfer"])
    found = refit(fitted.model, world.drives, typical, draw_counts(80, seed=1))
    terms = len(fitted.model.surface.terms)
    ratio = found.coefficients.std(axis=0) / fitted.fit.std_errors[:terms]
    assert np.all((ratio > 0.7) & (ratio < 1.5))


def test_refits_have_the_strike_of_their_model_whatever_a_study_says_now(world, fitted):
    typical, once = typical_drives(world.drives, ["golfer"]), np.ones((1, 80), dtype=np.int64)
    usual = fit_usual_delivery(typical, 0.9)
    kept = replace(fitted.model, usual=usual)
    found = refit(kept, world.drives, typical, once)
    assert found.better_speed(kept, 90.0)[0] == pytest.approx(90.0 * float(usual.better_ratio(90.0)), rel=1e-9)
    blind = world.drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    club = fit_to(candidate_named("line", "club"), blind).model
    for strike in (0.5, 0.9):
        seen = refit(
            replace(club, usual=replace(club.usual, strike=strike)), blind, typical_drives(blind, ["golfer"]), once
        )
        effects = strike_effects(strikes_of(blind, club.departure(blind)))["effect"]
        assert seen.better_share[0] == pytest.approx(np.quantile(effects, strike), rel=1e-9)


def test_a_rarer_strike_is_known_less_well(world, fitted):
    # A normal crowd's quantile q has a standard error of sqrt(q (1 - q)) over the density there: 1.7 times the
    # median's at 0.95.
    typical, counts = typical_drives(world.drives, ["golfer"]), draw_counts(80, seed=1, replicates=100)
    spreads = []
    for strike in (0.5, 0.95):
        usual = fit_usual_delivery(typical, strike)
        found = refit(replace(fitted.model, usual=usual), world.drives, typical, counts)
        spreads.append(np.std(usual.better_ratio.of_draws(found.better_ratio, 90.0)))
    assert 1.25 < spreads[1] / spreads[0] < 2.4


def test_draws_follow_the_seed_and_sum_to_the_golfers():
    counts = draw_counts(30, seed=5)
    assert counts.shape == (200, 30)
    assert set(counts.sum(axis=1)) == {30}
    np.testing.assert_array_equal(draw_counts(30, seed=5, replicates=50), counts[:50])
    np.testing.assert_array_equal(counts, draw_counts(30, seed=5))
    assert (counts != draw_counts(30, seed=6)).any()


def test_sums_per_golfer_add_up_and_absent_golfers_have_nil():
    rng = np.random.default_rng(0)
    X, y, golfer = rng.normal(size=(20, 3)), rng.normal(size=20), rng.choice([0, 1, 3], 20)
    gram, moment = per_golfer_sums(X, y, golfer, 5)
    np.testing.assert_allclose(gram.sum(axis=0), X.T @ X, atol=1e-12)
    np.testing.assert_allclose(moment.sum(axis=0), X.T @ y, atol=1e-12)
    assert not gram[2].any()
    assert not moment[4].any()


def test_golfers_of_guessed_spin_shape_neither_trend_nor_population(world, fitted):
    some = pl.col("golfer").str.slice(-1).is_in(["0", "5"])
    typical = typical_drives(world.drives, ["golfer"])
    guessed = typical.with_columns(pl.when(~some).then("spin_rpm").alias("spin_rpm"))
    counts = draw_counts(80, seed=2, replicates=3)
    left = typical.filter(~some)
    found = refit(fitted.model, world.drives, guessed, counts)
    alone = refit(
        fitted.model, world.drives.filter(~some), left, counts[:, typical.select(~some).to_series().to_numpy()]
    )
    np.testing.assert_allclose(found.spin, alone.spin)
    assert not np.allclose(found.launch, alone.launch)  # their launch is measured
    population = Population.from_typical(guessed, 12)
    assert population.spin_rpm.tolist() == left["spin_rpm"].to_list()
    assert typical["golfer"].gather(population.place).to_list() == left["golfer"].to_list()
