"""Run after landing, and flight in other conditions, for expected and efficient totals."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import FlightTable
from pipeline.physics.trajectory import RPM, Landing, Launch, Wind, fly
from pipeline.physics.turf import Turf, run_m
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH


@dataclass(frozen=True)
class Roller:
    """Run at standard conditions, by the table of flights."""

    table: FlightTable
    turf: Turf

    def run_yd(self, ball_speed_mph: npt.ArrayLike, launch_deg: npt.ArrayLike, spin_rpm: npt.ArrayLike) -> Array:
        """Give the run after landing of straight drives, yd; arguments broadcast."""
        parts = np.broadcast_arrays(np.asarray(ball_speed_mph, dtype=float) * MPS_PER_MPH, launch_deg, spin_rpm)
        speed, launch, spin = (np.ravel(part).astype(float) for part in parts)
        _, _, landing_speed, descent, landing_spin = self.table.fly(speed, launch, spin)
        return run_yd(landing_speed, descent, landing_spin, self.turf).reshape(parts[0].shape)


def run_yd(speed_mps: Array, descent_deg: Array, spin_rpm: Array, turf: Turf) -> Array:
    """Give the run of balls from their landing, yd, in the arguments' shape.

    A ball that would spin back behind its pitch mark, as in a strong head wind on soft turf, counts as one that stays
    there: the model of turf isn't made for it, and a total below carry would only confuse.
    """
    return np.maximum(np.asarray(run_m(speed_mps, descent_deg, spin_rpm * RPM, turf)) / METRES_PER_YARD, 0.0)


@dataclass(frozen=True)
class Conditions:
    """Air, wind along the shot and turf of a place."""

    air: Air
    wind_along_mps: float
    turf: Turf

    def landing(self, ball: Ball, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array) -> Landing:
        """Fly straight drives, all of shape (n,)."""
        shots = Launch.straight(ball_speed_mph * MPS_PER_MPH, launch_deg, spin_rpm)
        return fly(shots, ball, self.air, Wind(along_mps=self.wind_along_mps))

    def carry_and_run_yd(
        self, ball: Ball, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array
    ) -> tuple[Array, Array]:
        """Fly straight drives, all of shape (n,), and let them run; both in yd."""
        landing = self.landing(ball, ball_speed_mph, launch_deg, spin_rpm)
        run = run_yd(landing.speed_mps, landing.descent_deg, landing.spin_rpm, self.turf)
        return landing.carry_m / METRES_PER_YARD, run


@dataclass(frozen=True)
class Place:
    """Where an answer is asked for: the calibrated ball, the study's standard conditions and those of the place."""

    ball: Ball
    standard: Conditions
    here: Conditions

    @property
    def is_standard(self) -> bool:
        """Whether the place has the study's standard conditions."""
        return self.here is self.standard

    def change_and_run_yd(self, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array) -> tuple[Array, Array]:
        """Give what the place adds to the carry of straight drives, and their run there, yd; all of shape (n,)."""
        drives = (self.ball, ball_speed_mph, launch_deg, spin_rpm)
        carry, run = self.here.carry_and_run_yd(*drives)
        if self.is_standard:
            return np.zeros_like(carry), run
        return carry - self.standard.landing(*drives).carry_m / METRES_PER_YARD, run
