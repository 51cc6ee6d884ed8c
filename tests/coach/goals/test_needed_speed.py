from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from goal_samples import sample_curve, sample_frontier, sample_golfers, sample_model, sample_present

from pipeline.coach.goals.needed_speed import Present, needed_efficient, needed_present, reach_words, shares

MODEL = sample_model()
SURE = np.tile(MODEL.coefficients, (3, 1))  # refits that all say the same


def test_the_efficient_speed_turns_the_curve_and_its_interval_round():
    speed, least, most = needed_efficient(sample_curve(), np.array([251.0]))
    assert speed == pytest.approx(251 / 2.5)
    assert least == pytest.approx((251 - 1) / 2.5)
    assert most == pytest.approx((251 + 1) / 2.5)


def test_what_golfers_differ_by_for_good_widens_what_an_efficient_delivery_needs_and_gives():
    # Efficient carry is known to 1 yd, a golfer's own difference to 1.6449 * 2 yd: together 3.44 yd.
    both = np.hypot(1.0, 1.6449 * 2.0)
    goal, at = np.array([251.0]), np.array([96.0])
    speed, least, most = needed_efficient(sample_curve(), goal, np.array([2.0]))
    assert [*speed, *least, *most] == pytest.approx([251 / 2.5, (251 - both) / 2.5, (251 + both) / 2.5], rel=1e-5)
    today, reach = np.array([225.0]), 3.0
    found = shares(sample_curve(), at, today, today - reach, today + reach, goal, lasting_yd=np.array([2.0]))
    half = np.hypot(reach, 1.6449 * 2.0)
    assert [*found["delivery_lo90_yd"], *found["delivery_hi90_yd"]] == pytest.approx([15 - half, 15 + half], rel=1e-4)
    assert [*found["speed_lo90_yd"], *found["speed_hi90_yd"]] == pytest.approx([11 - both, 11 + both], rel=1e-4)
    assert found["gap_hi90_yd"] - found["gap_yd"] == pytest.approx(reach)


def test_carry_and_run_take_less_speed():
    curve = sample_curve(total=True)
    speed, least, most = needed_efficient(curve, np.array([276.0]))
    assert speed == pytest.approx([100.4])
    # Carry alone, give or take 1 yd, would leave 100.0 to 100.8 mph; the turf leaves more open, unlike to either side.
    near = np.array([100.4])
    below, above = (abs(curve.at(edge - curve.yards, near)) for edge in (curve.lo90_yd, curve.hi90_yd))
    assert 2 < below < 6
    assert 2 < above < 7
    assert [*least, *most] == pytest.approx([*(100.4 - above / 2.5), *(100.4 + below / 2.5)], abs=0.1)


@pytest.mark.parametrize("goal", [276.0, 199.0])
def test_a_goal_beyond_the_data_has_no_speed(goal):
    assert np.isnan(needed_efficient(sample_curve(), np.array([goal]))[0])


def test_an_edge_beyond_the_data_is_open_while_the_speed_is_there():
    speed, least, most = needed_efficient(sample_curve(), np.array([274.5]))
    assert speed == pytest.approx(109.8)
    assert least == pytest.approx(109.4)
    assert np.isnan(most)


def test_speeds_that_nobody_has_are_no_answer():
    curve = sample_curve(speeds=[*range(80, 91), *range(99, 111)])
    speed, _, _ = needed_efficient(curve, np.array([2.5 * 89.5, 2.5 * 95, 2.5 * 99.5]))
    assert speed == pytest.approx([89.5, np.nan, 99.5], nan_ok=True)


def test_no_benchmarks_at_all_give_no_speed():
    empty = sample_curve(speeds=[])
    goal = np.array([250.0])
    assert np.isnan(needed_efficient(empty, goal)[0])
    assert np.isnan(needed_present(MODEL, SURE, empty, sample_present(), goal)[0])


def test_the_least_speed_counts_where_a_curve_dips():
    curve = sample_curve(speeds=range(80, 86))
    dipping = np.array([10.0, 20.0, 15.0, 25.0, 30.0, 40.0])
    assert curve.speed_for(dipping, np.array([18.0, 22.0])) == pytest.approx([80.8, 82.7])


def test_the_mean_carry_is_met_at_todays_speed_and_the_shortfall_grows_with_speed():
    present = sample_present(shortfall=9.7)
    assert present.carry_at(MODEL, present.club_speed_mph) == pytest.approx(present.carry_yd)
    assert present.carry_at(MODEL, np.array([107.0])) == pytest.approx(2 * 1.40 * 107 - 40 - 10.7)


def test_the_present_delivery_needs_the_speed_of_its_own_line():
    # 2 * 1.4 v - 40 + 3 * (12 - 14) - 9.7 v / 97 = 240.
    present = sample_present(launch=12.0, shortfall=9.7)
    speed, least, most = needed_present(MODEL, SURE, sample_curve(), present, np.array([240.0]))
    assert speed == pytest.approx(286 / 2.7)
    assert [*least, *most] == pytest.approx([286 / 2.7] * 2)  # nothing is left open


