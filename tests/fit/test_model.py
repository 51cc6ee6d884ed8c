from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named, fit_to

from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.surface import Axis, Surface
from pipeline.fit.usual_delivery import Line, UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.physics.impact import ASSUMED_RATIO

USUAL = UsualDelivery(Line(90, 1.45, 0.001), Line(90, 1.48, 0.0), Line(90, 14.0, -0.1), Line(90, 2700.0, -10.0))


def plane(speed="ball", usual=USUAL, better_share=0.0):
    """Carry = 2 * speed + 3 * (launch - 14) - (spin - 2700) / 100, yd."""
    surface = Surface("plane", speed, (Axis(0, 1), Axis(14, 1), Axis(2700, 100)), ((1, 0, 0), (0, 1, 0), (0, 0, 1)))
    return CarryModel(surface, np.array([2.0, 3.0, -1.0]), Offsets({}, ()), np.array([]), usual, {}, better_share)


def drives(ratio=(1.40, np.nan)):
    return Delivery(np.array([90.0, 100.0]), np.array(ratio), np.array([13.0, 15.0]), np.array([2700.0, 2500.0]))


REST = np.array([-3.0, 5.0])  # of the plane, for launch and spin of `drives`


def test_a_drive_goes_by_its_own_ratio_and_by_the_usual_one_where_that_is_unknown():
    model = plane()
    np.testing.assert_allclose(model.ratio(drives()), [1.40, 1.46])
    np.testing.assert_allclose(model.expected(drives()), 2 * np.array([90 * 1.40, 100 * 1.46]) + REST)


@pytest.mark.parametrize(("strike", "ratio"), [("usual", [1.45, 1.46]), ("better", [1.48, 1.48])])
def test_a_usual_and_a_better_strike_look_at_no_own_ratio(strike, ratio):
    model = plane()
    np.testing.assert_allclose(model.ratio(drives(), strike), ratio)
    np.testing.assert_allclose(model.expected(drives(), strike), 2 * np.array([90, 100]) * ratio + REST)
    speed, launch, spin = model.inputs(drives(), strike)
    np.testing.assert_allclose(speed, np.array([90, 100]) * ratio)
    assert (launch.tolist(), spin.tolist()) == ([13.0, 15.0], [2700.0, 2500.0])


def test_over_club_speed_a_better_strike_carries_farther_by_its_share():
    model = plane("club", better_share=0.03)
    carry = 2 * np.array([90, 100]) + REST
    assert not model.by_ball_speed
    np.testing.assert_allclose(model.expected(drives()), carry)
    np.testing.assert_allclose(model.expected(drives(), "usual"), carry)
    np.testing.assert_allclose(model.expected(drives(), "better"), 1.03 * carry)


def test_a_study_without_ball_speeds_has_an_assumed_ratio():
    model = plane("club", replace(USUAL, speed_ratio=None, better_ratio=None))
    for strike in ("own", "usual", "better"):
        assert model.ratio(drives((np.nan, np.nan)), strike).tolist() == [ASSUMED_RATIO] * 2
    assert np.isnan(model.usual_at([90.0]).speed_ratio).all()


def test_a_grid_of_deliveries_has_its_broadcast_shape():
    model = plane()
    launch, spin = np.array([12.0, 14.0, 16.0]), np.array([2500.0, 2700.0])
    grid = Delivery(np.array([[95.0]]), np.array([[np.nan]]), launch[:, None], spin)
    found = model.expected(grid, "better")
    np.testing.assert_allclose(found, 2 * 95 * 1.48 + 3 * (launch[:, None] - 14) - (spin - 2700) / 100)
    np.testing.assert_allclose(model.better_on_grid(95.0, launch, spin), found)


@pytest.mark.parametrize("speed", ["ball", "club"])
def test_a_fitted_model_is_the_same_on_a_grid_and_by_delivery(world, speed):
    model = fit_to(candidate_named("quadratic", speed), world.drives).model
    launch, spin = np.array([12.0, 14.0]), np.array([2500.0, 2700.0, 2900.0])
    grid = Delivery(np.array([[95.0]]), np.array([[np.nan]]), launch[:, None], spin)
    assert model.by_ball_speed == (speed == "ball")
    assert (model.better_share > 0) == (speed == "club")
    np.testing.assert_allclose(model.better_on_grid(95.0, launch, spin), model.expected(grid, "better"))


