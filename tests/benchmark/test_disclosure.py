"""What is published of a band, and an attacker who holds it: what can be told of the one golfer not yet known?"""

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.bands import SpeedBands
from pipeline.benchmark.bands import at_centre, band_table
from pipeline.benchmark.disclosure import (
    coarse,
    coarse_count,
    coarse_sum,
    is_given,
    modelled,
    percentile,
    protected_percentiles,
    protected_ratio,
    protected_share,
    rank_weights,
)
from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.efficient_by_speed import frontier_of
from pipeline.benchmark.percentiles import Published, gaps_of, intervals, low_percentile, weights_near
from pipeline.drives import Drives
from pipeline.tables.columns import PERCENTILES

MIN_GOLFERS = 5
STEP_YD = 0.125
REACH_YD = 5.0


def carries(rng, golfers):
    """Draw carries as in a band: most near the best, some with a fault."""
    return rng.normal(215, 9, golfers) - rng.exponential(6, golfers)


def of_a_band(values):
    return protected_percentiles(values, np.ones(len(values)), len(values), MIN_GOLFERS)


def published(values):
    """Give all that a band which stands alone says of its golfers' carries: percentiles and their intervals."""
    return published_of_bands([values], np.ones((1, len(values))), [len(values)])


def published_of_bands(moved, weights, golfers, with_intervals=True):
    """Give all that bands say, the fullest first, of golfers moved to their centres: arrays (bands, golfers)."""
    told = [protected_percentiles(*rest, MIN_GOLFERS) for rest in zip(moved, weights, golfers, strict=True)]
    figures = [value for one in told for value in one.values()]
    if with_intervals:
        bands = [Published(coarse_count(n, MIN_GOLFERS), one) for n, one in zip(golfers, told, strict=True)]
        gaps = gaps_of(bands, low_percentile(moved[0], MIN_GOLFERS))
        ends = [intervals(one, gaps, weight) for one, weight in zip(told, weights, strict=True)]
        figures += [end for one in ends for both in one.values() for end in both]
    return tuple(figures)


def width_left_yd(quarters, victim, published=published):
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
    found = widths(2, golfers, 12)
    assert np.median(found) >= 4
    assert np.mean(found < 2) <= 0.07


def test_files_of_several_fits_together_narrow_a_carry_but_do_not_tell_it():
    # A quarter that is published again after two more fits, which moved every carry a little.
    found = widths(3, 10, 20, shifts=(0.0, 0.13, -0.21))
    assert np.median(found) >= 1.5
    assert found.min() > 0


class Table:
    """An academy's whole table of a quarter, as an attacker reworks it: by golfers' carries.

    Parameters
    ----------
    rng : Generator
    golfers : int
    alone : bool
        Whether a band's percentiles rest on its own golfers alone and have no interval, as they once did.
    """

    CENTRES, YD_PER_MPH = np.array([70.0, 80, 90, 100, 110]), 2.4

    def __init__(self, rng, golfers, alone=False):
        speed = rng.normal(91, 9, golfers)
        here = np.abs(speed - self.CENTRES[:, None]) < 5
        golfers_in = here.sum(axis=1)
        order = np.argsort([-coarse_count(n, MIN_GOLFERS) for n in golfers_in], kind="stable")
        order = order[golfers_in[order] >= MIN_GOLFERS]
        counts = here[order].any(axis=0)
        self.speed, self.alone, self.centres = speed[counts], alone, self.CENTRES[order]
        self.inside = here[order][:, counts]
        near = np.stack([weights_near(self.speed, centre, 5.0) for centre in self.centres])
        self.weights = self.inside * 1.0 if alone else near
        self.carry = (carries(rng, golfers) + self.YD_PER_MPH * (speed - 91))[counts]

    def published(self, carry):
        moved = carry + self.YD_PER_MPH * (self.centres[:, None] - self.speed)
        return published_of_bands(moved, self.weights, self.inside.sum(axis=1), with_intervals=not self.alone)