def test_an_unknown_ratio_is_the_usual_one():
    unknown = sample_present(ratio=np.nan)
    assert MODEL.inputs(unknown.drive.at([100.0]))[0] == pytest.approx([145])
    speed, _, _ = needed_present(MODEL, SURE, sample_curve(), unknown, np.array([250.0]))
    assert speed == pytest.approx(290 / 2.9)


def test_run_is_added_for_goals_of_carry_and_run():
    curve = sample_curve()
    run = np.full((1, len(curve.speeds_mph)), 20.0)
    speed, _, _ = needed_present(MODEL, SURE, curve, sample_present(), np.array([268.0]), run)
    assert speed == pytest.approx(288 / 2.8)


def test_the_luck_of_the_drives_widens_the_interval_and_grows_with_speed():
    speed, least, most = needed_present(MODEL, SURE, sample_curve(), sample_present(reach=4.85), np.array([252.8]))
    assert speed == pytest.approx(292.8 / 2.8)
    reach = 4.85 * (292.8 / 2.8) / 97
    assert [*least, *most] == pytest.approx([(292.8 - reach) / 2.8, (292.8 + reach) / 2.8])


def test_refits_that_differ_in_slope_widen_the_interval_away_from_todays_speed():
    slopes = MODEL.coefficients + np.array([[0, -0.1, 0], [0, 0.1, 0]])
    present = sample_present(shortfall=0.0)
    # 0.1 * 1.4 * (v - v0 * v / v0) is nil: a slope through the origin is the shortfall's own; a constant is not.
    assert present.slope_error_yd(MODEL, slopes, np.array([107.0])) == pytest.approx([0.0], abs=1e-9)
    heights = MODEL.coefficients + np.array([[-5.0, 0, 0], [5.0, 0, 0]])
    assert present.slope_error_yd(MODEL, heights, np.array([106.7])) == pytest.approx([5 * 0.1])
    _, least, most = needed_present(MODEL, heights, sample_curve(), present, np.array([258.76]))
    assert (most - least) * 2.8 / 2 == pytest.approx([1.6449 * 0.5], rel=1e-4)


@pytest.mark.parametrize("strange", [{"launch": 21.0}, {"spin": 5000.0}, {"ratio": 1.28}])
def test_a_delivery_that_nobody_has_there_gets_no_speed(strange):
    found = needed_present(MODEL, SURE, sample_curve(), sample_present(**strange), np.array([240.0]))
    assert np.isnan(found).all()


def test_nine_intervals_in_ten_hold_the_true_speed():
    rng = np.random.default_rng(5)
    many, error = 4000, 2.5
    true = sample_present(club=np.full(many, 92.0))
    luck = error * rng.standard_normal(many)
    carry, reach = true.carry_yd + luck, 1.6449 * error
    seen = replace(true, carry_yd=carry, lo90_yd=carry - reach, hi90_yd=carry + reach)
    goal = np.full(many, 240.0)
    speed, least, most = needed_present(MODEL, SURE, sample_curve(), seen, goal)
    assert np.mean(speed) == pytest.approx(100.0, abs=0.05)
    assert np.mean((least <= 100.0) & (most >= 100.0)) == pytest.approx(0.90, abs=0.015)


@pytest.mark.parametrize(
    ("present", "goal", "delivery", "speed"),
    [
        (230.0, 245.0, 15.0, 0.0),  # efficient carry at 100 mph is 250 yd: delivery alone
        (230.0, 250.0, 20.0, 0.0),
        (230.0, 265.0, 20.0, 15.0),
        (255.0, 265.0, 0.0, 10.0),  # longer than efficient: speed alone
        (250.0, 245.0, np.nan, np.nan),  # reached
    ],
)
def test_delivery_gives_what_it_can_at_todays_speed_and_speed_the_rest(present, goal, delivery, speed):
    yards = np.array([present])
    found = shares(sample_curve(), np.array([100.0]), yards, yards - 3, yards + 3, np.array([goal]))
    assert found["gap_yd"] == pytest.approx(goal - present)
    assert found["delivery_yd"] == pytest.approx([delivery], nan_ok=True)
    assert found["speed_yd"] == pytest.approx([speed], nan_ok=True)


def test_the_parts_add_up_exactly_and_lie_in_their_intervals():
    rng = np.random.default_rng(1)
    speed, goal = rng.uniform(80, 110, 500), rng.uniform(200, 300, 500)
    present = 2.5 * speed - rng.uniform(-5, 40, 500)
    found = shares(sample_curve(), speed, present, present - 3, present + 4, goal)
    there = ~np.isnan(found["delivery_yd"])
    assert 200 < there.sum() < 500
    total = found["delivery_yd"] + found["speed_yd"]
    assert total[there] == pytest.approx(found["gap_yd"][there], abs=1e-12)
    for part in ("gap", "delivery", "speed"):
        lo, value, hi = (found[f"{part}_{end}yd"][there] for end in ("lo90_", "", "hi90_"))
        assert np.all((lo <= value) & (value <= hi))


