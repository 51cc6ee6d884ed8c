"""The best delivery by loft alone, and what more attack adds, against a carry model in closed form."""

import numpy as np
import polars as pl
import pytest
from delivery_samples import carry, expected, moves
from polars.testing import assert_frame_equal

from pipeline.coach.delivery import loft_change
from pipeline.coach.delivery.impact_slopes import LOFT_DOUBT, change_by_loft
from pipeline.coach.delivery.loft_change import FORM_YD, LOFT_STEPS_DEG, PresentDelivery, present_of, reachable
from pipeline.coach.delivery.sums import Sums, cell_sums

T90 = 1.6765508919142635  # Student's t at 95 % with 49 degrees of freedom (tables)


def present(launch_deg=11.0, spin_rpm=2300.0, ratio=1.45, attack_deg=0.0, speed_mph=100.0, error=(0.0, 0.0, 0.0)):
    delivery = np.array([[launch_deg, spin_rpm, ratio]])
    return PresentDelivery(np.array([speed_mph]), np.array([attack_deg]), delivery, np.diag(np.square(error))[None])


def moved(change_deg, launch_deg=11.0):
    return change_by_loft([[100.0]], [[0.0]], [[launch_deg]], np.array([change_deg]))[0]


def by_hand(loft_deg, slope):
    """Impact's bend about a measured slope."""
    return moved([loft_deg])[0] - loft_deg * moves(slope).slopes.impact["loft_deg"] + loft_deg * slope


def test_the_best_change_of_loft_is_the_one_that_carries_farthest():
    row = reachable(present(), carry(), moves()).row(0, named=True)

    by_steps = [expected(100 * (1.45 + r), 11.0 + l, 2300.0 + s) for l, s, r in moved(LOFT_STEPS_DEG)]
    assert row["loft_change_deg"] == LOFT_STEPS_DEG[np.argmax(by_steps)]
    assert 0 < row["loft_change_deg"] < 4
    assert row["carry_now_yd"] == pytest.approx(expected(145.0, 11.0, 2300.0))
    assert row["best_carry_yd"] == pytest.approx(max(by_steps))
    assert row["gain_yd"] == pytest.approx(max(by_steps) - expected(145.0, 11.0, 2300.0))
    assert (row["loft_least_deg"], row["loft_most_deg"]) == (-4.0, 4.0)


def test_who_has_the_best_loft_loses_nothing_in_the_last_digit(monkeypatch):
    plain = loft_change.MovedCarry.yards

    def yards(self, golfers, move):
        # Sums over many deliveries may differ in the last digit from those over few.
        return plain(self, golfers, move) * (1 - 1e-14 * (move.ndim == 3))

    monkeypatch.setattr(loft_change.MovedCarry, "yards", yards)

    row = reachable(present(13.2, 2600.0), carry(), moves((0.8, 150.0, 0.0))).row(0, named=True)

    assert (row["loft_change_deg"], row["gain_yd"]) == (0.0, 0.0)


def test_more_attack_moves_along_its_slopes_with_loft_chosen_anew():
    row = reachable(present(), carry(), moves(), attack_deg=2.0).row(0, named=True)

    by_steps = [
        expected(100 * (1.45 + r + 0.004), 11.0 + l + 1.4, 2300.0 + s - 120.0) for l, s, r in moved(LOFT_STEPS_DEG)
    ]
    assert row["attack_loft_change_deg"] == LOFT_STEPS_DEG[np.argmax(by_steps)]
    assert row["attack_gain_yd"] == pytest.approx(max(by_steps) - row["best_carry_yd"])


def test_spin_moves_more_at_a_higher_club_speed():
    slow, fast = (
        reachable(present(speed_mph=v, attack_deg=0.0), carry(), moves((0.8, 100.0, 0.0)), attack_deg=0.0)
        for v in (90.0, 108.0)
    )

    # Measured slopes: what they add to impact's bend goes with speed, and impact's part does so by itself.
    per_deg = [(t["best_spin_rpm"] - 2300.0).item() / t["loft_change_deg"].item() for t in (slow, fast)]
    assert per_deg[1] / per_deg[0] == pytest.approx(108 / 90, rel=0.03)


def test_measured_slopes_on_loft_stand_before_impact():
    row = reachable(present(), carry(), moves((0.5, 50.0, -0.001))).row(0, named=True)

    change = row["loft_change_deg"]
    assert row["best_launch_deg"] - 11.0 == pytest.approx(0.5 * change, abs=0.05 * abs(change))
    assert row["best_spin_rpm"] - 2300.0 == pytest.approx(50.0 * change, abs=15 * abs(change))


