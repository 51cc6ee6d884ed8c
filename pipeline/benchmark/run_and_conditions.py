"""Run after landing, and flight in other conditions, for expected and efficient totals."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import FlightTable
from pipeline.physics.trajectory import RPM, Launch, Wind, fly
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
        run = run_m(landing_speed, descent, landing_spin * RPM, self.turf) / METRES_PER_YARD
        return np.asarray(run).reshape(parts[0].shape)


@dataclass(frozen=True)
class Conditions:
    """Air, wind along the shot and turf of a place."""

    air: Air
    wind_along_mps: float
    turf: Turf

    def carry_and_run_yd(
        self, ball: Ball, ball_speed_mph: float, launch_deg: float, spin_rpm: float
    ) -> tuple[float, float]:
        """Fly one straight drive and let it run; both in yd."""
        shot = Launch.straight(ball_speed_mph * MPS_PER_MPH, launch_deg, spin_rpm)
        landing = fly(shot, ball, self.air, Wind(along_mps=self.wind_along_mps))
        run = run_m(landing.speed_mps, landing.descent_deg, landing.spin_rpm * RPM, self.turf)
        return float(landing.carry_m[0]) / METRES_PER_YARD, float(np.ravel(run)[0]) / METRES_PER_YARD
