from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.configuration.study import StandardAir
from pipeline.drives import typical_drives
from pipeline.fit.comparison import Scored, carry_by, score_both
from pipeline.fit.findings import compare, drives_of_old, score
from pipeline.fit.model import Delivery
from pipeline.fit.model_changes import ComparedFit, under_conditions
from pipeline.fit.references import ReadingsChange, References
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import Calibration
from pipeline.flight.devices import DeviceReadings, StudyDevices
from pipeline.physics.air import Air
from pipeline.physics.trajectory import Launch, fly
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

QUADRATIC = candidate_named("quadratic")
EFFICIENT = Delivery(*np.array([[90.0], [np.nan], [14.0], [2700.0]]))


@pytest.fixture(scope="module")
def drives(world):
    nothing = [pl.lit(None, pl.Float64).alias(name) for name in ("pressure_hpa", "humidity", "wind_along_mps")]
    air = [pl.lit(15.0).alias("temp_c"), pl.lit(0.0).alias("altitude_m"), *nothing]
    return world.drives.with_columns(*air, pl.col("carry_standard_yd").alias("carry_measured_yd"))


@pytest.fixture(scope="module")
def fit(drives):
    found = fit_to(QUADRATIC, drives)
    lo, hi = found.fit.edges90
    terms = pl.DataFrame({"term": found.labels, "estimate": found.fit.coefficients, "lo90": lo, "hi90": hi})
    calibration = Calibration("smits-smith-1994", 1.0, 1.0, None, None, [], 0, 0, None, None, "")
    typical = typical_drives(drives, ["golfer"])
    return ComparedFit("k000000000001", found.model, terms, typical, ("2026Q3",), 80, drives.height, StandardAir(),
                       calibration, 1.46)  # fmt: skip


@pytest.fixture(scope="module")
def survey(drives):
    return Survey.of(drives, 1)


def test_a_fit_compared_with_itself_differs_in_nothing(fit, survey):
    form, versions = QUADRATIC.surface(survey.extents), {"numpy": ("2.3", "2.4")}
    found = compare(fit, fit, form, survey, EFFICIENT, versions)
    assert found.old is fit
    assert found.scored == score_both(fit, form, survey, survey.drives)[0]
    assert found.scored.on_all.difference_yd == pytest.approx(0, abs=1e-9)
    assert not found.terms.get_column("apart").any()
    np.testing.assert_allclose(found.at_speeds.get_column("moved_yd"), 0, atol=1e-9)
    np.testing.assert_allclose(found.typical_yd, 0, atol=1e-9)
    assert (found.references, found.without_term, found.versions) == (References(), (), versions)
    assert (found.conditions_differ, found.conditions) == (False, None)


def test_scores_that_are_known_are_not_taken_again(fit, survey):
    known = Scored(3, None, None, repeated=True)
    found = compare(fit, fit, QUADRATIC.surface(survey.extents), survey, EFFICIENT, {}, known)
    assert found.scored is known


def test_a_fit_by_another_air_is_scored_on_carry_at_its_own(fit, survey):
    # The old fit's standard air is thinner, so by its own calibration the same drives carry farther.
    thin = replace(fit, air=StandardAir(pressure_hpa=800.0))
    found = compare(thin, fit, QUADRATIC.surface(survey.extents), survey, EFFICIENT, {})
    same = compare(fit, fit, QUADRATIC.surface(survey.extents), survey, EFFICIENT, {})
    intercepts = found.terms.filter(pl.col("term") == "intercept").get_column("new")
    assert intercepts[0] - same.terms.filter(pl.col("term") == "intercept").get_column("new")[0] > 3
    assert found.scored.on_all.new_rmse_yd == pytest.approx(same.scored.on_all.new_rmse_yd)
    # What the change of air does is the difference of the same drives' carry: at sea level they carry less.
    assert found.conditions_differ
    drive = Delivery(*np.array([[95.0], [1.46], [13.0], [2600.0]]))
    before, now = (
        fly(
            Launch.straight(np.array([95 * 1.46 * MPS_PER_MPH]), drive.launch_deg, drive.spin_rpm),
            fit.calibration.ball,
            air,
        )
        for air in (Air.of(15.0, 80_000.0, 0.0), Air.of(15.0, 101_325.0, 0.0))
    )
    flown = (now.carry_m - before.carry_m) / METRES_PER_YARD
    assert flown.item() < -3
    moved = under_conditions(fit.model, found.conditions).expected(drive) - fit.model.expected(drive)
    np.testing.assert_allclose(moved, flown, atol=0.3)


