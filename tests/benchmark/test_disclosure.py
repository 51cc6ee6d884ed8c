"""What is published of a band, and an attacker who holds it: what can be told of the one golfer not yet known?"""

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import band_table
from pipeline.benchmark.disclosure import (
    coarse,
    percentile_weights,
    protected_percentiles,
    protected_ratio,
    protected_share,
)
from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.efficient_by_speed import frontier_of
from pipeline.drives import Drives

MIN_GOLFERS = 5
STEP_YD = 0.125
REACH_YD = 12.0


def carries(rng, golfers):
    """Draw carries as in a band: most near the best, some with a fault."""
    return rng.normal(215, 9, golfers) - rng.exponential(6, golfers)


def published(values):
    return tuple(protected_percentiles(values, MIN_GOLFERS).values())


def width_left_yd(quarters, victim):
    """Give the width within which the victim's carry stays unknown to one who knows the method and all other golfers.

    The attacker tries every carry of the victim, the same change in all of `quarters`, which are published together.
    """
    truth = [published(values) for values in quarters]

    def free(sign):
        for place, change in enumerate(np.arange(STEP_YD, REACH_YD + STEP_YD, STEP_YD)):
            tried = [values + sign * change * (np.arange(len(values)) == victim) for values in quarters]
            if [published(values) for values in tried] != truth:
                return place * STEP_YD
        return REACH_YD

    return free(-1) + free(1)


def widths(seed, golfers, studies, shifts=(0.0,)):
    rng = np.random.default_rng(seed)
    drawn = [carries(rng, golfers) for _ in range(studies)]
    victims = rng.integers(0, golfers, (studies, 8))
    return np.array(
        [width_left_yd([c + s for s in shifts], int(v)) for c, row in zip(drawn, victims, strict=True) for v in row]
    )


@pytest.mark.parametrize("golfers", [5, 6, 7, 8])
def test_attacker_who_lacks_one_golfer_cannot_tell_a_carry_to_within_five_yards(golfers):
    # Below 9 golfers the middle percentile stands alone, and nobody weighs more than a fifth in a whole yard.
    assert widths(1, golfers, 15).min() >= MIN_GOLFERS - 2 * STEP_YD


@pytest.mark.parametrize("golfers", [9, 12, 16, 25, 45])
def test_attacker_who_lacks_one_golfer_of_many_hardly_ever_comes_within_two_yards(golfers):
    found = widths(2, golfers, 20)
    assert np.median(found) >= 4
    assert np.mean(found < 2) <= 0.07


def test_files_of_several_fits_together_narrow_a_carry_but_do_not_tell_it():
    # A quarter that is published again after two more fits, which moved every carry a little.
    found = widths(3, 10, 20, shifts=(0.0, 0.13, -0.21))
    assert np.median(found) >= 1.5
    assert found.min() > 0


def test_plain_percentiles_would_tell_a_carry():
    # The attack itself works: an ordinary median is the carry of the golfer who stands in the middle.
    values = np.sort(carries(np.random.default_rng(4), 11))
    others = np.delete(values, 5)
    tried = values[5] + np.arange(-REACH_YD, REACH_YD, STEP_YD)
    fitting = [v for v in tried if np.median(np.append(others, v)) == np.median(values)]
    assert fitting == [values[5]]


@pytest.fixture(scope="module")
def model(world):
    return fit_to(candidate_named("quadratic"), world.drives).model


def golfers_of(quarter, carry_yd, speed_mph):
    n = len(carry_yd)
    return pl.DataFrame(
        {
            "golfer": [f"g{i:016x}" for i in range(n)],
            "quarter": quarter,
            "shots": [20] * n,
            "club_speed_mph": [speed_mph] * n,
            "speed_ratio": [1.46] * n,
            "launch_deg": [13.0] * n,
            "spin_rpm": [2600.0] * n,
            "carry_p50_yd": carry_yd,
        }
    )


