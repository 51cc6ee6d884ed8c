import numpy as np
import pytest
from goal_samples import sample_curve, sample_present

from pipeline.bands import SpeedBands
from pipeline.coach.goals.default_goal import choose_goals, years_step
from pipeline.coach.goals.pace import Gain

BANDS = SpeedBands.of((80, 90, 100), 5)
GAIN = Gain.of(0.5, 0.1, 0.8, 40, 80)  # 2 mph a year, 5 yd of efficient carry
UNSEEN = Gain.of(0.1, 0.1, 0.8, 40, 80)


def chosen(speed, short, asked=None, gain=GAIN, bands=BANDS, reach=0.0, **curve):
    """Choose for golfers who are `short` of the efficient carry, 2.5 yd a mph, and whose carry is known to `reach`."""
    speed = np.atleast_1d(np.array(speed, dtype=float))
    present = sample_present(speed, shortfall=2.8 * speed - 40 - 2.5 * speed + short, reach=reach)
    found = choose_goals(present, bands, asked or {}, sample_curve(**curve), gain)
    return found.goal_yd.tolist(), found.source.tolist(), found


def test_the_study_sets_a_bands_goal_whatever_the_carry():
    goal, source, found = chosen([81, 85, 94.99, 104], [20, 20, -3, 20], asked={90.0: 240.0})
    assert found.band_mph.tolist() == [80, 90, 90, 100]
    assert goal == pytest.approx([202.5, 240.0, 240.0, 260.0])
    assert source == ["own speed", "study", "study", "own speed"]


def test_between_bands_the_study_sets_none():
    goal, source, found = chosen([86], 20, asked={90.0: 240.0}, bands=SpeedBands.of((80, 90, 100), 2))
    assert np.isnan(found.band_mph[0])
    assert (goal, source) == ([215.0], ["own speed"])


def test_the_efficient_carry_at_ones_own_speed_stands_until_carry_cant_be_told_from_it():
    goal, source, _ = chosen([90] * 4, [20, 2.1, 1.9, -0.5])
    assert goal == pytest.approx([225, 225, 230, 230.5])
    assert source == ["own speed", "own speed", "a year's gain", "a year's gain"]
    assert chosen([90, 90], [4, 4], reach=3.9)[1] == ["own speed"] * 2
    assert chosen([90, 90], [4, 4], reach=4.1)[1] == ["a year's gain"] * 2


def test_who_carries_more_than_efficient_keeps_the_lead():
    goal, _, _ = chosen([90, 90], [0, -12])
    assert goal == pytest.approx([230, 242])


def test_golfers_of_the_last_band_and_above_have_goals_as_far_as_the_data_reach():
    goal, source, _ = chosen([104, 108, 109], [20, 0, 0])
    assert goal == pytest.approx([260, 275, np.nan], nan_ok=True)
    assert source == ["own speed", "a year's gain", ""]


@pytest.mark.parametrize("gain", [None, UNSEEN])
def test_without_a_pace_that_shows_a_small_step_stands_in(gain):
    goal, source, _ = chosen([90, 90], [20, 0], gain=gain)
    assert goal == pytest.approx([225, 227.5])
    assert source == ["own speed", "a small step"]
    assert years_step(gain) == (1.0, "a small step")


def test_the_next_band_is_the_goal_only_when_its_center_is_within_a_years_gain():
    fast = Gain.of(1.5, 0.2, 0.8, 40, 80)  # 6 mph a year
    goal, source, _ = chosen([83.9, 84.1, 84.1, 84.1], [0, 0, 20, -14], gain=fast)
    assert goal == pytest.approx([224.75, 225, 210.25, 210.25 + 14 + 15])
    assert source == ["a year's gain", "next band", "own speed", "a year's gain"]
    # The next band's center lies beyond the data.
    assert chosen([84.1], 0, gain=fast, speeds=range(80, 90))[1] == [""]


def test_a_next_band_that_is_not_near_is_no_goal():
    assert chosen([84.9], 0)[1] == ["a year's gain"]
