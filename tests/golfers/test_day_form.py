from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.golfers.day_form import between_days, figure_errors

FIRST = date(2026, 7, 1)


def drives_of(rng, golfers, days, each, day_sd=0.0, sd=1.0, level=0.0):
    """Drives of some golfers: `each` drives on each of `days` days; day_sd may differ by golfer."""
    form = np.broadcast_to(day_sd, golfers)[:, None, None] * rng.standard_normal((golfers, days, 1))
    value = level + form + sd * rng.standard_normal((golfers, days, each))
    who, day, _ = np.indices(value.shape)
    return pl.DataFrame(
        {
            "golfer": [f"g{i:05d}" for i in who.ravel()],
            "quarter": "2026Q3",
            "struck_on": pl.Series([FIRST + timedelta(days=int(d)) for d in day.ravel()]),
            "value": value.ravel(),
        }
    )


def test_a_mean_has_the_sample_variance_over_its_drives():
    drives = drives_of(np.random.default_rng(1), 1, 1, 12)
    errors, _ = figure_errors(drives, "value", median=False)
    row = errors.row(0, named=True)
    assert row["own_variance"] == pytest.approx(drives["value"].var() / 12)
    assert (row["days"], row["known"], row["own_freedom"]) == (1, 12, 11)


@pytest.mark.parametrize(("days", "each", "exposure"), [(1, 12, 1.0), (12, 1, 0.0), (3, 4, (12 / 3 - 1) / 11)])
def test_a_days_form_is_added_as_far_as_the_drives_dont_show_it(days, each, exposure):
    errors, _ = figure_errors(drives_of(np.random.default_rng(1), 2, days, each), "value", median=False)
    assert errors["exposure"].to_list() == pytest.approx([exposure] * 2)


def test_own_variance_and_exposure_together_are_the_variance_of_a_mean():
    # 3000 means of 3 days with 5 drives; days 1, drives 2 (standard deviations): variance 1/3 + 4/15.
    drives = drives_of(np.random.default_rng(2), 3000, 3, 5, day_sd=1.0, sd=2.0)
    errors, form = figure_errors(drives, "value", median=False)
    said = errors.select(pl.col("own_variance") + pl.col("exposure") * pl.col("form_variance")).to_series().mean()
    assert form.variance == pytest.approx(1.0, rel=0.08)
    assert said == pytest.approx(1 / 3 + 4 / 15, rel=0.04)
    assert drives.group_by("golfer").agg(pl.col("value").mean())["value"].var() == pytest.approx(said, rel=0.07)


@pytest.mark.parametrize("each", [12, 30])
def test_a_median_has_the_variance_that_medians_show(each):
    drives = drives_of(np.random.default_rng(3), 3000, 1, each, sd=100.0, level=2600.0)
    errors, _ = figure_errors(drives, "value", median=True)
    shown = drives.group_by("golfer").agg(pl.col("value").median())["value"].var()
    assert errors["own_variance"].mean() == pytest.approx(shown, rel=0.08)


def test_mishits_leave_the_error_of_a_median_alone():
    rng = np.random.default_rng(4)
    drives = drives_of(rng, 500, 1, 30)
    missed = drives.with_columns(pl.col("value") - pl.Series(10.0 * (rng.uniform(size=drives.height) < 0.05)))
    plain, bad = (figure_errors(frame, "value", median=True)[0]["own_variance"].mean() for frame in (drives, missed))
    assert bad == pytest.approx(plain, rel=0.2)  # a mean's would be five times as large


def test_coarse_readings_still_have_an_error():
    drives = pl.DataFrame(
        {"golfer": "g", "quarter": "2026Q3", "struck_on": FIRST, "value": [12.0] * 8 + [13.0] * 3 + [10.0]}
    )
    errors, _ = figure_errors(drives, "value", median=True)
    assert errors["own_variance"].item() == pytest.approx(np.pi * drives["value"].var() / (2 * 12 + np.pi - 2))


