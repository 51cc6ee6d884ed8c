"""Causes of a difference between devices, weighed by Bayes' rule."""

import numpy as np
import pytest
from scipy import stats

from pipeline.flight import device_doubt
from pipeline.flight.device_doubt import (
    BALL_MISREAD,
    CLUB_MISREAD,
    LIKE_SITES,
    LIKELY,
    PRIORS,
    left_over,
    still_misread,
    unseen,
    weigh_causes,
)

NO_CARRY = (0.0, np.inf)


def test_causes_add_up_to_one():
    for ratio in (-0.05, -0.01, 0.0, 0.02):
        causes = weigh_causes(ratio, 0.003, 1.48, (0.01, 0.004), 1.3)
        assert sum(vars(causes).values()) == pytest.approx(1)


def test_without_carry_causes_are_weighed_by_the_ratio_alone():
    causes = weigh_causes(-0.02, 0.003, 1.0, NO_CARRY, 1.3)  # a ratio that any club face gives

    sds = {"alike": 0.0, "golfers": device_doubt.POORER_SITE, "club": CLUB_MISREAD, "ball": BALL_MISREAD}
    spread = {name: np.sqrt(sd**2 + 0.003**2 + LIKE_SITES**2) for name, sd in sds.items()}
    weight = {name: PRIORS[name] * stats.norm.pdf(-0.02, 0, sd) for name, sd in spread.items()}
    for name, value in weight.items():
        assert getattr(causes, name) == pytest.approx(value / sum(weight.values()))


def test_no_difference_is_most_likely_none():
    assert weigh_causes(0.0, 0.003, 1.48, (0.0, 0.004), 1.3).alike > 0.75


SIZES = ("LIKE_SITES", "POORER_SITE", "CLUB_MISREAD", "BALL_MISREAD", "CARRY_RIGHT", "CARRY_OFF", "RATIO_LIMIT_SD")


@pytest.mark.parametrize("factor", [0.5, 2.0])
@pytest.mark.parametrize("name", SIZES)
def test_verdicts_do_not_rest_on_one_assumed_size(name, factor, monkeypatch):
    monkeypatch.setattr(device_doubt, name, factor * getattr(device_doubt, name))

    club_low, far_site, agree = (
        weigh_causes(ratio, 0.0028, higher, (carry, 0.0043), 1.5)
        for ratio, higher, carry in ((0.03, 1.525, 0.0), (-0.0185, 1.482, 0.0), (0.002, 1.485, 0.02))
    )

    assert club_low.misread > LIKELY
    assert club_low.club > club_low.ball
    assert far_site.misread < LIKELY
    assert agree.misread < 0.3


def test_carry_that_goes_with_the_ratio_speaks_for_ball_speed():
    lonely, together = (weigh_causes(-0.02, 0.003, 1.48, (carry, 0.004), 1.3) for carry in (0.0, 0.026))

    assert lonely.club > 3 * lonely.ball
    assert together.ball > 3 * together.club


def test_a_ratio_that_no_club_face_gives_is_not_the_golfers():
    within, beyond = (weigh_causes(0.03, 0.003, higher, (0.0, 0.004), 1.3) for higher in (1.48, 1.53))

    assert within.golfers > 0.25
    assert beyond.golfers < 0.01
    assert beyond.club > 0.8


@pytest.mark.parametrize("corrected", [None, "club", "ball"])
def test_what_is_left_over_is_what_draws_of_the_causes_leave(corrected):
    rng = np.random.default_rng(3)
    causes, ratio, error = weigh_causes(-0.02, 0.003, 1.48, (0.01, 0.004), 1.3), -0.02, 0.003
    noise = error**2 + LIKE_SITES**2
    applied = {None: (0.0, 0.0), "club": (-ratio, 0.0), "ball": (0.0, ratio)}[corrected]
    n = 200_000
    cause = rng.choice(4, n, p=list(vars(causes).values()))
    club, ball = np.zeros(n), np.zeros(n)
    for place, sd, size in ((2, CLUB_MISREAD, club), (3, BALL_MISREAD, ball)):
        share = sd**2 / (sd**2 + noise)
        drawn = share * ratio + np.sqrt(share * noise) * rng.standard_normal(n)
        size[cause == place] = ((-1.0 if place == 2 else 1.0) * drawn)[cause == place]
    left = np.stack([club - applied[0], ball - applied[1]])

    assert left_over(causes, ratio, error, corrected) == pytest.approx(left @ left.T / n, rel=0.03, abs=2e-7)


def test_a_reading_that_agrees_is_hardly_misread_and_one_unseen_by_what_devices_do():
    agrees, differs = still_misread(np.array([0.0, 0.04]), np.array([0.004, 0.004]), ("club_speed_mph",) * 2)

    assert np.sqrt(agrees) < 0.002
    assert np.sqrt(differs) == pytest.approx(0.04, rel=0.05)
    assert np.sqrt(np.diag(unseen())) == pytest.approx([CLUB_MISREAD / np.sqrt(8), BALL_MISREAD / np.sqrt(8)])
