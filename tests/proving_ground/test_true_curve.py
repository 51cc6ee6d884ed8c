import numpy as np
import pytest
import true_curve
import true_flight
from scipy.integrate import solve_ivp
from true_curve import bend_yd, land_yd
from true_flight import BALLS, MASS_KG, RADIUS_M, air, carry_yd, fly_yd

NO_AIR = {"density": 0.0, "viscosity": 1.5e-5}


@pytest.fixture
def drives():
    rng = np.random.default_rng(0)
    return rng.uniform(75, 185, 600), rng.uniform(4, 28, 600), rng.uniform(900, 7000, 600)


@pytest.fixture
def sideways():
    rng = np.random.default_rng(1)
    return rng.uniform(-8, 8, 600), rng.uniform(-45, 45, 600), rng.uniform(-6, 6, 600)


@pytest.mark.parametrize("ball", list(BALLS))
def test_a_straight_drive_flies_as_in_the_plane(ball, drives):
    carry, offline = land_yd(ball, drives)
    assert carry == pytest.approx(fly_yd(ball, *drives, *air(0.0, 15.0)), abs=1e-9)
    assert np.abs(offline).max() < 1e-9


def test_left_is_the_mirror_image_of_right(drives, sideways):
    carry, offline = land_yd("lively", drives, *sideways)
    mirrored, other = land_yd("lively", drives, *(-x for x in sideways))
    assert mirrored == pytest.approx(carry, abs=1e-9)
    assert other == pytest.approx(-offline, abs=1e-9)


def test_start_axis_and_wind_to_the_right_bring_drives_to_the_right():
    drive = ([150.0] * 3, [13.0] * 3, [2600.0] * 3)
    _, offline = land_yd("plain", drive, [3.0, 0.0, 0.0], [0.0, 10.0, 0.0], [0.0, 0.0, 5.0])
    assert (offline > 8).all()


def test_without_air_only_the_start_counts():
    carry, offline = land_yd("plain", ([100.0], [20.0], [2500.0]), 6.0, 20.0, 5.0, **NO_AIR)
    v = 100 * 0.44704
    assert carry[0] == pytest.approx(v * v * np.sin(np.radians(40)) / 9.80665 / 0.9144, rel=1e-4)
    assert offline[0] == pytest.approx(carry[0] * np.sin(np.radians(6)), rel=1e-9)


def test_start_turns_the_flight_about_the_tee(drives, sideways):
    side, axis, _ = sideways
    ahead, drift = land_yd("steady", drives, 0.0, axis)
    carry, offline = land_yd("steady", drives, side, axis)
    assert carry == pytest.approx(ahead, abs=1e-9)
    assert offline == pytest.approx(
        np.sqrt(ahead**2 - drift**2) * np.sin(np.radians(side)) + drift * np.cos(np.radians(side)), abs=1e-9
    )


@pytest.mark.parametrize(("ball", "side", "axis", "cross"), [("plain", 2.0, 12.0, 5.0), ("lively", -3.0, -25.0, 3.0)])
def test_scipys_integrator_lands_in_the_same_place(ball, side, axis, cross):
    """Written once more, with an adaptive step and the landing found as an event."""
    density, viscosity = air(0.0, 15.0)
    turn, tilt, rise = np.radians([side, axis, 14.0])

    def slope(_, state):
        v, omega = state[3:6], state[6]
        u = v - np.array([0.0, 0.0, cross])
        speed = np.linalg.norm(u)
        drag, lift = BALLS[ball](2 * RADIUS_M * speed / viscosity, min(RADIUS_M * omega / speed, 0.4))
        # Axis by turning a level one, to the right of the start, about the ball's first direction.
        first = np.array([np.cos(rise) * np.cos(turn), np.sin(rise), np.cos(rise) * np.sin(turn)])
        right, up = np.array([-np.sin(turn), 0, np.cos(turn)]), np.array([0.0, 1.0, 0.0])
        about = right * np.cos(tilt) - np.cross(right, first) * np.sin(tilt)
        assert abs(about @ first) < 1e-12
        push = density * np.pi * RADIUS_M**2 / 2 / MASS_KG * speed
        pulled = push * (lift * np.cross(about, u) - drag * u) - 9.80665 * up
        return [*v, *pulled, -2.5e-5 * speed * omega / RADIUS_M]

    def ground(t, state):
        return state[1] + (t < 1)

    ground.terminal = True
    v0 = 145 * 0.44704 * np.array([np.cos(rise) * np.cos(turn), np.sin(rise), np.cos(rise) * np.sin(turn)])
    found = solve_ivp(slope, (0, 15), [0, 0, 0, *v0, 2700 * np.pi / 30], events=ground, rtol=1e-9, atol=1e-9)
    x, _, z = found.y_events[0][0][:3] / 0.9144
    carry, offline = land_yd(ball, ([145.0], [14.0], [2700.0]), side, axis, cross)
    assert carry[0] == pytest.approx(np.hypot(x, z), abs=0.02)
    assert offline[0] == pytest.approx(z, abs=0.02)


def test_a_shorter_step_changes_next_to_nothing(drives, sideways, monkeypatch):
    few, at = [x[:60] for x in drives], [x[:60] for x in sideways]
    usual = np.array(land_yd("lively", few, *at))
    monkeypatch.setattr(true_flight, "STEP_S", 0.01)
    assert np.abs(usual - land_yd("lively", few, *at)).max() < 0.02


@pytest.mark.parametrize("ball", ["plain", "lively", "steady"])
def test_the_grid_agrees_with_direct_flight(ball, drives, sideways):
    side, axis, _ = sideways
    apart = np.abs(bend_yd(ball, drives, side, axis, carry_yd(ball, *drives)) - land_yd(ball, drives, side, axis))
    assert apart.mean() < 0.03
    assert apart.max() < 1.0


def test_more_axis_costs_more_carry():
    axis = np.array([0.0, 5.0, 10.0, 20.0])
    drive = tuple(np.full(4, x) for x in (140.0, 13.5, 2700.0))
    cost = carry_yd("plain", *drive) - true_curve.bend_yd("plain", drive, 0 * axis, axis, carry_yd("plain", *drive))[0]
    assert cost[0] == pytest.approx(0.0, abs=0.02)
    # To first order the lift lost, and with it the carry, goes with 1 - cos of the axis.
    assert cost[2] / cost[1] == pytest.approx(4.0, rel=0.1)
    assert cost[3] / cost[1] == pytest.approx(15.8, rel=0.15)
