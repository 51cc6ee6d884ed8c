"""The frontier: what is efficient at every club speed, and which drives near it a figure may speak of.

Lookups, golfers, goals, advice and pages all ask this one table; frontier.json is its dump, and the coach's page works
on that.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.benchmark.drives_near import INSIDE, DrivesNear
from pipeline.benchmark.window import Window
from pipeline.fit.model import Delivery
from pipeline.statistics.arrays import Array

HALF_GRID_MPH = 0.5  # a club speed farther than this from every grid speed is out of reach
_ROUNDING = 1e-9

WINDOW_EDGES = ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")

# Why there is no answer; the coach's page fills in the same sentences.
REFUSALS = {
    "no_benchmarks": "No answer: this academy has too few golfers at any club speed for a benchmark.",
    "beyond": "No answer at {speed} mph. This academy's drives run from {lo} to {hi} mph.",
    "gap": "No answer at {speed} mph: too few golfers here have about that club speed.",
    "delivery": "No answer: hardly any drive near {speed} mph launches at {launch} deg with {spin} rpm of spin. "
    "Usual are {usual_launch} deg and {usual_spin} rpm.",
    "ratio": "No answer: a ball speed of {ball} mph is {ratio} times the club speed. "
    "Drives near {speed} mph have {ratio_lo} to {ratio_hi}.",
}


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
    moved_share : float
        Standard error of a drive's move to standard conditions, as a share of the move: flight coefficient sets differ.
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
    moved_share: float = 0.0

    def __post_init__(self) -> None:
        columns = (*vars(self).values(), *vars(self.near).values())
        if any(len(column) != len(self.speed_mph) for column in columns if isinstance(column, np.ndarray)):
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

    def window_at(self, club_speed_mph: float) -> Window | None:
        """Give the efficient window at a club speed; None where there is none."""
        edges = [float(self.at(name, club_speed_mph)) for name in WINDOW_EDGES]
        return None if np.isnan(edges).any() else Window(*edges)

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
        return there & self._in_ellipse(place, drives) & self._in_ratios(place, drives.speed_ratio)

    def _in_ellipse(self, place: npt.NDArray[np.int64], drives: Delivery) -> npt.NDArray[np.bool_]:
        step = np.stack([drives.launch_deg, drives.spin_rpm], axis=-1) - self.near.mean[place]
        return np.asarray(np.einsum("...i,...ij,...j->...", step, self.near.inverse[place], step) <= INSIDE)

    def _in_ratios(self, place: npt.NDArray[np.int64], ratio: Array) -> npt.NDArray[np.bool_]:
        lo, hi = self.near.ratio_lo[place], self.near.ratio_hi[place]
        return np.asarray(np.isnan(ratio) | np.isnan(lo) | ((ratio >= lo) & (ratio <= hi)))

    def refusal(self, delivery: Delivery) -> str | None:
        """Say why a single drive gets no answer; None where it does."""
        speed = float(delivery.club_speed_mph)
        if len(self.speed_mph) == 0:
            return REFUSALS["no_benchmarks"]
        if not self.reaches(speed):
            lo, hi = float(self.speed_mph[0]), float(self.speed_mph[-1])
            kind = "gap" if lo <= speed <= hi else "beyond"
            return REFUSALS[kind].format(speed=f"{speed:g}", lo=f"{lo:g}", hi=f"{hi:g}")
        place, ratio = self.nearest(speed), float(delivery.speed_ratio)
        if not self._in_ellipse(place, delivery):
            return REFUSALS["delivery"].format(
                speed=f"{speed:g}",
                launch=f"{float(delivery.launch_deg):.1f}",
                spin=f"{float(delivery.spin_rpm):,.0f}",
                usual_launch=f"{self.near.mean[place, 0]:.1f}",
                usual_spin=f"{self.near.mean[place, 1]:,.0f}",
            )
        if self._in_ratios(place, delivery.speed_ratio):
            return None
        return REFUSALS["ratio"].format(
            speed=f"{speed:g}",
            ball=f"{speed * ratio:.6g}",
            ratio=f"{ratio:.2f}",
            ratio_lo=f"{self.near.ratio_lo[place]:.2f}",
            ratio_hi=f"{self.near.ratio_hi[place]:.2f}",
        )
