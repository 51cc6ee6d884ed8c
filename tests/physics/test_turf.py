"""Bounce and run on turf: published restitution, closed forms, invariances and the directions physics fixes."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.physics import turf as turf_module
from pipeline.physics.turf import (
    BALL_RADIUS_M,
    FIRM,
    FIRMNESS,
    NEIGHBORS,
    NORMAL,
    SOFT,
    Turf,
    bounce,
    restitution,
    roll_m,
    run_m,
)

G = 9.80665
GREEN = Turf()  # Penner's own values
# Rigid, level, frictionless: every bounce keeps the horizontal speed and the share e of the vertical one.
RIGID = Turf(friction=0, tilt_deg=0, restitution=(0.5, 0, 0), restitution_end=0.5, rolling_g=0.1, grass_m=0.01)


def landings(n, seed=1):
    rng = np.random.default_rng(seed)
    return rng.uniform(0, 35, n), rng.uniform(0, 90, n), rng.uniform(-300, 1200, n)


def energy(along_mps, vertical_mps, spin_rad_s):
    # Of a uniform sphere, times 2 / m.
    return along_mps**2 + vertical_mps**2 + 2 / 5 * (BALL_RADIUS_M * spin_rad_s) ** 2


@pytest.mark.parametrize(
    ("normal_mps", "published"), [(1, 0.473403), (5, 0.345075), (10, 0.2253), (20, 0.120), (30, 0.120)]
)
def test_restitution_of_a_green(normal_mps, published):
    # Penner 2002 (second-hand): 0.510 - 0.0375 v + 0.000903 v^2, worked out by hand; 0.120 from 20 m/s.
    assert restitution(normal_mps, GREEN) == pytest.approx(published, abs=1e-12)


def test_restitution_never_exceeds_one():
    assert restitution(0.0, Turf(restitution_scale=3)) == 1


def test_bounces_on_a_rigid_surface_are_a_geometric_series():
    # Rebounds of 4, 2, 1 and 0.5 m/s clear 10 mm (0.443 m/s), the next does not.
    expected_m = 2 * 5 / G * (4 + 2 + 1 + 0.5) + 5**2 / (2 * 0.1 * G)
    found_m = run_m(np.hypot(5, 8), np.degrees(np.arctan2(8, 5)), 100.0, RIGID)
    assert found_m == pytest.approx(expected_m, rel=1e-12)


def test_rolling_ball_covers_its_stopping_distance():
    # Lands flat, already rolling: topspin of v / r. v^2 / 2a with the green's a = 5/7 0.131 g (Penner 2002).
    run = run_m(2.0, 0.0, -2.0 / BALL_RADIUS_M, replace(GREEN, tilt_deg=0))
    assert run == pytest.approx(2.0**2 / (2 * 5 / 7 * 0.131 * G), rel=1e-12)


def test_skidding_ball_slides_before_it_rolls():
    # Closed form: without spin it slides from v to 5/7 v at 0.40 g, then rolls. A flat landing has no impact.
    expected_m = (3**2 - (15 / 7) ** 2) / (2 * 0.40 * G) + (15 / 7) ** 2 / (2 * 5 / 7 * 0.131 * G)
    assert run_m(3.0, 0.0, 0.0, replace(GREEN, tilt_deg=0)) == pytest.approx(expected_m, rel=1e-12)


def test_ball_that_slides_through_the_impact_keeps_the_law_of_friction():
    # Level turf, steep spin: the slip outlasts the impact, so mu (1 + e) v is the whole kick. Closed form.
    level = replace(GREEN, tilt_deg=0)
    e = 0.345075
    along, up, spin = bounce(np.array(10.0), np.array(5.0), np.array(400.0), level)
    kick = 0.40 * (1 + e) * 5
    assert up == pytest.approx(5 * e, rel=1e-12)
    assert along == pytest.approx(10 - kick, rel=1e-12)
    assert spin == pytest.approx(400 - 5 / 2 * kick / BALL_RADIUS_M, rel=1e-12)


def test_ball_that_grips_leaves_rolling():
    level = replace(GREEN, tilt_deg=0)
    along, _, spin = bounce(np.array(5.0), np.array(20.0), np.array(50.0), level)
    # Penner 2002 (second-hand): 5/7 of the speed less 2/7 of r w.
    assert along == pytest.approx(5 / 7 * 5 - 2 / 7 * BALL_RADIUS_M * 50, rel=1e-12)
    assert along + BALL_RADIUS_M * spin == pytest.approx(0, abs=1e-12)


def test_tilt_turns_the_rebound_back():
    # At 18.6 m/s and 44.4 deg incidence the turf is tilted 15.4 deg (Penner 2002, second-hand). Without friction the
    # tangential speed stays and the normal one rebounds, in that frame.
    t, tilt, v = np.radians(44.4), np.radians(15.4), 18.6
    slippery = replace(GREEN, friction=0)
    along, up, _ = bounce(v * np.sin(t), v * np.cos(t), np.array(0.0), slippery)
    normal = v * np.cos(t - tilt)
    rebound = normal * (0.510 - 0.0375 * normal + 0.000903 * normal**2)
    assert along == pytest.approx(v * np.sin(t - tilt) * np.cos(tilt) - rebound * np.sin(tilt), rel=1e-12)
    assert up == pytest.approx(v * np.sin(t - tilt) * np.sin(tilt) + rebound * np.cos(tilt), rel=1e-12)


def test_a_bounce_mirrors():
    # Flying the other way with the other spin is the same impact seen from behind.
    v, t, w = landings(500)
    along, down = v * np.cos(np.radians(t)), v * np.sin(np.radians(t))
    forth = bounce(along, down, w, NORMAL)
    back = bounce(-along, down, -w, NORMAL)
    np.testing.assert_allclose(back[0], -forth[0], atol=1e-12)
    np.testing.assert_allclose(back[1], forth[1], atol=1e-12)
    np.testing.assert_allclose(back[2], -forth[2], atol=1e-9)


@pytest.mark.parametrize("turf", [*FIRMNESS.values(), GREEN], ids=[*FIRMNESS, "green"])
def test_no_bounce_makes_energy(turf):
    v, t, w = landings(5000)
    before = v * np.cos(np.radians(t)), v * np.sin(np.radians(t)), w
    after = bounce(*before, turf)
    assert np.all(energy(*after) <= energy(*before) * (1 + 1e-12))


def test_ball_at_rest_stays():
    assert run_m(0.0, 40.0, 0.0) == 0


@pytest.mark.parametrize("turf", FIRMNESS.values(), ids=FIRMNESS)
def test_steeper_landing_runs_less(turf):
    assert np.all(np.diff(run_m(25.0, np.arange(25.0, 66.0, 5.0), 250.0, turf)) < 0)


@pytest.mark.parametrize("turf", FIRMNESS.values(), ids=FIRMNESS)
def test_more_backspin_runs_less(turf):
    # While the ball grips: past that, friction gives all that it has and more spin changes nothing on landing.
    assert np.all(np.diff(run_m(25.0, 40.0, np.arange(100.0, 501.0, 50.0), turf)) < 0)


def test_firmer_turf_runs_more():
    v, t, w = np.meshgrid([20.0, 24.0, 28.0], [30.0, 38.0, 46.0], [150.0, 250.0, 350.0])
    assert np.all(run_m(v, t, w, SOFT) < run_m(v, t, w, NORMAL))
    assert np.all(run_m(v, t, w, NORMAL) < run_m(v, t, w, FIRM))


def test_run_of_a_drive_on_a_normal_fairway():
    # Common practice, no source: a drive runs some 15 to 25 yd.
    assert 15 < run_m(27.0, 40.0, 250.0) / 0.9144 < 25


def test_run_of_a_drive_by_firmness():
    # Not evidence, but the figures that the comment beside the assumed turfs states.
    runs_yd = [float(run_m(27.0, 40.0, 250.0, turf)) / 0.9144 for turf in (SOFT, NORMAL, FIRM)]
    assert runs_yd == pytest.approx([15, 22, 31], abs=0.5)


# Tilt, restitution and rolling of the turfs, in steps from normal; half a step lies half way.
STEPS = {-1.5: (1.15, 0.85, 0.275), -1: (1.1, 0.9, 0.25), -0.5: (1.05, 0.95, 0.225), 0: (1, 1, 0.2),
         0.5: (0.95, 1.05, 0.185), 1: (0.9, 1.1, 0.17), 1.5: (0.85, 1.15, 0.155)}  # fmt: skip


@pytest.mark.parametrize(("name", "step"), [("soft", -1), ("normal", 0), ("firm", 1)])
def test_the_neighbors_of_a_turf_lie_half_a_step_off(name, step):
    turf = FIRMNESS[name]
    for there, one in ((step - 0.5, NEIGHBORS[turf][0]), (step, turf), (step + 0.5, NEIGHBORS[turf][1])):
        tilt, rebound, rolling = STEPS[there]
        assert (one.tilt_deg, one.restitution_scale, one.rolling_g) == pytest.approx(
            (15.4 * tilt, rebound, 5 / 7 * rolling)
        )
        others = {"tilt_deg": 1.0, "restitution_scale": 1.0, "rolling_g": 1.0}
        assert replace(one, **others) == replace(NORMAL, **others)


def test_the_neighbors_hold_the_run_of_a_drive():
    runs = {
        name: [float(run_m(27.0, 40.0, 250.0, one)) / 0.9144 for one in NEIGHBORS[FIRMNESS[name]]] for name in FIRMNESS
    }
    assert runs["soft"] == pytest.approx([12, 19], abs=0.5)
    assert runs["normal"] == pytest.approx([19, 27], abs=0.5)
    assert runs["firm"] == pytest.approx([27, 37], abs=0.5)


def test_rolling_back_mirrors_rolling_on():
    v, spin = np.array([4.0, 1.0, 0.5]), np.array([-187.0, 0.0, 300.0])
    np.testing.assert_allclose(roll_m(-v, -spin, NORMAL), -roll_m(v, spin, NORMAL), rtol=1e-12)
    # Spun back: slides on for a moment, then rolls back, by the same closed forms.
    back = 5 / 7 * 0.5 - 2 / 7 * BALL_RADIUS_M * 300
    expected_m = (0.5**2 - back**2) / (2 * 0.40 * G) - back**2 / (2 * 5 / 7 * 0.20 * G)
    assert roll_m(0.5, 300.0, NORMAL) == pytest.approx(expected_m, rel=1e-12)


def test_backspin_brings_a_steep_ball_back_a_little():
    back_m = run_m(25.0, 70.0, 900.0, GREEN)
    assert -15 < back_m < 0


def test_height_of_the_grass_matters_little():
    # The assumed 15 mm could be 10 or 20: about a yard of some twenty, as the docstring says.
    lower, higher = (run_m(27.0, 40.0, 250.0, replace(NORMAL, grass_m=h)) / 0.9144 for h in (0.010, 0.020))
    assert lower == pytest.approx(23.5, abs=0.1)
    assert higher == pytest.approx(21.7, abs=0.1)


@pytest.mark.parametrize("turf", FIRMNESS.values(), ids=FIRMNESS)
def test_the_limit_of_bounces_is_never_reached(turf, monkeypatch):
    v, t, w = landings(20_000)
    found_m = run_m(v, t, w, turf)
    monkeypatch.setattr(turf_module, "MOST_BOUNCES", 1000)
    np.testing.assert_array_equal(found_m, run_m(v, t, w, turf))


def test_endless_bouncing_stops():
    assert np.isfinite(run_m(10.0, 45.0, 0.0, replace(RIGID, restitution=(1, 0, 0))))


def test_many_equal_one_by_one():
    v, t, w = landings(200)
    one_by_one = [float(run_m(*one)) for one in zip(v, t, w, strict=True)]
    np.testing.assert_allclose(run_m(v, t, w), one_by_one, rtol=1e-12)
    np.testing.assert_array_equal(
        run_m(v.reshape(20, 10), t.reshape(20, 10), w.reshape(20, 10)).ravel(), run_m(v, t, w)
    )


def test_balls_a_block_at_a_time_run_as_all_at_once(monkeypatch):
    balls = [part.reshape(20, 10) for part in landings(200)]
    whole = run_m(*balls)
    monkeypatch.setattr(turf_module, "_BLOCK", 7)
    np.testing.assert_array_equal(run_m(*balls), whole)


def test_unknown_landing_stays_unknown():
    runs = run_m(np.array([27.0, np.nan, 27.0]), 40.0, np.array([250.0, 250.0, np.nan]))
    assert np.isnan(runs).tolist() == [False, True, True]


@pytest.mark.parametrize(("speed", "descent"), [(-1, 40), (27, -5), (27, 95)])
def test_impossible_landings_are_refused(speed, descent):
    with pytest.raises(ValueError, match="must be 0 or more and descent_deg between 0 and 90"):
        run_m(speed, descent, 250.0)
