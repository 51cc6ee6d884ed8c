"""A small proving ground: one academy of the plain world, each target held with room for its luck."""

import coach
import measures
import polars as pl
import pytest
from prove_world import prove


@pytest.fixture(scope="module")
def judged():
    return prove("plain", 1)


@pytest.fixture(scope="module")
def found(judged):
    return measures.measures(judged)


def test_efficient_carry_and_yards_lost_are_near_the_truth(judged, found):
    # Of one academy the golfers' luck alone is 1 to 2 yd (the oracle's error); 12 yd would be the first band's width.
    errors = measures.full_bands(judged).select((pl.col("estimate") - pl.col("truth")).abs().max())
    assert errors.item() < 4.0
    assert abs(found["lost_bias_yd"]) < 3.0
    assert 0.70 < found["lost_coverage90"] <= 1.0


def test_expected_carry_is_nearly_as_good_as_the_oracles(found):
    assert 0.98 < found["held_out_readings_ratio"] < 1.08
    assert 0.98 < found["held_out_least_ratio"] < 1.1
    assert found["held_out_rmse_ratio"] < 1.2


def test_the_window_is_true_and_not_tiny(found):
    assert found["window_true_share"] > 0.9
    assert found["window_size_share"] > 0.3
    assert found["window_missing"] == 0


@pytest.mark.parametrize("part", measures.PARTS)
def test_parts_are_near_the_truth(found, part):
    assert abs(found[f"{part}_bias_yd"]) < 2.5


def test_flags_and_causes(found):
    assert found["cause_right"] >= 0.9
    assert found["false_flags"] <= 0.1
    assert found["power"] >= 0.85


@pytest.fixture(scope="module")
def coached(judged):
    # An academy alone has no golfers with two lofts.
    parts = [coach.PARTS[name] for name in ("goals", "progress", "delivery")]
    return {name: value for part in parts for name, value in part.measures(judged).items()}


def test_goals_are_near_the_truth(coached):
    assert abs(coached["goal_efficient_speed_bias_mph"]) < 2.0
    assert abs(coached["goal_present_speed_bias_mph"]) < 1.0
    assert abs(coached["goal_delivery_bias_yd"]) < 3.0
    assert abs(coached["goal_speed_bias_yd"]) < 3.0
    assert 0.75 < coached["goal_delivery_coverage90"] < 1.0
    assert coached["first_right"] > 0.9


def test_progress_is_near_the_truth_where_nothing_changed(coached, judged):
    assert set(judged["progress"]["case"]) == {"nothing changed"}
    assert 0.80 < coached["progress_coverage90"] < 0.97
    assert coached["progress_null_told"] < 0.05
    assert coached["progress_gap_yd"] < 1e-6


def test_what_a_change_of_delivery_brings_is_near_the_truth(coached):
    assert abs(coached["attack_slope_bias"]) < 0.3
    assert coached["naive_bias"] > 0.1
    assert abs(coached["gain_bias_yd"]) < 1.5
    assert coached["missed_yd"] < 1.0
    assert coached["advice_right"] > 0.9


def test_nothing_changed_and_next_to_nothing_is_told(found):
    assert 0.80 < found["null_change_coverage90"] < 0.98
    assert found["null_change_found"] < 0.05
