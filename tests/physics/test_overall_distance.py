"""The rules' test of overall distance: which sets describe a ball that could pass it."""

import numpy as np
import pytest

from pipeline.physics.air import Air
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.impact import strike
from pipeline.physics.overall_distance import (
    BALL_SPEED_MPH,
    LIMIT_YD,
    SPIN_RPM,
    overall_distance_yd,
    sets_within_the_limit,
)
from pipeline.physics.turf import FIRM, NORMAL, SOFT

# The rules' own air (75 deg F, 30 inHg, 50 % humidity), from memory.
RULES_AIR = Air.of(23.9, 101_592.0, 0.5)


@pytest.mark.parametrize("air", [Air.of(15.0, 101_325.0, 0.0), RULES_AIR], ids=["standard", "rules"])
@pytest.mark.parametrize("turf", [SOFT, NORMAL, FIRM], ids=["soft", "normal", "firm"])
def test_the_verdict_does_not_depend_on_the_assumed_fairway_or_the_air(turf, air):
    # Balls in play pass: a set beyond the limit describes none of them. What is assumed must not decide that.
    within = {name for name in SETS if overall_distance_yd(Ball(name), air, turf) <= LIMIT_YD}
    assert within == set(sets_within_the_limit()) == {"indoor-range-2001", "smits-smith-1994"}


@pytest.mark.parametrize("ball_speed_mph", [166.0, 184.0])
def test_the_verdict_does_not_depend_on_the_assumed_ball_speed(ball_speed_mph, monkeypatch):
    usual = sets_within_the_limit()
    monkeypatch.setattr("pipeline.physics.overall_distance.BALL_SPEED_MPH", ball_speed_mph)
    assert sets_within_the_limit() == usual


def test_the_ball_speed_is_that_of_rigid_impact_at_the_tests_spin():
    lofts = np.linspace(5, 15, 1001)
    made = strike(120 * 0.44704, 0.0, lofts, restitution=0.82)
    speed = np.interp(SPIN_RPM, made.spin_rpm, made.ball_speed_mps) / 0.44704
    assert speed == pytest.approx(BALL_SPEED_MPH, abs=1.0)


def test_more_drag_and_softer_turf_shorten_it():
    assert overall_distance_yd(Ball(drag=0.9)) > overall_distance_yd(Ball()) + 10
    assert overall_distance_yd(Ball(drag=1.1)) < overall_distance_yd(Ball()) - 10
    # The run counts: some 10 yd lie between soft and normal turf.
    assert 5 < overall_distance_yd(Ball()) - overall_distance_yd(Ball(), turf=SOFT) < 15
