"""A sample of a log's drives compared with flight, by which the log is judged as a whole (pure)."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

LEAST_ROWS = 20  # below this a median of drives says little
SAMPLE_NUMBERS = ("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm", "carry_yd")
_STANDARD_TEMP_C, _STANDARD_HPA = 15.0, 1013.25


@dataclass(frozen=True)
class SampleDrives:
    """Drives as arrays of shape (n,), launch and spin mended already."""

    club_mph: Array
    ball_mph: Array
    launch_deg: Array
    spin_rpm: Array
    carry_yd: Array
    around: pl.DataFrame
    measured: bool
    flown: dict[float, Array] = field(default_factory=dict)
    """Carry of flight by the factor of ball speed, as far as it was asked for."""

    @classmethod
    def of(cls, known: pl.DataFrame, factors: dict[str, float], measured: bool) -> "SampleDrives":
        """Take drives with the numbers times a factor each; ball speed is assumed where it isn't measured."""
        club, ball, launch, spin, carry = (known[name].to_numpy() * factors[name] for name in SAMPLE_NUMBERS)
        return cls(club, ball if measured else club * ASSUMED_RATIO, launch, spin, carry, known, measured)

    def ratio(self) -> float:
        """Median ball speed over club speed."""
        return float(np.median(self.ball_mph / self.club_mph))

    def same_as(self, other: "SampleDrives") -> bool:
        """Tell whether flight would make no difference between two samples."""
        mine, others = self._arrays(), other._arrays()
        return all(map(np.array_equal, mine, others)) and self.around.equals(other.around)

    def _arrays(self) -> tuple[Array, ...]:
        return self.club_mph, self.ball_mph, self.launch_deg, self.spin_rpm, self.carry_yd

    def able(self, ball_factor: float) -> npt.NDArray[np.bool_]:
        """Mark the drives that flight can judge, with ball speeds times a factor."""
        speed = self.ball_mph * ball_factor * MPS_PER_MPH
        launched = (speed > 18) & (speed < 110) & (self.launch_deg > 4) & (self.launch_deg < 40)
        return launched & (self.spin_rpm < 12000)

    def shots(self, ball_factor: float) -> list[Array]:
        """Give those drives as `_mean_of_sets` takes them."""
        air, wind = air_of_drives(self.around, _STANDARD_TEMP_C, _STANDARD_HPA)
        speed = self.ball_mph * ball_factor * MPS_PER_MPH
        able = self.able(ball_factor)
        parts = (speed, self.launch_deg, self.spin_rpm, air.density_kg_m3, air.viscosity_pa_s, wind)
        return [np.broadcast_to(part, able.shape)[able] for part in parts]

    def carry_over_flight(self, ball_factor: float) -> float:
        """Median carry over that of flight, with ball speeds times a factor; nan where flight can't say."""
        able = self.able(ball_factor)
        if able.sum() < LEAST_ROWS:
            return float("nan")
        if ball_factor not in self.flown:
            self.flown[ball_factor] = _mean_of_sets(*self.shots(ball_factor))
        return float(np.median(self.carry_yd[able] / self.flown[ball_factor]))


def _mean_of_sets(
    speed_mps: Array, launch_deg: Array, spin_rpm: Array, density: Array, viscosity: Array, wind_mps: Array
) -> Array:
    """Give the geometric mean of carry over the published sets, yd, shape (n,)."""
    launch, air = Launch.straight(speed_mps, launch_deg, spin_rpm), Air(density, viscosity)
    flown = [fly(launch, Ball(name), air, Wind(along_mps=wind_mps)).carry_m / METRES_PER_YARD for name in SETS]
    return np.asarray(np.exp(np.mean(np.log(np.maximum(flown, 1.0)), axis=0)))


def fly_samples(samples: Sequence[SampleDrives]) -> None:
    """Fly samples at once, as they are; each keeps its flights in `flown`."""
    able = [one for one in {id(one): one for one in samples}.values() if one.able(1.0).sum() >= LEAST_ROWS]
    if not able:
        return
    parts = [one.shots(1.0) for one in able]
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    edges = np.cumsum([len(part[0]) for part in parts])[:-1]
    for one, flown in zip(able, np.split(_mean_of_sets(*joined), edges), strict=True):
        one.flown[1.0] = flown
