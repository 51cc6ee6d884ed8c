"""How well a golfer's start direction and spin axis are known from face and path.

The means of face and path are those of some days, and days differ. What face and path then make of a start isn't known
exactly: the share of the face is one of a published range, or the study's own slope with its error. By impact, that
share also tells how much loft a launch stands for, and by that how much the axis tilts.
"""

from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.coach.delivery.directions import AXIS, SHARE_DOUBT, START, DirectionModel
from pipeline.physics.impact import face_share, strike_in_space
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach

# Share of the face in the start direction of a driver's ball, as the literature gives it (from memory): its ends stand
# for the ends of a 90 % interval.
PUBLISHED_SHARES = (0.8, 0.9)
MIN_DAY_FREEDOM = 5  # days less golfers, to tell how a golfer's days differ
STEP_DEG = 0.5  # of the face, for the slope of the axis


class Impacts(NamedTuple):
    """Mean impacts, each part of shape (n,): club speed, m/s, and angles, deg. None is NaN."""

    club_mps: Array
    attack_deg: Array
    loft_deg: Array
    path_deg: Array
    face_deg: Array


def day_products(faced: pl.DataFrame) -> pl.DataFrame:
    """Sum up how golfers' days differ in face and path.

    Parameters
    ----------
    faced : DataFrame
        A quarter's drives with face and path; all drives of a golfer.

    Returns
    -------
    DataFrame
        One row per golfer: faced_days; face_face, face_path and path_path, the sums of products of the days' means
        about their own mean, deg^2; faced_concentration, the sum of the squares of the days' shares of the drives.
    """
    by_day = faced.group_by("golfer", "struck_on", maintain_order=True).agg(
        pl.len(), pl.col("face_deg", "path_deg").mean()
    )
    share = pl.col("len") / pl.col("len").sum()
    face, path = (pl.col(name) - pl.col(name).mean() for name in ("face_deg", "path_deg"))
    return by_day.group_by("golfer", maintain_order=True).agg(
        faced_days=pl.len().cast(pl.Int64),
        face_face=(face**2).sum(),
        face_path=(face * path).sum(),
        path_path=(path**2).sum(),
        faced_concentration=(share**2).sum(),
    )


def start_and_axis_reach(
    at: Impacts, products: pl.DataFrame, concentration: Array, model: DirectionModel | None
) -> tuple[Array, Array]:
    """Give half of the 90 % intervals of start direction and spin axis, deg, each of shape (n,).

    Parameters
    ----------
    at : Impacts
    products : DataFrame
        From `day_products`, of all golfers.
    concentration : ndarray, shape (n,)
        faced_concentration of the golfers asked for.
    model : DirectionModel or None
        As for the expected start itself.

    Returns
    -------
    tuple of ndarray
        NaN where too few days tell how days differ.
    """
    share = face_share(at.attack_deg, at.loft_deg)
    by_face, by_path = share, 1 - share
    axis = _axis_slope(at)
    open_deg = np.abs(at.face_deg - at.path_deg)
    low, high = PUBLISHED_SHARES
    of_share = np.maximum(np.abs(share - low), np.abs(share - high))
    of_axis = np.abs(axis) * of_share / share
    if model is not None:
        extra = model.beside_impact(START)
        by_face, by_path, axis = by_face + extra[0], by_path + extra[1], axis + model.beside_impact(AXIS)[0]
        if model.used(START):
            of_share = np.full(len(share), np.hypot(model.fits[START].reach[0], SHARE_DOUBT))
        if model.used(AXIS):
            of_axis = np.full(len(share), model.fits[AXIS].reach[0])
    start = np.hypot(_day_reach(by_face, by_path, products, concentration), of_share * open_deg)
    return start, np.hypot(_day_reach(axis, -axis, products, concentration), of_axis * open_deg)


def _axis_slope(at: Impacts) -> Array:
    """Give what a degree more face does to the axis by rigid impact, deg."""
    ends = [strike_in_space(*at[:4], at.face_deg + sign * STEP_DEG).spin_axis_deg for sign in (1, -1)]
    return np.asarray((ends[0] - ends[1]) / (2 * STEP_DEG))


def _day_reach(by_face: Array, by_path: Array, products: pl.DataFrame, concentration: Array) -> Array:
    """Give half the 90 % interval of a mean that goes with face and path: how days differ is taken from all golfers."""
    freedom = float((products.get_column("faced_days") - 1).sum())
    if freedom < MIN_DAY_FREEDOM:
        return np.full(len(concentration), np.nan)
    face, both, path = (
        float(products.get_column(name).sum()) / freedom for name in ("face_face", "face_path", "path_path")
    )
    variance = by_face**2 * face + 2 * by_face * by_path * both + by_path**2 * path
    return np.asarray(t_reach(freedom) * np.sqrt(np.maximum(variance, 0) * concentration))
