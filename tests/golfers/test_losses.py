from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from days import on_days
from fitting import candidate_named, fit_to
from frontiers import frontier_at, one_error
from scipy import stats

from pipeline.fit.model import CarryModel
from pipeline.golfers.losses import known_losses, losses

PARTS = [
    "lost_contact_yd",
    "lost_launch_yd",
    "lost_spin_yd",
    "lost_consistency_yd",
    "lost_curve_yd",
    "lost_other_yd",
]


@pytest.fixture(scope="module")
def model(world):
    return fit_to(candidate_named("quadratic"), world.drives).model


@pytest.fixture(scope="module")
def frontier(world_carry):
    speed = np.arange(66.0, 118.0)
    ball = speed * 1.474
    launch, spin = 14 - 0.04 * (ball - 135), 2600 - 12 * (ball - 135)
    carry = world_carry(ball, launch, spin)
    return frontier_at(speed, carry_yd=carry, std_error_yd=0.5, launch_deg=launch, spin_rpm=spin)


def golfer(world_carry, rng, n=400, ratio=1.474, launch_off=0.0, spin_off=0.0, mishits=0.0, bias_yd=0.0, curve_yd=0.0):
    """Drives of one golfer of 95 mph who is efficient but for what is asked for, without noise in carry."""
    club = np.full(n, 95.0)
    ball = club * np.where(rng.random(n) < mishits, 1.25, ratio)
    best = 95 * 1.474
    launch = 14 - 0.04 * (best - 135) + launch_off + rng.normal(0, 0.2, n)
    spin = 2600 - 12 * (best - 135) + spin_off + rng.normal(0, 40, n)
    return pl.DataFrame(
        {
            "golfer": "g0000000000000000",
            "quarter": "2026Q3",
            "device": "unit-A",
            "ball": "premium",
            "club_speed_mph": club,
            "ball_speed_mph": ball,
            "launch_deg": launch,
            "spin_rpm": spin,
            "carry_standard_yd": world_carry(ball, launch, spin) - bias_yd - curve_yd,
            "spin_measured": True,
            "curve_yd": curve_yd,
        }
    )


CASES = {
    "lost_contact_yd": {"ratio": 1.39},
    "lost_launch_yd": {"launch_off": -5.0},
    "lost_spin_yd": {"spin_off": 1300.0},
    "lost_consistency_yd": {"mishits": 0.3},
    "lost_curve_yd": {"curve_yd": 12.0},
    "lost_other_yd": {"bias_yd": 12.0},
}


@pytest.mark.parametrize(("part", "fault"), CASES.items())
def test_a_single_fault_lands_in_its_own_part(part, fault, model, frontier, world_carry):
    # The fall-off in the world is a parabola without interaction, so each fault's yards have a closed form.
    row = losses(golfer(world_carry, np.random.default_rng(1), **fault), model, frontier).row(0, named=True)
    assert row[part] > 8
    assert row[part] == pytest.approx(row["lost_yd"], abs=1.6)
    assert all(abs(row[other]) < 1.6 for other in PARTS if other != part)


def test_yards_lost_are_efficient_minus_mean_carry_and_parts_add_up(world, model, frontier):
    table = losses(world.drives, model, frontier)
    assert table.height == 80
    assert table["lost_curve_yd"].null_count() == 80  # these logs have no spin axis
    gap = table.select(pl.sum_horizontal(*PARTS) - pl.col("lost_yd")).to_series()
    assert gap.abs().max() < 1e-9
    mean = model.with_reference(world.drives).group_by("golfer").agg(mean=pl.col("carry_reference_yd").mean())
    joined = table.join(mean, on="golfer")
    difference = joined.select(pl.col("efficient_yd") - pl.col("mean") - pl.col("lost_yd")).to_series()
    assert difference.abs().max() < 1e-9


