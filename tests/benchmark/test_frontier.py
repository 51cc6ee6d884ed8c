import numpy as np
import pytest
from frontiers import frontier_at, near_of
from hypothesis import given
from hypothesis import strategies as st

from pipeline.benchmark.drives_near import INSIDE, DrivesNear
from pipeline.benchmark.reach import Reach
from pipeline.benchmark.window import Window
from pipeline.fit.model import Delivery

# Eighths of a mph are exact in floats, so that edges and middles are hit.
grids = st.lists(st.integers(280, 360).map(lambda quarter: quarter / 4), max_size=10, unique=True).map(sorted)
speeds = st.lists(
    st.one_of(st.integers(540, 740).map(lambda eighth: eighth / 8), st.just(np.nan)), min_size=1, max_size=12
)


def nearest_by_loop(grid, speed):
    best = 0
    for place, one in enumerate(grid):
        if abs(one - speed) < abs(grid[best] - speed):
            best = place
    return best


def reached_by_loop(grid, speed):
    return bool(grid) and grid[0] <= speed <= grid[-1] and min(abs(one - speed) for one in grid) <= 0.5


def value_by_loop(grid, values, speed):
    if not reached_by_loop(grid, speed):
        return np.nan
    for place, one in enumerate(grid):
        if one == speed:
            return values[place]
        if one > speed:
            share = (speed - grid[place - 1]) / (one - grid[place - 1])
            return values[place - 1] + share * (values[place] - values[place - 1])
    raise AssertionError


USUAL = Delivery(*(np.array(value, dtype=float) for value in (90, 1.46, 13.5, 2650)))


def one_drive(speed, ratio, launch, spin):
    return Delivery(*(np.array(value, dtype=float) for value in (speed, ratio, launch, spin)))


@given(grids, speeds)
def test_reach_and_nearest_grid_speed_are_those_of_a_plain_loop(grid, asked):
    frontier = frontier_at(grid)
    assert frontier.reaches(asked).tolist() == [reached_by_loop(grid, speed) for speed in asked]
    known = [speed for speed in asked if not np.isnan(speed)]
    if grid and known:
        assert frontier.nearest(known).tolist() == [nearest_by_loop(grid, speed) for speed in known]


@given(grids, speeds, st.randoms(use_true_random=False))
def test_columns_are_interpolated_as_by_a_plain_loop(grid, asked, random):
    values = [random.uniform(150, 250) for _ in grid]
    frontier = frontier_at(grid, carry_yd=values)
    expected = [value_by_loop(grid, values, speed) for speed in asked]
    np.testing.assert_allclose(frontier.at("carry_yd", asked), expected, rtol=1e-12)
    np.testing.assert_allclose(frontier.at(np.array(values), asked), expected, rtol=1e-12)


@st.composite
def drives_about(draw):
    """A grid whose speeds differ in where their drives lie, and a drive that may be among them."""
    grid = draw(grids)
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    n = len(grid)
    mean = np.column_stack([rng.uniform(10, 18, n), rng.uniform(2200, 3200, n)])
    sd, turned = np.column_stack([rng.uniform(1, 3, n), rng.uniform(200, 600, n)]), rng.uniform(-0.8, 0.8, n)
    inverse = np.array(
        [np.linalg.inv([[a * a, r * a * b], [r * a * b, b * b]]) for (a, b), r in zip(sd, turned, strict=True)]
    ).reshape(n, 2, 2)
    lo = np.where(rng.random(n) < 0.2, np.nan, rng.uniform(1.3, 1.42, n))
    near = DrivesNear(mean, inverse, lo, lo + 0.1)
    speed = draw(st.integers(548, 732)) / 8
    ratio = draw(st.one_of(st.just(np.nan), st.floats(1.25, 1.6)))
    launch, spin = draw(st.floats(4, 26)), draw(st.floats(1000, 4500))
    return grid, near, one_drive(speed, ratio, launch, spin)


def refused_by_loop(grid, near, drive):
    """Which of the refusals a drive meets; None for none."""
    speed, ratio = float(drive.club_speed_mph), float(drive.speed_ratio)
    if not grid:
        return "no_benchmarks"
    if not reached_by_loop(grid, speed):
        return "gap" if grid[0] <= speed <= grid[-1] else "beyond"
    place = nearest_by_loop(grid, speed)
    (a, b), (_, d) = near.inverse[place]
    x, y = float(drive.launch_deg) - near.mean[place, 0], float(drive.spin_rpm) - near.mean[place, 1]
    if a * x * x + 2 * b * x * y + d * y * y > INSIDE:
        return "delivery"
    lo, hi = near.ratio_lo[place], near.ratio_hi[place]
    return "ratio" if ratio < lo or ratio > hi else None


