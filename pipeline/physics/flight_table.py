"""A table of flights: carry and landing state of straight shots, interpolated from a grid that is flown once.

A table belongs to one ball and one air, calm. Steady wind along the shot needs no table of its own: seen from the
moving air it is calm, so a shot in wind is a calm shot with the wind taken off its launch velocity, carried along by
the wind for its time of flight.
"""

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import BLOCK, Launch, Wind, fly
from pipeline.statistics.arrays import Array
from pipeline.threads import apart

# The domain: (first, last, number of grid points). Spin's axis is the root of the rpm, since flight changes fastest
# where spin is low. Shots outside are flown one by one.
SPEED_MPS = (20.0, 92.0, 61)
LAUNCH_DEG = (4.0, 32.0, 33)
ROOT_SPIN = (np.sqrt(500.0), np.sqrt(8000.0), 51)
AXES = (SPEED_MPS, LAUNCH_DEG, ROOT_SPIN)
OUTPUTS = ("carry_m", "time_s", "speed_mps", "descent_deg", "spin_rpm")


@dataclass(frozen=True)
class FlightTable:
    """Cubic splines over speed, launch and root of spin.

    Attributes
    ----------
    ball : Ball
    density_kg_m3, viscosity_pa_s : float
        Of the air.
    splines : ndarray, shape (outputs, 63, 35, 53)
        Coefficients of uniform cubic B-splines.
    """

    ball: Ball
    density_kg_m3: float
    viscosity_pa_s: float
    splines: Array

    @classmethod
    def build(cls, ball: Ball, density_kg_m3: float, viscosity_pa_s: float) -> "FlightTable":
        """Fly the grid, about 100,000 shots."""
        return cls.build_each(ball, [(density_kg_m3, viscosity_pa_s)])[0]

    @classmethod
    def build_each(cls, ball: Ball, airs: Sequence[tuple[float, float]]) -> list["FlightTable"]:
        """Fly the grid in several airs, each a density, kg/m^3, and a viscosity, Pa s; in two processes if it may."""
        shape = tuple(count for *_, count in AXES)
        firsts = range(0, math.prod(shape), BLOCK)
        pieces = [(ball, *air, first) for air in airs for first in firsts]
        flown = iter(apart(_fly_block_of_grid, pieces))
        grids = [np.hstack([next(flown) for _ in firsts]).reshape(-1, *shape) for _ in airs]
        return [cls(ball, *air, _splines(grid)) for air, grid in zip(airs, grids, strict=True)]

    @cached_property
    def key(self) -> str:
        """Digest of everything that the table depends on."""
        return table_key(self.ball, self.density_kg_m3, self.viscosity_pa_s)

    @property
    def air(self) -> Air:
        """The table's air."""
        return Air(np.asarray(self.density_kg_m3), np.asarray(self.viscosity_pa_s))

    def holds(self, speed_mps: Array, launch_deg: Array, spin_rpm: Array) -> npt.NDArray[np.bool_]:
        """Mark the shots inside the table's domain, shape (n,)."""
        root = np.sqrt(np.maximum(spin_rpm, 0.0))
        inside = [(x >= lo) & (x <= hi) for x, (lo, hi, _) in zip((speed_mps, launch_deg, root), AXES, strict=True)]
        return np.asarray(inside[0] & inside[1] & inside[2])

    def look_up(
        self, speed_mps: Array, launch_deg: Array, spin_rpm: Array, outputs: tuple[str, ...] = OUTPUTS
    ) -> Array:
        """Interpolate outputs for calm shots inside the domain.

        Parameters
        ----------
        speed_mps, launch_deg, spin_rpm : ndarray, shape (n,)
        outputs : tuple of str
            Names from `OUTPUTS`.

        Returns
        -------
        ndarray, shape (len(outputs), n)
            Outside the domain values are meaningless; ask `holds` first.
        """
        # Imported here, since a lookup outside the domain need not pay for it.
        from scipy import ndimage

        # Coefficient k + 1 belongs to grid point k, since one more stands at each end.
        places = [
            (x - lo) * ((count - 1) / (hi - lo)) + 1
            for x, (lo, hi, count) in zip((speed_mps, launch_deg, np.sqrt(spin_rpm)), AXES, strict=True)
        ]
        at = np.stack(places)
        value: Any = ndimage.map_coordinates  # type: ignore[attr-defined]  # scipy declares no types here
        chosen = [self.splines[OUTPUTS.index(name)] for name in outputs]
        return np.stack([value(part, at, order=3, prefilter=False) for part in chosen])

    def fly(self, speed_mps: Array, launch_deg: Array, spin_rpm: Array, wind_along_mps: Array | float = 0.0) -> Array:
        """Give carry and landing state of straight shots in wind along the line.

        Parameters
        ----------
        speed_mps, launch_deg, spin_rpm : ndarray, shape (n,)
        wind_along_mps : ndarray or float
            Tail wind positive.

        Returns
        -------
        ndarray, shape (5, n)
            In the order of `OUTPUTS`; speed and descent are over the ground. Shots outside the domain are flown.
        """
        return self._answer((speed_mps, launch_deg, spin_rpm), wind_along_mps, OUTPUTS)

    def carry_m(
        self, speed_mps: Array, launch_deg: Array, spin_rpm: Array, wind_along_mps: Array | float = 0.0
    ) -> Array:
        """Give carry alone, m, shape (n,); see `fly`."""
        outputs = ("carry_m", "time_s") if np.any(wind_along_mps) else ("carry_m",)
        return np.asarray(self._answer((speed_mps, launch_deg, spin_rpm), wind_along_mps, outputs)[0])

    def land(self, speed_mps: Array, launch_deg: Array, spin_rpm: Array) -> Array:
        """Give the landing state alone, in calm air, shape (3, n): speed, descent and spin; see `fly`."""
        return self._answer((speed_mps, launch_deg, spin_rpm), 0.0, OUTPUTS[2:])

    def _answer(
        self, shots: tuple[Array, Array, Array], wind_along_mps: Array | float, outputs: tuple[str, ...]
    ) -> Array:
        calm = not np.any(wind_along_mps)
        wind = np.broadcast_to(np.asarray(wind_along_mps, dtype=float), shots[0].shape)
        seen = shots if calm else _seen_from_the_air(*shots, wind)
        inside = self.holds(*seen)
        if inside.all():
            found = self.look_up(*seen, outputs)
            return found if calm else _over_ground(found, wind)
        out = np.empty((len(outputs), len(wind)))
        if inside.any():
            speed, launch, spin = (part[inside] for part in seen)
            found = self.look_up(speed, launch, spin, outputs)
            out[:, inside] = found if calm else _over_ground(found, wind[inside])
        away = ~inside
        launches = Launch.straight(*(part[away] for part in shots))
        flown = fly(launches, self.ball, self.air, Wind(along_mps=wind[away]))
        out[:, away] = np.stack([getattr(flown, name) for name in outputs])
        return out

    def to_arrays(self) -> dict[str, Any]:
        """Give the table as arrays by name, for a file."""
        return {"splines": self.splines, "about": np.array(json.dumps(self._about(), sort_keys=True))}

    def _about(self) -> dict[str, Any]:
        return _about(self.ball, self.density_kg_m3, self.viscosity_pa_s)

    @classmethod
    def from_arrays(cls, arrays: dict[str, Any]) -> "FlightTable":
        """Rebuild what `to_arrays` gave.

        Raises
        ------
        ValueError
            If the table was built over another grid.
        """
        about = json.loads(str(arrays["about"]))
        table = cls(Ball(**about["ball"]), about["density_kg_m3"], about["viscosity_pa_s"], arrays["splines"])
        if table._about() != about:
            raise ValueError("the table was built over another grid")
        return table