def test_a_delivery_is_not_moved_beyond_the_drives():
    wide = reachable(present(), carry(), moves()).row(0, named=True)
    # 99 % of drives lie within 3.03 standard deviations: launch up to 12.5 deg.
    narrow = reachable(present(13.4, 2500.0), carry(launch_sd=0.5), moves()).row(0, named=True)

    assert wide["loft_least_deg"] == -4.0
    assert (narrow["loft_least_deg"], narrow["loft_most_deg"]) == (-1.0, 2.5)
    assert narrow["loft_least_deg"] <= narrow["loft_change_deg"] <= narrow["loft_most_deg"]


@pytest.mark.parametrize(
    "outside",
    [
        present(launch_deg=40.0),
        present(ratio=1.30),
        present(speed_mph=112.0),
        present(attack_deg=np.nan),
        present(launch_deg=3.0, attack_deg=4.0),
    ],
    ids=["delivery", "ratio", "speed", "no attack", "launch below attack"],
)
def test_nothing_is_told_outside_the_data(outside):
    row = reachable(outside, carry(launch_sd=8.0), moves()).row(0, named=True)

    assert set(row.values()) == {None}


def test_a_drive_outside_the_data_is_not_moved_into_them():
    row = reachable(present(12.0, 2500.0), carry(launch_sd=0.5), moves()).row(0, named=True)

    assert set(row.values()) == {None}


def test_more_attack_that_leaves_the_data_is_not_told():
    row = reachable(present(14.0, 2500.0), carry(launch_sd=0.5), moves(), attack_deg=8.0).row(0, named=True)

    assert row["gain_yd"] is not None
    assert row["attack_gain_yd"] is None


@pytest.mark.parametrize(
    ("parts", "attack_deg"),
    [
        ({"std_error": (2.0, 0.02, 0.05, 3.0)}, 2.0),
        ({"error": (0.3, 80.0, 0.004)}, 2.0),
        ({"loft_error": (0.1, 30.0, 0.002)}, 2.0),
        ({"attack_error": (0.1, 30.0, 0.002)}, 2.0),
    ],
    ids=["carry", "typical drive", "loft", "attack"],
)
def test_intervals_are_those_of_drawn_doubts(parts, attack_deg):
    rng = np.random.default_rng(4)
    terms, error, loft_error, attack_error = (
        np.array(parts.get(name, (0.0,) * size), dtype=float)
        for name, size in (("std_error", 4), ("error", 3), ("loft_error", 3), ("attack_error", 3))
    )
    slope = np.array([0.8, 200.0, -0.007])
    row = reachable(
        present(error=error), carry(std_error=terms), moves(slope, attack_error, loft_error), attack_deg
    ).row(0, named=True)

    draws = 4000
    doubt = terms * rng.standard_normal((draws, 4))
    start = np.array([11.0, 2300.0, 1.45]) + error * rng.standard_normal((draws, 3))
    by_loft, by_attack = (e * rng.standard_normal((draws, 3)) for e in (loft_error, attack_error))

    def yards(loft, attack):
        at = start + by_hand(loft, slope) + loft * by_loft + attack * (np.array([0.7, -60.0, 0.002]) + by_attack)
        l, p, v = at[:, 0] - 14.0, (at[:, 1] - 2500) / 1000, 100 * at[:, 2]
        X = np.stack([np.ones(draws), v, l**2, p**2], axis=-1)
        return ((np.array([0.0, 1.6, -0.25, -10.0]) + doubt) * X).sum(axis=1)

    best = row["loft_change_deg"]
    ways = [by_hand(c, slope) for c in (best, row["attack_loft_change_deg"])]
    moved_by = [ways[0][:2], (ways[1] - ways[0] + attack_deg * np.array([0.7, -60.0, 0.0]))[:2]]
    gain = yards(best, 0.0) - yards(0.0, 0.0)
    more = yards(row["attack_loft_change_deg"], attack_deg) - yards(best, 0.0)
    for name, drawn, (l, s) in (("gain", gain, moved_by[0]), ("attack_gain", more, moved_by[1])):
        half = (row[f"{name}_hi90_yd"] - row[f"{name}_lo90_yd"]) / 2
        form = FORM_YD * np.hypot(l, s / 250)
        assert half == pytest.approx(T90 * np.hypot(drawn.std(), form), rel=0.1)


