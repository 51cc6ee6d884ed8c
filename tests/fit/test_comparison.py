from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to, hold_out

from pipeline.configuration.study import StandardAir
from pipeline.drives import golfer_codes, typical_drives
from pipeline.fit.comparison import (
    Scored,
    carry_by,
    errors_by_fold,
    errors_of,
    fingerprint,
    judge,
    models_held_out,
    paired_score,
    score_both,
)
from pipeline.fit.held_out import EVERYTHING
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import fit_usual_delivery
from pipeline.flight.calibrate import Calibration
from pipeline.physics.air import Air
from pipeline.physics.trajectory import Launch, fly
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

LINE, QUADRATIC = (candidate_named(name) for name in ("line", "quadratic"))
CALIBRATION = Calibration("smits-smith-1994", 0.95, 1.02, None, None, [], 0, 0, None, None, "")


def fitted(candidate, drives, name="k000000000001", **changes):
    found = fit_to(candidate, drives)
    error = found.fit.std_errors
    terms = pl.DataFrame(
        {
            "term": list(found.labels),
            "estimate": found.fit.coefficients,
            "lo90": found.fit.coefficients - 1.645 * error,
            "hi90": found.fit.coefficients + 1.645 * error,
        }
    )
    made = ComparedFit(
        id=name,
        model=found.model,
        terms=terms,
        typical=typical_drives(drives, ["golfer"]),
        quarters=tuple(sorted(drives.get_column("quarter").unique())),
        golfers=drives.get_column("golfer").n_unique(),
        drives=drives.height,
        air=StandardAir(),
        calibration=CALIBRATION,
        speed_ratio=1.46,
    )
    return replace(made, **changes)


def first_golfers(drives, count):
    return drives.filter(golfer_codes(drives) < count)


def carry(drives):
    return drives.get_column("carry_standard_yd").to_numpy()


def errors(old, new, golfers=8):
    who = [f"g{index % golfers}" for index in range(len(old))]
    return pl.DataFrame({"golfer": who, "old_yd": old, "new_yd": new})


def scored(difference, std_error, new_golfers=8, on_new=True):
    score = replace(paired_score(errors([3.0, -3.0] * 8, [3.0, -3.0] * 8)), difference_yd=difference)
    score = replace(score, std_error_yd=std_error)
    return Scored(new_golfers, score if on_new else None, score, True)


def both_scored(old, candidate, drives):
    survey = Survey.of(drives, 1)
    return score_both(old, candidate.surface(survey.extents), survey, drives)


def test_the_fingerprint_ignores_order_and_sees_every_change(world):
    drives = world.drives
    assert fingerprint(drives.sample(fraction=1, shuffle=True, seed=2)) == fingerprint(drives)
    for changed in (
        drives.head(drives.height - 1),
        drives.with_columns(pl.col("carry_standard_yd") + (pl.int_range(pl.len()) == 7) * 1e-9),
        drives.with_columns(pl.lit(None, pl.String).alias("ball")),
        drives.with_columns(curve_yd=pl.lit(1.0)),
    ):
        assert fingerprint(changed) != fingerprint(drives)
    # Who knows nothing of curves has the same drives as ever.
    assert fingerprint(drives.with_columns(curve_yd=pl.lit(None, pl.Float64))) == fingerprint(drives)


def test_an_unknown_ball_is_not_an_empty_name(world):
    unknown, empty = (world.drives.with_columns(pl.lit(v, pl.String).alias("ball")) for v in (None, ""))
    assert fingerprint(unknown) != fingerprint(empty)


def test_carry_by_another_calibration_knows_its_curve(world):
    nulls = [
        pl.lit(None, pl.Float64).alias(name)
        for name in ("temp_c", "pressure_hpa", "humidity", "altitude_m", "wind_along_mps")
    ]
    drives = world.drives.head(3).with_columns(
        pl.col("carry_standard_yd").alias("carry_measured_yd"), pl.Series("spin_axis_deg", [15.0, None, 0.0]), *nulls
    )
    (frame,) = carry_by(drives, CALIBRATION, 1.46, StandardAir()).read()
    assert frame["curve_yd"].is_null().to_list() == [False, True, False]
    assert frame["curve_yd"][0] > 1
    assert frame["curve_yd"][2] == 0
    assert frame["carry_standard_yd"].to_list() == pytest.approx(drives["carry_measured_yd"].to_list())


