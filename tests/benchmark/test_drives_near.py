import numpy as np
import polars as pl
import pytest

from pipeline.benchmark.drives_near import (
    LEAST_LAUNCH_SD_DEG,
    LEAST_SPIN_SD_RPM,
    drives_near,
)
from pipeline.benchmark.support import kernel_weights
from pipeline.drives import Drives


def drives(n=400, seed=3):
    rng = np.random.default_rng(seed)
    club = rng.normal(92, 8, n)
    launch = 14 - 0.1 * (club - 92) + rng.normal(0, 2, n)
    spin = 2700 + 60 * (launch - 14) + rng.normal(0, 300, n)
    return pl.DataFrame(
        {
            "golfer": [f"g{i // 20:016x}" for i in range(n)],
            "club_speed_mph": club,
            "ball_speed_mph": club * rng.normal(1.45, 0.02, n),
            "launch_deg": launch,
            "spin_rpm": spin,
        }
    )


def test_place_and_spread_are_weighted_means_and_covariances():
    table = drives()
    near = drives_near(table, np.array([85.0, 95.5]), 5.0)
    club, launch, spin, ball = (
        table[name].to_numpy() for name in ("club_speed_mph", "launch_deg", "spin_rpm", "ball_speed_mph")
    )
    for place, speed in enumerate((85.0, 95.5)):
        weights = kernel_weights(np.round(club), speed, 5.0)  # drives count at their whole mph
        pair = np.stack([launch, spin])
        np.testing.assert_allclose(near.mean[place], np.average(pair, axis=1, weights=weights), rtol=1e-9)
        covariance = np.cov(pair, aweights=weights, ddof=0)
        np.testing.assert_allclose(np.linalg.inv(near.inverse[place]), covariance, rtol=1e-6)
        ratio = ball / club
        order = np.argsort(ratio)
        below = np.cumsum(weights[order]) / weights.sum()
        lo, hi = ratio[order][np.searchsorted(below, [0.002, 0.998])]
        assert near.ratio_lo[place] == pytest.approx(np.floor(lo * 100) / 100)
        assert near.ratio_hi[place] == pytest.approx(np.floor(hi * 100) / 100 + 0.01)


def test_no_ratio_counts_that_hardly_any_drive_shows():
    # Mishits make the spread of ratios wide; the ball still leaves no club faster than the best drives show.
    rng = np.random.default_rng(8)
    table = drives(4000)
    ratio = np.where(rng.random(4000) < 0.15, rng.uniform(1.1, 1.4, 4000), rng.normal(1.47, 0.015, 4000))
    table = table.with_columns(ball_speed_mph=pl.col("club_speed_mph") * pl.Series(np.minimum(ratio, 1.52)))
    near = drives_near(table, np.array([92.0]), 5.0)
    assert 1.50 <= near.ratio_hi[0] <= 1.53
    assert 1.10 <= near.ratio_lo[0] <= 1.13


def test_pieces_give_what_the_whole_gives():
    table = drives().sort("golfer")
    pieces = Drives(lambda: iter([table.head(140), table.slice(140, 100), table.tail(160)]))
    whole, parts = (vars(drives_near(one, np.array([88.0, 92.0]), 5.0)) for one in (table, pieces))
    for name, values in whole.items():
        np.testing.assert_allclose(parts[name], values, rtol=1e-7)


def test_without_ball_speed_no_ratio_is_known():
    blind = drives().with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    near = drives_near(blind, np.array([92.0]), 5.0)
    assert np.isnan([near.ratio_lo, near.ratio_hi]).all()
    assert np.isfinite(near.mean).all()


def test_drives_all_alike_have_an_ellipse_of_the_reading_errors():
    alike = drives().with_columns(launch_deg=pl.lit(14.0), spin_rpm=pl.lit(2700.0))
    near = drives_near(alike, np.array([92.0]), 5.0)
    np.testing.assert_allclose(near.mean, [[14.0, 2700.0]])
    np.testing.assert_allclose(near.inverse[0], np.diag([LEAST_LAUNCH_SD_DEG**-2, LEAST_SPIN_SD_RPM**-2]), atol=1e-9)


def test_no_speeds_have_no_drives_near():
    near = drives_near(drives(), np.array([]), 5.0)
    assert [part.shape for part in vars(near).values()] == [(0, 2), (0, 2, 2), (0,), (0,)]