def test_days_of_equal_size_give_the_textbook_variance():
    # With many drives a day what is known of the variance within days is next to certain: the analysis of variance.
    drives = drives_of(np.random.default_rng(5), 1, 4, 2000, day_sd=2.0)
    days = drives.group_by("struck_on").agg(pl.col("value").mean().alias("mean"), pl.col("value").var().alias("var"))
    assert between_days(drives).variance == pytest.approx(days["mean"].var() - days["var"].mean() / 2000, rel=1e-6)


def test_days_of_any_size_give_the_random_effects_of_statsmodels():
    rng = np.random.default_rng(12)
    sizes = [900, 2500, 4000, 1500, 6000]
    drives = pl.concat(
        drives_of(rng, 1, 1, n, level=level).with_columns(struck_on=pl.lit(f"day {level}"))
        for n, level in zip(sizes, (0.0, 0.05, 0.11, 0.02, -0.04), strict=True)
    )
    days = drives.group_by("struck_on", maintain_order=True).agg(mean=pl.col("value").mean())["mean"].to_numpy()
    off = pl.col("value") - pl.col("value").mean().over("struck_on")
    within = drives.select((off**2).sum()).item() / (sum(sizes) - 5)
    known = combine_effects(days, within / np.array(sizes), method_re="iterated", atol=1e-12)
    assert between_days(drives).variance == pytest.approx(known.tau2, rel=1e-3)


def test_the_form_of_a_day_is_recovered_with_a_median_too():
    drives = drives_of(np.random.default_rng(6), 1000, 3, 12, day_sd=0.6)
    _, form = figure_errors(drives, "value", median=True)
    assert np.sqrt(form.variance) == pytest.approx(0.6, rel=0.06)


def test_days_all_alike_show_next_to_no_form():
    _, form = figure_errors(drives_of(np.random.default_rng(7), 800, 3, 12), "value", median=False)
    assert form.told
    assert form.variance < 0.1**2


def test_one_day_each_cant_tell_form():
    errors, form = figure_errors(drives_of(np.random.default_rng(8), 20, 1, 12, day_sd=1.0), "value", median=False)
    assert not form.told
    assert errors["form_variance"].to_list() == [0.0] * 20


def test_a_golfer_of_one_day_takes_the_pooled_form():
    rng = np.random.default_rng(9)
    single = drives_of(rng, 1, 1, 12).with_columns(golfer=pl.lit("single"))
    errors, form = figure_errors(pl.concat([drives_of(rng, 200, 3, 12, day_sd=0.8), single]), "value", median=False)
    row = errors.filter(golfer="single").row(0, named=True)
    assert row["form_variance"] == pytest.approx(form.variance, rel=0.15)
    assert row["exposure"] == 1.0


def test_golfers_whose_days_differ_more_have_more_form():
    drives = drives_of(np.random.default_rng(10), 600, 4, 12, day_sd=np.repeat([0.3, 2.0], 300))
    errors, form = figure_errors(drives, "value", median=False)
    calm, wild = errors["form_variance"].head(300).mean(), errors["form_variance"].tail(300).mean()
    assert calm < 0.35 * form.variance
    assert wild > 1.2 * form.variance
    assert errors["form_freedom"].max() < 20


def test_units_change_nothing():
    drives = drives_of(np.random.default_rng(11), 100, 3, 12, day_sd=0.5)
    plain, form = figure_errors(drives, "value", median=True)
    scaled, small = figure_errors(drives.with_columns(pl.col("value") / 100), "value", median=True, size=0.01)
    assert small.variance == pytest.approx(form.variance / 1e4)
    assert scaled["own_variance"].to_numpy() == pytest.approx(plain["own_variance"].to_numpy() / 1e4)
    assert scaled["form_variance"].to_numpy() == pytest.approx(plain["form_variance"].to_numpy() / 1e4)
