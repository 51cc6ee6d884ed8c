"""The planner's intervals on a few of the proving ground's golfers, and that the judge can tell a bad one."""

import coach_planner
import polars as pl
import pytest
from coach_planner import ENDS, GAINS, GOES_ON, measure_planner, prove_planner

from pipeline.coach.practice import outlook


@pytest.fixture(scope="module")
def judged():
    return prove_planner(2, (GOES_ON[0], ENDS[0], ENDS[2]))


def of_world(judged, world):
    return measure_planner(*(judged[name].filter(pl.col("world") == world) for name in ("planner", "planner_goals")))


def test_intervals_hold_the_speeds_to_come_though_gains_end(judged):
    for world in ("plain", "levels off", "stops with the last session"):
        found = of_world(judged, world)
        for weeks in (4, 8, 12):
            assert found[f"count_{weeks}"] == 80
            assert found[f"coverage90_{weeks}"] > 0.8  # three binomial standard errors below 90 %
    assert of_world(judged, "plain")["due_coverage90"] > 0.8


def test_a_planner_that_takes_gains_as_lasting_fails_where_they_stop(judged, monkeypatch):
    monkeypatch.setattr(outlook, "OVER", 0.0)

    bold = of_world(prove_planner(2, (ENDS[2],)), ENDS[2].name)

    assert bold["coverage90_12"] < of_world(judged, ENDS[2].name)["coverage90_12"] - 0.1


def test_every_target_is_measured(judged):
    found = coach_planner.measures(judged["planner"], judged["planner_goals"])

    assert {target.measure for target in coach_planner.TARGETS} <= set(found)
    assert GAINS.course == "straight"
