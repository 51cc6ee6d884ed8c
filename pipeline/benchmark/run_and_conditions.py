"""Run after landing, and flight in other conditions, for expected and efficient totals."""

from collections import deque
from dataclasses import astuple, dataclass

import numpy as np
import numpy.typing as npt

from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import FlightTable
from pipeline.physics.trajectory import RPM, Landing, Launch, Wind, fly
from pipeline.physics.turf import NEIGHBORS, Turf, run_m
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

Values = Array | float

# The same drives are flown for each turf, and for the standard air too where a place has that. So many flights are
# remembered, of up to so many drives.
REMEMBERED, MOST_DRIVES = 8, 20_000
_flown: deque[tuple[bytes, Landing]] = deque(maxlen=REMEMBERED)


@dataclass(frozen=True)
class Roller:
    """Run at standard conditions, by the table of flights."""

    table: FlightTable
    turf: Turf

    def run_yd(self, ball_speed_mph: npt.ArrayLike, launch_deg: npt.ArrayLike, spin_rpm: npt.ArrayLike) -> Array:
        """Give the run after landing of straight drives, yd; arguments broadcast."""
        parts = np.broadcast_arrays(np.asarray(ball_speed_mph, dtype=float) * MPS_PER_MPH, launch_deg, spin_rpm)
        speed, launch, spin = (np.ravel(part).astype(float) for part in parts)
        landing_speed, descent, landing_spin = self.table.land(speed, launch, spin)
        return run_yd(landing_speed, descent, landing_spin, self.turf).reshape(parts[0].shape)


def run_yd(speed_mps: Array, descent_deg: Array, spin_rpm: Array, turf: Turf) -> Array:
    """Give the run of balls from their landing, yd, in the arguments' shape.

    A ball that would spin back behind its pitch mark, as in a strong head wind on soft turf, counts as one that stays
    there: the model of turf isn't made for it, and a total below carry would only confuse.
    """
    return np.maximum(np.asarray(run_m(speed_mps, descent_deg, spin_rpm * RPM, turf)) / METRES_PER_YARD, 0.0)


def run_interval_yd(speed_mps: Array, descent_deg: Array, spin_rpm: Array, turf: Turf) -> tuple[Array, Array, Array]:
    """Give the run of balls from their landing, and the edges of its 90 % interval, yd, in the arguments' shape.

    The edges are the shortest and the longest of three runs: on the turf, and on its softer and its firmer neighbor
    (`pipeline.physics.turf.NEIGHBORS`). That is what the turf's constants leave open; slopes, wet or long grass and the
    model of bounces are not in it.
    """
    softer, firmer = NEIGHBORS[turf]
    runs = [run_yd(speed_mps, descent_deg, spin_rpm, one) for one in (turf, softer, firmer)]
    return runs[0], np.minimum.reduce(runs), np.maximum.reduce(runs)


def total_interval_yd(
    total_yd: Array, carry_yd: tuple[Values, Values, Values], run_yd: tuple[Array, Array, Array]
) -> tuple[Array, Array]:
    """Give the edges of the 90 % interval of totals, yd: the doubts of carry and of run go together in quadrature.

    Parameters
    ----------
    total_yd : ndarray
    carry_yd, run_yd : tuple of three ndarrays or numbers
        A figure and both edges of its interval. Only their distances count.

    Notes
    -----
    How firm the turf is has nothing to do with what carry's interval leaves open, so the two are independent.
    """
    (carry, carry_lo, carry_hi), (run, run_lo, run_hi) = carry_yd, run_yd
    return total_yd - np.hypot(carry - carry_lo, run - run_lo), total_yd + np.hypot(carry_hi - carry, run_hi - run)


@dataclass(frozen=True)
class Conditions:
    """Air, wind along the shot and turf of a place."""

    air: Air
    wind_along_mps: float
    turf: Turf

    def landing(self, ball: Ball, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array) -> Landing:
        """Fly straight drives, all of shape (n,); the landing is to be read alone, as the next to ask may share it."""
        shots = Launch.straight(ball_speed_mph * MPS_PER_MPH, launch_deg, spin_rpm)
        if len(shots) > MOST_DRIVES:
            return self._fly(shots, ball)
        parts = (*vars(shots).values(), *vars(self.air).values(), self.wind_along_mps)
        asked = repr(astuple(ball)).encode() + b"".join(np.asarray(part, dtype=float).tobytes() for part in parts)
        for known, landing in tuple(_flown):
            if known == asked:
                return landing
        landing = self._fly(shots, ball)
        for part in vars(landing).values():
            part.flags.writeable = False
        _flown.append((asked, landing))
        return landing

    def _fly(self, shots: Launch, ball: Ball) -> Landing:
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

    def change_and_landing(self, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array) -> tuple[Array, Landing]:
        """Give what the place adds to the carry of straight drives, yd, and how they land there; all of shape (n,)."""
        drives = (self.ball, ball_speed_mph, launch_deg, spin_rpm)
        landing = self.here.landing(*drives)
        if self.is_standard:
            return np.zeros_like(landing.carry_m), landing
        return (landing.carry_m - self.standard.landing(*drives).carry_m) / METRES_PER_YARD, landing

    def change_and_run_yd(self, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array) -> tuple[Array, Array]:
        """Give what the place adds to the carry of straight drives, and their run there, yd; all of shape (n,)."""
        change, landing = self.change_and_landing(ball_speed_mph, launch_deg, spin_rpm)
        return change, run_yd(landing.speed_mps, landing.descent_deg, landing.spin_rpm, self.here.turf)

    def run_interval_yd(self, landing: Landing) -> tuple[Array, Array, Array]:
        """Give the run after landings in the place, and the edges of its 90 % interval, yd; see `run_interval_yd`."""
        return run_interval_yd(landing.speed_mps, landing.descent_deg, landing.spin_rpm, self.here.turf)