def test_intervals_of_the_parts_come_from_what_each_hangs_on():
    yards = np.array([230.0])
    found = shares(sample_curve(), np.array([100.0]), yards, yards - 3, yards + 3, np.array([265.0]))
    assert [*found["delivery_lo90_yd"], *found["delivery_hi90_yd"]] == pytest.approx([17, 23])
    assert [*found["speed_lo90_yd"], *found["speed_hi90_yd"]] == pytest.approx([14, 16])
    near = shares(sample_curve(), np.array([100.0]), yards, yards - 3, yards + 3, np.array([250.5]))
    assert [*near["speed_lo90_yd"], *near["speed_hi90_yd"]] == pytest.approx([0, 1.5])


def test_speeds_part_is_less_sure_where_todays_speed_is():
    yards = np.array([230.0])
    found = shares(sample_curve(), np.array([100.0]), yards, yards - 3, yards + 3, np.array([265.0]), np.array([0.4]))
    # 0.4 mph are 1 yd of efficient carry: 1.645 yd beside the 1 yd that it is known to.
    reach = np.hypot(1, 1.6449)
    assert [*found["speed_lo90_yd"], *found["speed_hi90_yd"]] == pytest.approx([15 - reach, 15 + reach], abs=1e-3)
    assert [*found["delivery_lo90_yd"], *found["delivery_hi90_yd"]] == pytest.approx([17, 23])


def test_where_the_benchmarks_dont_reach_the_gap_is_not_shared_out():
    yards = np.array([280.0])
    found = shares(sample_curve(), np.array([115.0]), yards, yards, yards, np.array([300.0]))
    assert found["gap_yd"] == pytest.approx(20)
    assert np.isnan(found["delivery_yd"])
    assert np.isnan(found["speed_yd"])


def test_a_golfers_carry_is_as_sure_as_the_yards_lost():
    golfers = sample_golfers({"club_speed_mph": 97.0, "carry_yd": 220.0, "own_error_yd": 1.5, "shots": 15})
    present = Present.of(golfers, sample_frontier(), sample_model())
    half = 1.7613 * np.hypot(1.5, 0.5)  # Student's, 14 degrees of freedom; the drives' and efficient carry's errors
    assert [*present.lo90_yd, *present.hi90_yd] == pytest.approx([220 - half, 220 + half], rel=1e-4)
    assert present.drive.speed_ratio == pytest.approx([1.40])
    assert present.shared_yd == pytest.approx([1.6449 * 0.5], rel=1e-4)


def test_yards_lost_that_may_be_many_more_are_carry_that_may_be_much_less():
    golfers = sample_golfers({"club_speed_mph": 97.0, "carry_yd": 220.0, "own_error_yd": 1.5})
    lost = golfers["lost_yd"].item()
    skewed = golfers.with_columns(lost_lo90_yd=pl.lit(lost - 2.0), lost_hi90_yd=pl.lit(lost + 5.0))
    present = Present.of(skewed, sample_frontier(), sample_model())
    assert [*present.lo90_yd, *present.hi90_yd] == pytest.approx([215.0, 222.0])


def test_the_needed_speed_of_the_present_delivery_has_no_doubt_of_the_efficient_one():
    own, shared = 3.0, 2.0
    present = replace(sample_present(reach=np.hypot(own, shared)), shared_yd=np.array([shared]))
    goal = np.array([240.0])
    speed, least, most = needed_present(MODEL, SURE, sample_curve(), present, goal)
    alike = needed_present(MODEL, SURE, sample_curve(), sample_present(reach=own), goal)
    assert [*speed, *least, *most] == pytest.approx(np.ravel(alike))
    assert most - speed > 0.5


@pytest.mark.parametrize(
    ("goal", "gap", "delivery", "speed", "needs", "word"),
    [
        (np.nan, np.nan, np.nan, np.nan, np.nan, "no_goal"),
        (240.0, -2.0, np.nan, np.nan, 96.0, "reached"),
        (240.0, 10.0, 10.0, 0.0, 96.0, "delivery"),
        (240.0, 10.0, 4.0, 6.0, 99.0, "both"),
        (240.0, 10.0, 0.0, 10.0, 99.0, "speed"),
        (290.0, 60.0, 4.0, 56.0, np.nan, "beyond_data"),
        (290.0, 60.0, np.nan, np.nan, 104.0, "beyond_data"),
    ],
)
def test_the_word_says_what_the_goal_takes(goal, gap, delivery, speed, needs, word):
    assert reach_words(*(np.array([x]) for x in (goal, gap, delivery, speed, needs)))[0] == word