def test_nothing_published_changes_with_a_suppressed_golfer(model, roller):
    rng = np.random.default_rng(5)
    sound = [golfers_of(q, carries(rng, 18), 90.0) for q in ("2026Q1", "2026Q2", "2026Q3")]
    bands = SpeedBands((90.0, 100.0), 5.0)

    def files(victim_yd, others):
        few = golfers_of("2026Q2", np.append(np.full(others, 240.0), victim_yd), 100.0)
        return band_table(model, pl.concat([*sound, few]), {}, bands, MIN_GOLFERS, roller)

    tables = [files(v, others) for v in (150.0, 240.0, 290.0) for others in (0, 1, 3)]
    assert all(table.equals(tables[0]) for table in tables)
    assert tables[0].filter("suppressed").get_column("band_mph").to_list() == [100.0, 100.0, 100.0]


@pytest.mark.parametrize("golfers", [5, 6, 9, 21, 40])
@pytest.mark.parametrize("percent", [25, 50, 75, 90])
@pytest.mark.parametrize("least", [1, 4, 5])
def test_a_percentile_rests_on_enough_golfers(golfers, percent, least):
    weights = percentile_weights(golfers, percent, least)
    if weights is None:
        share = min(percent, 100 - percent) / 100
        assert share * (golfers - 1) + 0.5 < least / 2
    else:
        assert weights.sum() == pytest.approx(1)
        assert weights.max() <= 1 / least + 1e-12
        assert weights @ np.arange(golfers) == pytest.approx(percent / 100 * (golfers - 1))


def test_spans_of_one_golfer_are_ordinary_percentiles():
    values = np.array([3.0, 1.0, 8.0, 5.0])
    for percent in (25, 50, 75, 90):
        weights = percentile_weights(4, percent, 1)
        if weights is not None:
            assert np.sort(values) @ weights == pytest.approx(np.percentile(values, percent))
    assert percentile_weights(4, 50, 1) is not None


@pytest.mark.parametrize(
    ("golfers", "given"), [(4, []), (5, [50]), (8, [50]), (9, [25, 50, 75]), (20, [25, 50, 75]),
                           (21, [25, 50, 75, 90])]
)  # fmt: skip
def test_which_percentiles_are_given_follows_from_the_number_alone(golfers, given):
    for values in (np.arange(golfers) * 1.0, np.zeros(golfers), np.arange(golfers) ** 3.0):
        found = protected_percentiles(values, MIN_GOLFERS)
        assert [p for p, value in found.items() if value is not None] == given


def test_percentiles_are_whole_yards_and_halves_go_up():
    assert protected_percentiles(np.full(5, 200.5), 5)[50] == 201.0
    assert protected_percentiles(np.array([200.1, 200.2, 200.3, 200.4, 201.5]), 5)[50] == 201.0


def test_middle_percentile_is_the_mean_of_the_golfers_about_it():
    assert protected_percentiles(np.array([100.0, 210, 212, 214, 216, 218, 400]), 5)[50] == 214.0


def test_ratio_needs_enough_golfers_with_ball_speed():
    assert protected_ratio(np.array([1.4, 1.5, np.nan, 1.45, 1.46]), 5) is None
    assert protected_ratio(np.array([1.4, 1.5, np.nan, 1.45, 1.46, 1.44]), 5) == 1.45
    assert protected_ratio(np.array([]), 5) is None


def test_share_needs_enough_golfers_on_both_sides():
    assert protected_share(np.arange(12) < 5, 5) == pytest.approx(5 / 12)
    assert protected_share(np.arange(12) < 4, 5) is None
    assert protected_share(np.arange(12) < 8, 5) is None


def test_numbers_of_drives_near_a_speed_have_four_digits_and_unknown_ones_stay():
    given = np.array([[15.394092841, 2950.377656], [2.0916963e-5, np.nan]])
    np.testing.assert_array_equal(coarse(given), [[15.39, 2950.0], [2.092e-5, np.nan]])


def test_the_frontier_of_a_study_is_coarse_in_what_it_says_of_golfers(world):
    best = Efficient(90.0, 195.12345678, 193.0, 197.0, 1.2, 13.5, 2600.0, None, 20.123456, 218.0, 13.0, 2500.0, None)
    air = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
    frontier = frontier_of(
        {90.0: best}, Drives.of(world.drives), 5.0, study="hill", air=air, turf="normal", model_file="model.json"
    )
    assert frontier.golfers.tolist() == [20.1]
    assert frontier.carry_yd.tolist() == [195.12345678]
    told = np.concatenate([part.ravel() for part in vars(frontier.near).values()])
    assert len(told) == 2 + 4 + 2
    assert all(float(f"{value:.4g}") == value for value in told)
