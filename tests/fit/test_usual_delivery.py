import numpy as np
import polars as pl
import pytest

from pipeline.configuration.study import Efficient
from pipeline.fit.usual_delivery import (
    UsualDelivery,
    fit_usual_delivery,
    ratio_lines,
    spread_without_error,
)


def typical(speed, ratio, variance=0.0, shots=30):
    n = len(speed)
    return pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in range(n)],
            "shots": [shots] * n,
            "club_speed_mph": speed,
            "speed_ratio": ratio,
            "speed_ratio_var": [variance] * n,
            "launch_deg": 20 - 0.08 * np.asarray(speed),
            "spin_rpm": 4000 - 14 * np.asarray(speed),
        }
    )


def test_launch_and_spin_follow_a_straight_line():
    speed = np.linspace(70, 110, 30)
    trends = fit_usual_delivery(typical(speed, np.full(30, 1.45)))
    assert trends.launch(90.0) == pytest.approx(20 - 0.08 * 90, abs=1e-6)
    assert trends.spin(80.0) == pytest.approx(4000 - 14 * 80, abs=1e-3)


def test_better_quarter_is_the_upper_quartile_of_true_ratios():
    # True ratios have sd 0.02; 12 drives of sd 0.05 each would push the raw quartile up by a quarter.
    rng = np.random.default_rng(6)
    n, shots, noise = 4000, 12, 0.05
    true = 1.45 + rng.normal(0, 0.02, n)
    seen = true + rng.normal(0, noise * np.sqrt(np.pi / 2 / shots), n)
    _, better = ratio_lines(typical(rng.uniform(70, 110, n), seen, np.pi / 2 * noise**2, shots))
    truth = 1.45 + 0.6745 * 0.02
    assert better is not None
    assert float(better(90.0)) == pytest.approx(truth, abs=0.0012)
    assert np.quantile(seen, 0.75) - truth > 0.003


@pytest.mark.parametrize(("strike", "normal"), [(0.5, 0.0), (0.9, 1.2816), (0.95, 1.6449)])
def test_an_efficient_strike_is_the_quantile_that_a_study_names(strike, normal):
    # Ratios known without error, normal about a line: 1.45 + 0.001 per mph beyond 90, standard deviation 0.02.
    rng = np.random.default_rng(6)
    speed = rng.uniform(70, 110, 4000)
    ratio = 1.45 + 0.001 * (speed - 90) + rng.normal(0, 0.02, 4000)
    usual = fit_usual_delivery(typical(speed, ratio), strike)
    assert usual.strike == strike
    # Standard errors are at most 0.001; the middle line doesn't move.
    truth = 1.45 + 0.02 * normal + np.array([-0.015, 0.015])
    np.testing.assert_allclose(usual.better_ratio([75.0, 105.0]), truth, atol=0.003)
    assert usual.speed_ratio == fit_usual_delivery(typical(speed, ratio)).speed_ratio


def test_the_strike_is_that_of_a_study_that_says_nothing():
    assert UsualDelivery.strike == Efficient().strike


def test_spread_without_error_keeps_exact_values():
    departure = np.array([-0.03, 0.01, 0.02])
    np.testing.assert_allclose(spread_without_error(departure, np.zeros(3)), departure)


def test_spread_without_error_is_nil_where_error_explains_all():
    np.testing.assert_allclose(spread_without_error(np.array([-0.01, 0.01]), np.array([0.01, 0.01])), [0, 0])


def test_no_ball_speed_gives_no_ratio_lines():
    table = typical(np.linspace(70, 110, 10), [None] * 10).with_columns(pl.col("speed_ratio").cast(pl.Float64))
    trends = fit_usual_delivery(table)
    assert trends.speed_ratio is None
    assert trends.better_ratio is None