def test_standard_error_is_the_spread_over_like_golfers(model, frontier, world_carry):
    # 400 golfers who are all the same but for luck: the spread of their yards lost is what the error claims.
    rng = np.random.default_rng(7)
    n, shots = 400, 20
    who = np.repeat(np.arange(n), shots)
    club = 95 * rng.normal(1, 0.015, n * shots)
    ball = club * rng.normal(1.45, 0.015, n * shots)
    launch, spin = rng.normal(13, 1, n * shots), rng.normal(2600, 200, n * shots)
    drives = pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in who],
            "quarter": "2026Q3",
            "device": "unit-A",
            "ball": "premium",
            "club_speed_mph": club,
            "ball_speed_mph": ball,
            "launch_deg": launch,
            "spin_rpm": spin,
            "carry_standard_yd": world_carry(ball, launch, spin) + rng.normal(0, 5, n * shots),
            "spin_measured": True,
        }
    )
    exact = one_error(replace(frontier, std_error_yd=0 * frontier.carry_yd))
    table, _ = known_losses(on_days(drives), model, exact, 0.0)
    claimed = np.sqrt((table.get_column("std_error_yd") ** 2).mean())
    assert claimed == pytest.approx(table.get_column("lost_yd").std(), rel=0.08)
    # Luck in speed moves both carry and what was possible: counting it as loss would claim a third more.
    plain = np.sqrt(
        drives.group_by("golfer").agg(pl.col("carry_standard_yd").var() / shots)["carry_standard_yd"].mean()
    )
    assert claimed < 0.9 * plain


def test_carry_is_expected_of_each_drive_once_and_of_a_steady_strike_only_where_the_own_is_unknown(
    model, frontier, world, monkeypatch
):
    looked_up, expected, height = [], CarryModel.expected, world.drives.height
    counted = lambda *given: looked_up.append(np.size(given[1].club_speed_mph)) or expected(*given)  # noqa: E731
    monkeypatch.setattr(CarryModel, "expected", counted)
    known_losses(on_days(world.drives), model, one_error(frontier), 0.0)
    assert looked_up.count(height) == 1
    blind = world.drives.with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    known_losses(on_days(blind), model, one_error(frontier), 0.0)
    assert looked_up.count(height) == 3


def test_without_ball_speed_contact_is_unknown_and_the_rest_still_adds_up(model, frontier, world_carry):
    blind = golfer(world_carry, np.random.default_rng(1), ratio=1.39).with_columns(
        ball_speed_mph=pl.lit(None, pl.Float64)
    )
    row = losses(blind, model, frontier).row(0, named=True)
    assert row["lost_contact_yd"] is None
    assert row["ball_speed_mph"] is None
    assert sum(row[part] for part in PARTS[1:]) == pytest.approx(row["lost_yd"], abs=1e-9)
    assert row["lost_other_yd"] > 8


def test_beyond_the_frontier_nothing_is_claimed(model, frontier, world_carry):
    fast = golfer(world_carry, np.random.default_rng(1)).with_columns(club_speed_mph=pl.lit(140.0))
    table, _ = known_losses(on_days(fast), model, one_error(frontier), 0.0)
    row = table.row(0, named=True)
    assert row["carry_yd"] is not None
    assert all(row[name] is None for name in ("efficient_yd", "lost_yd", *PARTS, "std_error_yd"))


def test_skewness_is_that_of_yards_lost_of_the_drives(model, frontier, world_carry):
    drives = golfer(world_carry, np.random.default_rng(3), n=40)
    fallen = drives.with_columns(carry_standard_yd=pl.col("carry_standard_yd") - 60 * (pl.int_range(pl.len()) < 3))
    level = np.interp(fallen["club_speed_mph"], frontier.speed_mph, frontier.carry_yd)
    reference = stats.skew(level - fallen["carry_standard_yd"].to_numpy(), bias=False)
    assert reference > 1
    assert losses(fallen, model, frontier)["own_skewness"].item() == pytest.approx(reference)
    assert losses(fallen.head(2), model, frontier)["own_skewness"].item() is None


