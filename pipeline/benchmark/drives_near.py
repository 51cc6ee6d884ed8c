"""Where the drives near each club speed lie: the deliveries and speed ratios that a fit may speak of."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.benchmark.support import kernel_weights
from pipeline.drives import Drives
from pipeline.statistics.arrays import Array

# 99 % point of chi-squared with two degrees of freedom: -2 ln 0.01.
INSIDE = 9.21034037197618
RATIO_SDS = 3.5

# A floor of the reading errors keeps the ellipse from closing where all drives are alike.
LEAST_LAUNCH_SD_DEG, LEAST_SPIN_SD_RPM = 0.3, 80.0


@dataclass(frozen=True)
class DrivesNear:
    """Means and spreads of the drives near n club speeds.

    Attributes
    ----------
    mean : ndarray, shape (n, 2)
        Launch, deg, and spin, rpm.
    inverse : ndarray, shape (n, 2, 2)
        Inverse of their covariance: inside is the ellipse that would hold 99 % of normally scattered drives.
    ratio_lo, ratio_hi : ndarray, shape (n,)
        Speed ratios that the drives reach; NaN where ball speed isn't known.
    """

    mean: Array
    inverse: Array
    ratio_lo: Array
    ratio_hi: Array


def drives_near(drives: pl.DataFrame | Drives, speeds_mph: Array, half_width_mph: float) -> DrivesNear:
    """Work out where the drives near several club speeds lie.

    Parameters
    ----------
    drives : DataFrame or Drives
        The drives of the fit: club_speed_mph, ball_speed_mph, launch_deg, spin_rpm.
    speeds_mph : ndarray, shape (n,)
    half_width_mph : float
        Standard deviation of the kernel over speed.

    Notes
    -----
    Drives are summed by whole mph first, so that the cost doesn't grow with their number.
    """
    sums = Drives.of(drives).gathered(_sums).group_by("mph", maintain_order=True).sum().sort("mph")
    mph = sums.get_column("mph").to_numpy()
    columns = sums.drop("mph").to_numpy().astype(float)
    found = [_near(kernel_weights(mph, float(v), half_width_mph) @ columns) for v in speeds_mph]
    mean, inverse, lo, hi = zip(*found, strict=True) if found else ((), (), (), ())
    return DrivesNear(
        np.array(mean, dtype=float).reshape(-1, 2),
        np.array(inverse, dtype=float).reshape(-1, 2, 2),
        np.array(lo, dtype=float),
        np.array(hi, dtype=float),
    )


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


def _near(sums: Array) -> tuple[list[float], Array, float, float]:
    n, l, p, ll, lp, pp, rn, r, rr = sums
    mean_l, mean_p = l / n, p / n
    cross = lp / n - mean_l * mean_p
    of_launch = max(ll / n - mean_l**2, LEAST_LAUNCH_SD_DEG**2)
    of_spin = max(pp / n - mean_p**2, LEAST_SPIN_SD_RPM**2)
    inverse = np.linalg.inv(np.array([[of_launch, cross], [cross, of_spin]]))
    lo = hi = np.nan
    if rn > 0:
        room = RATIO_SDS * np.sqrt(max(rr / rn - (r / rn) ** 2, 0.0))
        lo, hi = float(r / rn - room), float(r / rn + room)
    return [float(mean_l), float(mean_p)], inverse, lo, hi