def test_one_mph_more_brings_what_ball_speed_brings():
    np.testing.assert_allclose(plane().per_mph(drives((1.40, 1.50))), [2.80, 3.00])
    # The usual ratio rises by 0.001 a mph: 2 * d(v * ratio) / dv = 2 * (ratio + 0.001 * v).
    np.testing.assert_allclose(plane().per_mph(drives((np.nan, np.nan))), [2 * (1.45 + 0.09), 2 * (1.46 + 0.1)])


def test_the_usual_drive_and_what_is_filled_with_it():
    model = plane()
    usual = model.usual_at([90.0, 100.0])
    assert (usual.launch_deg.tolist(), usual.spin_rpm.tolist()) == ([14.0, 13.0], [2700.0, 2600.0])
    np.testing.assert_allclose(usual.speed_ratio, [1.45, 1.46])
    np.testing.assert_allclose(model.better_speed([90.0, 100.0]), [90 * 1.48, 100 * 1.48])
    gaps = Delivery(np.array([90.0, 100.0]), np.full(2, np.nan), np.array([np.nan, 15.0]), np.array([2500.0, np.nan]))
    filled = model.with_usual(gaps)
    assert (filled.launch_deg.tolist(), filled.spin_rpm.tolist()) == ([14.0, 15.0], [2500.0, 2600.0])
    assert np.isnan(filled.speed_ratio).all()


def test_carry_is_put_on_the_reference_device(world):
    model = fit_to(candidate_named("quadratic"), world.drives).model
    moved = world.drives.get_column("carry_standard_yd") / model.with_reference(world.drives)["carry_reference_yd"] - 1
    on_b = world.drives.get_column("device") == "unit-B"
    assert moved.filter(~on_b).abs().max() == 0
    assert moved.filter(on_b).to_list() == pytest.approx([model.offset_share[0]] * int(on_b.sum()))
    assert model.offset_share[0] == pytest.approx(0.03, abs=0.005)


def test_a_departure_is_the_share_of_reference_carry_beyond_what_is_expected():
    model = replace(plane(), offsets=Offsets({"device": "a"}, (("device", "b"),)), offset_share=np.array([0.1]))
    table = pl.DataFrame(
        {
            "club_speed_mph": [90.0, 90.0],
            "ball_speed_mph": [130.0, 130.0],
            "launch_deg": [14.0, 14.0],
            "spin_rpm": [2700.0, 2700.0],
            "device": ["a", "b"],
            "ball": ["x", "x"],
            "carry_standard_yd": [273.0, 286.0],
        }
    )
    np.testing.assert_allclose(model.reference_carry(table), [273.0, 260.0])
    np.testing.assert_allclose(model.departure(table), [0.05, 0.0])


def test_deliveries_are_taken_from_drives_and_from_typical_drives():
    table = pl.DataFrame(
        {
            "club_speed_mph_now": [90.0, 100.0],
            "ball_speed_mph_now": [135.0, None],
            "launch_deg_now": [14.0, 13.0],
            "spin_rpm_now": [2700, 2600],
        }
    )
    of_drives = Delivery.of(table, "_now")
    np.testing.assert_array_equal(of_drives.speed_ratio, [1.5, np.nan])
    assert of_drives.spin_rpm.tolist() == [2700.0, 2600.0]
    typical = table.with_columns(speed_ratio_now=pl.Series([1.4, None]))
    np.testing.assert_array_equal(Delivery.of(typical, "_now").speed_ratio, [1.4, np.nan])


def test_a_delivery_is_moved_and_struck_without_anything_else_changing():
    moved = drives().at([80.0, 81.0]).struck([1.3, 1.4])
    assert (moved.club_speed_mph.tolist(), moved.speed_ratio.tolist()) == ([80.0, 81.0], [1.3, 1.4])
    assert (moved.launch_deg.tolist(), moved.spin_rpm.tolist()) == ([13.0, 15.0], [2700.0, 2500.0])
