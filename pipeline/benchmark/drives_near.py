"""Where the drives near each club speed lie: the deliveries and speed ratios that a fit may speak of."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.benchmark.support import kernel_weights
from pipeline.drives import Drives
from pipeline.statistics.arrays import Array

# 99 % point of chi-squared with two degrees of freedom: -2 ln 0.01.
INSIDE = 9.21034037197618

# Speed ratios reach from the drive that 2 in 1000 stand below to the one that 2 in 1000 stand above: those that drives
# really show, but for the odd misreading. A multiple of their spread would go beyond, since mishits make it wide and a
# ball leaves the face at a limit. Drives are counted by hundredths.
RATIO_TAIL = 0.002
RATIO_STEP = 0.01

# A floor of the reading errors keeps the ellipse from closing where all drives are alike.
LEAST_LAUNCH_SD_DEG, LEAST_SPIN_SD_RPM = 0.3, 80.0

_ROUNDING = 1e-9


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
        Speed ratios that the drives show, whole hundredths; NaN where ball speed isn't known.
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
    every = Drives.of(drives)
    sums = every.gathered(_sums).group_by("mph", maintain_order=True).sum().sort("mph")
    mph = sums.get_column("mph").to_numpy()
    columns = sums.drop("mph").to_numpy().astype(float)
    found = [_near(kernel_weights(mph, float(v), half_width_mph) @ columns) for v in speeds_mph]
    mean, inverse = zip(*found, strict=True) if found else ((), ())
    ratios = every.gathered(_ratios).group_by("mph", "step").agg(pl.col("n").sum()).sort("step", "mph")
    lo, hi = _ratio_limits(ratios, speeds_mph, half_width_mph)
    return DrivesNear(
        np.array(mean, dtype=float).reshape(-1, 2), np.array(inverse, dtype=float).reshape(-1, 2, 2), lo, hi
    )


def _sums(drives: pl.DataFrame) -> pl.DataFrame:
    l, p = pl.col("launch_deg"), pl.col("spin_rpm")
    return drives.group_by(pl.col("club_speed_mph").round().alias("mph"), maintain_order=True).agg(
        pl.len().alias("n"),
        l.sum().alias("l"),
        p.sum().alias("p"),
        (l * l).sum().alias("ll"),
        (l * p).sum().alias("lp"),
        (p * p).sum().alias("pp"),
    )


def _ratios(drives: pl.DataFrame) -> pl.DataFrame:
    """Count drives by whole mph and by hundredths of speed ratio, rounded down."""
    ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")
    step = (ratio / RATIO_STEP + _ROUNDING).floor().cast(pl.Int64)
    known = drives.filter(pl.col("ball_speed_mph").is_not_null())
    return known.group_by(pl.col("club_speed_mph").round().alias("mph"), step.alias("step")).agg(pl.len().alias("n"))


def _ratio_limits(counts: pl.DataFrame, speeds_mph: Array, half_width_mph: float) -> tuple[Array, Array]:
    """Give the least and the largest speed ratio that drives near speeds show, each of shape (n,)."""
    if counts.is_empty():
        return np.full(len(speeds_mph), np.nan), np.full(len(speeds_mph), np.nan)
    mph, step, n = (counts.get_column(name).to_numpy().astype(float) for name in ("mph", "step", "n"))
    found = []
    for speed in speeds_mph:
        below = np.cumsum(n * kernel_weights(mph, float(speed), half_width_mph))
        lo, hi = np.searchsorted(below, np.array([RATIO_TAIL, 1 - RATIO_TAIL]) * below[-1]).clip(0, len(step) - 1)
        found.append((step[lo], step[hi]))
    lo, hi = np.array(found, dtype=float).reshape(-1, 2).T
    # A counted hundredth reaches from its own value to the next.
    return np.round(lo * RATIO_STEP, 2), np.round((hi + 1) * RATIO_STEP, 2)


def _near(sums: Array) -> tuple[list[float], Array]:
    n, l, p, ll, lp, pp = sums
    mean_l, mean_p = l / n, p / n
    cross = lp / n - mean_l * mean_p
    of_launch = max(ll / n - mean_l**2, LEAST_LAUNCH_SD_DEG**2)
    of_spin = max(pp / n - mean_p**2, LEAST_SPIN_SD_RPM**2)
    inverse = np.linalg.inv(np.array([[of_launch, cross], [cross, of_spin]]))
    return [float(mean_l), float(mean_p)], inverse
