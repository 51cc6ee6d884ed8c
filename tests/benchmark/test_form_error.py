"""What other coefficient sets say of a fit, against balls that are none of them, and what intervals make of it."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.form_error import FormError, form_error, sample_of, with_form_error
from pipeline.benchmark.widened import waves
from pipeline.drives import Drives
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.surface import Extent, quadratic
from pipeline.fit.trend import Line
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import SETS, Ball, Coefficients
from pipeline.physics.trajectory import Launch, fly
from pipeline.statistics.intervals import MANY, t_reach, welch_error

STANDARD = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}
HERE = Air.of(15.0, 101325.0, 0.0)
USUAL = UsualDelivery(Line(90, 1.46, 0.0), Line(90, 1.475, 0.0), Line(90, 14.5, -0.05), Line(90, 2600.0, -8.0))
SPEEDS = np.array([72.0, 81.0, 90.0, 99.0, 108.0])
AT = Delivery(SPEEDS, np.full(5, 1.475), 15.0 - 0.05 * (SPEEDS - 90), 2350 - 8.0 * (SPEEDS - 90))
OURS = Ball("smits-smith-1994", 0.8, 0.95)

# Balls that are none of the sets: drag and lift by Reynolds number and spin ratio, of our own.
FOREIGN = {
    "plain": lambda _, s: (0.200 + 0.10 * s + 1.5 * s * s, 0.055 + 1.1 * s - 1.5 * s * s),
    "lively": lambda r, s: (
        0.205 + 1.9 * s * s + 0.03 * (1.5e5 / np.maximum(r, 5e4) - 1),
        0.07 + 1.15 * s - 1.3 * s * s,
    ),
    "steady": lambda r, s: (0.180 + 0.35 * s + 0.9 * s * s + 0.012 * (r / 1e5 - 1.5), 0.40 * np.sqrt(s) + 0.015),
}


def drives_of(n=1500, altitude_m=None):
    """Deliveries about the usual trends over 66 to 116 mph, on two devices; device B stands at an altitude."""
    rng = np.random.default_rng(5)
    club = rng.uniform(66, 116, n)
    on_b = rng.random(n) < 0.4
    high = pl.Series(np.where(on_b, altitude_m, 0.0)) if altitude_m else pl.lit(None, pl.Float64)
    nothing = pl.lit(None, pl.Float64)
    return pl.DataFrame(
        {
            "golfer": np.arange(n) // 30,
            "device": np.where(on_b, "B", "A"),
            "ball": "premium",
            "club_speed_mph": club,
            "ball_speed_mph": club * (1.46 + 0.03 * rng.standard_normal(n)),
            "launch_deg": 14.5 - 0.05 * (club - 90) + 2.2 * rng.standard_normal(n),
            "spin_rpm": 2600 - 8 * (club - 90) + 500 * rng.standard_normal(n),
        }
    ).with_columns(
        altitude_m=high, temp_c=nothing, pressure_hpa=nothing, humidity=nothing, wind_along_mps=nothing
    )  # fmt: skip


def flown(drives, ball, air):
    parts = (drives.get_column(c).to_numpy() for c in ("ball_speed_mph", "launch_deg", "spin_rpm"))
    speed, launch, spin = parts
    return fly(Launch.straight(speed * 0.44704, launch, spin), ball, air).carry_m / 0.9144


def as_study(drives, ball, move=1.0):
    """Give the drives carry as a ball flies where they were hit and, by that ball or `move` times as far, moved."""
    there = flown(drives, ball, air_of_drives(drives, 15.0, 1013.25)[0])
    moved = move * (flown(drives, ball, HERE) - there)
    return drives.with_columns(carry_measured_yd=pl.Series(there), carry_standard_yd=pl.Series(there + moved))


def fitted(drives, make=None, offsets=None):
    offsets = offsets or Offsets({}, ())
    inputs = [drives.get_column(c).to_numpy() for c in ("ball_speed_mph", "launch_deg", "spin_rpm")]
    surface = (make or (lambda x: quadratic(x, "ball")))([Extent.of(x) for x in inputs])
    base, design = surface.base_and_design(*inputs)
    X = np.hstack([design, offsets.design(drives)])
    found = np.linalg.lstsq(X, drives.get_column("carry_standard_yd").to_numpy() - base, rcond=None)[0]
    return CarryModel(surface, found[: surface.size], offsets, found[surface.size :], USUAL, {})


def best_of(carry, std_error=0.05):
    """Make an efficient carry for each speed, known from the golfers to a little."""
    draws = np.random.default_rng(8).standard_normal((5, 40))
    draws = (draws - draws.mean(axis=1, keepdims=True)) / draws.std(axis=1, keepdims=True)
    reach = t_reach(30.0) * std_error
    rest = (14.0, 2500.0, None, 20.0, 220.0, 13.0, 2400.0, None, 30.0)
    return {
        float(v): Efficient(float(v), c, c - reach, c + reach, std_error, *rest, std_error * d)
        for v, c, d in zip(SPEEDS, carry, draws, strict=True)
    }


@pytest.fixture(scope="module")
def missed():
    """For each foreign ball: what its fit by calibrated flight misses at the efficient delivery, and what is said."""
    found = []
    drives = drives_of()
    inputs = [Extent.of(drives.get_column(c).to_numpy()) for c in ("ball_speed_mph", "launch_deg", "spin_rpm")]
    maker = FlightMaker.of(OURS, HERE, inputs)
    best = pl.DataFrame({"ball_speed_mph": SPEEDS * 1.475, "launch_deg": AT.launch_deg, "spin_rpm": AT.spin_rpm})
    for name, formula in FOREIGN.items():
        foreign = Coefficients(name, "own", (7e4, 2.1e5), (0.04, 0.32), formula)
        with pytest.MonkeyPatch.context() as patch:
            patch.setitem(SETS, name, foreign)
            study, truth = as_study(drives, Ball(name)), flown(best, Ball(name), HERE)
        model = fitted(study, maker)
        found.append((model.expected(AT) - truth, form_error(model, study, AT, STANDARD)))
    return found


def test_the_interval_covers_what_a_foreign_balls_form_costs(missed):
    inside, without = [], []
    for error, form in missed:
        alone = best_of(error)
        widened = with_form_error(alone, form)
        inside += [one.lo90_yd <= 0 <= one.hi90_yd for one in widened.values()]
        without += [one.lo90_yd <= 0 <= one.hi90_yd for one in alone.values()]
    assert np.mean(inside) >= 0.8
    assert np.mean(without) < 0.5


def test_the_said_error_is_of_the_size_of_the_true_one(missed):
    true = np.sqrt(np.mean([error**2 for error, _ in missed]))
    said = np.sqrt(np.mean([form.weights @ form.carry_yd**2 for _, form in missed]))
    assert 0.15 < true < 1.5
    assert 0.6 < said / true < 3


def test_the_studys_own_set_says_what_the_fit_misses():
    # A study flown by one of the other sets: its own form says of the fit just what the fit misses.
    drives = drives_of()
    other = Ball("indoor-range-2001", 0.97, 1.02)
    study = as_study(drives, other)
    model = fitted(study)
    best = pl.DataFrame({"ball_speed_mph": SPEEDS * 1.475, "launch_deg": AT.launch_deg, "spin_rpm": AT.spin_rpm})
    found = form_error(model, study, AT, STANDARD)
    place = sorted(SETS).index(other.coefficients)
    said = found.carry_yd[place]
    assert found.weights.sum() == pytest.approx(1)
    assert found.weights[place] == found.weights.max() > 0.5
    # Multipliers are fitted to the model's own carry, whose form is not quite the ball's.
    np.testing.assert_allclose(said, model.expected(AT) - flown(best, other, HERE), atol=0.15)
    assert np.abs(said).max() > 0.3


def test_the_share_of_a_move_is_what_the_likely_sets_differ_by():
    drives = drives_of(400, altitude_m=1500.0)
    study = as_study(drives, OURS)
    # A study flown by one of the sets: the others hardly count.
    sure = form_error(fitted(study), study, AT, STANDARD)
    assert sure.moved_share < 0.15
    # Had the drives been moved a fifth too far, that set alone would say a fifth.
    far = as_study(drives, OURS, move=1.2)
    assert 0.15 < form_error(fitted(study), far, AT, STANDARD).moved_share < 0.4
    level = as_study(drives_of(400), OURS)
    assert form_error(fitted(level), level, AT, STANDARD).moved_share == 0


def test_thin_air_is_in_the_interval_where_the_reference_device_stands_high():
    # Moved a fifth too far: all of it reaches efficient carry unless the offset of the high device takes it up.
    def said(offsets, high):
        drives = drives_of(altitude_m=1500.0)
        drives = drives.with_columns(altitude_m=pl.lit(1500.0)) if high else drives
        far = as_study(drives, OURS, move=1.2)
        found = form_error(fitted(as_study(drives, OURS), offsets=offsets), far, AT, STANDARD)
        return np.sqrt(np.mean(found.weights @ found.carry_yd**2))

    terms = Offsets({"device": "A", "ball": "premium"}, (("device", "B"),))
    assert said(Offsets({}, ()), high=True) > 2.0
    assert said(terms, high=False) < 0.5 * said(Offsets({}, ()), high=False)


def test_variances_add_and_freedom_is_satterthwaites():
    form = np.array([[0.3] * 5, [-0.9] * 5])
    said = FormError(form, np.array([0.75, 0.25]), 0.0)
    alone, found = best_of(np.full(5, 200.0), 0.5), with_form_error(best_of(np.full(5, 200.0), 0.5), said)
    variance = 0.75 * 0.3**2 + 0.25 * 0.9**2  # Kish's number of the two sets is 1 / (0.75^2 + 0.25^2) = 1.6
    error, freedom = welch_error((np.array([0.25]), np.array([30.0])), (np.array([variance]), np.array([1.6])))
    for one, before in zip(found.values(), alone.values(), strict=True):
        assert one.std_error_yd == pytest.approx(error[0])
        assert one.freedom == pytest.approx(freedom[0])
        assert one.hi90_yd - 200 == pytest.approx(t_reach(freedom[0]) * error[0])
        assert 200 - one.lo90_yd == pytest.approx(t_reach(freedom[0]) * error[0])
        assert np.std(one.errors_yd) == pytest.approx(error[0])
        assert (one.launch_deg, one.window, one.total_yd) == (before.launch_deg, before.window, before.total_yd)


def test_draws_of_speeds_go_together_as_the_form_does():
    form = np.array([[1.0, 1.0, 0.0, -1.0, 1.0], [0.5, 0.5, 1.0, 1.0, -2.0]])
    said = FormError(form, np.full(2, 0.5), 0.0)
    draws = np.array([one.errors_yd for one in with_form_error(best_of(np.full(5, 200.0), 0.01), said).values()])
    np.testing.assert_allclose(np.corrcoef(draws), np.corrcoef(np.vstack([form, -form]).T), atol=0.02)


def test_waves_are_independent_and_without_a_set_nothing_changes():
    drawn = np.vstack([waves(3, 200), waves(2, 200, first=3)])
    np.testing.assert_allclose(drawn @ drawn.T / 200, np.eye(5), atol=1e-12)
    np.testing.assert_allclose(drawn.sum(axis=1), 0, atol=1e-9)
    alone = best_of(np.full(5, 200.0))
    assert with_form_error(alone, FormError(np.zeros((0, 5)), np.zeros(0), 0.0)) == alone
    assert with_form_error({}, FormError(np.zeros((0, 0)), np.zeros(0), 0.0)) == {}


def test_a_sample_takes_every_so_many_th_drive():
    drives = drives_of(5000)
    assert sample_of(Drives.of(drives), 5000).height == 1000
    assert sample_of(Drives.of(drives), 700).height == 5000
    assert replace(best_of(np.zeros(5))[72.0], freedom=MANY).freedom == MANY
