import numpy as np
import polars as pl
import pytest
from days import on_days
from goal_samples import sample_golfers, sample_model, sample_present
from scipy.stats import norm

from pipeline.coach.goals.pace import Gain
from pipeline.coach.goals.priority import priorities, speed_variance, usual_gain, yards_per_mph
from pipeline.tables.goals import Priorities

QUARTERS = ("2025Q4", "2026Q1", "2026Q2")


def academy(golfers, gain, spread, drives=30, sd=1.5, seed=2, days=None, form=0.0):
    """Drives in three quarters of golfers who gain `gain` mph a quarter, each with a departure of his own."""
    rng = np.random.default_rng(seed)
    steps = gain + spread * rng.standard_normal((golfers, 2))
    true = 90 + np.concatenate([np.zeros((golfers, 1)), np.cumsum(steps, axis=1)], axis=1)
    club = true[:, :, None] + sd * rng.standard_normal((golfers, 3, drives))
    club += form * rng.standard_normal((golfers, 3, days or drives))[:, :, np.arange(drives) % (days or drives)]
    who = np.repeat([f"g{i:03d}" for i in range(golfers)], 3 * drives)
    when = np.tile(np.repeat(QUARTERS, drives), golfers)
    drives = pl.DataFrame({"golfer": who, "quarter": when, "club_speed_mph": club.ravel()})
    return on_days(drives, days), club.mean(axis=2)


def changes_from(means, rows=((1, 0), (2, 1))):
    """Changes of mean speed between quarters by their places; the columns that the gain looks at."""
    golfers = [f"g{i:03d}" for i in range(len(means))]
    return pl.concat(
        pl.DataFrame(
            {"golfer": golfers, "quarter": QUARTERS[now], "since": QUARTERS[then]}
        ).with_columns(pl.Series("club_speed_change_mph", means[:, now] - means[:, then]))
        for now, then in rows
    )  # fmt: skip


def test_the_gain_is_what_golfers_truly_gained_without_the_luck_of_their_drives():
    drives, means = academy(golfers=300, gain=0.8, spread=0.6, drives=10)
    gain = usual_gain(changes_from(means), speed_variance(drives))
    assert gain.mean_mph == pytest.approx(0.8, abs=0.12)
    assert gain.spread_mph == pytest.approx(0.6, abs=0.1)
    assert np.std(means[:, 1] - means[:, 0]) > 0.8  # luck included it looks a third wider
    assert (gain.golfers, gain.pairs) == (300, 600)


def test_where_nobody_truly_differs_luck_is_no_spread():
    drives, means = academy(golfers=200, gain=0.0, spread=0.0)
    gain = usual_gain(changes_from(means), speed_variance(drives))
    assert gain.spread_mph < 0.15
    assert np.std(means[:, 1] - means[:, 0]) > 0.3


def test_a_days_form_is_no_spread_of_gains():
    drives, means = academy(golfers=200, gain=0.0, spread=0.0, days=2, form=1.0)
    gain = usual_gain(changes_from(means), speed_variance(drives))
    assert gain.spread_mph < 0.5
    assert np.std(means[:, 1] - means[:, 0]) > 0.9


def test_days_that_nobody_can_tell_from_gains_stay_in_their_spread():
    drives, means = academy(golfers=200, gain=0.0, spread=1.0, days=1)
    gain = usual_gain(changes_from(means), speed_variance(drives))
    assert gain.spread_mph == pytest.approx(1.0, abs=0.15)


def test_the_means_error_is_that_of_as_many_golfers():
    errors = [
        usual_gain(changes_from(m), speed_variance(d)) for d, m in (academy(40, 0.5, 0.6, seed=s) for s in range(20))
    ]
    misses = np.array([(one.mean_mph - 0.5) / one.mean_error_mph for one in errors])
    assert 0.6 < np.sqrt(np.mean(misses**2)) < 1.5


def test_only_quarters_in_a_row_count_over_a_new_year_too():
    drives, means = academy(golfers=20, gain=1.0, spread=0.0)
    variance = speed_variance(drives)
    both = usual_gain(changes_from(means, rows=((1, 0), (2, 0))), variance)
    assert both.pairs == 20  # 2025Q4 to 2026Q1; from 2025Q4 to 2026Q2 a quarter is missing
    assert both.mean_mph == pytest.approx(1.0, abs=0.25)


def test_too_few_golfers_tell_no_gain():
    drives, means = academy(golfers=8, gain=1.0, spread=0.0)
    variance = speed_variance(drives)
    assert usual_gain(changes_from(means), variance) is not None
    assert usual_gain(changes_from(means[:7]), variance) is None
    assert usual_gain(changes_from(means).clear(), variance) is None


