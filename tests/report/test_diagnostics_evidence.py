"""What the diagnostics say of golfers, days, further columns, curved drives, mixed models and quantiles."""

import datetime as dt
import re
import warnings
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm
from fitting import candidate_named, fit_to
from small_academy import CENTRES
from statsmodels.regression.mixed_linear_model import MixedLM

from pipeline.bands import SpeedBands
from pipeline.fit import reading_errors
from pipeline.fit.model import Delivery
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.report.diagnostics import evidence, evidence_text, mixed
from pipeline.report.diagnostics import slopes as slopes_of
from pipeline.report.diagnostics.curved import carry_change_yd, curved_drives
from pipeline.report.diagnostics.diagnostics import held_out_residuals
from pipeline.report.diagnostics.evidence import Evidence, gather_evidence
from pipeline.report.diagnostics.luck import day_spread, golfer_days, golfer_spread, scatter_of
from pipeline.report.diagnostics.mixed import golfer_intercepts, spread_by_carry
from pipeline.report.diagnostics.slopes import of_device_alone, slope_along, slopes, why_not, with_columns_along

AIR, BALL = Air.of(15.0, 101325.0, 0.0), Ball("indoor-range-2001", 0.93, 1.0)


def residuals_of(golfers=60, days=4, shots=10, golfer_sd=0.0, day_sd=0.0, common_sd=0.0, drive_sd=3.0, seed=1):
    """Make residuals of golfers who come on some of 30 days, with planted spreads."""
    rng = np.random.default_rng(seed)
    rows = golfers * days * shots
    golfer, own_day = np.repeat(np.arange(golfers), days * shots), np.repeat(np.arange(golfers * days), shots)
    which = np.concatenate([rng.permutation(30)[:days] for _ in range(golfers)])
    yd = rng.normal(0, golfer_sd, golfers)[golfer] + rng.normal(0, day_sd, golfers * days)[own_day]
    yd = yd + rng.normal(0, common_sd, 30)[which][own_day] + rng.normal(0, drive_sd, rows)
    first = dt.date(2026, 7, 1)
    return pl.DataFrame(
        {
            "golfer": [f"g{index:016x}" for index in golfer],
            "struck_on": [first + dt.timedelta(days=int(day)) for day in which[own_day]],
            "quarter": "2026Q3",
            "device": "unit-A",
            "residual_yd": yd,
            "measured_yd": 200 + yd,
            "spin_rpm": 2700.0,
        }
    )


# --- golfers beside luck


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_scatter_finds_what_was_planted(seed):
    found = scatter_of(golfer_days(residuals_of(golfers=150, day_sd=1.5, golfer_sd=1.0, seed=seed)))
    assert found.drive_sd_yd == pytest.approx(3.0, abs=0.1)
    assert found.day_sd_yd == pytest.approx(1.5, abs=0.25)


def test_golfers_who_do_not_differ_are_luck():
    ratios = [golfer_spread(golfer_days(residuals_of(day_sd=1.0, seed=seed)), 1) for seed in range(30)]
    assert np.mean([one.ratio for one in ratios]) == pytest.approx(1.0, abs=0.1)
    assert sum(one.lo90 > 1 for one in ratios) <= 5


def test_golfers_who_differ_are_seen_to():
    found = golfer_spread(golfer_days(residuals_of(golfer_sd=1.5, day_sd=0.5)), 1)
    assert found.lo90 > 2
    assert found.beyond_luck_yd == pytest.approx(1.5, abs=0.4)
    assert (np.diff(found.mean_yd) >= 0).all()
    outside = (found.mean_yd < found.low_yd) | (found.mean_yd > found.high_yd)
    assert outside.mean() > 0.5


def test_days_that_are_forgotten_would_look_like_golfers():
    residuals = residuals_of(days=2, shots=40, day_sd=2.0)
    with_days = golfer_spread(golfer_days(residuals), 1)
    one_day = golfer_spread(golfer_days(residuals.with_columns(struck_on=dt.date(2026, 7, 1))), 1)
    assert with_days.lo90 < 1 < one_day.lo90
    assert one_day.scatter.day_sd_yd is None


