"""Curved drives: how many there are, what they cost, and what flight says they cost."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.drives import golfer_codes
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, fly
from pipeline.report.diagnostics.slopes import LEAST_GOLFERS, clustered_line
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# ASSUMED, common practice without a source: a spin axis tilted by more bends a drive so far that a player sees it.
CURVED_AXIS_DEG = 10.0
# Where the axis isn't known: a landing so far off the line, as a share of carry, is taken for curved. A drive that
# starts there and flies straight counts too, so this only counts drives and costs nothing.
CURVED_OFFLINE_SHARE = 0.10
MOST_FLOWN = 5000


@dataclass(frozen=True)
class Curved:
    """Curved drives beside straight ones.

    Attributes
    ----------
    by : str
        `spin_axis_deg` or `offline_yd`: what tells them.
    known, curved, golfers : int
        Drives of which it is known, those that are curved, and their golfers.
    cost_yd, lo90, hi90 : float or None
        Mean residual of curved less straight drives, clustered by golfer; None where too few golfers have both.
    flown_yd : float or None
        The same by flight with and without the axis' tilt; None without axis or ball speed.
    """

    by: str
    known: int
    curved: int
    golfers: int
    cost_yd: float | None
    lo90: float | None
    hi90: float | None
    flown_yd: float | None


def curved_drives(residuals: pl.DataFrame, ball: Ball, air: Air) -> Curved | None:
    """Count curved drives and work out their cost; None where neither spin axis nor offline is in the logs.

    Parameters
    ----------
    residuals : DataFrame
        golfer, residual_yd, measured_yd, ball_speed_mph, launch_deg, spin_rpm, and spin_axis_deg or offline_yd;
        curve_yd where the carry of the fit was straightened by it.
    ball : Ball
        The study's.
    air : Air
        The standard one.
    """
    limits = {
        "spin_axis_deg": pl.col("spin_axis_deg").abs() > CURVED_AXIS_DEG,
        "offline_yd": pl.col("offline_yd").abs() > CURVED_OFFLINE_SHARE * pl.col("measured_yd"),
    }
    for by, limit in limits.items():
        if by in residuals.columns and residuals[by].null_count() < residuals.height:
            known = residuals.filter(pl.col(by).is_not_null()).sort("golfer", maintain_order=True)
            return _compared(by, known.with_columns(limit.alias("curved")), ball, air)
    return None


def _compared(by: str, known: pl.DataFrame, ball: Ball, air: Air) -> Curved:
    bends = known["curved"].to_numpy().astype(float)
    golfers = known.filter("curved")["golfer"].n_unique()
    counted = (by, known.height, int(bends.sum()), golfers)
    codes = golfer_codes(known)
    if min(golfers, known.filter(~pl.col("curved"))["golfer"].n_unique()) < LEAST_GOLFERS:
        return Curved(*counted, None, None, None, None)
    cost, error = clustered_line(bends, as_flown(known).to_numpy(), codes)
    reach = float(t_reach(float(codes.max()))) * error
    flown = flown_cost(known, ball, air) if by == "spin_axis_deg" else None
    return Curved(*counted, cost, cost - reach, cost + reach, flown)


def as_flown(residuals: pl.DataFrame) -> pl.Series:
    """Give the residuals of drives as they flew: those of the model are of straightened carry."""
    curve = pl.col("curve_yd").cast(pl.Float64).fill_null(0.0) if "curve_yd" in residuals.columns else 0.0
    return residuals.select(pl.col("residual_yd") - curve).to_series()


def flown_cost(known: pl.DataFrame, ball: Ball, air: Air) -> float | None:
    """Give what flight says that curved drives lose more by their axis than straight ones, yd; None without any.

    Parameters
    ----------
    known : DataFrame
        curved, ball_speed_mph, launch_deg, spin_rpm, spin_axis_deg; every so many drives are flown where they are
        more than `MOST_FLOWN`.
    """
    struck = known.drop_nulls("ball_speed_mph")
    struck = struck.gather_every(max(-(-struck.height // MOST_FLOWN), 1))
    change = carry_change_yd(struck, ball, air) if struck.height else np.zeros(0)
    bends = struck["curved"].to_numpy()
    return float(change[bends].mean() - change[~bends].mean()) if bends.any() and not bends.all() else None


def carry_change_yd(drives: pl.DataFrame, ball: Ball, air: Air) -> Array:
    """Give the flown carry of drives with their axis' tilt less that without, yd, shape (n,)."""
    names = ("ball_speed_mph", "launch_deg", "spin_rpm", "spin_axis_deg")
    speed, launch, spin, axis = (drives[name].cast(pl.Float64).to_numpy() for name in names)
    tilted = fly(Launch.of(speed * MPS_PER_MPH, launch, spin, 0.0, axis), ball, air).carry_m
    level = fly(Launch.straight(speed * MPS_PER_MPH, launch, spin), ball, air).carry_m
    return np.asarray((tilted - level) / METRES_PER_YARD)