def test_the_attackers_table_is_the_published_one(model, roller):
    # What the attacker reworks above is what `band_table` publishes.
    rng, bands = np.random.default_rng(8), SpeedBands((80.0, 90.0, 100.0), 5.0)
    golfers = golfers_of("2026Q3", carries(rng, 60), rng.uniform(76, 104, 60))
    told = band_table(model, golfers, {}, bands, MIN_GOLFERS, roller).filter(~pl.col("suppressed"))
    told = told.sort(-pl.col("golfers"), "band_mph")
    centres, speed = told.get_column("band_mph").to_list(), golfers.get_column("club_speed_mph").to_numpy()
    assert len(centres) == 3
    moved = [at_centre(model, golfers, centre, roller)[0].to_numpy() for centre in centres]
    weights = [weights_near(speed, centre, 5.0) for centre in centres]
    found = published_of_bands(moved, weights, [int(bands.holds(centre, speed).sum()) for centre in centres])
    names = [f"carry_p{p}_yd" for p in PERCENTILES]
    names += [f"carry_p{p}_{end}90_yd" for p in PERCENTILES for end in ("lo", "hi")]
    figures = [*told.select(names[:4]).rows(), *told.select(names[4:]).rows()]
    assert found == tuple(value for row in figures for value in row)


def widths_of_tables(golfers, alone, studies=7, victims=7):
    found, rng = [], np.random.default_rng(golfers)
    for _ in range(studies):
        table = Table(rng, golfers, alone)
        who = rng.permutation(len(table.carry))[:victims]
        found += [width_left_yd([table.carry], int(v), table.published) for v in who]
    return np.array(found)


@pytest.mark.parametrize("golfers", [32, 70])
def test_golfers_of_other_bands_and_intervals_tell_attackers_hardly_more_than_bands_alone_did(golfers):
    # A golfer is now in the figures of several bands, but weighs less in each.
    alone, now = (widths_of_tables(golfers, way) for way in (True, False))
    assert np.median(now) >= 4
    assert np.mean(now < 2) <= 0.1
    assert np.mean(now < 2) <= np.mean(alone < 2) + 0.05


def test_intervals_tell_nothing_beyond_percentiles():
    # Whatever golfers' carries are, the same percentiles have the same intervals.
    table = Table(np.random.default_rng(3), 40)
    count, found = len(table.centres) * len(PERCENTILES), {}
    rng = np.random.default_rng(4)
    for _ in range(400):
        carry = table.carry + rng.uniform(-0.4, 0.4) + rng.uniform(-0.3, 0.3, len(table.carry))
        low = low_percentile(carry + table.YD_PER_MPH * (table.centres[0] - table.speed), MIN_GOLFERS)
        told = table.published(carry)
        found.setdefault((low, told[:count]), []).append(told[count:])
    groups = [ends for ends in found.values() if len(ends) > 1]
    assert len(groups) > 5
    assert all(one == ends[0] for ends in groups for one in ends)


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
            "club_speed_mph": np.full(n, 1.0) * speed_mph,
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
    share = min(percent, 100 - percent) / 100
    assert is_given(golfers, percent, least) == (share * (golfers - 1) + 0.5 >= least / 2)
    weights = rank_weights(np.ones(golfers), percent, least)
    assert weights.sum() == pytest.approx(1)
    assert weights.max() <= 1 / least + 1e-12
    if is_given(golfers, percent, least):
        assert weights @ np.arange(golfers) == pytest.approx(percent / 100 * (golfers - 1))


def test_golfers_who_count_in_part_weigh_no_more_than_that():
    rng = np.random.default_rng(6)
    for percent in (25, 50, 75, 90):
        given = rng.permutation(np.append(np.ones(21), rng.uniform(0, 1, 30)))
        weights = rank_weights(given, percent, MIN_GOLFERS)
        assert weights.sum() == pytest.approx(1)
        assert (weights <= given / MIN_GOLFERS + 1e-12).all()


def test_a_golfer_who_counts_half_is_half_of_two_who_are_equal():
    values = np.array([200.0, 207.0, 209.0, 210.0, 215.0, 216.0, 230.0])
    once, halves = np.ones(7), np.full(14, 0.5)
    for percent in (40, 50, 60):
        twice = percentile(np.repeat(values, 2), halves, percent, 5)
        assert twice == pytest.approx(percentile(values, once, percent, 5))


def test_spans_of_one_golfer_are_ordinary_percentiles():
    values = np.array([3.0, 1.0, 8.0, 5.0])
    assert [is_given(4, p, 1) for p in PERCENTILES] == [True] * 4
    for percent in PERCENTILES:
        assert percentile(values, np.ones(4), percent, 1) == pytest.approx(np.percentile(values, percent))