def test_the_envelope_holds_golfers_who_do_not_differ():
    found = [golfer_spread(golfer_days(residuals_of(seed=seed)), 1) for seed in range(20)]
    inside = [np.mean((one.mean_yd >= one.low_yd) & (one.mean_yd <= one.high_yd)) for one in found]
    assert np.mean(inside) == pytest.approx(0.9, abs=0.08)


def test_few_golfers_are_not_compared():
    assert golfer_spread(golfer_days(residuals_of(golfers=5)), 1) is None


# --- days


def test_common_days_are_found_and_days_without_are_not():
    p_values = [day_spread(golfer_days(residuals_of(day_sd=1.0, seed=seed)), 5, 1).p_value for seed in range(40)]
    assert sum(p < 0.05 for p in p_values) <= 5
    assert 0.3 < np.mean(p_values) < 0.7
    planted = day_spread(golfer_days(residuals_of(day_sd=1.0, common_sd=2.0)), 5, 1)
    assert planted.p_value == pytest.approx(1 / 200)
    assert planted.ratio > planted.luck_hi90


def test_golfers_who_come_once_say_nothing_of_days():
    assert day_spread(golfer_days(residuals_of(days=1)), 2, 1) is None


# --- columns


def test_a_planted_slope_is_found_and_clustered():
    residuals = residuals_of(golfer_sd=1.0)
    attack = np.random.default_rng(4).normal(0, 3, residuals.height)
    marked = residuals.with_columns(attack_deg=pl.Series(attack))
    planted = marked.with_columns(residual_yd=pl.col("residual_yd") + 0.5 * pl.col("attack_deg"))
    found = slope_along(planted, "attack_deg")
    fit = sm.OLS(planted["residual_yd"].to_numpy(), sm.add_constant(attack)).fit(
        cov_type="cluster", cov_kwds={"groups": planted["golfer"].rank("dense").to_numpy()}, use_t=True
    )
    assert found.slope == pytest.approx(fit.params[1], rel=1e-9)
    assert found.std_error == pytest.approx(fit.bse[1], rel=1e-9)
    assert found.p_value == pytest.approx(fit.pvalues[1], rel=1e-6, abs=1e-30)
    assert found.lo90 < 0.5 < found.hi90
    assert slope_along(marked, "attack_deg").p_value > 0.05


def test_a_column_of_golfers_is_judged_by_golfers_not_drives():
    residuals = residuals_of(golfers=30, golfer_sd=2.0, shots=20)
    code = residuals["golfer"].rank("dense").to_numpy().astype(int) - 1
    p_values = []
    for seed in range(30):
        temp = np.random.default_rng(seed).normal(15, 5, 30)[code]
        p_values.append(slope_along(residuals.with_columns(temp_c=pl.Series(temp)), "temp_c").p_value)
    assert sum(p < 0.05 for p in p_values) <= 6


def test_p_values_are_put_right_for_their_number(monkeypatch):
    one = slope_along(with_columns_along(residuals_of()), "day")
    planted = {"attack_deg": 0.02, "day": 0.01, "temp_c": 0.03}
    monkeypatch.setattr(slopes_of, "slope_along", lambda _, column: replace(one, p_value=planted[column]))
    found = slopes(residuals_of(), list(planted))
    assert [one.adjusted for one in found.values()] == pytest.approx([0.04, 0.03, 0.04])
    assert slopes(residuals_of(), []) == {}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "Side spin isn't in the logs (spin_axis_deg)."),
        ({"spin_axis_deg": pl.lit(None, pl.Float64)}, "Side spin isn't in the logs (spin_axis_deg)."),
        ({"spin_axis_deg": pl.lit(3.0)}, "Side spin is the same for all drives that have it."),
        (
            {"spin_axis_deg": pl.when(pl.col("golfer") == "g0000000000000001").then(pl.int_range(pl.len()) % 5)},
            "Side spin is known for 1 golfers; a slope needs 8.",
        ),
        ({"spin_axis_deg": pl.int_range(pl.len()) % 5}, None),
    ],
)
def test_what_cannot_be_looked_along_is_said(changes, said):
    assert why_not(with_columns_along(residuals_of().with_columns(**changes)), "side_spin_rpm") == said


