"""Sessions, trends and projected days of speed practice, against closed forms and general libraries."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from practice_samples import (
    FIRST,
    OTHERS,
    drives,
    factors,
    name,
    noisy,
    practised,
    sessions,
    swings,
)
from scipy.stats import t as student

from pipeline.coach.practice.dates import crossing, steadied
from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.coach.practice.sessions import MIN_SET, day_speeds, mark_misreads, sessions_of
from pipeline.tables.practice import Sessions

# --- misreads


def rising(seed, golfer=0, days=12, top=100.0, share=0.9, sd=0.01):
    rng = np.random.default_rng(seed)
    ramp = np.linspace(share, 1.0, 6)
    return [
        (name(golfer), day, number, top * ramp * (1 + sd * rng.standard_normal(6)))
        for day in range(days)
        for number in (1, 2, 3)
    ]


def test_spikes_are_marked_and_nothing_else_of_a_rising_set():
    sets = rising(1)
    sets[4][3][2] *= 1.25
    sets[20][3][5] *= 0.7

    marked = mark_misreads(swings(*sets))

    assert np.flatnonzero(marked["misread"].to_numpy()).tolist() == [4 * 6 + 2, 20 * 6 + 5]


def test_a_last_swings_speed_is_a_misread_as_the_first_of_a_set():
    # 15 % above the usual first swing, yet no faster than every set's last.
    sets = rising(2, share=0.86)
    sets[7][3][0] = 100.0

    assert mark_misreads(swings(*sets))["misread"].to_numpy().nonzero()[0].tolist() == [7 * 6]


def test_each_golfers_own_course_of_a_set_counts():
    flat = rising(6, golfer=1, share=1.0)
    flat[5][3][0] *= 1.1  # less than what the other's sets rise by

    marked = mark_misreads(swings(*rising(5, share=0.8), *flat))

    assert marked["misread"].to_numpy().nonzero()[0].tolist() == [36 * 6 + 5 * 6]


def test_golfers_of_few_swings_are_judged_by_the_scatter_of_all():
    ramp = 80 * np.linspace(0.9, 1.0, 6)
    ramp[5] *= 1.11  # its own scatter alone, which is nil, would mark it; all golfers' is 3.5 %

    marked = mark_misreads(swings(*rising(3, sd=0.035), (name(1), 0, 1, ramp)))

    assert marked["misread"].sum() == 0


def test_whole_days_and_readings_without_scatter_are_no_misreads():
    marked = mark_misreads(
        swings((name(0), 0, 1, [90.0] * 6), (name(0), 1, 1, [97.0] * 6), (name(0), 2, 1, [90, 90, 90, 91, 90, 90]))
    )

    assert marked["misread"].sum() == 1 - 1


def test_misreads_do_not_depend_on_the_order_of_rows_or_the_unit():
    sets = rising(4)
    sets[3][3][1] *= 1.3
    table = swings(*sets)
    slower = table.with_columns(pl.col("club_speed_mph") * 0.5)

    expected = mark_misreads(table)

    assert mark_misreads(table.reverse()).reverse().equals(expected)
    assert mark_misreads(slower)["misread"].equals(expected["misread"])


# --- sessions


@pytest.mark.parametrize("count", [5, 6, 7, 18, 40])
def test_best_is_numpys_median_unbiased_percentile_and_typical_the_median(count):
    speeds = np.random.default_rng(count).normal(95, 1, count)
    day = swings((name(0), 0, 1, speeds)).with_columns(misread=pl.lit(False))

    found = day_speeds(day).row(0, named=True)

    assert found["best_mph"] == pytest.approx(np.quantile(speeds, 0.9, method="median_unbiased"))
    assert found["typical_mph"] == pytest.approx(np.median(speeds))


def test_best_does_not_grow_with_the_number_of_swings_as_the_mean_of_the_fastest_three_does():
    drawn = np.random.default_rng(8).normal(95, 2, (4000, 30))

    def best_of(count):
        day = [(name(i), 0, 1, row[:count]) for i, row in enumerate(drawn[:600])]
        return day_speeds(swings(*day).with_columns(misread=pl.lit(False)))["best_mph"].mean()

    fastest = [np.sort(drawn[:600, :count], axis=1)[:, -3:].mean() for count in (10, 30)]
    assert abs(best_of(30) - best_of(10)) < 0.25  # 0.12 standard deviations
    assert fastest[1] - fastest[0] > 1.0


def test_four_swings_tell_no_best_and_misreads_do_not_count():
    day = swings((name(0), 0, 1, [90, 91, 92, 93, 130])).with_columns(misread=pl.col("club_speed_mph") > 120)

    found = day_speeds(day).row(0, named=True)

    assert (found["best_mph"], found["swings"], found["sound"], found["misreads"]) == (None, 5, 4, 1)


def test_driver_tells_a_days_speed_and_the_light_tool_where_the_driver_is_too_little():
    table = pl.concat(
        [
            swings((name(0), 0, 1, [90.0] * 6), (name(0), 1, 1, [91.0] * 3)),
            swings((name(0), 0, 2, [120.0] * 6), (name(0), 1, 2, [120.0] * 6), tool="light"),
        ]
    ).with_columns(misread=pl.lit(False))

    found = sessions_of(day_speeds(table), factors(factor=1.25))

    assert found.select("swings", "tool", "best_mph", "typical_mph").rows() == [
        (12, "driver", 90.0, 90.0),
        (9, "light", pytest.approx(96.0), pytest.approx(96.0)),
    ]


def test_rise_is_last_two_less_first_two_in_driver_speed_a_set_counting_once():
    table = pl.concat(
        [
            swings(
                (name(0), 0, 1, [80, 82, 85, 90, 92]), (name(0), 0, 2, [80, 80, 84, 84]), (name(0), 0, 3, [80, 99, 99])
            ),
            swings((name(0), 0, 4, [100, 100, 110, 110]), tool="light"),
        ]
    ).with_columns(misread=pl.lit(False))

    found = sessions_of(day_speeds(table), factors(factor=1.25))

    assert found["set_rise_mph"].to_list() == pytest.approx([(10 + 4 + 8) / 3])


# --- trends


def test_line_through_exact_sessions_is_found_exactly():
    days = np.arange(0, 70, 7)

    found = practised(sessions(days, 90 + 0.4 * days / 7)).row(0, named=True)

    assert found["best_trend_mph_per_week"] == pytest.approx(0.4)
    assert found["typical_trend_mph_per_week"] == pytest.approx(0.4)
    assert found["best_mph"] == pytest.approx(90 + 0.4 * 9)
    assert found["typical_mph"] == pytest.approx(86 + 0.4 * 9)


def test_trend_level_and_their_intervals_are_those_of_least_squares():
    days, best = noisy()
    weeks = (days - days[0]) / 7
    fit = sm.OLS(best, sm.add_constant(weeks)).fit()

    found = practised(sessions(days, best)).row(0, named=True)

    slope = [found[f"best_trend_{end}mph_per_week"] for end in ("lo90_", "", "hi90_")]
    level = [found[f"best_{end}mph"] for end in ("lo90_", "", "hi90_")]
    at_last = fit.get_prediction([[1.0, weeks[-1]]])
    lo, hi = at_last.conf_int(alpha=0.1)[0]
    assert slope == pytest.approx([fit.conf_int(0.1)[1][0], fit.params[1], fit.conf_int(0.1)[1][1]])
    assert level == pytest.approx([lo, at_last.predicted_mean[0], hi])


def test_trends_do_not_depend_on_the_order_of_rows_and_scale_with_speed():
    days, best = noisy()
    table = sessions(days, best)

    found, turned = practised(table), practised(table.reverse())
    half = practised(sessions(days, best / 2))

    assert found.equals(turned)
    for column in ("best_mph", "best_trend_lo90_mph_per_week", "best_hi90_mph"):
        assert half[column][0] == pytest.approx(found[column][0] / 2)


@pytest.mark.parametrize(("gain", "word"), [(0.3, "gaining"), (-0.3, "losing"), (0.0, "no_more_than_chance")])
def test_trend_is_told_by_whether_its_interval_holds_nil(gain, word):
    found = practised(sessions(*noisy(gain=gain, seed=5))).row(0, named=True)

    lo, hi = found["best_trend_lo90_mph_per_week"], found["best_trend_hi90_mph_per_week"]
    assert found["trend"] == word
    assert (lo > 0, hi < 0) == (word == "gaining", word == "losing")


@pytest.mark.parametrize("days", [[0, 7, 14, 21, 28], [0, 2, 4, 6, 8, 20], [0]], ids=["five", "20 days", "one"])
def test_few_sessions_or_weeks_have_no_trend_but_a_mean(days):
    best = 90 + np.arange(len(days), dtype=float)

    found = practised(sessions(days, best)).row(0, named=True)

    assert (found["trend"], found["projection"]) == ("not_assessed", "cannot_tell_yet")
    assert found["best_trend_mph_per_week"] is None
    assert found["best_mph"] == pytest.approx(best.mean())
    assert "a trend needs 6 sessions over 3 weeks" in found["note"]
    if len(days) > 1:
        reach = student.ppf(0.95, len(days) - 1) * best.std(ddof=1) / np.sqrt(len(days))
        assert found["best_hi90_mph"] - found["best_mph"] == pytest.approx(reach)
    else:
        assert found["best_lo90_mph"] is None


def test_only_the_last_half_year_counts():
    days, best = noisy()
    old = sessions([0, 3, 6], [60.0] * 3)
    late = sessions(days + 300, best)

    found = practised(pl.concat([old, late]))

    assert found.equals(practised(late))
    assert found["sessions"][0] == len(days)


def test_sessions_a_week_are_those_of_the_calendar_weeks_from_first_to_last():
    # Monday, Wednesday, Friday of the first week, nothing in the second, Sunday of the third.
    found = practised(sessions([0, 2, 4, 20], [90.0] * 4)).row(0, named=True)
    over_night = practised(sessions([6, 7], [90.0] * 2)).row(0, named=True)  # Sunday and Monday

    assert (found["weeks"], found["sessions_per_week"]) == (3, pytest.approx(4 / 3))
    assert (over_night["weeks"], over_night["sessions_per_week"]) == (2, 1.0)


def test_rise_within_sets_has_students_interval_over_sessions():
    rise = [4.0, 5.0, 7.0, 6.0]

    found = practised(sessions([0, 2, 4, 20], [90.0] * 4, rise=rise)).row(0, named=True)

    reach = student.ppf(0.95, 3) * np.std(rise, ddof=1) / 2
    assert found["set_rise_mph"] == pytest.approx(5.5)
    assert (found["set_rise_lo90_mph"], found["set_rise_hi90_mph"]) == pytest.approx((5.5 - reach, 5.5 + reach))


def test_rise_of_two_sessions_has_no_interval():
    found = practised(sessions([0, 2], [90.0] * 2, rise=[4.0, 5.0])).row(0, named=True)

    assert (found["set_rise_mph"], found["set_rise_lo90_mph"]) == (4.5, None)


# --- the light tool's part in it


def test_error_of_the_factor_widens_level_and_slope_as_linear_algebra_says():
    days, best = noisy(n=20)
    light = np.arange(20) >= 10  # the driver first, the light tool later
    tools = np.where(light, "light", "driver").tolist()
    weeks = (days - days[0]) / 7
    X = sm.add_constant(weeks)
    shift = np.linalg.lstsq(X, light * best.mean() * 0.02, rcond=None)[0]  # what 2 % on the light sessions does
    fit = sm.OLS(best, X).fit()
    scale = 0.02 * fit.params[1] * light.mean()

    found = practised(sessions(days, best, tool=tools), log_error=0.02).row(0, named=True)

    reach = student.ppf(0.95, 18)
    slope_error = np.sqrt(fit.bse[1] ** 2 + shift[1] ** 2 + scale**2)
    level_error = np.sqrt(fit.get_prediction([[1, weeks[-1]]]).se_mean[0] ** 2 + (shift @ [1, weeks[-1]]) ** 2)
    wide = (found["best_trend_hi90_mph_per_week"] - found["best_trend_mph_per_week"]) / reach
    assert found["basis"] == "both"
    assert wide == pytest.approx(slope_error)
    assert (found["best_hi90_mph"] - found["best_mph"]) / reach == pytest.approx(level_error)
    assert found["light_factor_hi90"] == pytest.approx(1.2 * np.exp(1.6448536 * 0.02), rel=1e-6)


def test_driver_sessions_know_nothing_of_the_factor():
    found = practised(sessions(*noisy()), log_error=0.05)

    assert found.drop("note").equals(practised(sessions(*noisy()), log_error=0.0).drop("note"))
    assert found["light_factor"][0] is None


def test_common_practice_has_no_level_interval_and_one_tool_alone_makes_the_trend():
    days, best = noisy(n=20)
    tools = ["driver"] * 8 + ["light"] * 12
    jump = best + np.where(np.arange(20) < 8, -5.0, 0.0)  # a wrong factor looks like a jump

    found = practised(sessions(days, jump, tool=tools), log_error=None).row(0, named=True)

    alone = practised(sessions(days[8:], best[8:])).row(0, named=True)
    assert (found["basis"], found["sessions"]) == ("light", 20)
    assert found["best_trend_mph_per_week"] == pytest.approx(alone["best_trend_mph_per_week"])
    assert found["best_lo90_mph"] is None
    assert found["projection"] == "cannot_tell_yet"
    assert "by common practice, without a source" in found["note"]


# --- with a ball


def test_speed_with_a_ball_is_the_mean_drive_moved_by_the_trend():
    days = np.arange(0, 84, 7)
    hit = pl.concat([drives([28, 35, 42], [85.0, 87.0, 86.0]), OTHERS])

    found = practised(sessions(days, 90 + 0.5 * days / 7), hit).row(0, named=True)

    assert found["with_ball"] is True
    assert (found["drive_quarter"], found["drives"], found["drive_speed_mph"]) == ("2026Q2", 12, pytest.approx(86.0))
    assert found["ball_gap_mph"] == pytest.approx(86 - (90 + 0.5 * 5))
    assert found["speed_now_mph"] == pytest.approx(86 + 0.5 * (11 - 5))


def test_gap_to_drives_has_the_error_of_days_and_of_the_line():
    days, best = noisy()
    hit = pl.concat([drives([30, 40, 50], [85.0, 87.0, 86.0]), drives([30, 40, 50, 60], [70, 71, 72, 73], golfer=5)])
    weeks = (days - days[0]) / 7
    fit = sm.OLS(best, sm.add_constant(weeks)).fit()
    pooled = (2.0 + 5.0) / (2 + 3)  # squares of days about their golfers' means over days less golfers

    found = practised(sessions(days, best), hit).row(0, named=True)

    error = np.sqrt(fit.get_prediction([[1, (40 - days[0]) / 7]]).se_mean[0] ** 2 + pooled / 3)
    assert (found["ball_gap_hi90_mph"] - found["ball_gap_mph"]) / student.ppf(0.95, 22) == pytest.approx(error)


def test_newest_quarter_with_both_is_taken_and_too_few_drives_are_not():
    days = np.arange(0, 120, 6)  # to 28 July
    hit = pl.concat(
        [drives([10], [80.0], each=5), drives([100], [84.0], each=4), drives([200], [90.0], each=9), OTHERS]
    )

    found = practised(sessions(days, 90 + 0.5 * days / 7), hit).row(0, named=True)

    assert (found["drive_quarter"], found["drive_speed_mph"]) == ("2026Q2", 80.0)


def test_without_drives_the_practice_speed_is_projected_and_it_says_so():
    found = practised(sessions(*noisy())).row(0, named=True)

    assert (found["with_ball"], found["drives"], found["ball_gap_mph"]) == (False, 0, None)
    assert found["speed_now_mph"] == pytest.approx(found["best_mph"])
    assert "no drives in a quarter with practice: speed with a ball may well differ" in found["note"]


# --- the next band


def test_exact_line_reaches_the_next_band_on_its_day():
    days = np.arange(0, 71, 7)  # 90 mph at first, half a mph a week, 95 mph after ten weeks: the last session

    found = practised(sessions(days, 89 + 0.5 * days / 7)).row(0, named=True)

    assert (found["next_band_mph"], found["next_band_from_mph"]) == (100.0, 95.0)
    assert found["projected_on"] == FIRST + timedelta(84)
    assert found["projected_lo90_on"] == found["projected_hi90_on"] == found["projected_on"]


def test_range_of_the_day_is_fiellers():
    days, best = noisy(gain=0.35)
    fit = sm.OLS(best, (X := sm.add_constant((days - days[0]) / 7))).fit()
    cov, c2 = fit.cov_params(), student.ppf(0.95, 22) ** 2

    found = practised(sessions(days, best)).row(0, named=True)

    # Fieller: the times at which the line's own interval still holds the band's edge.
    a, b = fit.params[0] - found["next_band_from_mph"], fit.params[1]
    roots = np.roots([b**2 - c2 * cov[1, 1], 2 * (a * b - c2 * cov[0, 1]), a**2 - c2 * cov[0, 0]])
    lo, hi = sorted(days[0] + 7 * roots)
    assert X.shape == (24, 2)
    assert found["projection"] == "dated"
    assert found["projected_lo90_on"] == FIRST + timedelta(int(np.floor(max(lo, days[-1]))))
    assert found["projected_hi90_on"] == FIRST + timedelta(int(np.ceil(hi)))
    assert found["projected_on"] == FIRST + timedelta(int(np.ceil(days[0] - 7 * a / b)))


@pytest.mark.parametrize(
    ("gain", "start", "expected"),
    [
        (0.0, 88.0, "cannot_tell_yet"), (-0.4, 88.0, "cannot_tell_yet"), (0.4, 107.0, "no_band_above"),
        (0.12, 85.5, "beyond_a_year"),
    ],
)  # fmt: skip
def test_no_day_is_named_where_none_can_be(gain, start, expected):
    found = practised(sessions(*noisy(gain=gain, start=start, sd=0.3))).row(0, named=True)

    assert found["projection"] == expected
    assert (found["projected_on"], found["projected_hi90_on"]) == (None, None)


def test_a_golfer_whose_own_gain_may_be_nil_has_no_day_though_all_others_gain():
    sure = [sessions(*noisy(seed=i, gain=0.3, sd=0.5), golfer=i) for i in range(12)]
    unsure = sessions(np.arange(0, 98, 14), [88, 92, 88.5, 93, 89.5, 93, 90.5], golfer=12)

    found = practised(pl.concat([*sure, unsure]))

    assert found["trend"].to_list() == ["gaining"] * 12 + ["no_more_than_chance"]
    assert found["projection"].to_list() == ["dated"] * 12 + ["cannot_tell_yet"]


def test_slow_end_beyond_a_year_is_left_open_and_told():
    days, best = noisy(seed=1, gain=0.15, sd=1.5, start=86.0)

    found = practised(sessions(days, best)).row(0, named=True)

    assert found["projection"] == "dated"
    assert found["projected_hi90_on"] is None
    assert "at the slow end it takes more than a year" in found["note"]


def test_practice_that_ended_long_before_the_newest_log_is_not_projected():
    days, best = noisy()
    other = sessions([days[-1] + 43], [80.0], golfer=1)

    found = practised(pl.concat([sessions(days, best), other]))

    assert found["projection"].to_list() == ["cannot_tell_yet"] * 2
    assert "no practice in the 6 weeks before the newest log" in found["note"][0]
    assert practised(sessions(days, best))["projection"][0] == "dated"


def test_crossing_of_a_sure_line_is_a_point_and_of_a_flat_one_nothing():
    rise, none, reach = np.array([5.0, 5.0, 5.0]), np.zeros(3), np.full(3, 1.7)

    found = crossing(rise, none, np.array([0.5, 0.5, -0.5]), np.array([0.0, 0.1, 0.0]), reach)

    assert (found.at[0], found.lo90[0], found.hi90[0]) == (10.0, 10.0, 10.0)
    assert np.isnan(np.array(found)[:, 1:]).all()


def test_crossings_hold_the_truth_nine_times_in_ten():
    rng = np.random.default_rng(12)
    n = 20_000
    rise, slope = 5 + 0.5 * rng.standard_normal(n), 0.5 + 0.06 * rng.standard_normal(n)

    found = crossing(rise, np.full(n, 0.25), slope, np.full(n, 0.0036), np.full(n, 1.6448536))

    held = (found.lo90 <= 10) & (found.hi90 >= 10)
    assert held.mean() == pytest.approx(0.9, abs=0.007)  # three binomial standard errors


def test_steadied_slopes_are_nearer_to_the_truth_and_few_are_left_alone():
    rng = np.random.default_rng(4)
    true = 0.1 + 0.1 * rng.standard_normal(200)
    seen = true + 0.1 * rng.standard_normal(200)

    slope, variance = steadied(seen, np.full(200, 0.01))

    assert np.mean((slope - true) ** 2) == pytest.approx(0.005, rel=0.25)  # half of what luck alone makes
    assert variance.mean() == pytest.approx(0.005, rel=0.1)
    np.testing.assert_array_equal(steadied(seen[:4], np.full(4, 0.01))[0], seen[:4])


def test_steadied_leaves_golfers_without_a_trend_out():
    seen = np.array([0.1, np.nan, 0.3, 0.2, 0.15, 0.25])

    slope, variance = steadied(seen, np.where(np.isnan(seen), np.nan, 0.01))

    assert np.isnan(slope[1])
    assert np.isnan(variance[1])
    assert np.isfinite(np.delete(slope, 1)).all()


# --- the rest


def test_many_misreads_are_told():
    table = sessions(*noisy()).with_columns(misreads=pl.lit(2, pl.Int64))

    assert "48 of 432 swings look misread: check the device" in practised(table)["note"][0]


def test_nobody_who_practises_makes_an_empty_table():
    assert practised(Sessions.create_empty()).height == 0


def test_days_without_enough_swings_count_as_sessions_without_speeds():
    table = sessions([0, 7], [90.0, 91.0]).with_columns(
        pl.lit(None, Sessions.tool.dtype).alias("tool"),
        best_mph=pl.lit(None, pl.Float64),
        typical_mph=pl.lit(None, pl.Float64),
    )  # fmt: skip

    found = practised(table).row(0, named=True)

    assert (found["sessions"], found["basis"], found["best_mph"], found["trend"]) == (2, None, None, "not_assessed")


def test_cautions_defer_to_local_rules_and_licensed_practice():
    text = " ".join(SPEED_PRACTICE_CAUTIONS).lower()

    for word in ("local rules", "licensed", "warm up", "hurts", "doctor", "within reach", "children"):
        assert word in text


# --- sets that rise, rest, and where the light tool should stand


def test_sets_whose_every_swing_is_faster_than_the_last_are_counted():
    rising_one, level = (90.0, 92.0, 93.0, 95.0, 96.0), (90.0, 92.0, 92.0, 95.0, 96.0)
    dip, short = (90.0, 92.0, 91.0, 95.0, 96.0), (90.0, 92.0, 95.0)
    table = swings(*((name(0), 0, k, one) for k, one in enumerate((rising_one, level, dip, short), 1)))
    light = swings((name(0), 0, 1, tuple(1.2 * one for one in rising_one)), tool="light")
    marked = pl.concat([table, light]).with_columns(misread=pl.lit(False))

    day = sessions_of(day_speeds(marked), factors())

    assert day.select("sets", "rising_sets").row(0) == (4, 2)
    # With the swing that breaks the rise marked as misread, the others rise; three of them are no set.
    broken = (pl.col("set_no") == 3) & (pl.col("swing_no") == 3) & (pl.col("tool") == "driver")
    assert day_speeds(marked.with_columns(misread=broken)).filter(tool="driver")["rising_sets"].item() == 2
    assert day_speeds(marked.filter(pl.col("set_no") == 4)).select("sets", "rising_sets").row(0) == (0, 0)
    assert MIN_SET == 4
    assert "four or more" in Sessions.sets.description


def test_a_golfers_sets_are_those_of_the_sessions():
    table = sessions([0, 3, 6], [90, 91, 92]).with_columns(
        sets=pl.Series([3, 2, 4], dtype=pl.Int64), rising_sets=pl.Series([1, 0, 2], dtype=pl.Int64)
    )

    assert practised(table).select("sets", "rising_sets").row(0) == (9, 3)


@pytest.mark.parametrize(("days", "rest"), [([0, 3, 5, 12], 2.0), ([0, 1], 0.0), ([4], None)])
def test_days_of_rest_are_those_between_sessions(days, rest):
    table = sessions(days, [90.0] * len(days)).reverse()

    assert practised(table)["rest_days"].item() == rest


def light_target(row):
    return row["light_target_mph"], row["light_target_lo90_mph"], row["light_target_hi90_mph"]


def test_the_light_tool_should_stand_a_factor_above_the_next_band():
    days = range(0, 40, 4)
    table = sessions(days, [92.0] * 10, tool="light")

    (row,) = practised(table, factor=1.25, log_error=0.02).to_dicts()

    assert row["next_band_mph"] == 100.0
    value, lo, hi = light_target(row)
    assert value == pytest.approx(125.0)
    assert (lo, hi) == pytest.approx((125 * (1 - 1.645 * 0.02), 125 * (1 + 1.645 * 0.02)), abs=0.01)


def test_what_the_ball_takes_is_asked_of_the_light_tool_too():
    table = sessions(range(0, 40, 4), [92.0] * 10, tool="light")
    with_ball = pl.concat([drives(range(0, 40, 4), [88.0] * 10), OTHERS])

    (row,) = practised(table, with_ball, factor=1.25).to_dicts()

    assert row["ball_gap_mph"] == pytest.approx(-4.0)
    assert row["next_band_mph"] == 100.0
    value, lo, hi = light_target(row)
    assert value == pytest.approx(1.25 * 104.0)
    assert hi - value == pytest.approx(1.25 * (row["ball_gap_hi90_mph"] - row["ball_gap_mph"]))
    assert value - lo == pytest.approx(hi - value)


def test_by_common_practice_the_light_tools_target_has_no_interval_and_without_the_tool_there_is_none():
    days = range(0, 40, 4)
    by_practice = practised(sessions(days, [92.0] * 10, tool="light"), log_error=None).row(0, named=True)
    by_driver = practised(sessions(days, [92.0] * 10)).row(0, named=True)

    assert light_target(by_practice) == (pytest.approx(120.0), None, None)
    assert "common practice, without a source" in by_practice["note"]
    assert light_target(by_driver) == (None, None, None)