@given(drives_about())
def test_a_drive_is_held_or_refused_as_by_a_plain_loop(found):
    grid, near, drive = found
    frontier = frontier_at(grid, near=near)
    kind = refused_by_loop(grid, near, drive)
    assert bool(frontier.holds(drive)) == (kind is None)
    refusal = frontier.refusal(drive, USUAL)
    assert (None if refusal is None else refusal.key) == kind


def test_drives_are_held_in_their_broadcast_shape():
    frontier = frontier_at(
        [90.0, 91.0], near=near_of([90.0, 91.0], (14.0, 2700.0), np.array([6.0, 1500.0]) / np.sqrt(INSIDE))
    )
    launch, spin = np.array([8.1, 14.0, 19.9, 20.1]), np.array([2700.0, 4100.0, 4300.0])
    held = frontier.holds(Delivery(np.array([[90.2]]), np.array([[np.nan]]), launch[:, None], spin))
    reference = ((launch[:, None] - 14) / 6) ** 2 + ((spin - 2700) / 1500) ** 2 <= 1
    assert held.shape == (4, 3)
    np.testing.assert_array_equal(held, reference)
    assert 0 < held.sum() < held.size


def test_the_delivery_is_that_of_the_nearest_grid_speed():
    near = DrivesNear(
        np.array([[12.0, 2700.0], [17.0, 2700.0]]),
        near_of([90.0, 91.0], sd=(0.7, 500.0)).inverse,
        *np.array([[1.3] * 2, [1.5] * 2]),
    )
    frontier = frontier_at([90.0, 91.0], near=near)
    drives = Delivery(np.array([90.4, 90.5, 90.6]), np.full(3, 1.4), np.full(3, 12.0), np.full(3, 2700.0))
    assert frontier.holds(drives).tolist() == [True, True, False]


REFUSED = {
    "beyond": (one_drive(130, 1.45, 14, 2700), "No answer at 130 mph. This academy's drives run from 68 to 92 mph."),
    "below": (one_drive(67.5, 1.45, 14, 2700), "No answer at 67.5 mph. This academy's drives run from 68 to 92 mph."),
    "gap": (
        one_drive(80, 1.45, 14, 2700),
        "No answer at 80 mph: too few golfers here have about that club speed.",
    ),
    "delivery": (
        one_drive(90.25, 1.45, 25, 3100),
        "No answer: hardly any drive near 90.25 mph launches at 25.0 deg with 3,100 rpm of spin. "
        "Usual are 13.5 deg and 2,650 rpm.",
    ),
    "ratio": (
        one_drive(90, 160 / 90, 14, 2700),
        "No answer: a ball speed of 160 mph is 1.78 times the club speed. Drives near 90 mph have 1.30 to 1.55.",
    ),
}


@pytest.mark.parametrize(("drive", "sentence"), REFUSED.values(), ids=REFUSED)
def test_a_refusal_says_what_was_asked_and_what_the_drives_are_like(drive, sentence):
    assert frontier_at([68.0, 69.0, 90.0, 91.0, 92.0]).refusal(drive, USUAL).sentence() == sentence


def test_of_many_drives_those_out_of_reach_are_not_held():
    frontier = frontier_at([68.0, 69.0, 90.0, 91.0])
    club = np.array([67.0, 68.5, 80.0, np.nan, 90.5, 92.0])
    held = frontier.holds(Delivery(club, np.full(6, 1.45), np.full(6, 14.0), np.full(6, 2600.0)))
    assert held.tolist() == [False, True, False, False, True, False]


def test_a_drive_in_reach_is_not_refused_whether_its_ratio_is_known_or_not():
    frontier = frontier_at([90.0, 91.0])
    assert frontier.refusal(one_drive(90, 1.45, 14, 2700), USUAL) is None
    assert frontier.refusal(one_drive(90, np.nan, 14, 2700), USUAL) is None
    unknown = frontier_at([90.0], near=near_of([90.0], ratio=(np.nan, np.nan)))
    assert unknown.refusal(one_drive(90, 1.8, 14, 2700), USUAL) is None


def test_an_academy_without_benchmarks_answers_nothing():
    frontier = frontier_at([])
    sentence = "No answer: this academy has too few golfers at any club speed for a benchmark."
    assert frontier.refusal(one_drive(90, 1.45, 14, 2700), USUAL).sentence() == sentence
    assert not frontier.reachable(one_drive(90, 1.45, 14, 2700))
    assert not frontier.holds(one_drive(90, 1.45, 14, 2700))
    assert np.isnan(frontier.at("carry_yd", [90.0])).all()
    assert frontier.window_at(90.0) is None
    assert frontier.carry_beyond(np.array([90.0])).tolist() == [0.0]


