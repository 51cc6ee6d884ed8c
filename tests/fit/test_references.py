from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from frontiers import plain_model

from pipeline.fit.model import Delivery
from pipeline.fit.references import References, find_references
from pipeline.flight.devices import DeviceReadings, StudyDevices
from pipeline.flight.offsets import Offsets
from pipeline.statistics.intervals import t_reach


def model(device="A", ball="P", levels=(), share=(), error=(), golfers=(), absorbed=()):
    offsets = Offsets({"device": device, "ball": ball}, tuple(levels), tuple(absorbed))
    arrays = {"offset_share": share, "offset_std_error": error, "offset_golfers": golfers}
    return replace(plain_model(), offsets=offsets, **{name: np.array(v, dtype=float) for name, v in arrays.items()})


def entry(name, correction, compared_by="same golfers"):
    return DeviceReadings(name, compared_by, correction, np.zeros((4, 4)).tolist(), 1e6, "", None)


def test_the_same_references_change_nothing():
    levels = [("device", "B")]
    found = find_references(model(levels=levels, share=[0.03]), model(levels=levels, share=[0.05]), "A", "A")
    assert found == References()
    assert (found.factor, found.is_known, found.std_error) == (1.0, True, 0.0)


def test_the_old_models_own_term_tells_a_new_device():
    old = model(levels=[("ball", "R"), ("device", "B")], share=[0.5, -0.02], error=[9.0, 0.004], golfers=[3, 25])
    found = find_references(old, model("B", levels=[("device", "A")], share=[0.09], error=[0.1], golfers=[9]))
    (change,) = found.changes
    assert (change.column, change.old, change.new, change.told_by) == ("device", "A", "B", "old")
    assert (change.share, change.std_error, change.freedom, change.golfers) == (-0.02, 0.004, 24.0, 25)
    assert change.edges90 == pytest.approx((-0.02 - 0.004 * t_reach(24), -0.02 + 0.004 * t_reach(24)))
    assert found.factor == pytest.approx(0.98)
    assert (found.std_error, found.freedom) == pytest.approx((0.004, 24.0))


def test_the_new_models_term_stands_in_where_the_old_one_has_none():
    new = model("B", levels=[("device", "A")], share=[0.25], error=[0.05], golfers=[11])
    (change,) = find_references(model(), new).changes
    # If A reads 25 % more than B, B reads 20 % less than A; d(1 / (1 + s)) = ds / (1 + s)^2.
    assert (change.told_by, change.share) == ("new", pytest.approx(-0.2))
    assert (change.std_error, change.golfers) == (pytest.approx(0.05 / 1.25**2), 11)


def test_what_neither_model_tells_is_not_known():
    found = find_references(model(), model("B"))
    (change,) = found.changes
    assert change.told_by == "nobody"
    assert np.isnan(change.share)
    assert not found.is_known
    assert np.isnan(found.old_carry(plain_model(), delivery(90.0))).all()


def test_a_device_and_a_ball_add_up_in_one_model_and_multiply_across_two():
    levels = [("device", "B"), ("ball", "R")]
    old = model(levels=levels, share=[-0.02, 0.05], error=[0.003, 0.004], golfers=[30, 30])
    both = find_references(old, model("B", "R"))
    assert both.factor == pytest.approx(1.03)
    assert both.names == "reference device and ball"
    assert both.std_error == pytest.approx(0.005)
    new = model("B", "R", levels=[("ball", "P")], share=[-0.5], error=[0.1], golfers=[9])
    one_each = find_references(model(levels=levels[:1], share=[-0.02], error=[0.003], golfers=[30]), new)
    assert one_each.factor == pytest.approx(0.98 * 2)


def test_a_ball_hit_on_one_device_alone_is_in_the_devices_term():
    old = model(levels=[("device", "B")], share=[-0.04], error=[0.01], golfers=[20], absorbed=[("ball", "R")])
    found = find_references(old, model("B", "R"))
    assert [change.told_by for change in found.changes] == ["old", "device"]
    assert found.factor == pytest.approx(0.96)
    # With the device as it was, the ball's own part is known to nobody.
    (alone,) = find_references(old, model("A", "R")).changes
    assert alone.told_by == "nobody"


def test_a_share_without_an_error_has_no_interval():
    old = model(levels=[("device", "B")], share=[-0.02])
    (change,) = find_references(old, model("B")).changes
    assert change.share == -0.02
    assert np.isnan(change.edges90).all()


def delivery(club, ratio=1.5, launch=12.0, spin=2500.0):
    return Delivery(*(np.array([float(value)]) for value in (club, ratio, launch, spin)))


STEP = [np.log(1.02), np.log(1.01), -0.5, np.log(0.9)]


def test_readings_go_back_to_the_old_scale_and_forth():
    devices = StudyDevices("B", [entry("B", [0.0] * 4, "reference"), entry("A", STEP), entry("C", [0.1] * 4)])
    found = find_references(model(), model(), "A", "B", devices)
    assert (found.readings.old, found.readings.new) == ("A", "B")
    assert found.is_known
    assert found.factor == 1
    then = found.old_readings(delivery(102.0, 1.5))
    assert then.club_speed_mph.item() == pytest.approx(100.0)
    assert (then.club_speed_mph * then.speed_ratio).item() == pytest.approx(102 * 1.5 / 1.01)
    assert (then.launch_deg.item(), then.spin_rpm.item()) == pytest.approx((12.5, 2500 / 0.9))
    assert found.old_speed(np.array([51.0])) == pytest.approx([50.0])
    assert found.today("launch_deg", then.launch_deg) == pytest.approx([12.0])
    assert found.today("spin_rpm", then.spin_rpm) == pytest.approx([2500.0])
    columns = {"club_speed_mph": [102.0], "ball_speed_mph": [153.0], "launch_deg": [12.0], "spin_rpm": [2500.0]}
    drives = found.old_drives(pl.DataFrame(columns))
    assert drives.row(0) == pytest.approx((100.0, 153 / 1.01, 12.5, 2500 / 0.9))
    # Between two devices that both are corrected to a third: what differs between them.
    other = find_references(model(), model(), "A", "C", devices)
    np.testing.assert_allclose(other.readings.step, np.array(STEP) - 0.1)


@pytest.mark.parametrize("devices", [StudyDevices("B", []), StudyDevices("B", [entry("A", [0.0] * 4, "none")])])
def test_readings_that_can_not_be_compared_are_not_known(devices):
    found = find_references(model(), model(), "A", "B", devices)
    assert not found.readings.is_known
    assert not found.is_known
    assert found.names == "scale of readings"
    # They stay as they are, and nothing is said in yards.
    assert found.old_readings(delivery(100.0)).club_speed_mph.item() == 100.0
    assert np.isnan(found.old_carry(plain_model(), delivery(100.0))).all()


def test_devices_that_read_alike_move_nothing():
    devices = StudyDevices("B", [entry("A", [0.0] * 4)])
    found = find_references(model(), model(), "A", "B", devices)
    assert found.is_known
    assert not found.readings.moves
    # So there is nothing to share out.
    assert found.names == ""


def test_an_unknown_device_of_readings_is_no_change():
    assert find_references(model(), model(), None, "B", StudyDevices("B", [])) == References()
