import numpy as np
import polars as pl
import pytest
from days import FIRST
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from pipeline.golfers.day_form import figure_errors
from pipeline.golfers.doubt import Doubt, of_change, with_doubt
from pipeline.statistics.intervals import Estimate, t_reach


def drives_of(rng, golfers, days, each, form=3.5, sd=10.0, quarter="2026Q3", level=0.0):
    """Drives of golfers on some days; `each` may differ by day."""
    each = np.broadcast_to(each, days)
    day = np.repeat(np.arange(days), each)
    value = level + form * rng.standard_normal((golfers, days))[:, day] + sd * rng.standard_normal((golfers, len(day)))
    names = [f"g{i:016x}" for i in range(golfers)]
    return pl.DataFrame(
        {
            "golfer": np.repeat(names, len(day)),
            "quarter": quarter,
            "struck_on": np.datetime64(FIRST) + np.tile(day, golfers),
            "value": value.ravel(),
        }
    )


def known_means(drives, assumed=0.0):
    """Means of golfers and quarters with how well they are known."""
    errors, form = figure_errors(drives, "value", median=False, assumed=assumed)
    means = drives.group_by("golfer", "quarter").agg(pl.col("value").mean()).sort("golfer", "quarter")
    none = (np.zeros(means.height), np.full(means.height, np.inf))
    return with_doubt(means, errors, none), form


def held(table, column="value"):
    reach = table["std_error_yd"].to_numpy() * t_reach(table["freedom"].to_numpy())
    return float(np.mean(np.abs(table[column].to_numpy()) <= reach))