def test_a_gap_in_the_frontier_is_out_of_reach():
    gapped = frontier_at([80.0, 81.0, 90.0], carry_yd=[180.0, 182.0, 200.0])
    found = gapped.at("carry_yd", np.array([80.5, 81.4, 81.55, 85.0, 89.7, 90.2]))
    assert np.isnan(found).tolist() == [False, False, True, True, False, True]


def test_beyond_its_ends_carry_is_that_of_the_end_where_it_is_asked_so():
    frontier = frontier_at([80.0, 81.0, 90.0], carry_yd=[180.0, 182.0, 200.0])
    assert frontier.carry_beyond(np.array([60.0, 80.5, 85.5, 120.0])).tolist() == [180.0, 181.0, 191.0, 200.0]


def test_slopes_are_those_of_the_curve():
    speed = np.arange(80.0, 91.0)
    frontier = frontier_at(speed, carry_yd=2.5 * speed)
    found = frontier.slope_at(0.5 * speed**2, np.array([85.0, 85.5, 95.0]))
    np.testing.assert_allclose(found, [85.0, 85.5, np.nan])


def test_between_two_speeds_the_window_is_what_theirs_share():
    edges = {"launch_lo_deg": [12.0, 12.5, 12.5, 16.0], "launch_hi_deg": [15.0, 15.5, 14.5, 17.0]}
    edges |= {"spin_lo_rpm": 2300.0, "spin_hi_rpm": [2800.0, 2900.0, np.nan, 2800.0]}
    frontier = frontier_at([80.0, 81.0, 82.0, 83.0], **edges)
    assert frontier.window_at(80.0) == Window(12.0, 15.0, 2300.0, 2800.0)
    assert frontier.window_at(80.5) == Window(12.5, 15.0, 2300.0, 2800.0)
    assert frontier.window_at(81.5) is None
    assert frontier.window_at(90.0) is None
    apart = frontier_at([80.0, 81.0], launch_lo_deg=[12.0, 14.0], launch_hi_deg=[13.0, 15.0], spin_lo_rpm=2300.0,
                        spin_hi_rpm=2800.0)  # fmt: skip
    assert apart.window_at(80.0) is not None
    assert apart.window_at(80.5) is None


def reached_at(speeds, *masks):
    """A frontier whose speeds reach these deliveries, from 12 to 13 deg and from 2500 to 2700 rpm."""
    launch, spin = 12 + 0.25 * np.arange(5), 2500 + 50.0 * np.arange(5)
    reach = Reach.of(launch, spin, list(masks), [np.zeros((2, 2))] * len(masks))
    far = near_of(speeds, (20.0, 4500.0), (0.1, 10.0))
    return frontier_at(speeds, near=far, reach=reach)


def test_between_two_speeds_a_delivery_is_reachable_where_both_reach_it():
    whole, part = np.ones((5, 5), dtype=bool), np.ones((5, 5), dtype=bool)
    part[3:] = False
    frontier = reached_at([90.0, 91.0], whole, part)
    low, high = (one_drive(0, np.nan, launch, 2600) for launch in (12.4, 12.9))
    assert [bool(frontier.reachable(low.at(v))) for v in (90.0, 90.5, 91.0, 91.2)] == [True, True, True, False]
    assert [bool(frontier.reachable(high.at(v))) for v in (90.0, 90.5, 91.0)] == [True, False, False]


def test_a_reachable_delivery_is_held_wherever_drives_lie():
    frontier = reached_at([90.0, 91.0], *[np.ones((5, 5), dtype=bool)] * 2)
    assert frontier.holds(one_drive(90.5, 1.45, 12.3, 2600))
    assert frontier.refusal(one_drive(90.5, 1.45, 12.3, 2600), USUAL) is None
    assert not frontier.holds(one_drive(90.5, 1.45, 13.3, 2600))
    assert frontier.refusal(one_drive(90.5, 1.45, 13.3, 2600), USUAL).key == "delivery"


def test_the_best_delivery_is_that_of_the_speed_with_the_ratio_that_was_asked():
    frontier = frontier_at([80.0, 81.0], launch_deg=[15.0, 14.0], spin_rpm=[2800.0, 2700.0])
    best = frontier.best_delivery([80.5, 95.0], [1.45, 1.50])
    assert best.speed_ratio.tolist() == [1.45, 1.50]
    np.testing.assert_allclose(best.launch_deg, [14.5, np.nan])
    np.testing.assert_allclose(best.spin_rpm, [2750.0, np.nan])
