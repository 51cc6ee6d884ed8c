"""Devices compared over many simulated academies: what is planted is found, and nothing where nothing is."""

import math

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.flight.compare import (
    MIN_DRIVES,
    better_ratios,
    carry_beside_flight,
    choose_reference,
    compare_all,
    elasticity,
)
from pipeline.flight.devices import READINGS
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, fly

STANDARD = (15.0, 1013.25)
NOTHING = {"club": 0.0, "ball": 0.0, "launch": 0.0, "spin": 0.0, "carry": 0.0}
MANY = 25  # academies of a test for false corrections, each below


def academy(seed, both=0, golfers=(40, 28), poorer=0.0, spread=1.0, faulty=0.1, slower=0.0, ball_speed=True, **misread):
    """Sum up an academy's golfers as `golfer_summaries` does; the second device misreads, by shares and deg.

    Golfers' ratios, launches and spins differ by 0.8 %, 1.2 deg and 10 %; each golfer's days on a device by 0.5 % of
    club speed, 0.2 % of ratio, 0.3 deg and 2.5 %. A share `faulty` strikes 8 % worse. `both` golfers hit on both
    devices.
    """
    rng, wrong = np.random.default_rng([16, seed]), NOTHING | misread
    device = np.repeat(["unit-A", "unit-B"], golfers)
    n = len(device)
    on_b = device == "unit-B"
    club = np.clip(rng.normal(91, 9, n), 65, 118) * (1 - slower * on_b)
    fault = np.where(rng.uniform(size=n) < faulty, 0.92, 1.0)
    ratio = (1.465 - poorer * on_b + 0.012 * rng.normal(size=n) * np.where(on_b, spread, 1.0)) * fault
    launch, spin = rng.normal(14.5, 1.2, n), 2600 * np.exp(rng.normal(0, 0.1, n))
    who = np.arange(n)
    twice = np.concatenate([who, who[:both]])  # of the first device's golfers, on the second one too
    on_b = np.concatenate([on_b, np.ones(both, dtype=bool)])
    m = len(twice)
    club_day = club[twice] * (1 + 0.005 * rng.normal(size=m))
    ball_day = club_day * ratio[twice] * (1 + 0.002 * rng.normal(size=m))
    launch_day, spin_day = launch[twice] + 0.3 * rng.normal(size=m), spin[twice] * (1 + 0.025 * rng.normal(size=m))
    shots = Launch.straight(ball_day * 0.44704, launch_day, spin_day)
    carry = fly(shots, Ball("lyu-2018", 1.05, 0.9), Air.of(15.0, 101325.0, 0.0)).carry_m / 0.9144
    club_read, ball_read = club_day * (1 + wrong["club"] * on_b), ball_day * (1 + wrong["ball"] * on_b)
    return pl.DataFrame(
        {
            "golfer": [f"g{index:016x}" for index in twice],
            "quarter": "2026Q1",
            "device": np.where(on_b, "unit-B", "unit-A"),
            "ball": "premium",
            "drives": 30,
            "club_speed_mph": club_read,
            "ball_speed_mph": ball_read,
            "better_ratio": 1.007 * ball_read / club_read,
            "launch_deg": launch_day + wrong["launch"] * on_b,
            "spin_rpm": spin_day * (1 + wrong["spin"] * on_b),
            "carry_yd": carry * (1 + wrong["carry"] * on_b) * (1 + 0.005 * rng.normal(size=m)),
            "temp_c": 15.0,
            **dict.fromkeys(("pressure_hpa", "humidity", "altitude_m", "wind_along_mps")),
        },
        schema_overrides=dict.fromkeys(("pressure_hpa", "humidity", "altitude_m", "wind_along_mps"), pl.Float64),
    ).with_columns(pl.when(pl.lit(ball_speed)).then(pl.col("ball_speed_mph", "better_ratio")))


def compared(summaries):
    [found] = compare_all(summaries, ["unit-B"], "unit-A", STANDARD, 1)
    return found


def corrected(found):
    return {name: value for name, value in zip(READINGS, found.correction, strict=True) if value != 0}


# --- golfers on both devices


@pytest.mark.parametrize(
    ("misread", "reading", "right", "within"),
    [
        ({"club": -0.03}, "club_speed_mph", 0.0305, 0.003),
        ({"ball": -0.02}, "ball_speed_mph", 0.0202, 0.003),
        ({"launch": 1.0}, "launch_deg", -1.0, 0.4),
        ({"spin": 0.08}, "spin_rpm", -0.077, 0.035),
    ],
)
def test_golfers_on_both_devices_show_which_reading_is_wrong(misread, reading, right, within):
    for seed in range(5):
        found = compared(academy(seed, both=15, **misread))

        assert found.compared_by == "same golfers"
        assert found.golfers == 15
        assert list(corrected(found)) == [reading]
        assert corrected(found)[reading] == pytest.approx(right, abs=within)