@pytest.mark.parametrize(
    ("golfers", "given"), [(4, []), (5, [50]), (8, [50]), (9, [25, 50, 75]), (20, [25, 50, 75]),
                           (21, [25, 50, 75, 90])]
)  # fmt: skip
def test_which_percentiles_are_given_follows_from_the_number_alone(golfers, given):
    for values in (np.arange(golfers) * 1.0, np.zeros(golfers), np.arange(golfers) ** 3.0):
        found = protected_percentiles(values, np.ones(golfers), golfers, MIN_GOLFERS)
        assert [p for p, value in found.items() if value is not None] == given
        # Golfers of other bands bring none back.
        more = protected_percentiles(np.tile(values, 3), np.repeat([1.0, 0.9, 0.9], golfers), golfers, MIN_GOLFERS)
        assert [p for p, value in more.items() if value is not None] == given


def test_percentiles_are_whole_yards_and_halves_go_up():
    assert of_a_band(np.full(5, 200.5))[50] == 201.0
    assert of_a_band(np.array([200.1, 200.2, 200.3, 200.4, 201.5]))[50] == 201.0


def test_middle_percentile_is_the_mean_of_the_golfers_about_it():
    assert of_a_band(np.array([100.0, 210, 212, 214, 216, 218, 400]))[50] == 214.0


def test_ratio_needs_enough_golfers_with_ball_speed():
    assert protected_ratio(np.array([1.4, 1.5, np.nan, 1.45, 1.46]), 5) is None
    assert protected_ratio(np.array([1.4, 1.5, np.nan, 1.45, 1.46, 1.44]), 5) == 1.45
    assert protected_ratio(np.array([]), 5) is None


def test_share_needs_enough_golfers_on_both_sides_and_is_in_tenths():
    assert protected_share(np.arange(12) < 5, 5) == 0.4
    assert protected_share(np.arange(12) < 4, 5) is None
    assert protected_share(np.arange(12) < 8, 5) is None


@pytest.mark.parametrize(("golfers", "told"), [(5, 5), (7, 5), (8, 10), (12, 10), (13, 15), (41, 40)])
def test_golfers_are_counted_in_steps_of_the_fewest_that_a_figure_rests_on(golfers, told):
    assert coarse_count(golfers, 5) == told
    assert coarse_count(golfers, 1) == golfers


@pytest.mark.parametrize(("shots", "golfers", "told"), [(60, 5, 58), (771, 18, 730), (733, 17, 760), (2400, 40, 2300)])
def test_drives_are_counted_in_steps(shots, golfers, told):
    assert coarse_sum(shots, golfers, 5) == told


def test_drives_are_never_none_and_many_totals_are_told_alike():
    rng = np.random.default_rng(7)
    for golfers in (5, 6, 9, 16, 45):
        for _ in range(20):
            shots = rng.integers(12, 161, golfers)
            total, mean = int(shots.sum()), shots.mean()
            told = coarse_sum(total, golfers, 5)
            assert told > 0
            assert abs(told - total) <= 2 * mean
            about = range(max(total - 500, golfers), total + 500)
            # More than the drives of an average golfer lie between the least and the most of them.
            assert sum(coarse_sum(other, golfers, 5) == told for other in about) >= 1.25 * mean


def test_figures_of_the_model_are_rounded_and_unknown_ones_stay():
    assert [modelled(195.5), modelled(195.499), modelled(38.25, 1)] == [196.0, 195.0, 38.3]
    assert np.isnan(modelled(np.nan))


def test_numbers_of_drives_near_a_speed_have_four_digits_and_unknown_ones_stay():
    given = np.array([[15.394092841, 2950.377656], [2.0916963e-5, np.nan]])
    np.testing.assert_array_equal(coarse(given), [[15.39, 2950.0], [2.092e-5, np.nan]])


def test_the_frontier_of_a_study_is_coarse_in_what_it_says_of_golfers(world):
    best = Efficient(90.0, 195.12345678, 193.0, 197.0, 1.2, 13.5, 2600.0, None, 20.123456, 218.0, 13.0, 2500.0, None)
    air = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
    frontier = frontier_of(
        {90.0: best},
        Drives.of(world.drives),
        5.0,
        study="hill",
        air=air,
        turf="normal",
        model_file="model.json",
        tolerance_yd=5.0,
    )
    assert frontier.golfers.tolist() == [20.1]
    assert frontier.carry_yd.tolist() == [195.12345678]
    told = np.concatenate([part.ravel() for part in vars(frontier.near).values()])
    assert len(told) == 2 + 4 + 2
    assert all(float(f"{value:.4g}") == value for value in told)
