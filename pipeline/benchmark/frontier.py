"""The frontier: what is efficient at every club speed, and which drives near it a figure may speak of.

Lookups, golfers, goals, advice and pages all ask this one table; frontier.json is its dump, and the coach's page works
on that.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from pipeline.benchmark.drives_near import INSIDE, DrivesNear
from pipeline.benchmark.reach import Reach
from pipeline.benchmark.refusals import Refusal
from pipeline.benchmark.window import Window
from pipeline.fit.model import Delivery
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.statistics.arrays import Array

HALF_GRID_MPH = 0.5  # a club speed farther than this from every grid speed is out of reach
_ROUNDING = 1e-9

WINDOW_EDGES = ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")


@dataclass(frozen=True)
class Frontier:
    """What is efficient at n club speeds; all arrays of shape (n,).

    Attributes
    ----------
    study : str
    air : dict of str to float
        Standard conditions: temp_c, pressure_hpa, humidity.
    turf : str
        Firmness of the fairway.
    model_file : str
        Path of the model that it was made with, from the study's results.
    speed_mph : ndarray
        Rising.
    carry_yd, lo90_yd, hi90_yd, std_error_yd, freedom : ndarray
        Efficient carry, its 90 % interval, its standard error and the degrees of freedom of the interval's Student's t.
    launch_deg, spin_rpm : ndarray
        The delivery that gives it.
    golfers : ndarray
        Weight of the golfers behind it.
    total_yd, total_launch_deg, total_spin_rpm : ndarray
        The largest carry and roll together, and the delivery that gives it.
    launch_lo_deg, launch_hi_deg, spin_lo_rpm, spin_hi_rpm : ndarray
        The efficient window; NaN where there is none. With `total_` before the name the one for carry and roll.
    near : DrivesNear
        Where the drives near each speed lie.
    reach : Reach
        The reachable deliveries at each speed.
    tolerance_yd : float
        How far below efficient carry the window reaches.
    moved_share : float
        Standard error of a drive's move to standard conditions, as a share of the move: flight coefficient sets differ.
    units : str
        What pages and commands show first: yards or metres.
    strike : float
        Share of golfers about a club speed whose speed ratio is below that of its efficient drive: that of the model.
    """

    study: str
    air: dict[str, float]
    turf: str
    model_file: str
    speed_mph: Array
    carry_yd: Array
    lo90_yd: Array
    hi90_yd: Array
    std_error_yd: Array
    freedom: Array
    launch_deg: Array
    spin_rpm: Array
    golfers: Array
    total_yd: Array
    total_launch_deg: Array
    total_spin_rpm: Array
    launch_lo_deg: Array
    launch_hi_deg: Array
    spin_lo_rpm: Array
    spin_hi_rpm: Array
    total_launch_lo_deg: Array
    total_launch_hi_deg: Array
    total_spin_lo_rpm: Array
    total_spin_hi_rpm: Array
    near: DrivesNear
    reach: Reach
    tolerance_yd: float
    moved_share: float = 0.0
    units: Literal["yards", "metres"] = "yards"
    strike: float = UsualDelivery.strike

    def __post_init__(self) -> None:
        columns = (*vars(self).values(), *vars(self.near).values())
        lengths = {len(column) for column in (*columns, self.reach.doubt_yd) if isinstance(column, np.ndarray)}
        if lengths != {len(self.speed_mph)}:
            raise ValueError("columns of one length are needed")

    def reaches(self, club_speed_mph: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Say which club speeds the benchmarks reach, in their shape; NaN is none."""
        speed, grid = np.asarray(club_speed_mph, dtype=float), self.speed_mph
        if len(grid) == 0:
            return np.zeros(speed.shape, dtype=bool)
        gap = np.abs(grid[self.nearest(speed)] - speed)
        return np.asarray((speed >= grid[0]) & (speed <= grid[-1]) & (gap <= HALF_GRID_MPH + _ROUNDING))

    def nearest(self, club_speed_mph: npt.ArrayLike) -> npt.NDArray[np.int64]:
        """Give the place of the grid speed next to each club speed, the slower of two as near."""
        speed, grid = np.nan_to_num(np.asarray(club_speed_mph, dtype=float)), self.speed_mph
        after = np.searchsorted(grid, speed).clip(0, len(grid) - 1)
        before = (after - 1).clip(0)
        return np.asarray(np.where(np.abs(grid[after] - speed) < np.abs(grid[before] - speed), after, before))

    def at(self, values: str | Array, club_speed_mph: npt.ArrayLike) -> Array:
        """Interpolate a column, by name, or values over the grid at club speeds; NaN out of reach."""
        speed = np.asarray(club_speed_mph, dtype=float)
        if len(self.speed_mph) == 0:
            return np.full(speed.shape, np.nan)
        column = getattr(self, values) if isinstance(values, str) else values
        return np.where(self.reaches(speed), np.interp(speed, self.speed_mph, column), np.nan)

    def carry_beyond(self, club_speed_mph: Array) -> Array:
        """Give efficient carry at club speeds, yd; beyond the ends of the grid that of the end, 0 without any grid."""
        if len(self.speed_mph) == 0:
            return np.zeros(club_speed_mph.shape)
        return np.interp(club_speed_mph, self.speed_mph, self.carry_yd)

    def slope_at(self, values: Array, club_speed_mph: Array) -> Array:
        """Give how values over the grid go with club speed, per mph; NaN out of reach, 0 on a grid of one speed."""
        if len(self.speed_mph) < 2:
            return np.zeros(club_speed_mph.shape)
        return self.at(np.gradient(values, self.speed_mph), club_speed_mph)

    def about(self, club_speed_mph: npt.ArrayLike) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Give the places of the grid speeds at or below and at or above club speeds that the benchmarks reach."""
        speed = np.nan_to_num(np.asarray(club_speed_mph, dtype=float))
        above = np.searchsorted(self.speed_mph, speed).clip(0, len(self.speed_mph) - 1)
        below = np.where(self.speed_mph[above] > speed, above - 1, above).clip(0)
        return below, above

    def window_at(self, club_speed_mph: float, kind: str = "") -> Window | None:
        """Give the efficient window at a club speed; None where there is none.

        Between two grid speeds it is what their windows share: a drive inside is within the tolerance at both. `kind`
        is "total_" for the window of carry and roll.
        """
        return self.windows_at(np.array([club_speed_mph]), kind)[0]

    def windows_at(self, club_speed_mph: Array, kind: str = "") -> list[Window | None]:
        """Give the window at each of some club speeds; see `window_at`."""
        if len(self.speed_mph) == 0:
            return [None] * len(club_speed_mph)
        below, above = self.about(club_speed_mph)
        columns = [getattr(self, f"{kind}{name}") for name in WINDOW_EDGES]
        narrower = (np.maximum, np.minimum) * 2
        edges = [inner(column[below], column[above]) for inner, column in zip(narrower, columns, strict=True)]
        # The edge of a speed without a window is NaN, which nothing is above or below.
        there = self.reaches(club_speed_mph) & (edges[0] < edges[1]) & (edges[2] < edges[3])
        rows = np.stack(edges, axis=1).tolist()
        return [Window(*row) if known else None for row, known in zip(rows, there.tolist(), strict=True)]

    def best_delivery(self, club_speed_mph: npt.ArrayLike, speed_ratio: npt.ArrayLike) -> Delivery:
        """Give the delivery of efficient carry at club speeds, struck with given ratios."""
        speed = np.asarray(club_speed_mph, dtype=float)
        ratio = np.asarray(speed_ratio, dtype=float)
        return Delivery(speed, ratio, self.at("launch_deg", speed), self.at("spin_rpm", speed))

    def holds(self, delivery: Delivery) -> npt.NDArray[np.bool_]:
        """Say whether drives near their club speed have such deliveries, in the broadcast shape.

        A ratio that isn't known passes; a club speed that the benchmarks don't reach doesn't.
        """
        drives = delivery.broadcast()
        there = self.reaches(drives.club_speed_mph)
        if not there.any():
            return there
        place = self.nearest(drives.club_speed_mph)
        known = self._in_ellipse(place, drives) | self.reachable(drives)
        return there & known & self._in_ratios(place, drives.speed_ratio)

    def reachable(self, delivery: Delivery) -> npt.NDArray[np.bool_]:
        """Say whether golfers of about their club speed really produce such deliveries, in the broadcast shape.

        Between two grid speeds both have to reach it.
        """
        drives = delivery.broadcast()
        if len(self.speed_mph) == 0:
            return np.zeros(drives.club_speed_mph.shape, dtype=bool)
        found = self.reaches(drives.club_speed_mph)
        for place in self.about(drives.club_speed_mph):
            found = found & self.reach.holds(place, drives.launch_deg, drives.spin_rpm)
        return found

    def _in_ellipse(self, place: npt.NDArray[np.int64], drives: Delivery) -> npt.NDArray[np.bool_]:
        step = np.stack([drives.launch_deg, drives.spin_rpm], axis=-1) - self.near.mean[place]
        return np.asarray(np.einsum("...i,...ij,...j->...", step, self.near.inverse[place], step) <= INSIDE)

    def _in_ratios(self, place: npt.NDArray[np.int64], ratio: Array) -> npt.NDArray[np.bool_]:
        lo, hi = self.near.ratio_lo[place], self.near.ratio_hi[place]
        return np.asarray(np.isnan(ratio) | np.isnan(lo) | ((ratio >= lo) & (ratio <= hi)))

    def refusal(self, drive: Delivery, usual: Delivery) -> Refusal | None:
        """Say why a single drive gets no answer; None where it does.

        Parameters
        ----------
        drive : Delivery
        usual : Delivery
            The usual drive at its club speed, which the sentence names.
        """
        speed = float(drive.club_speed_mph)
        if len(self.speed_mph) == 0:
            return Refusal("no_benchmarks", {})
        if not self.reaches(speed):
            lo, hi = float(self.speed_mph[0]), float(self.speed_mph[-1])
            if lo <= speed <= hi:
                return Refusal("gap", {"speed_mph": speed})
            return Refusal("beyond", {"speed_mph": speed, "lo_mph": lo, "hi_mph": hi})
        place, ratio = self.nearest(speed), float(drive.speed_ratio)
        if not (self._in_ellipse(place, drive) or self.reachable(drive)):
            parts = {"launch_deg": drive.launch_deg, "spin_rpm": drive.spin_rpm}
            parts |= {"usual_launch_deg": usual.launch_deg, "usual_spin_rpm": usual.spin_rpm}
            return Refusal("delivery", {"speed_mph": speed} | {name: float(value) for name, value in parts.items()})
        if self._in_ratios(place, drive.speed_ratio):
            return None
        ratios = {"lo_ratio": float(self.near.ratio_lo[place]), "hi_ratio": float(self.near.ratio_hi[place])}
        return Refusal("ratio", {"speed_mph": speed, "ball_mph": speed * ratio, "ratio": ratio, **ratios})
