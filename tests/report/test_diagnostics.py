import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from small_academy import CENTRES, FORMULA, SCRIPT

from pipeline.bands import SpeedBands
from pipeline.drives import Drives, inputs
from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.model import Delivery
from pipeline.report.diagnostics.diagnostics import (
    LEVELS,
    UNSTATED,
    calibration,
    clustered_means,
    coverage_by_band,
    held_out_residuals,
    influence,
    inside_interval,
    most_influential,
    residuals_along,
    residuals_by_level,
)


def drives_at(speed, launch, spin):
    club = np.array(speed)
    return Delivery(club, np.full_like(club, np.nan), np.array(launch), np.array(spin))


@pytest.fixture(scope="module")
def residuals(academy):
    return held_out_residuals(academy.drives, academy.held_out, SpeedBands(CENTRES, 5.0))


def test_means_have_the_clustered_errors_of_statsmodels():
    rng = np.random.default_rng(2)
    golfer = rng.integers(0, 12, 300)
    value = rng.normal(3, 1, 300) + rng.normal(0, 2, 12)[golfer]
    frame = pl.DataFrame({"by": "all", "golfer": golfer, "value": value})
    fit = sm.OLS(value, np.ones(300)).fit(cov_type="cluster", cov_kwds={"groups": golfer, "use_correction": False})

    row = clustered_means(frame, "by", "value").row(0, named=True)

    assert (row["golfers"], row["drives"]) == (12, 300)
    assert row["mean"] == pytest.approx(fit.params[0], rel=1e-12)
    assert row["std_error"] == pytest.approx(fit.bse[0] * np.sqrt(12 / 11), rel=1e-9)


def test_mean_of_a_single_golfer_has_no_error():
    frame = pl.DataFrame({"by": ["a", "a"], "golfer": ["x", "x"], "value": [1.0, 2.0]})
    assert clustered_means(frame, "by", "value").row(0) == ("a", 1, 2, 1.5, None)


def test_residual_is_measured_minus_predicted_and_the_root_mean_square_is_the_score(academy, residuals):
    first = residuals.row(0, named=True)
    assert first["residual_yd"] == first["measured_yd"] - first["predicted_yd"]
    score = academy.scores.filter("chosen").row(0, named=True)
    assert float((residuals["residual_yd"] ** 2).mean()) ** 0.5 == pytest.approx(score["rmse_yd"], rel=1e-12)
    assert residuals["inside"].mean() == pytest.approx(score["coverage90"], abs=1e-12)


def test_interval_is_made_on_the_other_folds():
    # In fold 0 every drive is 20 % off; were its own drives asked, half of them would be inside.
    held = pl.DataFrame({"measured_yd": [240.0] * 50 + [190.0, 210.0] * 50, "predicted_yd": 200.0,
                         "fold": [0] * 50 + [1] * 50 + [2] * 50})  # fmt: skip
    inside = inside_interval(held, "predicted_yd", (0.5, 0.9))
    assert inside.shape == (150, 2)
    assert not inside[:50].any()
    assert inside[50:, 1].all()


def test_levels_tell_a_planted_shift(academy, residuals):
    on_b = pl.col("device") == SCRIPT
    shifted = residuals.with_columns(residual_yd=pl.col("residual_yd") + pl.when(on_b).then(2.0).otherwise(0.0))
    table = residuals_by_level(shifted, "device", 5)
    means = dict(table.select("level", "mean").iter_rows())
    assert set(means) == {"unit-A", SCRIPT}
    assert means[SCRIPT] - means["unit-A"] == pytest.approx(2, abs=0.6)
    assert table["drives"].sum() == academy.drives.height
    assert residuals_by_level(residuals, "ball", 5)["level"].to_list() == [FORMULA]


def test_small_levels_are_taken_together_and_left_out_where_still_too_small(residuals):
    few = residuals.with_columns(
        device=pl.when(pl.col("golfer") == "g0000000000000001").then(pl.lit("own"))
        .when(pl.col("golfer") < "g0000000000000006").then(pl.lit("rare")).otherwise(pl.lit("usual"))
    )  # fmt: skip
    together = residuals_by_level(few, "device", 6)
    assert together["level"].to_list() == ["usual", "levels of fewer than 6 golfers"]
    assert together["golfers"].to_list() == [74, 6]
    alone = few.filter(pl.col("device") != "rare")
    assert residuals_by_level(alone, "device", 6)["level"].to_list() == ["usual"]


def test_device_that_was_not_stated_is_a_level(academy):
    silent = academy.drives.with_columns(device=pl.lit(None, pl.String))
    table = residuals_by_level(held_out_residuals(silent, academy.held_out, SpeedBands(CENTRES, 5.0)), "device", 5)
    assert table["level"].to_list() == [UNSTATED]


