"""Shares said of golfers' next quarter against the truth, on golfers of whom everything is known.

About 10,000 predictions: each golfer is asked for seven distances. Golfers are drawn anew by seeds, so that a tenth's
mean is off by chance by about 0.1 / sqrt(golfers in it), 0.003 to 0.006.
"""

import numpy as np
import pytest
from simulated_golfers import simulate

from pipeline.coach.reaching.reaching_drives import golfers_drives

# Beside each golfer's center, yd; then to the next 5 yd, as people ask.
ASKED_YD = (-25.0, -15.0, -8.0, 0.0, 8.0, 15.0, 25.0)
LEAST = 200  # predictions in a tenth of shares
WORST_OFF, HELD = 0.03, (0.85, 0.95)


def held_against_truth(seeds, **world):
    """Give predicted shares, edges of their intervals, and true shares of the next quarter."""
    rows = []
    for seed in seeds:
        sim = simulate(np.random.default_rng(seed), **world)
        spread = golfers_drives(sim.drives, "carry_yd").spread
        for beside in ASKED_YD:
            asked = 5 * np.round((spread.center_yd + beside) / 5)
            rows.append(np.stack([*spread.share_reaching(asked), sim.true_share(asked)]))
    return np.concatenate(rows, axis=1)


def off_by_tenth(share, truth):
    """Give how far the mean predicted share is from the mean truth in each tenth of predicted shares."""
    tenth = np.clip((10 * share).astype(int), 0, 9)
    counts = np.bincount(tenth, minlength=10)
    assert counts.min() >= LEAST
    return np.bincount(tenth, share - truth, minlength=10) / counts


@pytest.fixture(scope="module")
def found():
    return held_against_truth(range(6))


def test_predicted_shares_are_those_of_the_next_quarter_in_every_tenth(found):
    share, _, _, truth = found
    off = off_by_tenth(share, truth)
    assert np.abs(off).max() <= WORST_OFF, off.round(3)


def test_nine_in_ten_intervals_hold_the_truth(found):
    share, lo, hi, truth = found
    held = (lo <= truth) & (truth <= hi)
    assert HELD[0] <= held.mean() <= HELD[1]
    for low, high in ((0.0, 0.2), (0.2, 0.8), (0.8, 1.0)):
        inside = (share >= low) & (share <= high)
        assert HELD[0] <= held[inside].mean() <= HELD[1]


@pytest.mark.parametrize("world", [{"drives": (12, 25), "days": (1, 1)}, {"drives": (60, 120), "days": (4, 8)}])
def test_golfers_of_one_day_and_of_many_drives_are_told_rightly(world):
    share, lo, hi, truth = held_against_truth(range(20, 26), **world)
    off = off_by_tenth(share, truth)
    assert np.abs(off).max() <= WORST_OFF, off.round(3)
    assert HELD[0] <= ((lo <= truth) & (truth <= hi)).mean() <= HELD[1]


def test_own_and_others_drives_together_err_less_than_a_plain_count():
    """The share of this quarter's drives that reach it, as one would count them."""
    ours, counted = [], []
    for seed in range(30, 33):
        sim = simulate(np.random.default_rng(seed), drives=(8, 25), days=(1, 3))
        spread = golfers_drives(sim.drives, "carry_yd").spread
        asked = 5 * np.round((spread.center_yd + 8) / 5)
        truth = sim.true_share(asked)
        newest = sim.drives.filter(quarter="2026Q3").sort("golfer")
        each = newest.group_by("golfer", maintain_order=True).agg("carry_yd")["carry_yd"].to_list()
        plain = np.array([np.mean(np.array(drives) >= yards) for drives, yards in zip(each, asked, strict=True)])
        ours.append(spread.share_reaching(asked)[0] - truth)
        counted.append(plain - truth)
    errors = [np.sqrt(np.mean(np.concatenate(one) ** 2)) for one in (ours, counted)]
    assert errors[0] < 0.9 * errors[1], errors