@pytest.mark.parametrize("days", [2, 3, 30])
def test_intervals_of_golfers_with_days_hold_nine_in_ten(days):
    # 60 academies of 50 golfers with 30 drives each; golfers of one academy share the pooled form.
    rng = np.random.default_rng(days)
    found = [held(known_means(drives_of(rng, 50, days, 30 // days))[0]) for _ in range(60)]
    assert np.mean(found) == pytest.approx(0.90, abs=3 * np.sqrt(0.09 / 3000) + 0.005)


@pytest.mark.parametrize("days", [1, 2])
def test_without_what_days_add_they_would_hold_far_less(days):
    rng = np.random.default_rng(days)
    table, _ = known_means(drives_of(rng, 1000, days, 30 // days))
    error, freedom = Doubt.of(table.with_columns(exposure=pl.lit(0.0))).of_figure()
    assert held(table.with_columns(std_error_yd=error, freedom=freedom)) < 0.80


def test_golfers_watched_on_one_day_take_the_form_of_those_watched_on_several():
    rng = np.random.default_rng(5)
    found = []
    for _ in range(60):
        single = drives_of(rng, 20, 1, 30).with_columns(golfer="x" + pl.col("golfer"))
        table, form = known_means(pl.concat([drives_of(rng, 30, 3, 10), single]))
        alone = table.filter(pl.col("golfer").str.starts_with("x"))
        assert form.source == "days"
        assert alone["exposure"].to_list() == [1.0] * 20
        found.append(held(alone))
    assert np.mean(found) == pytest.approx(0.90, abs=3 * np.sqrt(0.09 / 1200) + 0.01)


def test_with_one_day_each_quarters_tell_the_form():
    rng = np.random.default_rng(6)
    found = []
    for _ in range(60):
        quarters = [drives_of(rng, 40, 1, 25, quarter=quarter) for quarter in ("2026Q2", "2026Q3")]
        table, form = known_means(pl.concat(quarters))
        assert form.source == "quarters"
        found.append((held(table), form.variance))
    inside, variance = np.mean(found, axis=0)
    assert inside == pytest.approx(0.90, abs=3 * np.sqrt(0.09 / 4800) + 0.01)
    assert np.sqrt(variance) == pytest.approx(3.5, rel=0.1)


def test_with_one_day_each_and_one_quarter_the_assumed_form_stands_in():
    drives = drives_of(np.random.default_rng(7), 400, 1, 30)
    table, form = known_means(drives, assumed=3.5)
    assert (form.source, form.variance) == ("assumed", 3.5**2)
    # The form assumed being the true one, few degrees of freedom make the intervals hold more than nine in ten.
    assert 0.90 < held(table) < 0.97
    nothing, unknown = known_means(drives)
    assert unknown.source == "unknown"
    assert held(nothing) < 0.80


def test_what_is_assumed_is_soon_outweighed_by_what_days_tell():
    rng = np.random.default_rng(8)
    drives = drives_of(rng, 70, 2, 15, form=0.0)
    plain, assumed = (known_means(drives, assumed)[1].variance for assumed in (0.0, 3.5))
    assert plain < 1.0
    assert plain <= assumed < 2.0


def test_of_equal_days_the_variance_of_a_mean_is_that_of_statsmodels_mixed_model():
    # Two quarters' worth of golfers, four days of eight drives each: random days within golfers.
    drives = drives_of(np.random.default_rng(9), 25, 4, 8, form=6.0)
    table, form = known_means(drives)
    codes = drives.select(pl.struct("golfer", "struck_on").rank("dense")).to_series().to_numpy()
    golfer = drives.select(pl.col("golfer").rank("dense")).to_series().to_numpy().astype(int) - 1
    fit = MixedLM(drives["value"].to_numpy(), np.eye(25)[golfer], groups=codes).fit(reml=True)
    between, within = float(fit.cov_re[0, 0]), float(fit.scale)
    # One over a variance within days of finite freedom, and golfers' own days, leave a few in a hundred.
    assert form.variance == pytest.approx(between, rel=0.05)
    said = np.mean(table["std_error_yd"].to_numpy() ** 2)
    assert said == pytest.approx(between / 4 + within / 32, rel=0.05)


def test_welchs_interval_of_a_change_is_that_of_statsmodels():
    rng = np.random.default_rng(10)
    then, now = (drives_of(rng, 1, n, 1, quarter=q) for n, q in ((14, "2026Q2"), (31, "2026Q3")))
    table, _ = known_means(pl.concat([then, now]))
    change = Estimate(
        np.array([table["value"][1] - table["value"][0]]), *of_change(Doubt.of(table.tail(1)), Doubt.of(table.head(1)))
    )
    compared = CompareMeans(DescrStatsW(now["value"].to_numpy()), DescrStatsW(then["value"].to_numpy()))
    lo, hi = compared.tconfint_diff(alpha=0.10, usevar="unequal")
    assert (change.edges90[0][0], change.edges90[1][0]) == pytest.approx((lo, hi))
    assert change.p_value[0] == pytest.approx(compared.ttest_ind(usevar="unequal")[1])


def test_satterthwaites_freedom_of_three_parts():
    one = np.ones(1)
    doubt = Doubt(2 * one, 9 * one, 0.5 * one, 8 * one, 5 * one)
    error, freedom = doubt.of_figure((3 * one, 20 * one))
    assert error == pytest.approx([3.0])  # 2 + 0.5 * 8 + 3
    assert freedom == pytest.approx([81 / (4 / 9 + 16 / 5 + 9 / 20)])


def test_days_of_two_quarters_are_one_uncertain_figure():
    one = np.ones(1)
    now, then = Doubt(one, 9 * one, one, 4 * one, 5 * one), Doubt(2 * one, 19 * one, 0.5 * one, 4 * one, 5 * one)
    error, freedom = of_change(now, then)
    assert error == pytest.approx([3.0])  # 1 + 2 + (1 + 0.5) * 4
    assert freedom == pytest.approx([81 / (1 / 9 + 4 / 19 + 36 / 5)])


def test_a_single_drive_has_a_day_and_no_error():
    single = drives_of(np.random.default_rng(11), 1, 1, 1).with_columns(golfer=pl.lit("single"))
    table, _ = known_means(pl.concat([drives_of(np.random.default_rng(12), 20, 3, 10), single]))
    row = table.filter(golfer="single").row(0, named=True)
    assert (row["days"], row["exposure"]) == (1, 1.0)
    assert [row[name] for name in ("own_variance", "own_freedom", "std_error_yd", "freedom")] == [None] * 4


def test_drives_all_alike_have_no_error():
    alike = drives_of(np.random.default_rng(13), 1, 2, 10, form=0.0, sd=0.0).with_columns(golfer=pl.lit("alike"))
    table, _ = known_means(pl.concat([drives_of(np.random.default_rng(12), 20, 3, 10), alike]))
    assert table.filter(golfer="alike")["std_error_yd"].to_list() == [None]


def test_units_change_nothing():
    drives = drives_of(np.random.default_rng(14), 30, 3, 10)
    plain, metres = (known_means(frame, 3.5 * unit)[0] for frame, unit in (
        (drives, 1.0), (drives.with_columns(pl.col("value") * 0.9144), 0.9144)
    ))  # fmt: skip
    assert metres["std_error_yd"].to_numpy() == pytest.approx(0.9144 * plain["std_error_yd"].to_numpy())
    assert metres["freedom"].to_numpy() == pytest.approx(plain["freedom"].to_numpy())
    assert stats.t.ppf(0.95, plain["freedom"].to_numpy()) == pytest.approx(t_reach(plain["freedom"].to_numpy()))