def test_where_impact_stands_in_its_doubt_is_in_the_interval():
    row = reachable(present(), carry(), moves()).row(0, named=True)

    change = row["loft_change_deg"]
    steps = [moved([change])[0] + s * LOFT_DOUBT * change * moves().slopes.impact["loft_deg"] for s in (1, -1)]
    far = [expected(100 * (1.45 + r), 11.0 + l, 2300.0 + s) for l, s, r in steps]
    form = FORM_YD * np.hypot(*(moved([change])[0][:2] / [1, 250]))
    half = (row["gain_hi90_yd"] - row["gain_lo90_yd"]) / 2
    assert half == pytest.approx(T90 * np.hypot((far[0] - far[1]) / 2, form), rel=0.05)
    assert abs(far[0] - far[1]) > 0.08  # enough of it to be seen beside the form's


def test_without_ball_speed_the_usual_ratio_is_taken():
    known, unknown = (reachable(present(ratio=r), carry(), moves()) for r in (1.46, np.nan))

    assert unknown["best_speed_ratio"].item() is None
    assert_frame_equal(unknown.drop("best_speed_ratio"), known.drop("best_speed_ratio"))


def test_where_no_ratio_is_read_it_goes_with_spin_as_in_impact():
    with_all, without = moves(), moves()
    without.slopes.attack.slope[2] = np.nan
    by_loft = with_all.slopes.impact["loft_deg"]

    move = without.by_attack(present(), 2.0)[0]

    np.testing.assert_allclose(move, [1.4, -120.0, -120.0 * by_loft[2] / by_loft[1]])
    assert move[2] > 0
    # Its doubt goes with spin's: so many yd per ratio, on 20 rpm.
    doubtful = moves(attack_error=(0.0, 20.0, 0.0))
    doubtful.slopes.attack.slope[2] = np.nan
    variance = doubtful.attack_variance(present(), np.array([[0.0, 0.0, 100.0]]))
    assert variance.item() == pytest.approx((100 * 20 * by_loft[2] / by_loft[1]) ** 2)


def test_a_model_over_club_speed_takes_a_better_strike_as_speed():
    by_ball, by_club = (reachable(present(ratio=1.46), carry(speed), moves()) for speed in ("ball", "club"))

    assert_frame_equal(by_ball, by_club, abs_tol=1e-6)


def test_golfers_taken_in_parts_give_the_same(monkeypatch):
    one = present()
    many = PresentDelivery(
        np.linspace(92, 108, 7), np.zeros(7), np.repeat(one.delivery, 7, axis=0), np.repeat(one.covariance, 7, axis=0)
    )
    whole = reachable(many, carry(), moves())
    monkeypatch.setattr(loft_change, "CHUNK", 3)

    assert_frame_equal(reachable(many, carry(), moves()), whole)
    assert whole.height == 7


def test_present_deliveries_are_typical_drives_with_attack_and_usual_loft():
    rng = np.random.default_rng(1)
    drives = pl.DataFrame(
        {
            "golfer": ["ga"] * 100 + ["gb"] * 20,
            "quarter": "2026Q3",
            "device": "unit-A",
            "club_speed_mph": 100.0,
            "ball_speed_mph": 145.0,
            "launch_deg": rng.normal(13, 1.2, 120),
            "spin_rpm": rng.normal(2600, 200, 120),
            "attack_deg": [2.0] * 60 + [4.0] * 40 + [None] * 20,
            "loft_deg": [9.0] * 60 + [None] * 5 + [10.5] * 35 + [9.0] * 20,
            "spin_measured": True,
        }
    )
    golfers = pl.DataFrame(
        {
            "golfer": ["ga", "gb"],
            "quarter": "2026Q3",
            "club_speed_mph": 100.0,
            "ball_speed_mph": 145.0,
            "launch_deg": 13.0,
            "spin_rpm": 2600.0,
        }
    )

    found, beside = present_of(golfers, Sums.of(cell_sums(drives, golfers)))

    assert beside.rows() == [(2.8, 9.0), (None, None)]
    np.testing.assert_allclose(found.delivery, [[13.0, 2600.0, 1.45]] * 2)
    # A median's variance is pi / 2 times that of a mean.
    assert found.covariance[0, 0, 0] ** 0.5 == pytest.approx(1.2533 * 1.2 / 10, rel=0.2)
    assert found.covariance[0, 1, 1] ** 0.5 == pytest.approx(1.2533 * 200 / 10, rel=0.2)
    assert not found.covariance[1].any()
