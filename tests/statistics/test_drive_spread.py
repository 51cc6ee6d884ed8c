import numpy as np
import pytest
from scipy.stats import binom, norm

from pipeline.statistics import drive_spread
from pipeline.statistics.drive_spread import LEVELS, DriveSpread, UsualDrives


def normal(center=230.0, spread=10.0, doubt=0.0, worth=np.inf):
    center, doubt, worth = (np.atleast_1d(np.asarray(value, dtype=float)) for value in (center, doubt, worth))
    return DriveSpread(center[:, None] + spread * norm.ppf(LEVELS), center, doubt, worth)


@pytest.mark.parametrize("distance", [205.0, 222.0, 230.0, 241.0, 255.0])
def test_a_share_of_normal_drives_is_the_normal_tail_and_the_doubt_of_the_center_widens_it(distance):
    assert normal().share_reaching(distance)[0] == pytest.approx(norm.sf((distance - 230) / 10), abs=1.5e-3)
    found = normal(doubt=6.0).share_reaching(distance)[0]
    assert found == pytest.approx(norm.sf((distance - 230) / np.hypot(10, 6)), abs=1.5e-3)


def test_without_doubt_the_interval_is_as_wide_as_that_of_a_count_of_so_many_drives():
    share, lo, hi = (float(part[0]) for part in normal(worth=200.0).share_reaching(235.0))
    assert (lo, hi) == pytest.approx(binom.interval(0.9, 200, share)[0] / 200 + np.array([0, hi - lo]), abs=0.012)
    assert hi - lo == pytest.approx(2 * 1.645 * np.sqrt(share * (1 - share) / 200), rel=0.02)
    assert normal().share_reaching(235.0)[1:] == (pytest.approx(share), pytest.approx(share))


def test_with_doubt_alone_the_interval_is_that_of_the_center():
    _, lo, hi = normal(doubt=4.0).share_reaching(235.0)
    edges = norm.sf((235 - 230 + 1.645 * 4) / 10), norm.sf((235 - 230 - 1.645 * 4) / 10)
    assert (lo[0], hi[0]) == pytest.approx(edges, abs=0.02)


def test_shares_stay_inside_nil_and_one_and_their_intervals_hold_them():
    every = normal(center=np.full(41, 230.0), doubt=8.0 * np.ones(41), worth=np.full(41, 12.0))
    share, lo, hi = every.share_reaching(np.linspace(150, 310, 41))
    assert ((lo >= 0) & (lo <= share) & (share <= hi) & (hi <= 1)).all()
    assert (np.diff(share) <= 0).all()
    assert (share[0], share[-1]) == pytest.approx((1, 0), abs=1e-9)


def test_the_distance_of_a_share_is_reached_by_that_share():
    drives = normal(center=[200.0, 260.0], doubt=[0.0, 5.0], worth=[30.0, 30.0])
    for share in (0.9, 0.5, 0.1):
        assert drives.share_reaching(drives.distance_reached(share))[0] == pytest.approx([share] * 2, abs=1e-6)
    assert drives.distance_reached(0.9)[0] == pytest.approx(200 - 12.816, abs=0.05)


def uneven(golfers):
    """Golfers with mishits, one without any doubt of the center and one of whom nothing is known."""
    rng = np.random.default_rng(6)
    quantiles = np.quantile(
        rng.normal(230, 9, (300, golfers)) - 60 * (rng.random((300, golfers)) < 0.2), LEVELS, axis=0
    )
    doubt = np.append([0.0, np.nan], rng.exponential(3.0, golfers - 2))
    return DriveSpread(quantiles.T, np.full(golfers, 230.0), doubt, np.full(golfers, 12.0))


@pytest.mark.parametrize("share", [0.9, 0.5, 0.1, 0.9999])
def test_the_distance_of_a_share_is_that_of_halvings_which_look_each_time(share):
    every = uneven(200)
    arm = every.doubt_yd * np.abs(drive_spread._NODES).max()
    low, high = every.quantile_yd[:, 0] - arm, every.quantile_yd[:, -1] + arm
    for _ in range(drive_spread._HALVINGS):
        middle = (low + high) / 2
        enough = every._share_beyond(middle) >= share
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    np.testing.assert_array_equal(every.distance_reached(share), (low + high) / 2)


def test_few_looks_find_the_distance_of_a_share(monkeypatch):
    looks, beyond = [], DriveSpread._beyond
    monkeypatch.setattr(DriveSpread, "_beyond", lambda one, yards: looks.append(len(yards)) or beyond(one, yards))
    for share in (0.9, 0.5, 0.1):
        uneven(200).distance_reached(share)
    assert sum(looks) < 12 * 3 * 200


def test_drives_about_another_center_scatter_in_the_same_measure():
    there = normal(center=200.0, spread=10.0, doubt=3.0).about(250.0, 0.0)
    assert there.share_reaching(262.5)[0] == pytest.approx(norm.sf(1), abs=1.5e-3)
    assert normal().farther(12.0).share_reaching(252.0)[0] == pytest.approx(norm.sf(1), abs=1.5e-3)


def test_what_is_not_known_gives_no_share():
    drives = normal(center=[np.nan, 230.0], doubt=[1.0, np.nan], worth=[9.0, 9.0])
    for part in (*drives.share_reaching(230.0), drives.distance_reached(0.5)):
        assert np.isnan(part).all()
    assert np.isnan(normal().share_reaching(np.nan)[0]).all()


def test_the_usual_golfer_is_the_less_sure_the_less_of_the_delivery_is_known():
    usual = UsualDrives(norm.ppf(LEVELS), 0.04, 10.0, (0.01, -0.03), (0.0, 0.05))
    known, unknown, half = (usual.about(200.0, part) for part in (1.0, 0.0, 0.5))
    assert (known.center_yd[0], unknown.center_yd[0], half.center_yd[0]) == pytest.approx((202, 194, 198))
    assert (known.doubt_yd[0], unknown.doubt_yd[0]) == pytest.approx((0, 9.7))
    assert half.doubt_yd[0] == pytest.approx(198 * 0.05 / np.sqrt(2))
    assert known.share_reaching(202 * 1.04)[0] == pytest.approx(norm.sf(1), abs=1.5e-3)
