import json

import numpy as np
import pytest

from pipeline.coach.goals.pace import MIN_GOLFERS, Gain, Pace, quarters_needed, time_words, why_no_time
from pipeline.edge.artefacts import read_artefact, write_artefact

T39 = 1.6848751  # Student's t with 39 degrees of freedom, its 95 % point (tables)


def gain_of(mean=0.4, error=0.1, golfers=40):
    return Gain.of(mean, error, 0.8, golfers, 2 * golfers)


def test_the_means_interval_is_students():
    gain = gain_of()
    assert (gain.mean_lo90_mph, gain.mean_hi90_mph) == pytest.approx((0.4 - T39 * 0.1, 0.4 + T39 * 0.1), rel=1e-6)


def test_an_exact_step_takes_step_over_gain_with_the_gains_own_edges():
    gain = gain_of()
    step = np.array([[0.4, 2.0], [8.0, 0.1]])
    found = quarters_needed(step, gain)
    assert found.quarters == pytest.approx(step / 0.4)
    assert found.lo90 == pytest.approx(step / gain.mean_hi90_mph)
    assert found.hi90 == pytest.approx(step / gain.mean_lo90_mph)


@pytest.mark.parametrize(("step", "arm"), [(2.0, 0.5), (0.3, 0.6), (-0.3, 0.6), (5.0, 4.9)])
def test_with_a_steps_own_doubt_the_edges_are_fiellers(step, arm):
    gain = gain_of()
    found = quarters_needed(step, gain, step - arm, step + arm)
    q = np.linspace(0, 200, 2_000_001)
    holds_zero = np.abs(step - q * 0.4) <= np.hypot(arm, q * (0.4 - gain.mean_lo90_mph))
    assert found.lo90 == pytest.approx(q[holds_zero].min(), abs=2e-4)
    assert found.hi90 == pytest.approx(q[holds_zero].max(), abs=2e-4)
    assert found.quarters == pytest.approx(max(step / 0.4, 0))


def test_nine_in_ten_intervals_hold_the_true_number():
    rng = np.random.default_rng(17)
    true_step, true_gain, golfers = 1.5, 0.4, 20
    inside = []
    for _ in range(4000):
        gains = true_gain + 0.6 * rng.standard_normal(golfers)
        gain = Gain.of(gains.mean(), gains.std(ddof=1) / np.sqrt(golfers), 0.6, golfers, golfers)
        step = true_step + 0.3 * rng.standard_normal()
        found = quarters_needed(step, gain, step - 1.645 * 0.3, step + 1.645 * 0.3)
        inside.append(found.lo90 <= true_step / true_gain <= np.nan_to_num(found.hi90, nan=np.inf))
    assert 0.88 < np.mean(inside) < 0.92  # Monte Carlo error 0.005; the mix of t and normal arms is not exact


def test_no_step_takes_no_time_whatever_the_pace():
    for gain in (gain_of(), gain_of(mean=0.1), gain_of(mean=-0.4), None):
        found = quarters_needed(np.array([0.0, -2.0]), gain)
        assert np.array_equal(np.array(found), np.zeros((3, 2)))


def test_where_the_pace_isnt_clearly_above_zero_only_the_least_time_is_known():
    gain = gain_of(mean=0.15)
    found = quarters_needed(np.array([1.0, 3.0]), gain)
    assert gain.mean_lo90_mph < 0
    assert np.isnan(found.quarters).all()
    assert np.isnan(found.hi90).all()
    assert found.lo90 == pytest.approx(np.array([1.0, 3.0]) / gain.mean_hi90_mph)
    below = quarters_needed(1.0, gain_of(mean=-0.05))
    assert below.lo90 == pytest.approx(1 / (-0.05 + T39 * 0.1))


def test_where_golfers_surely_lose_speed_or_the_pace_isnt_known_nothing_is():
    for gain in (gain_of(mean=-0.4), None):
        assert np.isnan(np.array(quarters_needed(1.0, gain))).all()
    unsure = quarters_needed(1.0, None, -0.5, 2.5)
    assert (np.isnan(unsure.quarters), unsure.lo90, np.isnan(unsure.hi90)) == (True, 0.0, True)


def test_an_unknown_step_or_edge_leaves_its_figure_open():
    found = quarters_needed(np.array([np.nan, 2.0, 2.0]), gain_of(), [np.nan, 1.0, np.nan], [np.nan, np.nan, 3.0])
    assert np.isnan(np.array(found)[:, 0]).all()
    assert (found.lo90[1] > 0, np.isnan(found.hi90[1])) == (True, True)
    assert (found.lo90[2], found.hi90[2] > found.quarters[2]) == (0.0, True)


def test_no_steps_give_no_numbers():
    assert quarters_needed(np.array([]), gain_of()).hi90.shape == (0,)


@pytest.mark.parametrize(
    ("quarters", "gain", "words"),
    [
        (3.2, gain_of(), "about 3 quarters at the pace of golfers here"),
        (2.5, gain_of(), "about 3 quarters at the pace of golfers here"),
        (1.2, gain_of(), "about a quarter at the pace of golfers here"),
        (0.3, gain_of(), "less than a quarter at the pace of golfers here"),
        (np.nan, gain_of(mean=0.1), "nobody can say how long: golfers here gain no speed that we can see"),
        (
            None,
            None,
            f"under {MIN_GOLFERS} golfers here have two quarters in a row, so nobody can say how long it takes",
        ),
    ],
)
def test_time_in_words(quarters, gain, words):
    assert time_words(quarters, gain) == words
    assert (why_no_time(gain) is None) == (quarters is not None and not np.isnan(quarters))


def test_the_file_holds_the_pace_or_none(tmp_path):
    path = tmp_path / "pace.json"
    for pace in (Pace(gain_of()), Pace(None)):
        write_artefact(path, pace)
        assert read_artefact(path, Pace) == pace
    assert json.loads(path.read_text()) == {"gain": None}
