"""A fitted carry model: predictions with an interval, and its form as JSON (numpy alone, quick to import)."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import inputs
from pipeline.fit.flight_surface import FlightSurface
from pipeline.fit.surface import Surface
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.statistics.arrays import Array

KNOWABLE = ("ball_speed", "launch", "spin")


def known_key(ball_speed: bool, launch: bool, spin: bool) -> str:
    """Name what is known of a drive beside its club speed, such as `launch+spin`, or `nothing`."""
    known = zip(KNOWABLE, (ball_speed, launch, spin), strict=True)
    return "+".join(name for name, is_known in known if is_known) or "nothing"


@dataclass(frozen=True)
class CarryModel:
    """Carry over speed, launch and spin at the reference device and ball.

    Attributes
    ----------
    surface : Surface
    coefficients : ndarray, shape (terms of the surface,)
    offsets : Offsets
    offset_yd : ndarray, shape (terms of the offsets,)
        What each device or ball adds to carry, yd.
    trends : UsualDelivery
    interval : dict
        For what is known (see `known_key`): lower and upper edge of the 90 % interval for one drive of a golfer
        who was not in the fit, as shares of the prediction, such as (-0.06, 0.05).
    better_share : float
        For a surface over club speed: how much farther than expected the better quarter of golfers carry, as a
        share of carry. It stands for their better strike, which ball speed would have shown; else nil.
    """

    surface: Surface | FlightSurface
    coefficients: Array
    offsets: Offsets
    offset_yd: Array
    trends: UsualDelivery
    interval: dict[str, tuple[float, float]]
    better_share: float = 0.0

    def carry(self, speed_mph: npt.ArrayLike, launch_deg: npt.ArrayLike, spin_rpm: npt.ArrayLike) -> Array:
        """Predict carry, yd, for the surface's own kind of speed; all of shape (n,)."""
        base, design = self.surface.base_and_design(speed_mph, launch_deg, spin_rpm)
        return np.asarray(base + design @ self.coefficients)

    def speed(self, club_speed_mph: npt.ArrayLike, speed_ratio: npt.ArrayLike | None = None) -> Array:
        """Give the speed that the surface takes, mph; without a ratio the usual one at that club speed."""
        club = np.asarray(club_speed_mph, dtype=float)
        if self.surface.speed == "club":
            return club
        if speed_ratio is not None:
            return np.asarray(club * np.asarray(speed_ratio, dtype=float))
        if self.trends.speed_ratio is None:
            raise ValueError("a surface over ball speed needs a trend of the speed ratio")
        return np.asarray(club * self.trends.speed_ratio(club))

    def better_speed(self, club_speed_mph: npt.ArrayLike) -> Array:
        """Give the speed when struck as the better quarter of golfers do, mph."""
        better = self.trends.better_ratio
        return self.speed(club_speed_mph, None if better is None else better(club_speed_mph))

    def with_interval(self, interval: dict[str, tuple[float, float]]) -> "CarryModel":
        """Give the same model with the edges of its interval."""
        return replace(self, interval=interval)

    def departure(self, drives: pl.DataFrame) -> Array:
        """Give each drive's carry over its expected carry, less 1, on the reference device and ball, shape (n,)."""
        measured = drives.get_column("carry_yd").to_numpy() - self.offsets.design(drives) @ self.offset_yd
        return np.asarray(measured / np.maximum(self.carry(*inputs(drives, self.surface.speed)), 1.0) - 1.0)

    def better_on_grid(self, club_speed_mph: float, launch_deg: Array, spin_rpm: Array) -> Array:
        """Predict carry over a launch and spin grid, yd, shape (m, n), struck as the better quarter of golfers do."""
        speed = float(self.better_speed(club_speed_mph))
        return self.surface.on_grid(self.coefficients, speed, launch_deg, spin_rpm) * (1 + self.better_share)

    def to_dict(self) -> dict[str, Any]:
        """Give plain values for JSON."""
        return {
            "surface": self.surface.to_dict(),
            "coefficients": self.coefficients.tolist(),
            "offsets": self.offsets.to_dict(),
            "offset_yd": self.offset_yd.tolist(),
            "trends": self.trends.to_dict(),
            "better_share": self.better_share,
            "interval": {key: list(edges) for key, edges in self.interval.items()},
        }

    @classmethod
    def from_dict(cls, raw: dict[str, Any]) -> "CarryModel":
        """Rebuild what `to_dict` gave."""
        return cls(
            _surface_from(raw["surface"]),
            np.array(raw["coefficients"], dtype=float),
            Offsets.from_dict(raw["offsets"]),
            np.array(raw["offset_yd"], dtype=float),
            UsualDelivery.from_dict(raw["trends"]),
            {key: (float(lo), float(hi)) for key, (lo, hi) in raw["interval"].items()},
            float(raw["better_share"]),
        )


def _surface_from(raw: dict[str, Any]) -> Surface | FlightSurface:
    return FlightSurface.from_dict(raw) if raw["kind"] == "flight" else Surface.from_dict(raw)