def _about(ball: Ball, density_kg_m3: float, viscosity_pa_s: float) -> dict[str, Any]:
    return {
        "ball": asdict(ball),
        "density_kg_m3": density_kg_m3,
        "viscosity_pa_s": viscosity_pa_s,
        "axes": [[float(x) for x in axis] for axis in AXES],
        "outputs": list(OUTPUTS),
    }


def table_key(ball: Ball, density_kg_m3: float, viscosity_pa_s: float) -> str:
    """Digest everything that a table depends on: ball, air, grid and outputs."""
    text = json.dumps(_about(ball, density_kg_m3, viscosity_pa_s), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _fly_block_of_grid(piece: tuple[Ball, float, float, int]) -> Array:
    """Fly a block of the grid in a ball's air from the shot of a number on; shape (5, at most BLOCK)."""
    ball, density_kg_m3, viscosity_pa_s, first = piece
    axes = [np.linspace(*axis) for axis in AXES]
    speed, launch, root = (part.ravel()[first : first + BLOCK] for part in np.meshgrid(*axes, indexing="ij"))
    air = Air(np.asarray(density_kg_m3), np.asarray(viscosity_pa_s))
    landing = fly(Launch.straight(speed, launch, root**2), ball, air)
    return np.stack([getattr(landing, name) for name in OUTPUTS])


def _splines(values: Array) -> Array:
    """Give the coefficients of the splines through outputs on the grid, shape (5, 61, 33, 51)."""
    for axis in (1, 2, 3):
        values = spline_coefficients(values, axis)
    return values


def spline_coefficients(values: Array, axis: int) -> Array:
    """Give the coefficients of the uniform cubic B-spline through values along one axis.

    Parameters
    ----------
    values : ndarray
        At least five evenly spaced values along `axis`.
    axis : int

    Returns
    -------
    ndarray
        Two longer along `axis`. The ends are not-a-knot: the outermost two intervals are one cubic each.
    """
    moved = np.moveaxis(values, axis, 0)
    n = len(moved)
    system = np.zeros((n + 2, n + 2))
    rows = np.arange(n)
    for offset, weight in enumerate((1 / 6, 4 / 6, 1 / 6)):
        system[rows + 1, rows + offset] = weight
    system[0, :5] = system[-1, -5:] = (1, -4, 6, -4, 1)
    right = np.zeros((n + 2, *moved.shape[1:]))
    right[1:-1] = moved
    solved = np.linalg.solve(system, right.reshape(n + 2, -1)).reshape(right.shape)
    return np.ascontiguousarray(np.moveaxis(solved, 0, axis), dtype=np.float64)


def _seen_from_the_air(speed_mps: Array, launch_deg: Array, spin_rpm: Array, wind: Array) -> tuple[Array, Array, Array]:
    """Take the wind off the launch velocity."""
    rise = np.radians(launch_deg)
    flat, up = speed_mps * np.cos(rise) - wind, speed_mps * np.sin(rise)
    return np.hypot(flat, up), np.degrees(np.arctan2(up, flat)), spin_rpm


def _over_ground(calm: Array, wind: Array) -> Array:
    """Turn landings seen from the moving air into ones seen from the ground: all outputs, or carry and time alone."""
    carry, time, *state = calm
    if not state:
        return np.stack([np.abs(carry + wind * time), time])
    speed, descent, spin = state
    fall = np.radians(descent)
    flat, down = speed * np.cos(fall) + wind, speed * np.sin(fall)
    return np.stack(
        [np.abs(carry + wind * time), time, np.hypot(flat, down), np.degrees(np.arctan2(down, np.abs(flat))), spin]
    )
