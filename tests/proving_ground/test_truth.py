"""The truths of the proving ground against large samples of its own golfers."""

from dataclasses import replace

import academy
import numpy as np
import polars as pl
import pytest
import truth
from true_flight import carry_yd
from worlds import PLAIN

MANY = replace(PLAIN, golfers=40_000, speed_mph=(90.0, 1e-9))


@pytest.fixture(scope="module")
def crowd():
    return academy.draw_golfers(MANY, np.random.default_rng(1)).filter(quarter="2026Q1")


def test_the_region_holds_four_fifths_of_golfers(crowd):
    inside = truth.produced(MANY, 90.0)
    row = np.abs(truth.LAUNCH_GRID[:, None] - crowd["launch_deg"].to_numpy()[None, :4000]).argmin(axis=0)
    column = np.abs(truth.SPIN_GRID[:, None] - crowd["spin_rpm"].to_numpy()[None, :4000]).argmin(axis=0)
    assert inside[row, column].mean() == pytest.approx(0.80, abs=0.02)


def test_a_quarter_of_golfers_reach_the_better_ratio():
    few = replace(MANY, golfers=4000)
    golfers = academy.draw_golfers(few, np.random.default_rng(2)).filter(quarter="2026Q1")
    rng = np.random.default_rng(3)
    club, ball, _, _ = academy.draws_of_a_drive(
        rng.standard_normal((1, 401, 6)), rng.uniform(size=(1, 401)), rng.uniform(size=(1, 401)), golfers
    )
    assert (np.median(ball / club, axis=1) >= truth.better_ratio(few, 90.0)).mean() == pytest.approx(0.25, abs=0.03)


def test_efficient_carry_is_the_most_that_the_region_gives():
    best = truth.efficient(PLAIN, "steady", 95.0, 0.02)
    inside = best.inside.nonzero()
    carry = carry_yd("steady", best.ball_speed_mph, truth.LAUNCH_GRID[inside[0]], truth.SPIN_GRID[inside[1]]) * 1.02
    assert best.carry_yd == pytest.approx(carry.max(), abs=1e-9)
    assert best.ball_speed_mph == pytest.approx(95 * truth.better_ratio(PLAIN, 95.0))


def test_usual_figures_are_those_of_many_drives():
    # A quarter has 88 days: their forms leave the mean of a golfer 1/9 of a day's standard deviation to move by.
    world = replace(PLAIN, golfers=6, shots=(4000, 4000), days=(88, 88), faulty=1.0, lasting=0.02)
    one = academy.make_academy(world, "plain", 4)
    drives = one.drives.group_by("row").agg(
        (pl.col("true_ball_mph") / pl.col("true_club_mph")).median().alias("ratio"),
        pl.col("true_launch_deg").median(),
        pl.col("true_spin_rpm").median(),
        pl.col("true_carry_yd").mean(),
    ).sort("row")  # fmt: skip
    usual = one.usual
    np.testing.assert_allclose(usual["usual_ratio"], drives["ratio"], atol=0.0025)
    np.testing.assert_allclose(usual["usual_launch_deg"], drives["true_launch_deg"], atol=0.2)
    np.testing.assert_allclose(usual["usual_spin_rpm"], drives["true_spin_rpm"], rtol=0.015)
    scale = 1 + one.reference_share
    np.testing.assert_allclose(usual["mean_carry_yd"], drives["true_carry_yd"] * scale, atol=1.8)
