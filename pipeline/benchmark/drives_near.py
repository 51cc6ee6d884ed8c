"""How far the drives of a study reach: the deliveries and speed ratios near each club speed that a fit may speak of."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.support import kernel_weights
from pipeline.drives import Drives
from pipeline.statistics.arrays import Array

# 99 % point of chi-squared with two degrees of freedom: -2 ln 0.01.
INSIDE = 9.21034037197618
RATIO_SDS = 3.5


@dataclass(frozen=True)
class Reach:
    """Means and spreads of the drives near one club speed.

    Attributes
    ----------
    mean : tuple of float
        Launch, deg, and spin, rpm.
    inverse : tuple of tuple of float
        Inverse of their covariance.
    ratio_lo, ratio_hi : float or None
        Speed ratios that the drives reach; None where ball speed is not known.
    """

    mean: tuple[float, float]
    inverse: tuple[tuple[float, float], tuple[float, float]]
    ratio_lo: float | None
    ratio_hi: float | None

    def holds(self, launch_deg: float, spin_rpm: float) -> bool:
        """Say whether a delivery lies in the ellipse that would hold 99 % of normally scattered drives."""
        step = np.array([launch_deg - self.mean[0], spin_rpm - self.mean[1]])
        return bool(step @ np.array(self.inverse) @ step <= INSIDE)

    @classmethod
    def from_dict(cls, raw: dict[str, Any]) -> "Reach":
        """Rebuild from the plain values of `vars`."""
        a, b = raw["inverse"]
        return cls((raw["mean"][0], raw["mean"][1]), ((a[0], a[1]), (b[0], b[1])), raw["ratio_lo"], raw["ratio_hi"])


def reach_at(drives: pl.DataFrame | Drives, speeds_mph: Array, half_width_mph: float) -> list[Reach]:
    """Work out the reach at several club speeds.

    Parameters
    ----------
    drives : DataFrame or Drives
        The drives of the fit: club_speed_mph, ball_speed_mph, launch_deg, spin_rpm.
    speeds_mph : ndarray, shape (n,)
    half_width_mph : float
        Standard deviation of the kernel over speed.

    Returns
    -------
    list of Reach
        One a speed. Drives are summed by whole mph first, so that the cost doesn't grow with their number.
    """
    sums = Drives.of(drives).gathered(_sums).group_by("mph", maintain_order=True).sum().sort("mph")
    mph = sums.get_column("mph").to_numpy()
    columns = sums.drop("mph").to_numpy().astype(float)
    return [_reach(kernel_weights(mph, float(v), half_width_mph) @ columns) for v in speeds_mph]


def _sums(drives: pl.DataFrame) -> pl.DataFrame:
    ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")
    l, p = pl.col("launch_deg"), pl.col("spin_rpm")
    return drives.group_by(pl.col("club_speed_mph").round().alias("mph"), maintain_order=True).agg(
        pl.len().alias("n"),
        l.sum().alias("l"),
        p.sum().alias("p"),
        (l * l).sum().alias("ll"),
        (l * p).sum().alias("lp"),
        (p * p).sum().alias("pp"),
        ratio.count().alias("rn"),
        ratio.sum().alias("r"),
        (ratio * ratio).sum().alias("rr"),
    )


def _reach(sums: Array) -> Reach:
    n, l, p, ll, lp, pp, rn, r, rr = sums
    mean_l, mean_p = l / n, p / n
    cross = lp / n - mean_l * mean_p
    # A floor of the reading errors keeps the ellipse from closing where all drives are alike.
    covariance = np.array([[max(ll / n - mean_l**2, 0.09), cross], [cross, max(pp / n - mean_p**2, 80.0**2)]])
    a, b = np.linalg.inv(covariance).tolist()
    lo = hi = None
    if rn > 0:
        mean_r = r / rn
        sd = np.sqrt(max(rr / rn - mean_r**2, 0.0))
        lo, hi = float(mean_r - RATIO_SDS * sd), float(mean_r + RATIO_SDS * sd)
    return Reach((float(mean_l), float(mean_p)), ((a[0], a[1]), (b[0], b[1])), lo, hi)
