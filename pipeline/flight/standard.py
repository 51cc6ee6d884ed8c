"""Moving each drive's carry to standard conditions: by the difference of flight there and flight as hit.

Tables give flight straight ahead; what the spin axis and cross wind add to it is flown (`curve`).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.flight.curve import Sideways, side_motion
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import Ball
from pipeline.physics.flight_table import FlightTable, table_key
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# Up to this many different airs get a table each; more are interpolated between tables.
MOST_AIRS = 8
DENSITY_NODES, VISCOSITY_NODES = 5, 3


@dataclass(frozen=True)
class AirNodes:
    """Densities and viscosities whose tables a study needs.

    Attributes
    ----------
    pairs : list of (float, float)
        Density, kg/m^3, and viscosity, Pa s, of each table.
    density, viscosity : ndarray
        Nodes of a grid between which tables are interpolated, or empty where every air has its own table.
    """

    pairs: list[tuple[float, float]]
    density: Array
    viscosity: Array

    @classmethod
    def of(cls, air: Air) -> "AirNodes":
        """Choose the tables for the airs of a study's drives."""
        pairs = np.unique(np.column_stack([air.density_kg_m3, air.viscosity_pa_s]), axis=0)
        if len(pairs) <= MOST_AIRS:
            return cls([(float(d), float(v)) for d, v in pairs], np.array([]), np.array([]))
        (d_lo, v_lo), (d_hi, v_hi) = pairs.min(axis=0), pairs.max(axis=0)
        density, viscosity = _chebyshev(d_lo, d_hi, DENSITY_NODES), _chebyshev(v_lo, v_hi, VISCOSITY_NODES)
        grid = [(float(d), float(v)) for d in density for v in viscosity]
        return cls(grid, density, viscosity)


def _chebyshev(lo: float, hi: float, count: int) -> Array:
    """Give Chebyshev's points with both ends; one point where there is no width."""
    if hi - lo < 1e-9 * hi:
        return np.array([lo])
    return np.asarray((lo + hi) / 2 - (hi - lo) / 2 * np.cos(np.pi * np.arange(count) / (count - 1)))


def _lagrange(nodes: Array, x: Array) -> Array:
    """Give each node's Lagrange polynomial at x, shape (nodes, n)."""
    weights = np.ones((len(nodes), len(x)))
    for i, node in enumerate(nodes):
        for j, other in enumerate(nodes):
            if i != j:
                weights[i] *= (x - other) / (node - other)
    return weights


@dataclass(frozen=True)
class StudyTables:
    """The standard air's table and those of the airs in which a study's drives were hit."""

    standard: FlightTable
    nodes: AirNodes
    tables: list[FlightTable]

    @classmethod
    def build(
        cls,
        ball: Ball,
        standard: tuple[float, float],
        nodes: AirNodes,
        known: Mapping[str, FlightTable] = MappingProxyType({}),
    ) -> "StudyTables":
        """Fly all grids that aren't known, by their keys; about a second each."""
        pairs = sorted({standard, *nodes.pairs})
        made = {pair: table for pair in pairs if (table := known.get(table_key(ball, *pair)))}
        new = [pair for pair in pairs if pair not in made]
        made |= zip(new, FlightTable.build_each(ball, new), strict=True)
        return cls(made[standard], nodes, [made[pair] for pair in nodes.pairs])

    @cached_property
    def by_key(self) -> dict[str, FlightTable]:
        """All tables by a digest of what each depends on: its ball and its air."""
        return {table.key: table for table in (self.standard, *self.tables)}

    def carry_as_hit_m(self, shots: tuple[Array, Array, Array], air: Air, wind_along_mps: Array) -> Array:
        """Give carry in each shot's own air and wind, m, shape (n,).

        Parameters
        ----------
        shots : tuple of ndarray
            Ball speed, m/s, launch, deg, spin, rpm.
        air : Air
            One of the airs of `nodes` each, or inside their grid.
        wind_along_mps : ndarray, shape (n,)
        """
        if len(self.nodes.density) == 0:
            return self._own_tables(shots, air, wind_along_mps)
        d = _lagrange(self.nodes.density, air.density_kg_m3)
        v = _lagrange(self.nodes.viscosity, air.viscosity_pa_s)
        share = (d[:, None, :] * v[None, :, :]).reshape(len(self.tables), -1)
        carries = [table.carry_m(*shots, wind_along_mps) for table in self.tables]
        return np.asarray(sum(w * carry for w, carry in zip(share, carries, strict=True)))

    def _own_tables(self, shots: tuple[Array, Array, Array], air: Air, wind_along_mps: Array) -> Array:
        carry = np.empty(len(wind_along_mps))
        for pair, table in zip(self.nodes.pairs, self.tables, strict=True):
            here = (air.density_kg_m3 == pair[0]) & (air.viscosity_pa_s == pair[1])
            speed, launch, spin = (part[here] for part in shots)
            carry[here] = table.carry_m(speed, launch, spin, wind_along_mps[here])
        return carry

    def to_arrays(self) -> dict[str, Any]:
        """Give the tables as arrays by name, for a file."""
        arrays: dict[str, Any] = {"density": self.nodes.density, "viscosity": self.nodes.viscosity}
        for name, table in zip(self._names(len(self.tables)), (self.standard, *self.tables), strict=True):
            arrays |= {f"{name}_{part}": value for part, value in table.to_arrays().items()}
        return arrays

    @classmethod
    def from_arrays(cls, arrays: dict[str, Any]) -> "StudyTables":
        """Rebuild what `to_arrays` gave."""
        count = sum(name.endswith("_about") for name in arrays) - 1
        standard, *tables = (
            FlightTable.from_arrays({part: arrays[f"{name}_{part}"] for part in ("splines", "about")})
            for name in cls._names(count)
        )
        pairs = [(table.density_kg_m3, table.viscosity_pa_s) for table in tables]
        return cls(standard, AirNodes(pairs, arrays["density"], arrays["viscosity"]), tables)

    @staticmethod
    def _names(count: int) -> list[str]:
        return ["standard", *(f"air{index}" for index in range(count))]


