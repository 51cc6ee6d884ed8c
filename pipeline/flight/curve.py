"""What side motion changes of a drive's carry: its spin axis, cross wind and, in wind, the side it starts to.

A curved drive is flown as it bends and straight, as hit and at standard conditions. Each difference is added to what
tables of straight flights give, so that an error of the integration or a table, being in both, falls out. Only drives
with something sideways are flown: four flights each, some 10 us (docs/flight.md).
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, Wind, fly
from pipeline.statistics.arrays import Array

SIDE_COLUMNS = ("launch_side_deg", "spin_axis_deg", "wind_cross_mps")

# Differences of flights with this step are within 0.0005 yd of those with a tenth of it (tests/flight/test_curve.py).
CURVE_STEP_S = 0.2

Shots = tuple[Array, Array, Array]  # ball speed, m/s, launch, deg, spin, rpm


class Sideways(NamedTuple):
    """Side start, deg, spin axis, deg, and cross wind, m/s, of drives: of shape (n,), NaN where they aren't known."""

    side_deg: Array
    axis_deg: Array
    cross_mps: Array

    @classmethod
    def of(cls, drives: pl.DataFrame) -> "Sideways":
        """Take `SIDE_COLUMNS` of drives; a column that lacks isn't known of any."""
        lacking = [pl.lit(None, pl.Float64).alias(name) for name in SIDE_COLUMNS if name not in drives.columns]
        found = drives.with_columns(lacking).select(pl.col(SIDE_COLUMNS).cast(pl.Float64))
        return cls(*(column.to_numpy() for column in found))

    @property
    def flown(self) -> "Sideways":
        """What drives are flown with: 0 where a part isn't known, and all 0 where neither axis nor cross wind is.

        A drive of which neither is known counts as straight, wherever it starts.
        """
        known = ~(np.isnan(self.axis_deg) & np.isnan(self.cross_mps))
        return Sideways(*(np.where(known, np.nan_to_num(part), 0.0) for part in self))


def side_motion(
    shots: Shots, sideways: Sideways, ball: Ball, air: Air, wind_along_mps: Array, standard: Air
) -> tuple[Array, Array]:
    """Work out what side motion changes of carry.

    Parameters
    ----------
    shots : tuple of ndarray, shape (n,)
    sideways : Sideways
        As known; see `Sideways.flown`.
    ball : Ball
    air : Air
        As hit, with arrays of shape (n,).
    wind_along_mps : ndarray, shape (n,)
    standard : Air
        Scalars; there it is calm.

    Returns
    -------
    change_m : ndarray, shape (n,)
        What is added to the change of straight flight to standard conditions: the spin axis stays, cross wind goes.
    curve_m : ndarray, shape (n,)
        What the axis costs of carry at standard conditions; NaN where it isn't known.
    """
    side, axis, cross = sideways.flown
    change, curve = np.zeros(len(axis)), np.where(np.isnan(sideways.axis_deg), np.nan, 0.0)
    # Calm air carries as far to any side.
    bends = np.flatnonzero((axis != 0) | (cross != 0) | ((side != 0) & (wind_along_mps != 0)))
    launch = _launch(shots, bends, side, axis)
    here = Air(*(np.broadcast_to(part, axis.shape)[bends] for part in (air.density_kg_m3, air.viscosity_pa_s)))
    change[bends] -= _bent(launch, ball, here, Wind(wind_along_mps[bends], cross[bends]))
    tilted = np.flatnonzero(axis != 0)
    less = _bent(_launch(shots, tilted, np.zeros_like(side), axis), ball, standard, Wind())
    change[tilted] += less
    curve[tilted] = -less
    return change, curve


def _launch(shots: Shots, rows: npt.NDArray[np.intp], side_deg: Array, axis_deg: Array) -> Launch:
    return Launch.of(*(part[rows] for part in (*shots, side_deg, axis_deg)))


def _bent(launch: Launch, ball: Ball, air: Air, wind: Wind) -> Array:
    """Give carry as it bends less carry of the same drives straight along the wind, m, shape (n,)."""
    if not len(launch):
        return np.zeros(0)
    level = Launch.straight(launch.speed_mps, launch.launch_deg, launch.spin_rpm)
    bent = fly(launch, ball, air, wind, step_s=CURVE_STEP_S)
    straight = fly(level, ball, air, Wind(wind.along_mps), step_s=CURVE_STEP_S)
    return np.asarray(bent.carry_m - straight.carry_m)
