import numpy as np
import polars as pl
import pytest

import pipeline
from pipeline.errors import UserError
from pipeline.physics.air import Air, pressure_at
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, Wind, fly

DRIVE = (150.0, 12.0, 2500.0)


def flown(air, wind=0.0, ball="lyu-2018", axis=0.0):
    launch = Launch.of(150 * 0.44704, 12.0, 2500.0, 0.0, axis)
    return fly(launch, Ball(ball), air, Wind(along_mps=wind)).carry_m[0] / 0.9144


def test_a_drive_flies_as_in_the_physics():
    high = Air.of(30.0, pressure_at(1500.0), 0.6)
    found = pipeline.carry_in_air(
        *DRIVE, ball="lyu-2018", altitude_m=1500, temp_c=30, humidity=0.6, wind_along_mps=-3, spin_axis_deg=8
    )
    assert float(found) == pytest.approx(flown(high, -3.0, axis=8.0), rel=1e-12)
    assert float(pipeline.carry_in_air(*DRIVE, ball=Ball("lyu-2018"), pressure_hpa=900)) == pytest.approx(
        flown(Air.of(15.0, 90_000.0, 0.0)), rel=1e-12
    )


def test_sea_level_of_the_standard_atmosphere_is_usual():
    plain = pipeline.carry_in_air(*DRIVE, ball="lyu-2018")
    assert plain == pipeline.carry_in_air(*DRIVE, ball="lyu-2018", altitude_m=0, temp_c=15, humidity=0)
    assert plain == pytest.approx(flown(Air.of(15.0, 101_325.0, 0.0)), rel=1e-12)


def test_drives_and_conditions_broadcast_and_what_is_not_known_stays_so():
    speed = pl.Series([130.0, None, 150.0])
    found = pipeline.carry_in_air(speed, 12, 2500, ball="lyu-2018", altitude_m=np.array([[0.0], [2000.0]]))
    assert found.shape == (2, 3)
    assert np.isnan(found[:, 1]).all()
    alone = pipeline.carry_in_air(150, 12, 2500, ball="lyu-2018", altitude_m=2000)
    assert (alone.shape, found[1, 2]) == ((), pytest.approx(float(alone), rel=1e-12))
    assert found[1, 2] > found[0, 2] > found[0, 0]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"ball": "lyu"}, r"ball='lyu': there is no such set of coefficients; use one of smits-smith-1994, "),
        ({"altitude_m": 3, "pressure_hpa": 900}, "give one of them"),
        ({"temp_c": 300}, r"carry_in_air: temp_c must lie between -30 and 55; check its unit\."),
        ({"pressure_hpa": 90_000}, "carry_in_air: pressure_pa must lie between"),
    ],
)
def test_what_can_not_be_flown_is_told(given, told):
    with pytest.raises(UserError, match=told):
        pipeline.carry_in_air(*DRIVE, **{"ball": "lyu-2018"} | given)


def test_a_ball_that_stands_is_told():
    with pytest.raises(UserError, match="ball speed must be above zero"):
        pipeline.carry_in_air(0.0, 12, 2500, ball="lyu-2018")