def test_a_guessed_spin_costs_nothing_by_itself_and_parts_still_add_up(model, frontier, world_carry):
    drives = golfer(world_carry, np.random.default_rng(5), spin_off=1300.0)
    guessed = drives.with_columns(spin_measured=pl.lit(False), spin_rpm=pl.lit(2000.0))
    other_guess = guessed.with_columns(spin_rpm=pl.lit(4000.0))
    measured, row, same = (losses(one, model, frontier).row(0, named=True) for one in (drives, guessed, other_guess))
    assert row["spin_rpm"] is None
    assert row["lost_spin_yd"] is None
    assert row == same  # whatever is guessed
    assert row["lost_yd"] == pytest.approx(measured["lost_yd"])
    assert sum(row[part] or 0.0 for part in PARTS) == pytest.approx(row["lost_yd"], abs=1e-9)
    # What the spin costs is in other, but for the difference between usual and efficient spin.
    assert row["lost_other_yd"] == pytest.approx(measured["lost_spin_yd"] + measured["lost_other_yd"], abs=3.0)
    assert measured["lost_spin_yd"] > 10


def test_some_guesses_are_replaced_by_the_golfers_own_spin(model, frontier, world_carry):
    drives = golfer(world_carry, np.random.default_rng(6), spin_off=1300.0)
    some = pl.int_range(pl.len()) % 2 == 0
    half = drives.with_columns(spin_measured=~some, spin_rpm=pl.when(some).then(2000.0).otherwise("spin_rpm"))
    whole, found = (losses(one, model, frontier).row(0, named=True) for one in (drives, half))
    for part in PARTS:
        assert found[part] == pytest.approx(whole[part], abs=0.5)


@pytest.mark.parametrize(("known_share", "told"), [(1.0, True), (0.5, True), (0.49, False), (0.0, False)])
def test_the_curve_is_a_part_where_half_of_the_drives_know_it(known_share, told, model, frontier, world_carry):
    drives = golfer(world_carry, np.random.default_rng(1), curve_yd=9.0)
    known = pl.int_range(pl.len()) < known_share * pl.len()
    row = losses(drives.with_columns(curve_yd=pl.when(known).then("curve_yd")), model, frontier).row(0, named=True)
    assert row["lost_curve_yd"] == (pytest.approx(9.0) if told else None)
    whole = losses(drives, model, frontier).row(0, named=True)
    assert row["lost_yd"] == whole["lost_yd"]
    rest = whole["lost_other_yd"] + (0.0 if told else 9.0)
    assert row["lost_other_yd"] == pytest.approx(rest, abs=1e-9)
    assert sum(row[part] or 0.0 for part in PARTS) == pytest.approx(row["lost_yd"], abs=1e-9)


def test_the_curve_is_on_the_reference_device(world_maker, world_carry, frontier):
    model = fit_to(candidate_named("quadratic"), world_maker(seed=8, share_b=-0.1).drives).model
    drives = golfer(world_carry, np.random.default_rng(1), curve_yd=9.0).with_columns(device=pl.lit("unit-B"))
    share = float(model.added_share(drives.head(1))[0])
    assert share < -0.05
    assert losses(drives, model, frontier)["lost_curve_yd"].item() == pytest.approx(9.0 / (1 + share))


def test_logs_without_the_axis_lose_the_same_as_ever(world, model, frontier):
    silent = losses(world.drives, model, frontier)
    nulls = losses(world.drives.with_columns(curve_yd=pl.lit(None, pl.Float64)), model, frontier)
    level = losses(world.drives.with_columns(curve_yd=pl.lit(0.0)), model, frontier)
    assert nulls.equals(silent)
    assert level.drop("lost_curve_yd").equals(silent.drop("lost_curve_yd"))
    assert set(level["lost_curve_yd"]) == {0.0}