def test_a_golfers_few_drives_are_steadied_by_the_others():
    drives, _ = academy(golfers=50, gain=0.0, spread=0.0, drives=20, sd=1.5)
    pair = drives.filter(pl.col("golfer") == "g000").head(2).with_columns(club_speed_mph=pl.lit(90.0))
    found = speed_variance(pl.concat([drives.filter(pl.col("golfer") != "g000"), pair]))
    alike = found.filter(pl.col("golfer") == "g000")["speed_variance"].item()
    assert alike == pytest.approx(1.5**2 / 2, rel=0.3)  # two equal readings don't mean certainty


def test_a_mph_is_worth_the_slope_of_the_golfers_own_line():
    # 2 * 1.4 yd a mph, less the shortfall's tenth of a yard a mph.
    assert yards_per_mph(sample_model(), sample_present(shortfall=9.7)) == pytest.approx([2.7])


def gain_of(mean=1.0, error=0.3, spread=0.4):
    return Gain.of(mean, error, spread, 40, 80)


def test_the_probability_is_that_of_two_normal_figures():
    golfers = sample_golfers({"club_speed_mph": 97.0, "carry_yd": 238.5, "own_error_yd": 1.0})  # 4 yd, give or take 2
    table = Priorities.validate(priorities(golfers, np.array([2.5]), gain_of()))
    row = table.row(0, named=True)
    assert (row["delivery_yd"], row["speed_yd"]) == pytest.approx((4.0, 2.5))
    assert row["speed_lo90_yd"] == pytest.approx(2.5 * (1 - 1.6449 * 0.5), rel=1e-3)
    doubt = np.hypot(2 / 1.6449, 2.5 * 0.5)
    assert row["delivery_more_probability"] == pytest.approx(norm.cdf(1.5 / doubt), rel=1e-3)


@pytest.mark.parametrize(
    ("lost", "gain", "word", "confidence"),
    [
        (20.0, gain_of(), "delivery", 1.0),
        (0.5, gain_of(mean=3.0), "speed", 1.0),
        (4.10, gain_of(), "delivery", norm.cdf(1.60 / 1.744)),  # 0.82
        (3.85, gain_of(), "either", None),  # 0.78
        (4.4, gain_of(spread=2.5), "either", None),  # 1.9 yd more, far from sure
        (4.6, gain_of(spread=2.5), "cant_tell", None),  # 2.1 yd
        (6.0, gain_of(spread=2.5), "cant_tell", None),
        (20.0, None, "cant_tell", None),
    ],
)
def test_the_word_and_its_confidence(lost, gain, word, confidence):
    golfers = sample_golfers({"club_speed_mph": 97.0, "carry_yd": 242.5 - lost, "own_error_yd": 1.0})
    row = Priorities.validate(priorities(golfers, np.array([2.5]), gain)).row(0, named=True)
    assert row["first"] == word
    assert row["confidence"] == (None if confidence is None else pytest.approx(confidence, abs=0.001))
    assert (row["note"] is None) == (gain is not None)


def test_without_a_gain_the_note_says_why_and_delivery_is_told_all_the_same():
    golfers = sample_golfers({"club_speed_mph": 97.0, "carry_yd": 222.5, "own_error_yd": 1.0})
    row = priorities(golfers, np.array([2.5]), None).row(0, named=True)
    assert row["note"] == "under 8 golfers have two quarters in a row, so the gain in speed isn't known"
    assert row["delivery_yd"] == pytest.approx(20)
    assert (row["speed_yd"], row["delivery_more_probability"]) == (None, None)


def test_where_nobody_could_be_shrunk_plain_yards_stand_in():
    plain = dict.fromkeys(("ranked_lost_yd", "ranked_lo90_yd", "ranked_hi90_yd"))
    row = {"club_speed_mph": 97.0, "carry_yd": 232.5, "own_error_yd": 1.0, "shots": 15}
    found = priorities(sample_golfers(row | plain), np.array([2.5]), gain_of()).row(0, named=True)
    half = 1.7613 * np.hypot(1.0, 0.5)
    assert (found["delivery_lo90_yd"], found["delivery_hi90_yd"]) == pytest.approx((10 - half, 10 + half), rel=1e-4)
    shrunk = priorities(sample_golfers(row), np.array([2.5]), gain_of()).row(0, named=True)
    assert (shrunk["delivery_lo90_yd"], shrunk["delivery_hi90_yd"]) == pytest.approx((8, 12))