def test_side_spin_is_the_side_part_of_spin_either_way():
    made = with_columns_along(residuals_of().head(2).with_columns(spin_axis_deg=pl.Series([30.0, -30.0])))
    assert made["side_spin_rpm"].to_list() == pytest.approx([1350.0, 1350.0])
    assert made["day"].min() == 0


def test_devices_that_have_one_altitude_each_are_told():
    residuals = residuals_of().with_columns(
        device=pl.when(pl.int_range(pl.len()) % 2 == 0).then(pl.lit("unit-A")).otherwise(pl.lit("unit-B"))
    )
    at = pl.when(pl.col("device") == "unit-A").then(12.0).otherwise(900.0)
    assert of_device_alone(residuals.with_columns(altitude_m=at), "altitude_m")
    assert not of_device_alone(residuals.with_columns(altitude_m=pl.int_range(pl.len()) % 3), "altitude_m")
    assert not of_device_alone(residuals_of().with_columns(altitude_m=12.0), "altitude_m")
    assert evidence_text.device_line(["altitude", "temperature"]) == (
        "Each device has one altitude and one temperature here, so its share of carry takes up what goes with altitude "
        "and temperature."
    )


# --- curved drives


def curving(seed=1, cost_yd=0.0):
    residuals = residuals_of(golfer_sd=0.5, seed=seed)
    rng = np.random.default_rng(seed)
    axis = rng.normal(0, 8, residuals.height)
    marked = residuals.with_columns(
        spin_axis_deg=pl.Series(axis),
        ball_speed_mph=pl.Series(rng.normal(140, 8, residuals.height)),
        launch_deg=13.0,
        offline_yd=pl.Series(2.2 * axis),
    )
    bends = pl.col("spin_axis_deg").abs() > 10
    return marked.with_columns(residual_yd=pl.col("residual_yd") - pl.when(bends).then(cost_yd).otherwise(0.0))


def test_curved_drives_are_counted_and_their_cost_found():
    found = curved_drives(curving(cost_yd=2.0), BALL, AIR)
    assert found.by == "spin_axis_deg"
    assert found.curved == (curving()["spin_axis_deg"].abs() > 10).sum()
    assert found.lo90 < -2.0 < found.hi90 < 0
    assert found.hi90 - found.lo90 < 0.8
    none = curved_drives(curving(), BALL, AIR)
    assert none.lo90 < 0 < none.hi90


def test_the_cost_of_curved_drives_is_found_though_the_fit_straightened_them():
    cost = pl.when(pl.col("spin_axis_deg").abs() > 10).then(2.0)
    straight = curving().with_columns(curve_yd=cost)
    assert curved_drives(straight, BALL, AIR) == curved_drives(curving(cost_yd=2.0), BALL, AIR)


def test_flight_says_what_a_tilted_axis_costs():
    drive = {"ball_speed_mph": 150.0, "launch_deg": 12.0, "spin_rpm": 2700.0}
    drives = pl.DataFrame({**drive, "spin_axis_deg": [0.0, 15.0, -15.0, 30.0]})
    change = carry_change_yd(drives, BALL, AIR)
    assert change[0] == pytest.approx(0, abs=1e-9)
    assert change[1] == pytest.approx(change[2])
    # A tilt of t leaves the share cos(t) of the lift: about t^2 / 2 of it is lost.
    assert change[1] < -0.5
    assert change[3] / change[1] == pytest.approx(4, rel=0.25)
    assert curved_drives(curving(), BALL, AIR).flown_yd == pytest.approx(-3.0, abs=0.5)  # mean tilts of 13 and 5 deg


def test_offline_stands_in_for_the_axis_without_a_flown_cost():
    found = curved_drives(curving().drop("spin_axis_deg"), BALL, AIR)
    limit = curving().select((pl.col("offline_yd").abs() > 0.1 * pl.col("measured_yd")).sum()).item()
    assert (found.by, found.curved, found.flown_yd) == ("offline_yd", limit, None)
    assert curved_drives(curving().drop("spin_axis_deg", "offline_yd"), BALL, AIR) is None


