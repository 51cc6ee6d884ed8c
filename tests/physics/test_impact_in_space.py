"""The impact with path and face against the one in the vertical plane, by symmetry, turning and conservation laws."""

import numpy as np
import pytest

from pipeline.physics.impact import face_share, strike, strike_in_space

BALL_KG, RADIUS_M = 0.04593, 0.04267 / 2  # R&A and USGA, Equipment Rules, Part 4: the limits of mass and diameter.
ALIKE = ("ball_speed_mps", "launch_deg", "spin_rpm")
SIDES = ("launch_side_deg", "spin_axis_deg")


def swings(n=300):
    """Give speeds, attacks, lofts, paths, faces, restitutions and masses."""
    rng = np.random.default_rng(4)
    attack = rng.uniform(-6, 8, n)
    path = rng.uniform(-8, 8, n)
    return (
        rng.uniform(25, 60, n), attack, attack + rng.uniform(4, 30, n), path, path + rng.uniform(-8, 8, n),
        rng.uniform(0.6, 0.86, n), rng.uniform(0.15, 0.25, n),
    )  # fmt: skip


def test_without_side_it_is_the_impact_in_the_vertical_plane():
    speed, attack, loft, _, _, e, mass = swings()
    loft = np.where(np.arange(len(loft)) % 4 == 0, attack - 3.0, loft)  # some with topspin
    flat = strike(speed, attack, loft, e, mass)

    found = strike_in_space(speed, attack, loft, 0.0, 0.0, e, mass)

    for name in ALIKE:
        np.testing.assert_allclose(getattr(found, name), getattr(flat, name), rtol=1e-9, atol=1e-9)
    for name in SIDES:
        np.testing.assert_allclose(getattr(found, name), 0, atol=1e-9)
    assert (found.spin_rpm < 0).any()


def test_aiming_both_elsewhere_turns_the_start_and_nothing_else():
    speed, attack, loft, path, face, e, mass = swings()
    straight = strike_in_space(speed, attack, loft, path, face, e, mass)

    turned = strike_in_space(speed, attack, loft, path + 11.0, face + 11.0, e, mass)

    np.testing.assert_allclose(turned.launch_side_deg, straight.launch_side_deg + 11.0, atol=1e-9)
    for name in (*ALIKE, "spin_axis_deg"):
        np.testing.assert_allclose(getattr(turned, name), getattr(straight, name), rtol=1e-9, atol=1e-9)


def test_mirrored_swings_have_mirrored_sides():
    speed, attack, loft, path, face, e, mass = swings()
    one, other = (strike_in_space(speed, attack, loft, s * path, s * face, e, mass) for s in (1, -1))

    for name in ALIKE:
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=1e-12)
    for name in SIDES:
        np.testing.assert_allclose(getattr(one, name), -getattr(other, name), atol=1e-9)


def test_a_face_right_of_the_path_starts_between_them_and_bends_right():
    ball = strike_in_space(45.0, 2.0, 14.0, -2.0, 2.0)

    assert -2 < ball.launch_side_deg < 2
    assert ball.launch_side_deg > 0
    assert 10 < ball.spin_axis_deg < 30
    assert ball.launch_deg == pytest.approx(strike(45.0, 2.0, 14.0).launch_deg, abs=0.05)


def test_a_tilted_plane_hides_one_and_the_same_impact():
    # With the angle between path and face as the difference of loft and attack.
    speed, attack, loft, path, face, e, mass = swings()
    a, b, side = np.radians(attack), np.radians(loft), np.radians(face - path)
    between = np.degrees(np.arccos(np.cos(a) * np.cos(b) * np.cos(side) + np.sin(a) * np.sin(b)))
    flat = strike(speed, 0.0, between, e, mass)

    found = strike_in_space(speed, attack, loft, path, face, e, mass)

    np.testing.assert_allclose(found.ball_speed_mps, flat.ball_speed_mps, rtol=1e-9)
    np.testing.assert_allclose(found.spin_rpm, flat.spin_rpm, rtol=1e-9)


def test_small_angles_have_the_shares_and_the_axis_of_the_plane():
    # The axis is square to the plane of path and face, which leans by (face - path) over (loft - attack).
    ball = strike_in_space(45.0, 0.02, 0.12, 0.01, 0.04)

    start = 0.01 + face_share(0.02, 0.12) * 0.03
    assert ball.launch_side_deg == pytest.approx(start, rel=1e-5)
    assert ball.spin_axis_deg == pytest.approx(np.degrees(np.arctan(0.03 / 0.10)), rel=1e-4)


@pytest.mark.parametrize(("attack", "loft"), [(0.0, 10.0), (4.0, 15.0), (-3.0, 14.0)])
def test_the_share_of_the_face_is_the_slope_of_the_start(attack, loft):
    step = 1e-3
    sides = [strike_in_space(45.0, attack, loft, 0.0, face).launch_side_deg for face in (-step, step)]
    by_path = [strike_in_space(45.0, attack, loft, path, 0.0).launch_side_deg for path in (-step, step)]

    share = face_share(attack, loft)

    assert np.diff(sides)[0] / (2 * step) == pytest.approx(share, rel=1e-6)
    assert np.diff(by_path)[0] / (2 * step) == pytest.approx(1 - share, rel=1e-5)
    # From memory: figures of the literature for drivers are about 0.8 to 0.9. A rigid ball is at the low end.
    assert 0.8 < share < 0.82


def test_a_square_strike_has_no_axis():
    ball = strike_in_space(45.0, 4.0, 4.0, 3.0, 3.0)

    assert ball.spin_rpm == pytest.approx(0, abs=1e-9)
    assert ball.launch_side_deg == pytest.approx(3.0)


@pytest.mark.parametrize("loft", [10.0, 4.0, -2.0])
def test_a_face_to_the_right_bends_right_with_backspin_and_with_topspin(loft):
    ball = strike_in_space(45.0, 4.0, loft, 0.0, 5.0)

    assert 0 < ball.spin_axis_deg <= 90
    # With no loft beside the attack all spin is to the side.
    assert (ball.spin_axis_deg > 89) == (loft == 4.0)


def test_everything_broadcasts_and_unknown_stays_unknown():
    ball = strike_in_space(45.0, 2.0, 14.0, np.array([0.0, np.nan, 2.0]), 1.0)

    assert ball.spin_axis_deg.shape == ball.spin_rpm.shape == (3,)
    assert np.isnan(ball.launch_side_deg).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("swing", "told"),
    [
        ((45, 0, 10, 0, 95), "within 90 deg"),
        ((0, 2, 14, 0, 0), "club_speed_mps and club_mass_kg"),
        ((45, 2, 14, 0, 0, 1.2), "restitution must be"),
    ],
)
def test_impossible_swings_are_refused(swing, told):
    with pytest.raises(ValueError, match=told):
        strike_in_space(*swing)