def test_bins_follow_a_planted_slope(residuals):
    speed = pl.col("ball_speed_mph")
    bent = residuals.with_columns(residual_yd=0.5 * (speed - 130))
    bins = residuals_along(bent, "ball_speed_mph", 5)
    assert bins["mean"].to_numpy() == pytest.approx(0.5 * (bins["middle"].to_numpy() - 130), abs=1e-9)
    assert (bins["lo"] <= bins["mean"]).all()
    assert (bins["mean"] <= bins["hi"]).all()
    assert bins["drives"].max() - bins["drives"].min() <= 1
    assert residuals_along(bent, "ball_speed_mph", 1000).height == 0


def test_calibration_finds_the_level_where_departures_are_alike(academy):
    table = calibration(academy.held_out, academy.drives["golfer"])
    full = table.filter(pl.col("known") == "all inputs known")
    assert full["level"].to_list() == list(LEVELS)
    assert full["inside"].to_numpy() == pytest.approx(LEVELS, abs=0.03)


def test_calibration_shows_an_interval_that_is_too_narrow(academy):
    rows = academy.held_out.with_columns(
        measured_yd=pl.when(pl.col("fold") == 0)
        .then(pl.col("predicted_yd") + 3 * (pl.col("measured_yd") - pl.col("predicted_yd")))
        .otherwise("measured_yd")
    )
    inside = inside_interval(rows, "predicted_yd", (0.9,))[:, 0]
    assert inside[rows["fold"].to_numpy() == 0].mean() < 0.55


def test_coverage_is_by_the_drives_own_speed(residuals):
    one = residuals.with_columns(inside=pl.col("club_speed_mph").is_between(85, 95, closed="left"))
    table = coverage_by_band(one, 5)
    assert dict(table.select("band_mph", "mean").iter_rows()) == {70.0: 0, 80.0: 0, 90.0: 1, 100.0: 0, 110.0: 0}
    assert coverage_by_band(one, 1000).height == 0


def test_influence_is_what_a_fit_without_the_golfer_gives(academy):
    efficient = drives_at([80.0, 110.0], [14.0, 12.0], [2700.0, 2300.0])
    moves = influence(academy.model, academy.drives, efficient)
    golfer = most_influential(moves, 1)["golfer"][0]
    surface = academy.model.surface

    def expected(drives):
        X = np.hstack([surface.design(*inputs(drives, "ball")), academy.model.offsets.terms(drives)])
        found = np.linalg.lstsq(X, drives["carry_standard_yd"].to_numpy(), rcond=None)[0][: surface.size]
        speed = academy.model.better_speed([80.0, 110.0])
        return surface.design(speed, [14.0, 12.0], [2700.0, 2300.0]) @ found

    direct = expected(academy.drives.filter(pl.col("golfer") != golfer)) - expected(academy.drives)
    assert moves.filter(pl.col("golfer") == golfer)["move_yd"].to_numpy() == pytest.approx(direct, abs=1e-6)
    assert np.abs(direct).max() > 0.02
    assert moves.height == 2 * academy.drives["golfer"].n_unique()


def test_each_drive_is_looked_up_once_in_the_splines_of_flight(lookup_models, monkeypatch):
    model, drives = lookup_models["flight"]
    rows, flown = [], FlightSurface._flown

    def counted(surface, speed, *others):
        rows.append(len(speed))
        return flown(surface, speed, *others)

    monkeypatch.setattr(FlightSurface, "_flown", counted)
    influence(model, drives, drives_at([90.0], [14.0], [2600.0]), whole=Drives.of(drives))

    # The golfers' who are left out, all, and the efficient one.
    assert rows == [drives.height, drives.height, 1]


def test_golfer_with_spoilt_drives_has_the_largest_influence(academy):
    spoilt = academy.drives.with_columns(
        carry_standard_yd=pl.col("carry_standard_yd")
        - pl.when(pl.col("golfer") == "g000000000000002a").then(80.0).otherwise(0.0)
    )
    moves = influence(academy.model, spoilt, drives_at([90.0], [14.0], [2600.0]))
    named = most_influential(moves, 3)
    assert named["golfer"][0] == "g000000000000002a"
    assert named["move_yd"][0] > 0.5
    assert named["move_yd"].abs().to_list() == sorted(named["move_yd"].abs(), reverse=True)


def test_golfer_who_alone_used_a_device_is_left_out_with_its_offset(academy):
    alone = pl.col("golfer") == "g0000000000000001"
    rows = academy.drives.with_columns(device=pl.when(alone).then(pl.lit(SCRIPT)).otherwise(pl.lit("unit-A")))
    others = rows.filter(~alone)
    surface = academy.model.surface

    moves = influence(academy.model, rows, drives_at([90.0], [14.0], [2600.0]))

    at = surface.design(academy.model.better_speed([90.0]), [14.0], [2600.0])[0]
    design = surface.design(*inputs(others, "ball"))
    without = at @ np.linalg.lstsq(design, others["carry_standard_yd"].to_numpy(), rcond=None)[0]
    full = np.hstack([surface.design(*inputs(rows, "ball")), academy.model.offsets.terms(rows)])
    with_all = at @ np.linalg.lstsq(full, rows["carry_standard_yd"].to_numpy(), rcond=None)[0][: surface.size]
    assert moves.filter(alone)["move_yd"][0] == pytest.approx(without - with_all, abs=1e-6)