def test_few_curving_golfers_have_no_cost():
    few = pl.when(pl.col("golfer") < "g0000000000000004").then("spin_axis_deg").otherwise(0.0)
    few = curving().with_columns(spin_axis_deg=few)
    found = curved_drives(few, BALL, AIR)
    assert found.golfers <= 4
    assert (found.cost_yd, found.flown_yd) == (None, None)


# --- mixed model and quantiles


@pytest.fixture(scope="module")
def fitted(world_maker):
    """Drives of golfers who differ by 2 yd for good, and a model of the world's own form."""
    drives = world_maker(seed=8, golfers=60, shots=25).drives
    code = drives["golfer"].rank("dense").to_numpy().astype(int) - 1
    own = np.random.default_rng(5).normal(0, 2.0, 60)[code]
    drives = drives.with_columns(carry_standard_yd=pl.col("carry_standard_yd") + pl.Series(own))
    return drives, fit_to(candidate_named("quadratic"), drives).model


BEST = Delivery(np.array([80.0, 110.0]), np.full(2, np.nan), np.array([14.0, 12.0]), np.array([2700.0, 2300.0]))


def test_the_mixed_model_finds_how_golfers_differ(fitted):
    drives, model = fitted
    found = golfer_intercepts(model, drives, BEST)
    assert found.golfer_sd_yd == pytest.approx(2.0, abs=0.5)
    assert found.drive_sd_yd == pytest.approx(3.0, abs=0.15)
    assert found.share == pytest.approx(4 / 13, abs=0.1)
    assert (found.golfers, found.drives, found.terms) == (60, 1500, 11)
    assert np.abs(found.move_yd).max() < 1.5


@pytest.mark.parametrize("golfer_sd_yd", [0.05, 0.4, 6.0])
def test_the_mixed_model_is_the_likeliest_however_little_golfers_differ(golfer_sd_yd):
    rng = np.random.default_rng(9)
    golfer = np.repeat(np.arange(200), 50)
    X = np.column_stack([np.ones(len(golfer)), rng.normal(0, 1, (len(golfer), 3))])
    y = X @ [200.0, 20.0, 5.0, -3.0] + rng.normal(0, golfer_sd_yd, 200)[golfer] + rng.normal(0, 2.5, len(golfer))
    _, *sds = mixed._mixed(X, y, golfer)

    *others, found = (restricted_likelihood(ratio, X, y, golfer)
                      for ratio in [*np.geomspace(1e-5, 30, 200), (sds[0] / sds[1]) ** 2])  # fmt: skip
    assert found > max(others) - 0.01


def restricted_likelihood(ratio, X, y, golfer):
    """Give the profile of the restricted log-likelihood, but for a constant, where golfers' variance is `ratio`.

    Harville, J. Am. Stat. Assoc. 72 (1977) 320, equation 3.8 (from memory), with the inverse by Sherman and Morrison.
    """
    drives = np.bincount(golfer)
    sums = np.array([np.bincount(golfer, column) for column in (*X.T, y)])  # of each golfer, shape (columns + 1, n)
    both = np.column_stack([X, y])
    inner = both.T @ both - (sums * (ratio / (1 + drives * ratio))) @ sums.T
    XX, Xy, yy = inner[:-1, :-1], inner[:-1, -1], inner[-1, -1]
    freedom = len(y) - X.shape[1]
    left = yy - Xy @ np.linalg.solve(XX, Xy)
    determinants = np.log1p(drives * ratio).sum() + np.linalg.slogdet(XX)[1]
    return -(freedom * np.log(left / freedom) + determinants) / 2


def test_fixed_terms_that_move_are_counted(fitted, monkeypatch):
    drives, model = fitted
    first = golfer_intercepts(model, drives, BEST)
    moved, before = first.moved, first.move_yd
    assert moved <= 2
    real = mixed._mixed

    def bent(X, y, golfer):
        coefficients, *spread = real(X, y, golfer)
        return coefficients + 3.0 * (np.arange(len(coefficients)) == 0), *spread  # the intercept by 3 yd

    monkeypatch.setattr(mixed, "_mixed", bent)
    found = golfer_intercepts(model, drives, BEST)
    assert found.moved == moved + 1
    assert found.move_yd == pytest.approx(before + 3.0, abs=1e-6)


