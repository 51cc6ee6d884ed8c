from itertools import product

import numpy as np
import pytest

from pipeline.coach.goals.goal_text import goal_text, shown
from pipeline.shown import IMPERIAL, METRIC, Units

EDGES = ("", "lo90_", "hi90_")


def answer_of(random):
    """Make an answer whose figures add up before they are rounded."""
    goal, present, club = random.uniform(180, 330), random.uniform(150, 300), random.uniform(70, 115)
    delivery = random.uniform(-10, 40)
    needed = club + random.uniform(-20, 20)
    figures = {
        "present_yd": present,
        "efficient_yd": present + delivery,
        "gap_yd": goal - present,
        "delivery_yd": delivery,
        "speed_yd": goal - present - delivery,
        "efficient_speed_mph": needed,
        "present_speed_mph": needed + 5,
    }
    edged = dict(figures)
    for name, value in figures.items():
        stem, unit = name.rsplit("_", 1)
        edged |= {f"{stem}_lo90_{unit}": value - 2, f"{stem}_hi90_{unit}": value + 2}
    edged |= {"quarters": 4.2, "quarters_lo90": 3.0, "quarters_hi90": None}
    return {"goal_yd": goal, "distance": "carry", "club_speed_mph": club, "reach": "both", **edged}


@pytest.mark.parametrize("units", [IMPERIAL, METRIC, Units("metres", "m/s")])
def test_figures_as_shown_add_up(units):
    random = np.random.default_rng(17)
    for _ in range(300):
        answer = answer_of(random)
        found = shown(answer, units, typed_speed=False)
        assert found.yards["delivery"] + found.yards["speed"] == found.yards["gap"]
        assert found.yards["gap"] == units.distance_whole(answer["goal_yd"]) - found.yards["present"]
        for name, each in (("efficient", 1), ("present", 1), ("gap", 1), ("delivery", 2), ("speed", 2)):
            assert abs(found.yards[name] - answer[f"{name}_yd"] / units.yd_each) <= each
        text = goal_text("a", answer, [], [], units, typed_speed=False)
        assert "-0 " not in text
        assert "nan" not in text


def test_a_rise_of_less_than_shown_is_told_so():
    answer = answer_of(np.random.default_rng(1)) | {"club_speed_mph": 100.0, "efficient_speed_mph": 100.3}
    assert "takes less than 1 mph more." in goal_text("a", answer, [], [], IMPERIAL, typed_speed=True)
    assert "as fast as today; 90 % interval: 98 to 102 mph" in goal_text(
        "a", answer | {"efficient_speed_lo90_mph": 98.1, "efficient_speed_hi90_mph": 102.2}, [], [], IMPERIAL, True
    )


def test_an_open_end_is_shown_as_dots():
    answer = answer_of(np.random.default_rng(1)) | {"efficient_speed_hi90_mph": None}
    lines = goal_text("a", answer, [], [], IMPERIAL, typed_speed=False).splitlines()
    assert lines[2].endswith("to ... mph")


def test_every_reach_has_its_sentence():
    for reach, units in product(("reached", "delivery", "both", "speed", None), (IMPERIAL, METRIC)):
        answer = answer_of(np.random.default_rng(5)) | {"reach": reach}
        sentence = goal_text("a", answer, ["b"], [], units, typed_speed=False).splitlines()[1]
        assert sentence.startswith("  ")
        assert sentence.endswith(".")
        assert "{" not in sentence