def test_carry_moves_by_the_difference_of_two_flights(world):
    nulls = [pl.lit(None, pl.Float64).alias(name) for name in ("pressure_hpa", "humidity", "wind_along_mps")]
    drives = world.drives.head(200).with_columns(
        pl.lit(14.0).alias("temp_c"), pl.lit(900.0).alias("altitude_m"), *nulls
    )
    measured = drives.with_columns(pl.col("carry_standard_yd").alias("carry_measured_yd"))
    moved = pl.concat(carry_by(measured, CALIBRATION, 1.46, StandardAir()).read())["carry_standard_yd"] - carry(drives)

    speed = drives.get_column("ball_speed_mph").to_numpy() * MPS_PER_MPH
    shots = Launch.straight(speed, drives.get_column("launch_deg").to_numpy(), drives.get_column("spin_rpm").to_numpy())
    there = Air.of(14.0, 90_970.5, 0.0)  # ISO 2533 at 900 m: 909.7 hPa
    flown = [
        fly(shots, CALIBRATION.ball, air).carry_m / METRES_PER_YARD for air in (Air.of(15.0, 101325.0, 0.0), there)
    ]
    np.testing.assert_allclose(moved, flown[0] - flown[1], atol=0.05)
    assert moved.mean() < -4


def test_held_out_errors_are_those_of_the_contest(world):
    survey = Survey.of(world.drives, 1)
    models = models_held_out(QUADRATIC.surface(survey.extents), survey, fit_usual_delivery(survey.typical))
    found = errors_by_fold(survey.drives, survey.fold_of_golfers, models)
    held = hold_out(QUADRATIC, survey)
    np.testing.assert_allclose(found, held.predicted[EVERYTHING] - held.measured, rtol=1e-9, atol=1e-9)


def test_new_golfers_are_scored_by_the_old_model_as_it_is(world):
    old = fitted(QUADRATIC, first_golfers(world.drives, 60))
    found, table = both_scored(old, QUADRATIC, world.drives)
    assert found.new_golfers == 20
    assert (found.on_new.golfers, found.on_new.drives) == (20, 600)
    assert (found.on_all.golfers, found.repeated) == (80, True)
    assert found.deciding == found.on_new != found.on_all
    new = table.get_column("is_new").to_numpy()
    plain = errors_of(old.model, world.drives)
    np.testing.assert_allclose(table.get_column("old_yd").to_numpy()[new], plain[new])
    # Golfers whom it has seen are predicted by fits without them.
    assert np.abs(table.get_column("old_yd").to_numpy()[~new] - plain[~new]).max() > 0.01
    # The noise of the world is 3 yd, and the old model has not seen these.
    assert found.on_new.old_rmse_yd == pytest.approx(3.0, rel=0.15)


def test_a_seen_golfer_does_not_flatter_the_old_model(world):
    odd = world.drives.get_column("golfer")[0]
    raised = world.drives.with_columns(pl.col("carry_standard_yd") + 60 * (pl.col("golfer") == odd))
    # The kept model has followed the odd golfer; the repeated fit without him misses by his 60 yd.
    _, table = both_scored(fitted(LINE, raised), LINE, raised)
    his = table.filter(pl.col("golfer") == odd)
    np.testing.assert_allclose(his.get_column("old_yd").to_numpy(), his.get_column("new_yd").to_numpy(), atol=1e-6)


def test_new_golfers_are_not_in_the_repeated_old_fit(world):
    # Carry of the new golfers is 20 yd longer, which the old fit never saw, though they hit in its quarters too.
    old_drives = first_golfers(world.drives, 60)
    drives = world.drives.with_columns(pl.col("carry_standard_yd") + 20.0 * (golfer_codes(world.drives) >= 60))
    _, table = both_scored(fitted(QUADRATIC, old_drives), QUADRATIC, drives)
    assert table.filter(~pl.col("is_new")).get_column("old_yd").mean() == pytest.approx(0, abs=0.5)


def test_later_quarters_are_not_in_the_repeated_old_fit(world):
    # In the newest quarter carry is 20 yd longer, which the old model can't know.
    later = world.drives.with_columns(pl.col("carry_standard_yd") + 20, pl.lit("2026Q4").alias("quarter"))
    both = pl.concat([world.drives, later])
    _, table = both_scored(fitted(QUADRATIC, world.drives), QUADRATIC, both)
    missed = table.get_column("old_yd").to_numpy()[world.drives.height :].mean()
    assert missed == pytest.approx(-20, abs=0.5)


def test_few_new_golfers_are_not_scored_alone(world):
    old = fitted(QUADRATIC, first_golfers(world.drives, 75))
    found, _ = both_scored(old, QUADRATIC, world.drives)
    assert (found.new_golfers, found.on_new) == (5, None)
    assert found.deciding == found.on_all


