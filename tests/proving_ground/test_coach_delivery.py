"""The proving ground's swings are what they are said to be, and a small judgement of what is found in them."""

from dataclasses import replace

import coach_delivery
import numpy as np
import polars as pl
import pytest
import true_impact
from academy import draw_golfers
from worlds import PLAIN


@pytest.fixture(scope="module")
def golfers():
    few = replace(PLAIN, golfers=4)
    return true_impact.swing(few, draw_golfers(few, np.random.default_rng(1)), np.random.default_rng(2))


def test_drives_follow_their_attack_by_the_golfers_own_slopes(golfers):
    one = golfers[:1]
    rng = np.random.default_rng(3)
    many, spread = 40_000, np.array([1.1, 180.0, 0.012])
    luck = rng.standard_normal((many, 3))

    attack = true_impact.attack_of_swings(one[[0] * many], luck, np.tile(spread, (many, 1)), rng)

    moved = luck * spread
    found = [np.cov(attack, y)[0, 1] / attack.var() for y in moved.T]
    assert np.abs((found - true_impact.own_slopes(one)[0]) / spread).max() < 0.03
    assert attack.mean() == pytest.approx(one["attack_deg"].item(), abs=0.02)


def test_another_loft_moves_launch_up_and_strike_down_as_much_as_arrives(golfers):
    change = true_impact.change_of_loft(golfers, np.full(golfers.height, 2.0))

    assert ((change > 0) == [True, True, False]).all()
    # 84 to 87 % of what arrives goes into launch (the rest is how the ball lags the face).
    share = change[:, 0] / (2 * golfers["arrives"].to_numpy())
    assert ((share > 0.78) & (share < 0.92)).all()


@pytest.mark.long
def test_slopes_within_golfers_are_near_the_truth_and_the_naive_one_is_not():
    rows = coach_delivery.prove_delivery("large", 3, 0)[0].filter(pl.col("response") == "launch_deg")

    assert (rows["slope"] - rows["truth"]).abs().max() < 0.08
    assert (rows["naive"] - rows["truth"]).abs().min() > 0.25


@pytest.mark.long
def test_gains_of_one_academy_are_near_the_truth():
    slopes, golfers = coach_delivery.prove_delivery("few-golfers", 1, 1)

    found = coach_delivery.measures(slopes, golfers)
    assert abs(found["gain_bias_yd"]) < 1.5
    assert found["missed_yd"] < 1.0
    assert found["gain_coverage90"] > 0.6
