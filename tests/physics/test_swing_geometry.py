"""The ties of attack, path, plane and direction against a head that is really moved in a plane, and by symmetry."""

import numpy as np
import pytest

from pipeline.physics.swing_geometry import (
    USUAL_PLANE_DEG,
    direction_of_deg,
    path_of_deg,
    path_turn_deg,
    turn_for_straight_path_deg,
)


def swings(n=200):
    """Give directions, attacks and planes."""
    rng = np.random.default_rng(7)
    return rng.uniform(-30, 30, n), rng.uniform(-18, 18, n), rng.uniform(20, 89, n)


def test_an_upward_strike_of_7_deg_turns_the_path_by_5_and_a_half():
    # Common practice, no source: a swing about 6.5 deg to the right with an attack of nearly 7 deg has a path of about
    # 1 deg; by geometry at a plane of 52 deg the path is turned by 5.5 deg.
    assert path_turn_deg(7.0, 52.0) == pytest.approx(-5.5, abs=0.01)
    assert path_of_deg(6.5, 7.0, USUAL_PLANE_DEG) == pytest.approx(1.0, abs=0.01)


def test_the_path_is_that_of_a_head_on_a_circle_in_the_tilted_plane():
    direction, attack, plane = swings()
    # A circle in the plane, turned first about the target line and then about the vertical; the head's velocity where
    # it rises at the attack.
    d, p, q = (
        np.radians(direction),
        np.radians(plane),
        np.arcsin(np.sin(np.radians(attack)) / np.sin(np.radians(plane))),
    )
    forward, left, up = np.cos(q), np.sin(q) * np.cos(p), np.sin(q) * np.sin(p)
    ground = np.array([forward * np.cos(d) + left * np.sin(d), forward * np.sin(d) - left * np.cos(d)])

    np.testing.assert_allclose(np.degrees(np.arcsin(up)), attack, atol=1e-9)
    found = path_of_deg(direction, attack, plane)
    np.testing.assert_allclose(found, np.degrees(np.arctan2(ground[1], ground[0])), atol=1e-9)


@pytest.mark.parametrize("right_handed", [True, False])
def test_path_and_direction_are_a_round_trip(right_handed):
    direction, attack, plane = swings()
    path = path_of_deg(direction, attack, plane, right_handed=right_handed)

    np.testing.assert_allclose(direction_of_deg(path, attack, plane, right_handed=right_handed), direction, atol=1e-12)


def test_left_handed_is_the_mirror_image():
    direction, attack, plane = swings()

    left = path_of_deg(-direction, attack, plane, right_handed=False)

    np.testing.assert_allclose(left, -path_of_deg(direction, attack, plane), atol=1e-12)
    assert path_turn_deg(5.0, 50.0) < 0 < path_turn_deg(5.0, 50.0, right_handed=False)


def test_hands_may_differ_from_swing_to_swing():
    both = path_turn_deg([5.0, 5.0], 50.0, right_handed=[True, False])

    assert both[0] == -both[1] != 0


def test_limits():
    # Level, and upright: the path is the direction. As steep as the plane: straight up its steepest line, 90 deg left.
    assert path_turn_deg(0.0, 45.0) == 0
    assert path_turn_deg(9.0, 90.0) == pytest.approx(0, abs=1e-12)
    assert path_turn_deg(45.0 - 1e-9, 45.0) == pytest.approx(-90, abs=0.01)
    # A small attack turns by a over tan p, to the third order.
    small = path_turn_deg(0.1, 52.0)
    assert small == pytest.approx(-0.1 / np.tan(np.radians(52.0)), rel=1e-5)
    assert path_turn_deg(-0.1, 52.0) == pytest.approx(-small, rel=1e-12)


def test_after_the_turn_the_new_swing_is_straight():
    direction, attack, plane = swings()
    path, higher = path_of_deg(direction, attack, plane), attack + 1.5

    turn = turn_for_straight_path_deg(path, attack, plane, new_attack_deg=higher)

    np.testing.assert_allclose(path_of_deg(direction + turn, higher, plane), 0, atol=1e-12)
    # At the present attack the turn is the path, back.
    np.testing.assert_allclose(
        turn_for_straight_path_deg(path, attack, plane, new_attack_deg=attack), -path, atol=1e-12
    )


def test_unknown_stays_unknown():
    assert np.isnan(path_turn_deg([1.0, np.nan], [np.nan, 50.0])).all()


@pytest.mark.parametrize(
    ("attack", "plane", "told"),
    [(3, 0, "plane_deg must be above 0"), (3, 91, "at most 90"), (30, 30, "flatter"), (-31, 30, "flatter")],
)
def test_impossible_swings_are_refused(attack, plane, told):
    with pytest.raises(ValueError, match=told):
        path_turn_deg(attack, plane)