def test_all_readings_are_told_apart_at_the_same_golfers():
    found = compared(academy(3, both=20, club=-0.03, ball=-0.03, launch=1.0, spin=0.08))

    assert list(corrected(found)) == list(READINGS)  # the ratio is right, both speeds aren't


def test_errors_at_the_same_golfers_are_those_of_their_spread():
    found = [compared(academy(seed, both=12)).differences for seed in range(50)]

    for name in READINGS:
        errors = np.array([one[name].value / one[name].std_error for one in found])
        # Student's t of 11 degrees of freedom has a standard deviation of 1.106; of 50 draws to 11 %.
        assert errors.std() == pytest.approx(1.106, rel=0.35)


def test_the_mean_of_the_same_golfers_is_a_paired_t_test():
    summaries = academy(1, both=9)
    both = summaries.filter(pl.len().over("golfer") == 2).sort("golfer")
    here, there = (both.filter(device=one).get_column("spin_rpm").log() for one in ("unit-B", "unit-A"))

    one = compared(summaries).differences["spin_rpm"]

    assert one.freedom == 8
    assert one.value / one.std_error == pytest.approx(stats.ttest_rel(here, there).statistic)


def test_too_few_drives_on_a_device_do_not_count():
    summaries = academy(2, both=15).with_columns(drives=pl.when(device="unit-B").then(MIN_DRIVES - 1).otherwise(30))

    assert compared(summaries).compared_by == "none"


def test_a_golfer_counts_once_whatever_the_quarters():
    summaries = academy(4, both=10, club=-0.03)
    again = summaries.with_columns(quarter=pl.lit("2026Q2"))

    once, twice = compared(summaries), compared(pl.concat([summaries, again]))

    assert twice.golfers == once.golfers == 10
    assert twice.correction == pytest.approx(once.correction)


# --- two groups of golfers


@pytest.mark.parametrize(
    ("misread", "reading", "right"),
    [
        ({"club": -0.03}, "club_speed_mph", 0.0305),
        ({"club": -0.03, "carry": 0.02}, "club_speed_mph", 0.0305),
        ({"ball": -0.02}, "ball_speed_mph", 0.0202),
        ({"ball": 0.02}, "ball_speed_mph", -0.0198),
    ],
)
def test_two_groups_of_golfers_show_which_speed_is_wrong(misread, reading, right):
    found = [compared(academy(seed, **misread)) for seed in range(8)]

    assert {one.compared_by for one in found} == {"population"}
    right_ones = [corrected(one)[reading] for one in found if list(corrected(one)) == [reading]]
    assert len(right_ones) >= 7
    assert np.mean(right_ones) == pytest.approx(right, abs=0.003)


@pytest.mark.parametrize(
    "world",
    [
        {},
        {"carry": -0.05},
        {"faulty": 0.35},
        {"slower": 0.12},
        {"golfers": (45, 6)},
        {"poorer": 0.03, "spread": 1.4},
        {"poorer": 0.03, "spread": 1.4, "carry": -0.02},
        {"launch": 1.5, "spin": 0.1},
        {"both": 12},
    ],
    ids=str,
)
def test_nothing_is_corrected_where_no_speed_is_misread(world):
    found = [compared(academy(100 + seed, **world)) for seed in range(MANY)]

    assert sum(bool(corrected(one)) for one in found) <= 0.02 * MANY


def test_a_site_that_strikes_worse_leaves_a_doubt_about_club_speed():
    found = compared(academy(1, poorer=0.03, spread=1.4))

    assert 0.2 < found.causes.misread < 0.6
    # Perhaps the device reads club speed about 2 % high.
    assert 0.006 < np.sqrt(found.doubt[0, 0]) < 0.02
    assert np.sqrt(compared(academy(1)).doubt[0, 0]) < 0.004


def test_launch_and_spin_of_two_groups_are_told_and_not_corrected():
    found = compared(academy(5, launch=3.0))

    assert found.beyond == ("launch_deg",)
    assert corrected(found) == {}
    assert found.differences["launch_deg"].value == pytest.approx(3.0, abs=1.0)
    assert compared(academy(5)).beyond == ()


def test_the_quartiles_error_is_what_its_draws_scatter_by():
    found = [compared(academy(300 + seed)).differences["speed_ratio"] for seed in range(40)]

    value, error = (np.array([getattr(one, name) for one in found]) for name in ("value", "std_error"))
    assert error.mean() == pytest.approx(value.std(), rel=0.4)  # a spread of 40 draws is known to 11 %
    assert abs(value.mean()) < 3 * value.std() / np.sqrt(40)


# --- what can't be compared


def test_a_device_without_ball_speed_and_without_shared_golfers_is_not_compared():
    summaries = academy(1).with_columns(
        pl.when(pl.col("device") != "unit-B").then(pl.col("ball_speed_mph", "better_ratio"))
    )

    found = compared(summaries)

    assert found.compared_by == "none"
    assert found.reason == "its logs lack ball speed and hardly any golfer hits on unit-A too"
    assert corrected(found) == {}
    assert found.doubt[0, 0] > 0