def test_a_mixed_model_that_fails_is_said_in_a_sentence(fitted, monkeypatch):
    drives, model = fitted

    class Stuck:
        converged = False
        fe_params = np.zeros(11)
        cov_re = np.ones((1, 1))
        scale = 1.0

    def fit(*_, **__):
        warnings.warn("no", stacklevel=1)
        return Stuck()

    monkeypatch.setattr(MixedLM, "fit", fit)
    assert golfer_intercepts(model, drives, BEST) == mixed.FAILED
    few = drives.filter(pl.col("golfer") < "g0000000000000006")
    assert golfer_intercepts(model, few, BEST) == "A mixed model needs 8 golfers; the fit has 6."


def test_the_mixed_model_takes_so_many_golfers_at_most(fitted, monkeypatch):
    drives, model = fitted
    monkeypatch.setattr(mixed, "MOST_GOLFERS", 20)
    assert golfer_intercepts(model, drives, BEST).golfers == 20


def spreading(fitted, share):
    """Residuals that spread by a share of carry, or evenly by 4 yd."""
    drives, model = fitted
    expected = model.expected(Delivery.of(drives))
    size = share * expected if share else np.full(len(expected), 4.0)
    off = np.random.default_rng(6).normal(0, 1, len(expected)) * size
    columns = {"predicted_yd": expected, "measured_yd": expected + off, "residual_yd": off}
    return model, drives.with_columns(**{name: pl.Series(values) for name, values in columns.items()})


def test_spread_that_grows_with_carry_is_found(fitted):
    found = spread_by_carry(*spreading(fitted, 0.02))
    assert found.p_value < 0.001
    assert found.slope > 0
    # 8 in 10 of a normal distribution lie within 2.56 standard deviations.
    assert found.spread_yd / np.array(found.carry_yd) == pytest.approx([0.0513, 0.0513], abs=0.008)


def test_even_spread_is_left_as_it_is(fitted):
    found = spread_by_carry(*spreading(fitted, 0.0))
    assert found.p_value > 0.05
    assert found.spread_yd == pytest.approx([10.25, 10.25], abs=1.2)


def test_a_quantile_fit_that_fails_is_said_in_a_sentence(fitted):
    model, residuals = spreading(fitted, 0.02)
    alike = residuals.with_columns(measured_yd=pl.lit(np.nan))
    assert "did not converge" in spread_by_carry(model, alike)


def test_models_without_ball_speed_have_evidence_too(world):
    model = replace(fit_to(candidate_named("quadratic", "club"), world.drives).model, better_share=0.03)
    found = golfer_intercepts(model, world.drives, BEST)
    assert found.golfer_sd_yd > 1  # the strike, which club speed doesn't show


# --- what the page says


@pytest.fixture(scope="module")
def sections(academy):
    """The sections of the small academy, whose drives have further columns with planted effects."""
    held = held_out_residuals(academy.drives, academy.held_out, SpeedBands(CENTRES, 5.0))
    rng = np.random.default_rng(9)
    rows = held.height
    attack, axis = rng.normal(0, 3, rows), rng.normal(0, 8, rows)
    first = dt.date(2026, 7, 1)
    marked = held.with_columns(
        attack_deg=pl.Series(attack),
        spin_axis_deg=pl.Series(axis),
        altitude_m=12.0,
        struck_on=pl.Series([first + dt.timedelta(days=int(day)) for day in rng.integers(0, 20, rows)]),
        residual_yd=pl.col("residual_yd") + pl.Series(0.5 * attack - 2.0 * (np.abs(axis) > 10)),
    )
    on = Evidence(marked, academy.model, BEST, np.array([1.0, 0.001]), BALL, AIR, 5, 1)
    return {one.key: one for one in gather_evidence(on)}


