"""Slopes on attack and loft against planted ones, least squares by another library, and rigid impact."""

import numpy as np
import polars as pl
import pytest
from delivery_samples import BY_ATTACK, BY_LOFT, swings, usual
from polars.testing import assert_frame_equal
from statsmodels.regression.linear_model import OLS

from pipeline.coach.delivery.impact_slopes import change_by_loft, impact_at, loft_difference_deg, slopes_by_impact
from pipeline.coach.delivery.slopes import RESPONSES, fit_delivery, slopes_table
from pipeline.coach.delivery.sums import Sums, add_cells, cell_sums
from pipeline.physics.impact import strike
from pipeline.tables.delivery import DeliverySlopes


def sums_of(drives):
    return Sums.of(cell_sums(drives, usual(drives)))


def centred(drives):
    """Give attack and the three responses about each golfer's own mean."""
    ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")
    values = drives.select("golfer", "attack_deg", "launch_deg", "spin_rpm", ratio.alias("speed_ratio"))
    return values.select(pl.exclude("golfer") - pl.exclude("golfer").mean().over("golfer")).to_numpy()


def test_slopes_within_golfers_are_the_planted_ones_though_strong_golfers_differ():
    drives = swings()

    fitted = fit_delivery(sums_of(drives)).attack

    error = np.sqrt(np.diag(fitted.covariance))
    assert (np.abs(fitted.slope - BY_ATTACK) < 3 * error).all()
    assert (error < [0.04, 8.0, 0.0004]).all()
    # Attack varies by 1.0 deg and its readings by 0.8 deg beside that.
    assert fitted.reliability == pytest.approx(1 / 1.64, abs=0.05)
    naive = np.polyfit(drives["attack_deg"], drives["launch_deg"], 1)[0]
    assert naive < -0.4


def test_readings_as_they_are_give_the_flat_slope_of_least_squares():
    drives = swings()
    x, *y = centred(drives).T

    fitted = fit_delivery(sums_of(drives)).attack

    np.testing.assert_allclose(fitted.as_read, [x @ one / (x @ x) for one in y], rtol=1e-9)
    assert fitted.as_read[0] < 0.7 * BY_ATTACK[0]


def test_slopes_are_least_squares_and_errors_the_jackknife_over_golfers_where_readings_have_no_error():
    # Spin that goes with launch by rigid impact and nothing beside the swing: then the readings are worth all.
    drives = swings(noise_deg=0.0, own=0.05)
    share = np.divide(*slopes_by_impact(100.0, 1.0, 14.0)["loft_deg"][:2])
    drives = drives.with_columns(spin_rpm=2600 + (pl.col("launch_deg") - 1.05 * pl.col("attack_deg")) / share)
    codes = drives["golfer"].rank("dense").to_numpy().astype(int)
    x, launch, _, ratio = centred(drives).T

    fitted = fit_delivery(sums_of(drives)).attack

    assert fitted.note == "readings show no error"
    for k, y in ((0, launch), (2, ratio)):
        whole = OLS(y, x[:, None]).fit().params[0]
        without = [OLS(y[codes != g], x[codes != g, None]).fit().params[0] for g in np.unique(codes)]
        assert fitted.slope[k] == pytest.approx(whole, rel=1e-9)
        assert fitted.covariance[k, k] == pytest.approx(39 / 40 * np.sum((without - whole) ** 2), rel=1e-6)


def test_golfers_whose_face_follows_differently_are_told_from_luck():
    drives = swings(golfers=120, drives=100, noise_deg=0.0, own=1.0)
    follows = np.random.default_rng(5).normal(0, 0.2, 120)[drives["golfer"].rank("dense").to_numpy() - 1]
    swing = pl.col("attack_deg") - pl.col("attack_deg").mean().over("golfer")
    by_loft = slopes_by_impact(100.0, 1.0, 14.0)["loft_deg"].tolist()
    spread = drives.with_columns(
        launch_deg=pl.col("launch_deg") + by_loft[0] * pl.Series(follows) * swing,
        spin_rpm=pl.col("spin_rpm") + by_loft[1] * pl.Series(follows) * swing,
        ball_speed_mph=pl.col("ball_speed_mph") + 100 * by_loft[2] * pl.Series(follows) * swing,
    )

    alike, different = (
        np.diag(fit_delivery(sums_of(part)).attack.golfer_covariance) ** 0.5 for part in (drives, spread)
    )

    assert alike[0] < 0.02
    np.testing.assert_allclose(different, 0.2 * np.abs(by_loft), rtol=0.2)


def test_slopes_on_loft_are_measured_where_enough_golfers_vary_it():
    model = fit_delivery(sums_of(swings(lofts=(-1.0, 1.0))))

    error = np.sqrt(np.diag(model.loft.covariance))
    assert model.loft_measured
    assert (np.abs(model.loft.slope - BY_LOFT) < 3 * error).all()
    assert (error < [0.03, 6.0, 0.0005]).all()


def test_impact_stands_in_where_loft_hardly_varies():
    varied, same = swings(golfers=7, lofts=(-1.0, 1.0)), swings(golfers=40, seed=2)
    drives = pl.concat([varied, same.with_columns(("h" + pl.col("golfer")).alias("golfer"))])

    model = fit_delivery(sums_of(drives))
    table = slopes_table(sums_of(drives), model)

    assert not model.loft_measured
    loft = table.filter((pl.col("predictor") == "loft_deg") & (pl.col("scope") == "within"))
    assert loft["slope"].null_count() == 3
    assert loft["note"].to_list() == ["7 golfers vary their loft, which is too few; rigid impact is used instead"] * 3
    assert not loft["used"].any()


