import re

import numpy as np
import polars as pl
import pytest
from fitting import candidate_named

from pipeline.configuration.study import Model, StandardAir
from pipeline.errors import UserError
from pipeline.fit.candidates import candidates_for, candidates_of_study, enough_for_a_fit, may_compete
from pipeline.fit.survey import Survey
from pipeline.flight.calibrate import Calibration
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, fly
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

CALIBRATION = Calibration("smits-smith-1994", 0.95, 1.02, None, None, [], 0, 0, None, None, "")


def test_candidates_stand_by_simplicity_and_take_the_speed_of_the_study(world):
    extents = Survey.of(world.drives).extents
    found = [(one.name, one.surface(extents).speed) for one in candidates_for("ball")]
    assert found == [("line", "club"), ("quadratic", "ball"), ("splines", "ball")]
    assert {one.surface(extents).speed for one in candidates_for("club")} == {"club"}


def test_a_study_with_ball_speed_flies_its_own_ball_at_its_own_standard_air(world):
    extents = Survey.of(world.drives).extents
    air = StandardAir(temp_c=25.0, pressure_hpa=900.0)
    line, flight, *_ = candidates_of_study("ball", extents, CALIBRATION, air)
    assert (line.name, flight.name) == ("line", "flight")
    speed, launch, spin = np.array([120.0, 150.0]), np.array([12.0, 15.0]), np.array([2400.0, 3000.0])
    here, shots = Air.of(25.0, 90_000.0, air.humidity), Launch.straight(speed * MPS_PER_MPH, launch, spin)
    flown_yd = fly(shots, Ball("smits-smith-1994", 0.95, 1.02), here).carry_m / METRES_PER_YARD
    np.testing.assert_allclose(flight.surface(extents).base(speed, launch, spin), flown_yd, atol=0.1)


@pytest.mark.parametrize(("speed", "kinds"), [("club", ("club", "ball")), ("ball", ("club",))])
def test_a_study_on_club_speed_or_without_some_ball_speed_has_no_flight(world, speed, kinds):
    extents = {kind: Survey.of(world.drives).extents[kind] for kind in kinds}
    found = candidates_of_study(speed, extents, CALIBRATION, StandardAir())
    assert [one.name for one in found] == [one.name for one in candidates_for(speed)]
    assert "flight" not in {one.name for one in found}


@pytest.mark.parametrize(
    ("choices", "names"),
    [
        ({"candidates": ["splines", "line"]}, ["line", "splines"]),
        ({"candidates": ["quadratic"]}, ["quadratic"]),
        ({"candidates": [], "choose": "quadratic"}, ["quadratic"]),
        ({"candidates": ["splines"], "choose": "line"}, ["line", "splines"]),
        ({"choose": "splines"}, ["line", "flight", "quadratic", "splines"]),
    ],
)
def test_candidates_are_those_that_a_study_names(world, choices, names):
    extents = Survey.of(world.drives).extents
    found = candidates_of_study("ball", extents, CALIBRATION, StandardAir(), Model(**choices))
    assert [one.name for one in found] == names


@pytest.mark.parametrize(
    ("choices", "told"),
    [
        (
            {"choose": "flight"},
            "model.choose in study.yaml: flight goes by ball speed, which too few golfers",
        ),
        ({"candidates": ["flight"]}, "model.candidates in study.yaml: flight goes by ball speed, which too few"),
        (
            {"own": ["mine.py"], "choose": "spline"},
            "there is no candidate 'spline' (did you mean 'splines'?)",
        ),
    ],
)
def test_a_candidate_that_is_not_there_is_told(world, choices, told):
    extents = {"club": Survey.of(world.drives).extents["club"]}
    with pytest.raises(UserError, match=re.escape(told)):
        candidates_of_study("club", extents, CALIBRATION, StandardAir(), Model(**choices))


def test_too_few_golfers_are_told(world):
    few = world.drives.filter(pl.col("golfer").is_in(world.golfers.get_column("golfer")[:5].implode()))
    with pytest.raises(UserError, match="150 usable drives of 5 golfers; a fit needs at least 20 drives of 6"):
        enough_for_a_fit(few)
    enough_for_a_fit(world.drives.filter(pl.col("golfer").is_in(world.golfers.get_column("golfer")[:6].implode())))


def test_a_rich_candidate_needs_drives(world):
    surface = candidate_named("splines").surface(Survey.of(world.drives).extents)
    assert may_compete(surface, 189) == "needs 190 drives"
    assert may_compete(surface, 190) is None
