"""What misread club and ball speeds do to efficient carry: planted on a device, and the study fitted again."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.form_error import FormError, with_form_error
from pipeline.benchmark.misread import MisreadRatio, device_shares, misread_ratio, with_misread
from pipeline.drives import Drives
from pipeline.fit.model import Delivery
from pipeline.flight.devices import NO_DEVICES, DeviceReadings, StudyDevices
from pipeline.statistics.intervals import t_reach

SPEEDS = np.array([80.0, 90.0, 100.0])


def doubtful(club=0.0, ball=0.0, device="unit-B", freedom=20.0):
    moments = np.diag(np.square([club, ball, 0.5, 0.05])).tolist()
    return DeviceReadings(device, "population", [0.0] * 4, moments, freedom, "", None)


def devices_of(*listed):
    return StudyDevices("unit-A", [replace(doubtful(), device="unit-A", doubt=np.zeros((4, 4)).tolist()), *listed])


def fitted(drives):
    return fit_to(candidate_named("quadratic"), drives).model


def best(model):
    at = Delivery(SPEEDS, np.full(3, np.nan), np.full(3, 14.0), np.full(3, 2600.0))
    return at.struck(model.ratio(at, "better"))


@pytest.fixture(scope="module")
def study(world_maker):
    drives = world_maker(golfers=400, shots=8).drives
    return drives, fitted(drives)


@pytest.mark.parametrize(("reading", "size"), [("club", 0.01), ("club", -0.01), ("ball", 0.01)])
def test_efficient_carry_is_off_by_the_devices_share_of_the_golfers(study, reading, size):
    drives, model = study
    read = pl.when(pl.col("device") == "unit-B").then(1 + size).otherwise(1.0)
    again = fitted(drives.with_columns(pl.col(f"{reading}_speed_mph") * read))
    devices = devices_of(doubtful(**{reading: abs(size)}))
    shares = device_shares(Drives.of(drives), SPEEDS, 3.0, devices)

    said = misread_ratio(model, best(model), shares, devices).carry_yd

    moved = again.expected(best(again)) - model.expected(best(model))
    assert said[0].tolist() == [0.0] * 3
    expected = said[1] * np.sign(size) * {"club": -1, "ball": 1}[reading]
    # An upper quartile goes up farther than down, and turns with the golfers whom chance has near it.
    assert moved.mean() == pytest.approx(expected.mean(), rel=0.25)
    assert moved == pytest.approx(expected, rel=0.65)


def test_a_golfer_counts_once_and_for_each_device():
    drives = pl.DataFrame(
        {
            "golfer": ["ga"] * 4 + ["gb"] * 2 + ["gc"] * 20,
            "device": ["unit-B", "unit-B", "unit-B", None, "unit-A", "unit-A"] + ["unit-B"] * 20,
            "club_speed_mph": [90.0] * 6 + [140.0] * 20,
        }
    )
    shares = device_shares(Drives.of(drives), np.array([90.0, 140.0]), 3.0, devices_of(doubtful()))
    assert shares == pytest.approx(np.array([[0.5, 0.0], [0.375, 1.0]]))
    assert device_shares(Drives.of(drives), SPEEDS, 3.0, NO_DEVICES).shape == (0, 3)


def test_speeds_read_wrong_together_leave_the_ratio_alone_and_a_surface_over_club_speed_looks_at_none(study, world):
    _, model = study
    together = np.zeros((4, 4))
    together[:2, :2] = 0.01**2
    devices = StudyDevices("unit-A", [replace(doubtful(), doubt=together.tolist())])
    assert misread_ratio(model, best(model), np.ones((1, 3)), devices).carry_yd == pytest.approx(0.0, abs=1e-9)
    over_club = fit_to(candidate_named("quadratic", "club"), world.drives).model
    said = misread_ratio(over_club, best(model), np.ones((1, 3)), devices_of(doubtful(0.01)))
    assert said.carry_yd == pytest.approx(0.0)
    assert misread_ratio(model, best(model), np.zeros((0, 3)), NO_DEVICES).carry_yd.shape == (0, 3)


def best_of(draws=200):
    rng = np.random.default_rng(8)
    found = {}
    for speed in SPEEDS:
        errors = rng.standard_normal(draws)
        errors = 0.6 * (errors - errors.mean()) / errors.std()
        rest = (14.0, 2500.0, None, 20.0, 220.0, 13.0, 2400.0, None, 30.0)
        found[float(speed)] = Efficient(float(speed), 200.0, 199.0, 201.0, 0.6, *rest, errors)
    return found


def test_variances_add_with_satterthwaites_freedom_and_all_speeds_go_together():
    each = np.array([[0.8, 1.6, 2.4], [0.0, 0.0, 1.0]])
    found = with_misread(best_of(), MisreadRatio(each, np.array([20.0, 5.0])))
    one, other = found[80.0], found[100.0]
    assert one.std_error_yd == pytest.approx(1.0)
    assert one.freedom == pytest.approx(1 / (0.36**2 / 30 + 0.64**2 / 20))
    reach = float(t_reach(one.freedom))
    assert (one.lo90_yd, one.hi90_yd) == pytest.approx((200.0 - reach, 200.0 + reach))
    whole = 0.36 + 2.4**2 + 1
    assert other.std_error_yd == pytest.approx(np.sqrt(whole))
    assert other.freedom == pytest.approx(whole**2 / (0.36**2 / 30 + 2.4**4 / 20 + 1 / 5))
    draws = np.array([one.errors_yd for one in found.values()])
    assert draws.std(axis=1) == pytest.approx([one.std_error_yd for one in found.values()])
    # The golfers' own errors are independent from speed to speed here, the device's are one.
    assert np.cov(draws, ddof=0)[0, 1:] == pytest.approx([0.8 * 1.6, 0.8 * 2.4], abs=0.15)


def test_it_goes_its_own_way_beside_the_form():
    form = with_form_error(best_of(), FormError(np.full((1, 3), 2.0), np.ones(1), 0.0))
    both = with_misread(form, MisreadRatio(np.array([[1.0, 1.0, -1.0]]), np.array([20.0])))
    draws = np.array([one.errors_yd for one in both.values()])
    assert np.cov(draws, ddof=0)[0, 1:] == pytest.approx([4.0 + 1.0, 4.0 - 1.0], abs=0.3)


def test_without_a_doubt_nothing_changes():
    assert with_misread(best_of(), MisreadRatio(np.zeros((1, 3)), np.array([20.0]))) == best_of()
    assert with_misread(best_of(), MisreadRatio(np.zeros((0, 3)), np.zeros(0))) == best_of()
