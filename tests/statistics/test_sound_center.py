import numpy as np
import pytest

from pipeline.statistics.sound_center import sound_centers


def centers(rows):
    """Centers of rows of values, each row a group."""
    ranked = np.sort(rows, axis=1)
    return sound_centers(ranked.ravel(), np.arange(len(rows)) * ranked.shape[1])


def test_the_center_of_drives_without_mishits_is_their_mean_in_the_long_run():
    center, _ = centers(np.random.default_rng(1).normal(1.46, 0.013, (2000, 60)))
    assert center.mean() == pytest.approx(1.46, abs=4 * 0.013 / np.sqrt(2000 * 60) * 1.3)


@pytest.mark.parametrize("drives", [12, 20, 40, 80, 160])
def test_the_center_errs_as_its_variance_says(drives):
    center, variance = centers(np.random.default_rng(9).normal(1.46, 0.013, (4000, drives)))
    assert np.var(center) == pytest.approx(variance.mean() / drives, rel=0.12)


def test_mishits_move_the_center_far_less_than_the_median():
    rng = np.random.default_rng(2)
    drives = rng.normal(1.46, 0.013, (2000, 40))
    drives -= (rng.uniform(size=drives.shape) < 0.38) * rng.uniform(0.05, 0.20, drives.shape)
    center, _ = centers(drives)
    assert abs(center.mean() - 1.46) < 0.25 * abs(np.median(drives, axis=1).mean() - 1.46)
    assert np.std(center) < 0.6 * np.std(np.median(drives, axis=1))


def test_the_center_moves_and_scales_with_its_drives():
    rows = np.random.default_rng(3).gamma(2.0, 1.0, (50, 23))
    center, variance = centers(rows)
    moved, wider = centers(7 - 3 * (-rows))
    assert moved == pytest.approx(7 + 3 * center)
    assert wider == pytest.approx(9 * variance)


def test_groups_do_not_touch_each_other():
    one, other = np.array([1.0, 1.1, 1.2, 5.0]), np.array([2.0, 2.1])
    apart = [sound_centers(values, np.array([0]))[0][0] for values in (one, other)]
    together, _ = sound_centers(np.concatenate([one, other]), np.array([0, 4]))
    assert together.tolist() == pytest.approx(apart)


@pytest.mark.parametrize(("values", "center"), [([1.4], 1.4), ([1.4, 1.5], 1.45), ([1.5] * 6, 1.5)])
def test_few_and_equal_values(values, center):
    found, variance = sound_centers(np.array(values), np.array([0]))
    assert found[0] == pytest.approx(center)
    assert np.isnan(variance[0]) == (len(values) == 1)


def test_no_groups():
    assert [len(part) for part in sound_centers(np.array([]), np.array([], dtype=np.int64))] == [0, 0]


def test_a_single_value_is_its_own_center_however_many_groups_there_are():
    rng = np.random.default_rng(3)
    counts = rng.integers(1, 4, 60_000)
    starts = np.cumsum(counts) - counts
    values = rng.normal(230.0, 25.0, counts.sum()) + np.where(np.arange(counts.sum()) < counts.sum() / 2, -60.0, 60.0)
    values = values[np.lexsort([values, np.repeat(np.arange(len(counts)), counts)])]
    center, _ = sound_centers(values, starts)
    np.testing.assert_array_equal(center[counts == 1], values[starts][counts == 1])
    two = counts == 2
    np.testing.assert_allclose(center[two], (values[starts] + values[np.minimum(starts + 1, len(values) - 1)])[two] / 2)