def test_an_old_fit_of_other_readings_is_scored_by_its_own(fit, survey, drives):
    # Club speed was read 2 % lower when the old fit was made: the same swings then had a higher ratio.
    step = np.array([np.log(1.02), 0.0, 0.0, 0.0])
    references = References(readings=ReadingsChange("unit-A", "unit-B", step))
    seen = pl.concat(drives_of_old(fit, fit, drives, references).read())
    np.testing.assert_allclose(seen.get_column("club_speed_mph"), drives.get_column("club_speed_mph") / 1.02)
    np.testing.assert_allclose(seen.get_column("carry_now_yd"), drives.get_column("carry_standard_yd"))
    # They are flown by these readings.
    faster = References(readings=ReadingsChange("unit-A", "unit-B", np.array([0.0, np.log(1.02), 0.0, 0.0])))
    slow = pl.concat(drives_of_old(fit, fit, drives, faster).read())
    shorter = slow.get_column("flown_yd") / seen.get_column("flown_yd")
    assert 0.95 < shorter.min() < shorter.max() < 0.99
    devices = StudyDevices("unit-B", [device("unit-A", [np.log(1.02), 0.0, 0.0, 0.0])])
    was, now = replace(fit, readings="unit-A"), replace(fit, readings="unit-B")
    found = compare(was, now, QUADRATIC.surface(survey.extents), survey, EFFICIENT, {}, devices=devices)
    np.testing.assert_allclose(found.references.readings.step, step)
    # A drive of 90 mph was one of 88.2 mph, struck better: over ball speed its carry is the same.
    row = found.at_speeds.filter(drive="usual").row(0, named=True)
    assert row["moved_yd"] == pytest.approx(0, abs=0.01)
    blind = compare(fit, now, QUADRATIC.surface(survey.extents), survey, EFFICIENT, {}, devices=devices)
    assert blind.references.readings is None


def device(name, correction, compared_by="same golfers"):
    return DeviceReadings(name, compared_by, correction, np.zeros((4, 4)).tolist(), 1e6, "", None)


def test_a_score_is_that_of_the_comparison(fit, survey):
    form = QUADRATIC.surface(survey.extents)
    assert score(fit, fit, form, survey) == compare(fit, fit, form, survey, EFFICIENT, {}).scored


def test_a_ball_that_the_old_fit_does_not_know_is_named(fit, drives):
    some = pl.when(pl.int_range(pl.len()) < 40).then(pl.lit("a|b")).otherwise(pl.col("ball")).alias("ball")
    survey = Survey.of(drives.with_columns(some), 1)
    found = compare(fit, fit, QUADRATIC.surface(survey.extents), survey, EFFICIENT, {})
    assert found.without_term == ("ball a&#124;b (40 drives)",)


def test_drives_that_curve_are_scored_as_straight_ones_by_the_old_fit_too(fit, drives):
    # All were hit in the new standard air, where flight says what each curve costs.
    thin = replace(fit, air=StandardAir(pressure_hpa=800.0))
    axis = pl.Series("spin_axis_deg", np.random.default_rng(4).normal(0, 12, drives.height))
    (known,) = carry_by(drives.with_columns(axis), fit.calibration, fit.speed_ratio, fit.air).read()
    flown = pl.col("carry_measured_yd") - pl.col("curve_yd")
    curved = known.with_columns(carry_measured_yd=flown, carry_standard_yd=flown)
    assert curved.get_column("curve_yd").max() > 5

    def found(frame):
        survey = Survey.of(frame, 1)
        form = QUADRATIC.surface(survey.extents)
        return score(thin, fit, form, survey), compare(thin, fit, form, survey, EFFICIENT, {})

    (straight, told), (bent, same) = (found(one) for one in (known.drop("curve_yd", "spin_axis_deg"), curved))
    assert bent.on_all.old_rmse_yd == pytest.approx(straight.on_all.old_rmse_yd, rel=1e-6)
    assert bent.on_all.new_rmse_yd == pytest.approx(straight.on_all.new_rmse_yd, rel=1e-6)
    np.testing.assert_allclose(same.terms.get_column("new"), told.terms.get_column("new"), rtol=1e-5)