def test_sums_of_logs_add_up_to_those_of_all_drives_in_any_order():
    drives = swings(golfers=12, drives=20, lofts=(0.0, 1.0))
    whole = cell_sums(drives, usual(drives))

    parts = [cell_sums(drives.filter(pl.int_range(pl.len()) % 3 == k), usual(drives)) for k in (2, 0, 1)]

    assert_frame_equal(add_cells(parts), whole)
    assert whole["n"].sum() == 240


def test_slopes_do_not_hang_on_where_golfers_or_devices_stand():
    drives = swings(golfers=12)
    moved = drives.with_columns(
        device=pl.when(pl.int_range(pl.len()) % 2 == 0).then(pl.lit("unit-B")).otherwise("device"),
    ).with_columns(attack_deg=pl.col("attack_deg") + 3.0 * (pl.col("device") == "unit-B"))

    one, other = (fit_delivery(sums_of(part)).attack.slope for part in (drives, moved))

    np.testing.assert_allclose(one, other, rtol=0.05)


@pytest.mark.parametrize(
    "change",
    [
        {"attack_deg": None},
        {"spin_measured": False},
        {"ball_speed_mph": 137.0},  # a mishit: ratio 1.37 where 1.46 is usual
    ],
)
def test_unread_attack_guessed_spin_and_mishits_are_left_out(change):
    drives = swings(golfers=8, drives=20)
    row = pl.int_range(pl.len()) % 20 == 0

    spoilt = drives.with_columns(
        pl.when(row).then(pl.lit(value, drives.schema[name])).otherwise(name).alias(name)
        for name, value in change.items()
    )

    assert cell_sums(spoilt, usual(drives))["n"].sum() == 8 * 19


def test_without_ball_speed_launch_and_spin_have_slopes_and_the_ratio_has_none():
    drives = swings().with_columns(ball_speed_mph=pl.lit(None, pl.Float64))
    sums = sums_of(drives)

    table = slopes_table(sums, fit_delivery(sums)).filter(pl.col("predictor") == "attack_deg")

    ratio = table.filter(pl.col("response") == "speed_ratio")
    assert ratio["slope"].null_count() == 2
    assert not ratio["used"].any()
    assert table.filter(pl.col("response") != "speed_ratio")["slope"].null_count() == 0


def test_readings_of_attack_that_are_chance_give_no_slope():
    luck = np.random.default_rng(3).normal(0, 1, 2400)
    sums = sums_of(swings().with_columns(attack_deg=pl.Series(luck)))

    table = slopes_table(sums, fit_delivery(sums)).filter(pl.col("scope") == "within")

    assert table["slope"].null_count() == 6
    assert "readings of attack hardly go with launch and spin" in table["note"].to_list()


@pytest.mark.parametrize("golfers", [0, 7])
def test_too_few_golfers_give_an_empty_table(golfers):
    sums = sums_of(swings(golfers=8).filter(pl.col("golfer") < f"g{golfers:016x}"))

    table = slopes_table(sums, fit_delivery(sums))

    assert table.height == 0
    DeliverySlopes.validate(table)


def test_the_table_holds_both_scopes_with_intervals_and_impact_beside_them():
    sums = sums_of(swings(lofts=(0.0, 1.0)))

    table = DeliverySlopes.validate(slopes_table(sums, fit_delivery(sums)))

    assert table.height == 12
    assert set(table["response"]) == set(RESPONSES)
    attack = table.filter((pl.col("predictor") == "attack_deg") & (pl.col("response") == "launch_deg"))
    within, between = attack.sort("scope").to_dicts()
    assert within["lo90"] < BY_ATTACK[0] < within["hi90"]
    # Planted between golfers: launch falls by 1.2 for each deg of attack.
    assert between["slope"] == pytest.approx(-1.2, abs=0.1)
    assert 0.15 < within["impact_slope"] < 0.25


def test_impact_by_loft_and_attack_are_two_sides_of_one_difference():
    by = slopes_by_impact(100.0, 2.0, 14.0)

    # Turning path and face together turns the launch one to one, and changes neither spin nor speed.
    np.testing.assert_allclose(by["attack_deg"] + by["loft_deg"], [1.0, 0.0, 0.0], atol=1e-6)


def test_loft_difference_is_that_of_impact():
    hit = strike(45.0, 2.0, 2.0 + 15.3)

    assert loft_difference_deg(hit.launch_deg - 2.0) == pytest.approx(15.3, abs=0.002)
    assert np.isnan(loft_difference_deg(0.0))


def test_change_by_loft_is_that_of_two_impacts():
    launch = impact_at(100.0, 1.0, 16.0)[0]

    change = change_by_loft([100.0, 100.0], [1.0, np.nan], [launch, launch], np.array([-3.0, -3.0]))

    np.testing.assert_allclose(change[0], impact_at(100.0, 1.0, 13.0) - impact_at(100.0, 1.0, 16.0), atol=0.1)
    assert np.isnan(change[1]).all()
