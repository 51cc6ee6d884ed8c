"""Forecasts of speed practice and days on which goals' speeds are due, against closed forms and draws."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from practice_samples import BANDS, NO_DRIVES, OTHERS, drives, factors, name, noisy, sessions
from rows import table_of
from scipy.stats import t as student

from pipeline.coach.practice import outlook as outlooks
from pipeline.coach.practice.outlook import OVER, Outlook, chance_of, interval_at, outlook_of, weeks_until
from pipeline.coach.practice.planner import plan_of, speed_goals_of
from pipeline.coach.practice.practice import practice_figures, practice_table
from pipeline.tables.goals import Goals

LINE = {
    "start": -8.0, "practiced": 20.0, "level": 90.0, "level_variance": 0.25, "slope": 0.3, "slope_variance": 0.0025,
    "wander_variance": 0.16, "freedom": 30.0, "log_error": 0.0,
}  # fmt: skip


def outlook(*golfers):
    """Make an outlook of golfers, each told by how it differs from `LINE`."""
    rows = [LINE | {"lapsed": False, "assumed": False} | golfer for golfer in golfers]
    return Outlook(np.array([name(i) for i in range(len(rows))]), **{
        field: np.array([row[field] for row in rows]) for field in Outlook._fields[1:]
    })  # fmt: skip


def figured(table, shots=NO_DRIVES, **known):
    """Give practice and outlook of sessions."""
    figures = practice_figures(table, factors(table["golfer"].n_unique(), **known), shots, BANDS)
    return practice_table(figures), outlook_of(figures)


def goal(speed, golfer=0, goal_yd=200.0):
    return table_of(
        Goals, pl.DataFrame({"golfer": [name(golfer)], "goal_yd": [goal_yd], "efficient_speed_mph": [speed]})
    )  # fmt: skip


WITH_BALL = pl.concat([drives(range(60, 84, 4), [92.5, 92.0, 92.5, 93.0, 92.5, 92.5]), OTHERS])


# --- what may come


def test_chance_is_that_of_drawn_golfers_whose_trend_may_stop():
    one = outlook({})
    rng = np.random.default_rng(5)
    n = 400_000
    scale = np.sqrt(rng.chisquare(30, n) / 30)  # of Student's t: the error of all that is measured
    stop = 20 * (1 / rng.uniform(size=n) - 1)  # lasts w more with chance 20 / (20 + w)
    stop = np.where(rng.uniform(size=n) < 0.25, 0.0, stop)
    away = np.minimum(stop, 12) + 8
    error = np.sqrt(0.25 + 0.0025 * away**2 + 0.16) * rng.standard_normal(n) / scale
    drawn = 90 + 0.3 * away + error

    for speed in (91.0, 93.0, 95.0, 97.0):
        found = chance_of(one, np.array([speed]), np.array([12.0]), wander=True)
        assert found[0] == pytest.approx(np.mean(drawn >= speed), abs=0.004)  # five binomial standard errors
    lo, hi = interval_at(one, 12)
    assert (lo[0], hi[0]) == pytest.approx(np.quantile(drawn, [0.05, 0.95]), abs=0.03)
    assert OVER == 0.25


def test_a_trend_of_no_slope_has_students_interval_that_grows_with_the_weeks_ahead():
    flat = outlook({"slope": 0.0})

    edges = {weeks: interval_at(flat, weeks) for weeks in (0, 4, 12)}
    widths = [float(hi[0] - lo[0]) for lo, hi in edges.values()]

    now = student.ppf(0.95, 30) * np.sqrt(0.25 + 0.0025 * 64 + 0.16)
    assert (edges[0][0][0], edges[0][1][0]) == pytest.approx((90 - now, 90 + now), abs=1e-6)
    assert widths == sorted(widths)
    assert widths[2] > 1.15 * widths[0]


def test_form_that_lasts_widens_a_forecast_and_moves_no_due_day():
    calm, wandering = (outlook({"wander_variance": one}) for one in (0.0, 4.0))
    goal_mph, when = np.array([95.0]), np.array([6.0])

    assert np.subtract(*interval_at(wandering, 8)) < np.subtract(*interval_at(calm, 8)) - 2
    same = [chance_of(one, goal_mph, when, wander=False) for one in (calm, wandering)]
    assert same[0] == same[1]


def test_early_day_is_when_one_golfer_in_ten_is_there():
    both = outlook({}, {"slope": 0.01})
    goal_mph = np.array([95.0, 95.0])

    early = weeks_until(both, goal_mph, 0.1, 52)

    assert chance_of(outlook({}), goal_mph[:1], early[:1], wander=False)[0] == pytest.approx(0.1, abs=1e-6)
    assert 0 < early[0] < (95 - 90) / 0.3 - 8
    assert early[1] > early[0]
    assert weeks_until(both, np.array([80.0, 120.0]), 0.1, 52).tolist() == [0.0, np.inf]


def test_an_outlook_without_a_trend_tells_nothing():
    lo, hi = interval_at(outlook({"slope": np.nan, "slope_variance": np.nan}), 4)

    assert np.isnan([lo[0], hi[0]]).all()


# --- the plan


def test_plan_starts_at_speed_now_and_goes_on_by_the_gain():
    practice, ahead = figured(sessions(*noisy()), WITH_BALL)

    plan = plan_of(practice, ahead)

    now, last = practice["speed_now_mph"][0], practice["last_on"][0]
    assert plan["weeks_ahead"].to_list() == [4, 8, 12]
    assert plan["on"].to_list() == [last + timedelta(weeks=weeks) for weeks in (4, 8, 12)]
    assert plan["with_ball"].to_list() == [True] * 3
    # Alone, a golfer's slope is drawn to nobody's.
    gain = practice["best_trend_mph_per_week"][0]
    assert (plan["speed_mph"] - now).to_list() == pytest.approx([4 * gain, 8 * gain, 12 * gain])
    assert ahead.level[0] == pytest.approx(practice["drive_speed_mph"][0])
    assert (plan["speed_lo90_mph"] < now).all()
    assert plan["note"].to_list() == [None] * 3


def test_a_trend_no_more_than_chance_is_forecast_as_now_and_says_so():
    practice, ahead = figured(sessions(*noisy(gain=0.0)), WITH_BALL)

    plan = plan_of(practice, ahead)

    assert practice["trend"].to_list() == ["no_more_than_chance"]
    assert plan["speed_mph"].to_list() == [practice["speed_now_mph"][0]] * 3
    assert plan["note"].unique().to_list() == ["the trend is no more than chance: the speed is that of now"]
    widths = (plan["speed_hi90_mph"] - plan["speed_lo90_mph"]).to_list()
    assert widths == sorted(widths)


def test_nothing_is_forecast_farther_than_the_practice_looks_back():
    days = np.arange(0, 57, 4)  # eight weeks
    practice, ahead = figured(sessions(days, 90 + 0.1 * days + np.sin(days)))

    plan = plan_of(practice, ahead)

    assert plan["speed_mph"].is_null().to_list() == [False, False, True]
    assert "farther ahead than the practice looks back" in plan["note"][2]
    assert "no drives in a quarter with practice" in plan["note"][0]


@pytest.mark.parametrize(
    ("table", "known", "said"),
    [
        (sessions([0, 7], [90.0, 91.0]), {}, "a trend needs 6 sessions over 3 weeks"),
        (
            pl.concat([sessions(*noisy()), sessions([160], [80.0], golfer=1)]),
            {}, "no practice in the 6 weeks before the newest log",
        ),
        (sessions(*noisy(), tool="light"), {"log_error": None}, "by common practice, without a source"),
    ],
)  # fmt: skip
def test_no_forecast_without_a_trend_of_today_whose_level_is_known(table, known, said):
    practice, ahead = figured(table, **known)

    plan = plan_of(practice, ahead).filter(pl.col("golfer") == name(0))

    assert plan["speed_mph"].to_list() == [None] * 3
    assert plan["speed_hi90_mph"].to_list() == [None] * 3
    assert all(said in note for note in plan["note"])


@pytest.mark.parametrize(
    ("per_week", "expected", "rest"),
    [(2.0, [8, 16, 24], False), (3.5, [14, 28, 42], False), (6.0, [14, 28, 42], True)],
)
def test_sessions_until_then_leave_a_day_of_rest(per_week, expected, rest):
    practice, ahead = figured(sessions(*noisy()), WITH_BALL)

    plan = plan_of(practice.with_columns(sessions_per_week=pl.lit(per_week)), ahead)

    assert plan["sessions"].to_list() == expected
    assert [note is not None and "day of rest" in note for note in plan["note"]] == [rest] * 3


def test_other_golfers_or_another_order_are_refused():
    practice, ahead = figured(pl.concat([sessions(*noisy(), golfer=i) for i in range(2)]))

    for one in (practice.reverse(), practice.head(1)):
        with pytest.raises(ValueError, match="not of the same golfers"):
            plan_of(one, ahead)


# --- goals


def due_of(practice, ahead, speed, **more):
    return speed_goals_of(practice, ahead, goal(speed, **more)).row(0, named=True)


def test_a_goal_at_the_next_bands_edge_is_due_on_the_projected_day():
    practice, ahead = figured(sessions(*noisy()), WITH_BALL)
    one = practice.row(0, named=True)

    due = due_of(practice, ahead, one["next_band_from_mph"])

    assert (due["due"], due["due_on"]) == ("dated", one["projected_on"])
    assert one["last_on"] <= due["due_lo90_on"] < due["due_on"]
    assert (due["speed_now_mph"], due["with_ball"]) == (one["speed_now_mph"], True)
    assert "the gain may level off: then it comes later or never" in due["note"]


def test_the_plan_is_at_the_goals_speed_on_its_day():
    practice, ahead = figured(sessions(*noisy()), WITH_BALL)
    row = plan_of(practice, ahead).row(1, named=True)

    due = due_of(practice, ahead, row["speed_mph"])

    assert row["on"] <= due["due_on"] <= row["on"] + timedelta(1)  # days are whole


@pytest.mark.parametrize(
    ("above", "expected"),
    [
        (-0.001, "reached"), (0.0, "reached"), (0.001, "dated"), (3.0, "dated"), (7.0, "beyond_practice"),
        (40.0, "beyond_a_year"),
    ],
)  # fmt: skip
def test_a_goal_is_reached_at_speed_now_and_dated_no_farther_than_practice_looks_back(above, expected):
    practice, ahead = figured(sessions(*noisy()), WITH_BALL)

    due = due_of(practice, ahead, practice["speed_now_mph"][0] + above)

    assert due["due"] == expected
    assert (due["due_on"] is not None) == (due["due_lo90_on"] is not None) == (expected == "dated")
    if expected == "dated":
        assert due["due_on"] - practice["last_on"][0] <= timedelta(weeks=ahead.practiced[0])


def test_speed_with_a_ball_is_compared_with_speed_with_a_ball_only():
    practice, ahead = figured(sessions(*noisy(), tool="light"))

    due = due_of(practice, ahead, 60.0)  # far below speed without a ball

    assert (due["with_ball"], due["due"], due["due_on"]) == (False, "cannot_tell_yet", None)
    assert due["light_target_mph"] is None
    assert "the goal's speed is one with a ball" in due["note"]


@pytest.mark.parametrize("gain", [0.0, -0.4])
def test_a_golfer_who_does_not_gain_has_no_day(gain):
    practice, ahead = figured(sessions(*noisy(gain=gain)), WITH_BALL)

    assert due_of(practice, ahead, practice["speed_now_mph"][0] + 1)["due"] == "cannot_tell_yet"


def test_a_golfer_without_goal_or_speed_for_it_has_none():
    practice, ahead = figured(sessions(*noisy()), WITH_BALL)

    other, unknown = due_of(practice, ahead, 95.0, golfer=1), due_of(practice, ahead, None)

    assert (other["due"], other["goal_yd"], other["note"]) == ("no_goal", None, None)
    assert (unknown["due"], unknown["goal_yd"], unknown["light_target_mph"]) == ("no_goal", 200.0, None)


# --- the light tool


def test_light_tool_for_the_goal_is_the_factor_over_what_the_ball_takes():
    practice, ahead = figured(sessions(*noisy(), tool="light"), WITH_BALL, factor=1.25, log_error=0.02)
    one = practice.row(0, named=True)

    due = due_of(practice, ahead, 97.0)

    free = 97.0 - one["ball_gap_mph"]
    reach = np.hypot(1.6448536 * 0.02 * free, one["ball_gap_hi90_mph"] - one["ball_gap_mph"])
    assert due["light_target_mph"] == pytest.approx(1.25 * free)
    assert due["light_target_hi90_mph"] == pytest.approx(1.25 * (free + reach))
    assert "light tool's factor: own paired sessions" in due["note"]
    # The same rule as for the next band.
    band = due_of(practice, ahead, one["next_band_mph"])
    assert [band[f"light_target_{end}mph"] for end in ("", "lo90_", "hi90_")] == pytest.approx(
        [one[f"light_target_{end}mph"] for end in ("", "lo90_", "hi90_")]
    )


def test_light_tool_by_common_practice_has_no_interval_and_says_so():
    practice, ahead = figured(sessions(*noisy(), tool="light"), WITH_BALL, log_error=None)

    due = due_of(practice, ahead, 97.0)

    assert due["light_target_mph"] == pytest.approx(1.2 * (97.0 - practice["ball_gap_mph"][0]))
    assert (due["light_target_lo90_mph"], due["light_target_hi90_mph"]) == (None, None)
    assert "light tool's factor: common practice, no source" in due["note"]


def test_a_quarters_form_is_in_the_level_of_drives_and_not_in_that_of_sessions():
    figures = practice_figures(sessions(*noisy()), factors(1), WITH_BALL, BANDS).with_columns(best_wander=pl.lit(0.5))

    with_ball = outlook_of(figures)
    without = outlook_of(figures.with_columns(pl.lit(None, pl.Float64).alias("drive_speed_mph")))

    assert with_ball.level_variance[0] == pytest.approx(figures["drive_variance"][0] + 0.5)
    unit = figures["best_variance"][0] * figures["best_level_unit"][0]
    assert without.level_variance[0] == pytest.approx(unit)
    assert outlooks.STOPS >= 20
