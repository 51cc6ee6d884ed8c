"""A frontier and a model for tests: what a test is about is given, the rest is plain."""

from dataclasses import replace

import numpy as np

from pipeline.benchmark.drives_near import DrivesNear
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.reach import NOWHERE
from pipeline.fit.model import CarryModel
from pipeline.fit.surface import Axis, Surface
from pipeline.fit.usual_delivery import Line, UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.golfers.shared_errors import SharedErrors

AIR = {"temp_c": 15.0, "pressure_hpa": 1013.25, "humidity": 0.0}


def near_of(speeds, mean=(14.0, 2600.0), sd=(3.0, 600.0), ratio=(1.3, 1.55)):
    """Give the same place of drives at every speed: independent launch and spin, and a range of ratios."""
    n = len(speeds)
    inverse = np.diag(1 / np.square(np.array(sd, dtype=float)))
    return DrivesNear(np.tile(mean, (n, 1)).reshape(n, 2), np.tile(inverse, (n, 1, 1)).reshape(n, 2, 2),
                      np.full(n, ratio[0], dtype=float), np.full(n, ratio[1], dtype=float))  # fmt: skip


def frontier_at(speeds, carry_yd=None, *, near=None, reach=None, study="hill-school", air=AIR, turf="normal",
                model_file="model/model.json", **columns):  # fmt: skip
    """Make a frontier over club speeds; columns may be numbers or arrays, and have no window unless given."""
    speeds = np.asarray(speeds, dtype=float)
    carry = 2.6 * speeds - 16 if carry_yd is None else np.broadcast_to(np.asarray(carry_yd, dtype=float), speeds.shape)
    plain = {"lo90_yd": carry - 1.5, "hi90_yd": carry + 1.5, "std_error_yd": 0.9, "freedom": 30.0}
    plain |= {"launch_deg": 14.0, "spin_rpm": 2600.0}
    plain |= {"golfers": 20.0, "total_yd": carry + 24, "total_launch_deg": 13.0, "total_spin_rpm": 2400.0}
    edges = ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")
    plain |= dict.fromkeys([f"{kind}{edge}" for kind in ("", "total_") for edge in edges], np.nan)
    arrays = {
        name: np.array(np.broadcast_to(np.asarray(value, dtype=float), speeds.shape))
        for name, value in (plain | columns).items()
    }
    reach = reach or replace(NOWHERE, doubt_yd=np.zeros((len(speeds), 0, 0)))
    near = near or near_of(speeds)
    return Frontier(study, air, turf, model_file, speeds, np.array(carry), near=near, reach=reach,
                    tolerance_yd=5.0, **arrays)  # fmt: skip


def plain_model(speed="ball"):
    """Make a carry model that is a straight line in speed and says nothing of launch and spin."""
    axes = (Axis(130.0, 20.0), Axis(13.0, 3.0), Axis(2600.0, 500.0))
    surface = Surface("line", speed, axes, ((0, 0, 0), (1, 0, 0)))
    flat = [Line(90.0, value, 0.0) for value in (1.46, 1.48, 13.5, 2650.0)]
    return CarryModel(surface, np.array([215.0, 34.0]), Offsets({}, ()), np.zeros(0), UsualDelivery(*flat), {})


def one_error(frontier):
    """Give shared errors of which standard errors alone are known: efficient carry is off to one side at all speeds."""
    return SharedErrors.of(frontier, np.stack([frontier.std_error_yd, -frontier.std_error_yd]))
