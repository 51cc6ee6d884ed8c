"""How far right of the target line each drive comes down: as logged or flown, without what the cross wind did."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import KEYS
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.standard import standard_pair
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives
from pipeline.physics.ball import Ball
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.physics.trajectory import Launch, Wind, fly, fly_by_each
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# What is needed of drives.parquet.
COLUMNS = (
    "golfer",
    "quarter",
    "struck_on",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "carry_standard_yd",
    "launch_side_deg",
    "spin_axis_deg",
    "offline_yd",
    "wind_cross_mps",
    *AIR_COLUMNS,
)


@dataclass(frozen=True)
class SideFlight:
    """What a study's drives are flown with.

    Attributes
    ----------
    ball : Ball
    standard : StandardAir
    ratio : float
        Ball over club speed where a drive has no ball speed.
    others : tuple of Ball
        Of other published sets, that carry alike; by what they say it is known how far `ball` may be off.
    """

    ball: Ball
    standard: StandardAir
    ratio: float
    others: tuple[Ball, ...] = ()

    @classmethod
    def of(cls, study: StudyFlight, standard: Mapping[str, float]) -> "SideFlight":
        """Fly a study's drives as its calibration says, with the air of the standard conditions."""
        return cls(study.calibration.ball, StandardAir.model_validate(standard), study.speed_ratio or ASSUMED_RATIO)

    def straight_carry(self, drives: pl.DataFrame, ball: Ball) -> Array:
        """Give carry straight ahead in calm standard air, yd, shape (n,)."""
        return self.straight_carries(drives, [ball])[0]

    def straight_carries(self, drives: pl.DataFrame, balls: Sequence[Ball]) -> list[Array]:
        """Give the same with each of several balls, which differ in their multipliers alone."""
        straight = replace(self._launch(drives), side_deg=np.zeros(drives.height), axis_deg=np.zeros(drives.height))
        return [one.carry_m / METRES_PER_YARD for one in fly_by_each(straight, balls, self._calm)]

    def from_start(self, drives: pl.DataFrame, ball: Ball) -> Array:
        """Give where drives come down from start direction and spin axis, in calm standard air: yd, shape (n,)."""
        return np.asarray(fly(self._launch(drives), ball, self._calm).offline_m / METRES_PER_YARD)

    def by_wind(self, drives: pl.DataFrame, ball: Ball) -> Array:
        """Give how far to the right the cross wind took drives, in the air of each: yd, shape (n,).

        A drive whose start direction or spin axis isn't known is flown straight: what the wind does hardly depends on
        them.
        """
        air, along = air_of_drives(drives, self.standard.temp_c, self.standard.pressure_hpa)
        launch, cross = self._launch(drives), _numbers(drives, "wind_cross_mps")
        blown, calm = (fly(launch, ball, air, Wind(along, wind)).offline_m for wind in (cross, 0.0))
        return np.asarray((blown - calm) / METRES_PER_YARD)

    @property
    def _calm(self) -> Air:
        density, viscosity = standard_pair(self.standard)
        return Air(np.asarray(density), np.asarray(viscosity))

    def _launch(self, drives: pl.DataFrame) -> Launch:
        club, ball = _numbers(drives, "club_speed_mph"), _numbers(drives, "ball_speed_mph")
        speed = np.where(np.isnan(ball), club * self.ratio, ball) * MPS_PER_MPH
        side, axis = (np.nan_to_num(_numbers(drives, name)) for name in ("launch_side_deg", "spin_axis_deg"))
        return Launch.of(speed, _numbers(drives, "launch_deg"), _numbers(drives, "spin_rpm"), side, axis)


def landings_of(drives: pl.DataFrame, flight: SideFlight) -> pl.DataFrame:
    """Give where each drive came down.

    Parameters
    ----------
    drives : DataFrame
        `COLUMNS` of accepted drives.
    flight : SideFlight

    Returns
    -------
    DataFrame
        The same rows: golfer, quarter, struck_on, club_speed_mph, carry_yd (at standard conditions), offline_yd
        (right of the target line is positive; null where it isn't known), calculated, whether it was flown, and
        blown_yd, what was taken out of a logged offline for the cross wind; null where that isn't known; and
        `beside_columns`, one for each of the flight's others: how much farther right it would have the drive, yd.

    Notes
    -----
    A logged offline is taken as it is, less what a known cross wind did to it. Where it is missing but start direction
    and spin axis are known, it is that of the flight in calm standard air, in which no wind is. By the published
    sets a drive of 140 mph of ball speed drifts 11.5 to 15.4 yd in a cross wind of 5 m/s: so far what is taken out may
    be off where the study's flight isn't that of its balls. `other_flights` makes a doubt of it.
    """
    logged, start, cross = (
        drives.get_column(name).is_not_null().to_numpy() for name in ("offline_yd", "launch_side_deg", "wind_cross_mps")
    )
    axis = drives.get_column("spin_axis_deg").is_not_null().to_numpy()
    offline = _numbers(drives, "offline_yd").copy()
    flown = ~logged & start & axis
    windy = logged & cross
    blown = np.where(windy, 0.0, np.nan)
    beside = np.zeros((len(flight.others), drives.height))
    if flown.any():
        offline[flown] = flight.from_start(_rows(drives, flown), flight.ball)
        for more, other in zip(beside, flight.others, strict=True):
            more[flown] = flight.from_start(_rows(drives, flown), other) - offline[flown]
    if windy.any():
        blown[windy] = flight.by_wind(_rows(drives, windy), flight.ball)
        offline[windy] -= blown[windy]
        for more, other in zip(beside, flight.others, strict=True):
            more[windy] = blown[windy] - flight.by_wind(_rows(drives, windy), other)
    return drives.select(
        *KEYS,
        "struck_on",
        pl.col("club_speed_mph").cast(pl.Float64),
        pl.col("carry_standard_yd").cast(pl.Float64).alias("carry_yd"),
        pl.Series("offline_yd", offline, pl.Float64).fill_nan(None),
        pl.Series("calculated", flown),
        pl.Series("blown_yd", blown, pl.Float64).fill_nan(None),
        *(pl.Series(name, more) for name, more in zip(beside_columns(len(beside)), beside, strict=True)),
    )


def beside_columns(others: int) -> list[str]:
    """Name the columns of what so many other flights say."""
    return [f"beside_{place}_yd" for place in range(others)]


def rests_on_flight() -> pl.Expr:
    """Say of which drives the offline is calculated, or has a cross wind taken out."""
    logged = pl.col("offline_yd").is_not_null()
    start = pl.col("launch_side_deg").is_not_null() & pl.col("spin_axis_deg").is_not_null()
    return pl.when(logged).then(pl.col("wind_cross_mps").is_not_null()).otherwise(start)


def _rows(drives: pl.DataFrame, kept: npt.NDArray[np.bool_]) -> pl.DataFrame:
    return drives.filter(pl.Series(kept))


def _numbers(drives: pl.DataFrame, name: str) -> Array:
    return drives.get_column(name).cast(pl.Float64).fill_null(np.nan).to_numpy()