def standard_pair(standard: StandardAir) -> tuple[float, float]:
    """Give density, kg/m^3, and viscosity, Pa s, of a study's standard air."""
    air = Air.of(np.array(standard.temp_c), np.array(standard.pressure_hpa * 100), np.array(standard.humidity))
    return float(air.density_kg_m3), float(air.viscosity_pa_s)


class StandardFlight(NamedTuple):
    """Flight of drives at standard conditions beside flight as hit; each of shape (n,).

    Attributes
    ----------
    change_yd : ndarray
        Yards to add to carry: flight at standard conditions, calm, minus flight as hit; with the same spin axis.
    flown_yd : ndarray
        Flight at standard conditions, straight ahead.
    curve_yd : ndarray
        Flight at standard conditions straight ahead less that with the drive's spin axis; NaN where it isn't known.
    """

    change_yd: Array
    flown_yd: Array
    curve_yd: Array


def standard_flight(
    drives: pl.DataFrame, tables: StudyTables, standard_temp_c: float, standard_pressure_hpa: float, ratio: float
) -> StandardFlight:
    """Work out what moves each drive's carry to standard conditions, and its flight there.

    Parameters
    ----------
    drives : DataFrame
        club_speed_mph, ball_speed_mph, launch_deg, spin_rpm and the air columns; `SIDE_COLUMNS` as far as there are.
    tables : StudyTables
    standard_temp_c, standard_pressure_hpa : float
        As for `air_of_drives`.
    ratio : float
        Ball over club speed where a drive has no ball speed.
    """
    air, wind = air_of_drives(drives, standard_temp_c, standard_pressure_hpa)
    club = drives.get_column("club_speed_mph").to_numpy()
    ball = drives.get_column("ball_speed_mph").cast(pl.Float64).to_numpy()
    speed = np.where(np.isnan(ball), club * ratio, ball) * MPS_PER_MPH
    shots = (speed, drives.get_column("launch_deg").to_numpy(), drives.get_column("spin_rpm").to_numpy())
    calm = tables.standard
    flown = calm.carry_m(*shots) / METRES_PER_YARD
    straight = flown - tables.carry_as_hit_m(shots, air, wind) / METRES_PER_YARD
    bent, curve = side_motion(shots, Sideways.of(drives), calm.ball, air, wind, calm.air)
    return StandardFlight(straight + bent / METRES_PER_YARD, flown, curve / METRES_PER_YARD)


def with_change(
    drives: pl.DataFrame, tables: StudyTables, standard_temp_c: float, standard_pressure_hpa: float, ratio: float
) -> pl.DataFrame:
    """Give `row` of each drive, and carry_change_yd, flown_yd and curve_yd (null where it isn't known).

    Parameters are those of `standard_flight`.
    """
    found = standard_flight(drives, tables, standard_temp_c, standard_pressure_hpa, ratio)
    return drives.select(
        "row",
        pl.Series("carry_change_yd", found.change_yd),
        pl.Series("flown_yd", found.flown_yd),
        pl.Series("curve_yd", found.curve_yd, pl.Float64).fill_nan(None),
    )