def test_club_speed_launch_and_spin_are_compared_without_any_ball_speed():
    found = compared(academy(2, both=15, ball_speed=False, club=-0.03))

    assert found.compared_by == "same golfers"
    assert list(corrected(found)) == ["club_speed_mph"]
    assert np.isnan(found.differences["ball_speed_mph"].value)


def test_five_golfers_are_compared_and_four_are_not():
    assert compared(academy(1, golfers=(40, 5))).compared_by == "population"
    assert (
        compared(academy(1, golfers=(40, 4))).reason
        == "fewer than 5 golfers, and hardly any of them hits on unit-A too"
    )


def test_another_ball_is_not_taken_for_a_misread_speed():
    found = compared(academy(1).with_columns(ball=pl.when(device="unit-B").then(pl.lit("range")).otherwise("ball")))

    assert found.compared_by == "none"
    assert found.reason == "its golfers hit no ball that those of unit-A hit"


def test_balls_that_one_device_alone_measured_do_not_count():
    # Range balls leave the face slower; only the second device has them, and nine of its golfers hit the others too.
    summaries = academy(1)
    b = summaries.filter(device="unit-B")
    slow = b.with_columns(pl.col("ball_speed_mph", "better_ratio") * 0.95, ball=pl.lit("range"))
    mixed = pl.concat([summaries.filter(device="unit-A"), slow, b.head(9)])

    found = compared(mixed)

    assert found.golfers == 9
    assert abs(found.differences["speed_ratio"].value) < 0.015


def test_other_names_and_another_order_of_golfers_give_the_same_to_the_last_digit():
    for seed in range(3):
        summaries = academy(seed, club=-0.03)
        other = summaries.with_columns(pl.col("golfer").str.reverse()).sample(fraction=1.0, shuffle=True, seed=3)

        one, two = compared(summaries), compared(other)

        assert (one.correction == two.correction).all()
        assert (one.doubt == two.doubt).all()
        assert str(one.differences) == str(two.differences)


def test_the_reference_is_the_named_device_or_that_of_most_drives():
    drives = pl.DataFrame({"device": ["unit-B", "unit-A", None, "unit-A"], "drives": [9, 5, 10, 5]})

    assert choose_reference(drives, None) == "unit-A"  # of two with as many, the first by name
    assert choose_reference(drives, "unit-B") == "unit-B"
    assert choose_reference(drives, "unit-C") == "unit-A"
    assert choose_reference(drives.with_columns(drives=pl.Series([9, 5, 11, 5])), None) == "unstated"
    assert choose_reference(drives.clear(), None) is None


def test_carry_grows_with_ball_speed_as_the_true_flight_does():
    summaries = academy(1, golfers=(200, 5)).with_columns(pl.col("ball_speed_mph", "spin_rpm").log(), flown=pl.lit(1.0))

    def flown(ball, factor):
        speed, launch, spin = (math.exp(summaries["ball_speed_mph"].median()), summaries["launch_deg"].median(),
                               math.exp(summaries["spin_rpm"].median()))  # fmt: skip
        shot = Launch.straight(speed * factor * 0.44704, launch, spin)
        return float(fly(shot, ball, Air.of(15.0, 101325.0, 0.0)).carry_m[0])

    def power(ball):
        return math.log(flown(ball, 1.01) / flown(ball, 0.99)) / math.log(1.01 / 0.99)

    true = Ball("lyu-2018", 1.05, 0.9)
    assert elasticity(summaries) == pytest.approx(power(Ball()), abs=0.01)
    beside = pl.Series([math.log(c) for c in summaries["carry_yd"]])
    default = (
        fly(
            Launch.straight(
                summaries["ball_speed_mph"].exp() * 0.44704, summaries["launch_deg"], summaries["spin_rpm"].exp()
            ),
            Ball(),
            Air.of(15.0, 101325.0, 0.0),
        ).carry_m
        / 0.9144
    )
    _, more = carry_beside_flight(summaries.with_columns(carry_over_flight=beside - np.log(default)), "unit-B")
    assert elasticity(summaries) + more == pytest.approx(power(true), abs=0.12)
    assert abs(power(true) - power(Ball())) > 0.13


def test_ratios_are_compared_at_one_club_speed():
    rng = np.random.default_rng(8)

    def golfers(mean_mph, n):
        speed = np.log(rng.normal(mean_mph, 8, n))
        return pl.DataFrame(
            {"club_speed_mph": speed, "speed_ratio": 0.38 + 0.1 * (speed - 4.5) + 0.006 * rng.normal(size=n)}
        )

    slow, fast = golfers(78, 150), golfers(96, 200)

    found, higher = better_ratios(slow, fast, 1)

    assert abs(found.value) < 3 * found.std_error
    assert found.std_error < 0.003
    assert slow["speed_ratio"].quantile(0.75) - fast["speed_ratio"].quantile(0.75) < -0.015
    assert higher == pytest.approx(np.exp(0.38 + 0.1 * (np.log(96) - 4.5) + 0.674 * 0.006), abs=0.003)
