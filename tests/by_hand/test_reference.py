"""The carry of the better golfers: a quantile of their means over club speed."""

import numpy as np
import polars as pl
import pytest

from pipeline.by_hand.reference import BEND_FROM, LEAST_GOLFERS, QUANTILE, SpeedCurve, reference_of
from pipeline.tables.by_hand import References


def golfers(n=60, shots=20, noise=None):
    speed = np.linspace(76, 106, n)
    carry = 2.5 * speed - 10 + (0 if noise is None else noise)
    return pl.DataFrame({"golfer": range(n), "shots": [shots] * n, "club_speed_mph": speed, "carry_yd": carry})


def fitted(frame, **more):
    return reference_of(frame, **{"half_width_mph": 5.0, "min_golfers": 5, "min_shots": 12, "seed": 1, **more})


def test_golfers_on_a_line_give_the_line_without_doubt():
    found = fitted(golfers())
    speed = np.array([80.0, 91.0, 105.0])
    assert found.at(speed) == pytest.approx(2.5 * speed - 10)
    assert found.variance(speed)[0] == pytest.approx(np.zeros(3), abs=1e-12)


def test_nine_in_ten_golfers_stay_below_it():
    frame = golfers(200, noise=8 * np.random.default_rng(1).normal(size=200))
    found = fitted(frame)
    below = frame["carry_yd"].to_numpy() < found.curve.at(frame["club_speed_mph"].to_numpy()) - 1e-9
    # A fitted quantile of three terms passes through three golfers at the most.
    assert below.mean() == pytest.approx(QUANTILE, abs=3 / 200)


def test_many_golfers_show_a_bend_and_few_get_a_straight_line():
    for n, bends in ((BEND_FROM, True), (BEND_FROM - 1, False)):
        speed = np.linspace(76, 106, n)
        curve = SpeedCurve.fit(speed, 2.5 * speed - 0.02 * (speed - 91) ** 2, QUANTILE)
        assert bool(abs(curve.at(np.array([91.0]))[0] - 2.5 * 91) < 1e-6) is bends
        assert bool(curve.terms[2] != 0) is bends


def test_it_ends_where_golfers_end():
    found = fitted(golfers())
    assert np.isnan(found.at(np.array([70.0, 74.9, 107.1]))).all()
    assert np.isfinite(found.at(np.array([80.0, 100.0]))).all()
    # At a lone golfer's speed there aren't five about it.
    lone = pl.concat([golfers(), golfers(1).with_columns(club_speed_mph=pl.lit(140.0), golfer=pl.lit(99, pl.Int64))])
    assert np.isnan(fitted(lone).at(np.array([140.0]))).all()


def test_too_few_golfers_or_drives_give_none():
    assert fitted(golfers(LEAST_GOLFERS - 1)) is None
    assert fitted(golfers(LEAST_GOLFERS)) is not None
    assert fitted(golfers(60, shots=11)) is None


def test_its_table_has_each_whole_mph_within_reach():
    noise = 8 * np.random.default_rng(1).normal(size=60)
    table = References.validate(fitted(golfers(noise=noise)).table())
    speeds = table["club_speed_mph"].to_list()
    assert speeds == sorted(set(speeds))
    assert speeds[0] >= 75
    assert speeds[-1] <= 107
    assert {80.0, 91.0, 105.0} <= set(speeds)
    middle, end = (
        table.filter(pl.col("club_speed_mph").is_in([91.0, speeds[-1]])).sort("club_speed_mph").rows(named=True)
    )
    assert middle["reference_hi90_yd"] - middle["reference_lo90_yd"] > 1
    assert (
        end["reference_hi90_yd"] - end["reference_lo90_yd"] > middle["reference_hi90_yd"] - middle["reference_lo90_yd"]
    )


@pytest.mark.bench
def test_the_interval_holds_what_very_many_golfers_give():
    held = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        found = fitted(golfers(60, noise=8 * rng.normal(size=60)))
        true = 2.5 * 91 - 10 + 8 * 1.2816
        row = found.table().filter(pl.col("club_speed_mph") == 91).row(0, named=True)
        held.append(row["reference_lo90_yd"] <= true <= row["reference_hi90_yd"])
    # 18 of 20 are to be expected; 14 or fewer come about once in a hundred tries.
    assert sum(held) >= 15