def test_an_old_fit_whose_drives_are_gone_is_scored_by_plain_predictions(world):
    old = fitted(QUADRATIC, world.drives, quarters=("2020Q1",))
    found, table = both_scored(old, QUADRATIC, world.drives)
    assert not found.repeated
    np.testing.assert_allclose(table.get_column("old_yd").to_numpy(), errors_of(old.model, world.drives))


def test_an_old_model_over_ball_speed_needs_drives_with_it(world):
    blind = world.drives.with_columns(pl.lit(None, pl.Float64).alias("ball_speed_mph"))
    club_line = candidate_named("line", "club")
    found, table = both_scored(fitted(QUADRATIC, world.drives), club_line, blind)
    assert table.height == 0
    assert found.deciding is None
    verdict = judge(fitted(QUADRATIC, world.drives), fitted(club_line, blind), found)
    assert not verdict.adopt
    assert "fewer than 6 golfers have drives that both models can predict" in verdict.reasons[0]


def test_scores_of_a_pair_by_hand():
    table = errors([1.0, -1.0, 1.0, -1.0], [3.0, -1.0, 3.0, 1.0], golfers=2)
    found = paired_score(table)
    assert (found.golfers, found.drives) == (2, 4)
    assert found.old_rmse_yd == pytest.approx(1.0)
    assert found.new_rmse_yd == pytest.approx(np.sqrt(5))
    assert (found.old_bias_yd, found.new_bias_yd) == pytest.approx((0.0, 1.5))
    # Golfer 0 has twice 9 - 5, golfer 1 twice 1 - 5, each over twice the root; old errors are all alike.
    total = 2 * 4 / (2 * np.sqrt(5))
    assert found.std_error_yd == pytest.approx(np.sqrt(2 * total**2 * 2) / 4)


def test_the_standard_error_of_a_difference_is_that_of_many_samples():
    rng = np.random.default_rng(5)

    def draw():
        shared, own = rng.normal(0, 3, (2, 400))
        level = np.repeat(rng.normal(0, 1, 40), 10)
        who = [f"g{index:02}" for index in np.repeat(np.arange(40), 10)]
        return paired_score(pl.DataFrame({"golfer": who, "old_yd": shared + level, "new_yd": shared + own / 3}))

    found = [draw() for _ in range(300)]
    told = np.mean([one.std_error_yd for one in found])
    assert told == pytest.approx(np.std([one.difference_yd for one in found]), rel=0.12)


@pytest.mark.parametrize(
    ("difference", "std_error", "golfers", "adopt"),
    [(-1.0, 0.2, 80, True), (0.19, 0.2, 80, True), (0.21, 0.2, 80, False), (0.09, 0.01, 80, True),
     (0.11, 0.01, 80, False), (-1.0, 0.2, 79, False)],
)  # fmt: skip
def test_the_verdict_follows_the_rule(world, difference, std_error, golfers, adopt):
    old = fitted(LINE, world.drives)
    verdict = judge(old, replace(old, golfers=golfers), scored(difference, std_error))
    assert verdict.adopt is adopt
    assert f"rests on {golfers} golfers, the old one on 80" in verdict.reasons[1]


@pytest.mark.parametrize(
    ("golfers", "share", "adopt", "said"),
    [
        (64, 0.8, True, "the new model rests on 64 golfers, the old one on 80; at least 64 were needed"),
        (63, 0.8, False, "the new model rests on 63 golfers, the old one on 80; at least 64 were needed"),
        (56, 0.7, True, "the new model rests on 56 golfers, the old one on 80; at least 56 were needed"),
        (0, 0.0, True, "the new model rests on 0 golfers, the old one on 80; at least 0 were needed"),
        (79, 1.0, False, "the new model rests on 79 golfers, the old one on 80"),
    ],
)
def test_the_share_of_golfers_that_is_needed_is_a_setting(world, golfers, share, adopt, said):
    old = fitted(LINE, world.drives)
    verdict = judge(old, replace(old, golfers=golfers), scored(0.0, 0.1), golfers=share)
    assert (verdict.adopt, verdict.reasons[1]) == (adopt, said)


def test_the_verdict_says_whose_error_it_goes_by(world):
    old = fitted(LINE, world.drives)
    assert "on golfers new to the old fit" in judge(old, old, scored(0.1, 0.2)).reasons[0]
    assert "on all golfers, each held out" in judge(old, old, scored(0.1, 0.2, 3, on_new=False)).reasons[0]


def test_other_standard_conditions_retire_the_old_model(world):
    old = fitted(LINE, world.drives)
    verdict = judge(old, replace(old, air=StandardAir(temp_c=25)), scored(9.0, 0.1))
    assert verdict.adopt
    assert "standard conditions have changed" in verdict.reasons[0]
