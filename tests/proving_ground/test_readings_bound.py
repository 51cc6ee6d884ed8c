"""The least error that the readings allow, against the best predictor of one golfer's drives and against the oracle."""

from dataclasses import replace

import numpy as np
import pytest
from academy import make_academy
from readings_bound import least_rmse_yd, least_variance_yd2
from worlds import PLAIN

ONE = replace(PLAIN, golfers=1, shots=(20_000, 20_000), device_b=0.0, faulty=0.0, mishits=(0.0, 0.0), form_yd=0.0)


@pytest.mark.parametrize("spin_noise", [0.02, 0.08])
def test_it_is_the_error_of_the_best_predictor_of_a_known_golfers_drives(spin_noise):
    # For one golfer the genie tells nothing that a regression on 40,000 drives doesn't learn.
    academy = make_academy(replace(ONE, spin_noise=spin_noise), "plain", 3)
    drives = academy.drives
    x = np.stack(
        [drives.get_column(c).to_numpy() for c in ("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm")]
    )
    z = (x - x.mean(axis=1, keepdims=True)) / x.std(axis=1, keepdims=True)
    pairs = [z[i] * z[j] for i in range(4) for j in range(i, 4)]
    design = np.stack([np.ones(drives.height), *z, *pairs], axis=1)
    carry = drives.get_column("true_flight_yd").to_numpy()
    left = carry - design @ np.linalg.lstsq(design, carry, rcond=None)[0]
    assert np.mean(least_variance_yd2(academy)) == pytest.approx(np.mean(left**2), rel=0.06)


def test_better_readings_allow_less_error_and_perfect_ones_none(monkeypatch):
    calm = make_academy(replace(PLAIN, golfers=10), "plain", 3)
    poor = make_academy(replace(PLAIN, golfers=10, spin_noise=0.08), "plain", 3)
    assert np.mean(least_variance_yd2(calm)) < 0.9 * np.mean(least_variance_yd2(poor))
    assert least_rmse_yd(calm, 3.0) > 3.0
    for name in ("CLUB_READ", "BALL_READ", "LAUNCH_READ_DEG"):
        monkeypatch.setattr("academy." + name, 1e-6)
    exact = make_academy(replace(PLAIN, golfers=10, spin_noise=1e-6), "plain", 3)
    assert least_rmse_yd(exact, 3.0) == pytest.approx(3.0, abs=1e-6)