def test_headings_say_the_findings(sections):
    assert list(sections) == ["golfers", "columns", "days", "spread", "readings", "mixed", "curved"]
    assert sections["golfers"].heading.startswith("Golfers differ ")
    assert sections["columns"].heading == "Residuals go with attack and side spin"
    assert sections["days"].heading == "Days differ no more than by luck"
    assert re.fullmatch(
        r"Errors of readings move efficient carry by \d\.\d yd at most, more than its interval allows",
        sections["readings"].heading,
    )
    assert re.fullmatch(r"\d+ % of the variance that the model leaves is between golfers", sections["mixed"].heading)
    assert re.fullmatch(r"Curved drives carry \d\.\d yd less than expected", sections["curved"].heading)


def test_drives_are_refitted_once_for_all_that_is_asked_of_errors_of_readings(academy, monkeypatch):
    fits, solve = [], reading_errors.solve
    monkeypatch.setattr(reading_errors, "solve", lambda factor: fits.append(1) or solve(factor))
    held = held_out_residuals(academy.drives, academy.held_out, SpeedBands(CENTRES, 5.0))
    found = evidence._readings(Evidence(held, academy.model, BEST, np.array([1.0, 0.001]), BALL, AIR, 5, 1))
    assert found.table is not None
    assert len(fits) == 1 + reading_errors.DRAWS * len(reading_errors.ADDED)


def test_lines_and_tables_have_the_figures(sections):
    assert sections["columns"].lines == (
        "Altitude is the same for all drives that have it.",
        "Temperature isn't in the logs (temp_c).",
    )
    assert sections["columns"].table.table["Column"].to_list() == [
        "attack, per deg", "side spin, per 100 rpm", "day, per 30 days",
    ]  # fmt: skip
    assert sections["columns"].table.table["p for all columns (Holm)"][0] == "< 0.001"
    assert sections["readings"].table.table["Band center, mph"].to_list() == ["80", "110"]
    assert "0.5 % of ball speed, 0.3 deg of launch and 4 % of spin" in sections["readings"].lines[0]
    assert "a spin axis tilted by more than 10 deg" in sections["curved"].lines[0]
    assert " Flight gives -" in sections["curved"].lines[1]


def test_no_sentence_has_a_gap(sections):
    for section in sections.values():
        for line in (section.heading, *section.lines):
            assert not re.search(r"None|nan|  ", line), line


@pytest.mark.parametrize(
    ("ratio", "lo90", "hi90", "said"),
    [
        (3.0, 2.0, 4.0, "Golfers differ by more than luck"),
        (1.1, 0.8, 1.4, "Golfers differ no more than by luck"),
        (0.6, 0.4, 0.9, "Golfers differ less than luck would have it"),
    ],
)
def test_golfers_are_said_to_differ_by_the_interval(ratio, lo90, hi90, said):
    found = replace(golfer_spread(golfer_days(residuals_of()), 1), ratio=ratio, lo90=lo90, hi90=hi90)
    assert evidence_text.golfers_heading(found) == said
    assert any("what golfers do" in line for line in evidence_text.golfers_lines(found)) == (lo90 > 1)


def test_what_is_not_there_is_said(academy):
    held = held_out_residuals(academy.drives, academy.held_out, SpeedBands(CENTRES, 5.0))
    nowhere = Delivery(*(np.zeros(0) for _ in range(4)))
    on = Evidence(held, academy.model, nowhere, np.zeros(0), BALL, AIR, 5, 1)
    found = {one.key: one for one in gather_evidence(on)}
    assert found["columns"].heading == "No further column to look along"
    assert len(found["columns"].lines) == 5
    assert found["days"].heading == "Days can't be compared"
    assert found["readings"].heading == "No efficient carry for errors of readings to move"
    assert found["curved"].lines == ("The logs have neither spin axis (spin_axis_deg) nor offline (offline_yd).",)
    assert "Efficient carry moves" not in " ".join(found["mixed"].lines)


@pytest.mark.parametrize(
    ("p", "shown"), [(0.0004, "p < 0.001"), (0.0042, "p = 0.004"), (0.049, "p = 0.05"), (1.0, "p = 1.00")]
)
def test_p_values_are_written_short(p, shown):
    assert evidence_text.p_text(p) == shown
