"""An attacker who holds two publications of straightness: what can be told of the one spread not yet known?

The attacker knows the method, everybody else's spread and, in the worst case, how a share in the corridor follows from
a spread. The two publications differ by one golfer (the victim is in one of them alone), by a quarter (the others have
moved, the victim hasn't) or by a subset of the golfers.

Rule: 2 yd stay open for at least 9 victims in 10 where the publications differ by one golfer, and for at least 7 in 10
where they differ by a quarter or a subset; nobody's spread is told outright. In bands of 25 golfers or more the victim
also stays among others: hardly ever is less left open than the range of the four others whose spreads are nearest. In
smaller bands that range is wider than the figures can hide from one who knows everybody else.
"""

import numpy as np
import polars as pl
import pytest
from rows import table_of
from scipy.special import ndtr
from test_disclosure import MIN_GOLFERS, REACH_YD, STEP_YD, width_left_yd

from pipeline.bands import SpeedBands
from pipeline.benchmark.disclosure import protected_percentiles, protected_ratio
from pipeline.coach.straightness.band_spreads import band_spreads, published_figures
from pipeline.tables.straightness import Straightness

HALF_CORRIDOR_YD = 15.0
VICTIMS = 40


def spreads_of(rng, golfers):
    """Draw spreads as in a band: 8 to 30 yd mostly, a few golfers wild."""
    return 16 * np.exp(rng.normal(0, 0.3, golfers))


def share_of(spread_yd):
    return 2 * ndtr(HALF_CORRIDOR_YD / spread_yd) - 1


def file_of(spread_yd, told=published_figures):
    """Give what the file says of golfers who drive straight on average, so that spread and share tell each other."""
    return tuple(told(spread_yd, share_of(spread_yd), MIN_GOLFERS).values())


def by_one_golfer(_, spreads, victim, file):
    return [spreads], lambda values: (file(values), file(np.delete(values, victim)))


def by_a_quarter(rng, spreads, victim, file):
    moved = spreads * np.exp(rng.normal(0, 0.12, len(spreads)))
    moved[victim] = spreads[victim]
    return [spreads, moved], file


def by_a_subset(rng, spreads, victim, file):
    kept = rng.random(len(spreads)) < 0.7
    kept[victim] = True
    # With too few golfers the second file has no row.
    return [spreads], lambda values: (file(values), file(values[kept]) if kept.sum() >= MIN_GOLFERS else None)


def open_and_near(differ, golfers, file=file_of):
    """Give for each victim how wide the spread stays open, and the range of the four nearest others, yd."""
    rng, found = np.random.default_rng([golfers, VICTIMS]), []
    for _ in range(VICTIMS):
        spreads = spreads_of(rng, golfers)
        victim = int(rng.integers(golfers))
        quarters, told = differ(rng, spreads, victim, file)
        left = width_left_yd(quarters, victim, told)
        others = np.delete(spreads, victim)
        near = others[np.argsort(np.abs(others - spreads[victim]))[: MIN_GOLFERS - 1]]
        found.append((left, np.ptp(near)))
    return np.array(found).T


@pytest.mark.parametrize("golfers", [6, 9, 16, 25])
@pytest.mark.parametrize(("differ", "most"), [(by_one_golfer, 0.1), (by_a_quarter, 0.3), (by_a_subset, 0.3)])
def test_two_publications_leave_two_yards_open(differ, most, golfers):
    left, near = open_and_near(differ, golfers)

    assert np.mean(left < 2) <= most
    assert left.min() > 0
    assert np.median(left) >= 3.5
    if golfers >= 25:
        # What is left open is found in steps, to each side.
        assert np.mean(left + 2 * STEP_YD < np.minimum(near, 2 * REACH_YD)) <= 0.05


def test_whole_yards_and_hundredths_would_tell_a_spread():
    # The attack itself works, and is why figures are coarser than those of carry.
    def fine(spread_yd, share, min_golfers):
        given = protected_percentiles(spread_yd, np.ones(len(spread_yd)), len(spread_yd), min_golfers)
        return given | {"share": protected_ratio(share, min_golfers)}

    left, _ = open_and_near(by_one_golfer, 6, lambda values: file_of(values, fine))

    assert np.mean(left < 2) >= 0.4


def test_a_file_of_bands_says_what_the_attacker_reworks():
    spreads = spreads_of(np.random.default_rng(2), 30)
    names = [f"g{k:016x}" for k in range(30)]
    club = pl.DataFrame({"golfer": names, "quarter": "2026Q3", "club_speed_mph": 90.0})
    given = {"status": "assessed", "shots": 30, "known": 30, "calculated": 0, "corridor_yd": 2 * HALF_CORRIDOR_YD}
    figures = zip(names, spreads, share_of(spreads), strict=True)
    rows = [
        given | {"golfer": name, "offline_mean_yd": 0.0, "offline_sd_yd": sd, "in_corridor_share": share}
        for name, sd, share in figures
    ]
    bands = band_spreads(table_of(Straightness, rows), club, SpeedBands.of((90,), 5), MIN_GOLFERS, 30.0)
    told = bands.select("^offline_sd_p.*$", "in_corridor_p50").row(0)
    assert told == file_of(spreads)
