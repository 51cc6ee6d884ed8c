"""Where golfers of a curving world send their drives: start direction and spin axis, by golfer, day and drive.

How golfers differ and how wide they scatter is an assumption; the sizes are such that an ordinary golfer's drives come
down with a standard deviation of about 13 yd, and that some bend by 30 yd and more.
"""

import numpy as np
import numpy.typing as npt
import polars as pl
from people import Array
from worlds import World

# Golfers: mean start and axis, to the right positive. One in five bends much, most of them to the right, and who bends
# drives starts them the other way.
START_SD_DEG, AXIS_DEG, AXIS_SD_DEG = 1.2, 1.5, 4.0
MUCH_SHARE, MUCH_DEG, MUCH_SD_DEG, TO_RIGHT = 0.20, 16.0, 3.0, 0.7
STARTS_AGAINST = 0.22  # deg of start per deg of axis
# Drive to drive, and how golfers differ in it (of the logarithm); mishits scatter wider.
DRIVE_SD_DEG, TOGETHER, SPREAD_SD, MISHIT_WIDER = (2.6, 7.0), 0.3, 0.25, 1.8
# Days.
DAY_SD_DEG = (0.8, 1.5)
# As far as true flight goes (`true_curve`).
MOST_START_DEG, MOST_AXIS_DEG = 30.0, 60.0
# Readings.
SIDE_READ_DEG, AXIS_READ_DEG, OFFLINE_READ_YD = 0.3, 1.5, 1.0
OWN = ("start_deg", "axis_deg", "scatter")


def with_directions(world: World, golfers: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Add each golfer's mean start and axis, and the factor of the golfer's scatter; the same in both quarters."""
    if not world.curving:
        return golfers
    n = world.golfers
    normal, row = rng.standard_normal((4, n)), np.arange(golfers.height) % n
    much = rng.uniform(size=n) < MUCH_SHARE
    way = np.where(rng.uniform(size=n) < TO_RIGHT, 1.0, -1.0)
    axis = np.where(much, way * (MUCH_DEG + MUCH_SD_DEG * normal[0]), AXIS_DEG + AXIS_SD_DEG * normal[0])
    start = START_SD_DEG * normal[1] - STARTS_AGAINST * axis
    own = dict(zip(OWN, (start, axis, np.exp(SPREAD_SD * normal[2])), strict=True))
    return golfers.with_columns(pl.Series(name, values[row]) for name, values in own.items())


def directions(
    golfers: pl.DataFrame, normals: Array, mishit: npt.NDArray[np.bool_], days: Array
) -> tuple[Array, Array]:
    """Turn standard draws into start direction and spin axis, deg.

    Parameters
    ----------
    golfers : DataFrame
        The columns of `OWN` broadcast against (...), on the first axis.
    normals, days : ndarray, shape (..., 2)
        Of the drive and of its day.
    mishit : ndarray of bool, shape (...)
    """
    start, axis, scatter = (
        golfers.get_column(name).to_numpy().reshape(-1, *(1,) * (mishit.ndim - 1)) for name in OWN
    )
    wide = scatter * np.where(mishit, MISHIT_WIDER, 1.0)
    beside = TOGETHER * normals[..., 0] + np.sqrt(1 - TOGETHER**2) * normals[..., 1]
    start = start + DAY_SD_DEG[0] * days[..., 0] + wide * DRIVE_SD_DEG[0] * normals[..., 0]
    axis = axis + DAY_SD_DEG[1] * days[..., 1] + wide * DRIVE_SD_DEG[1] * beside
    return np.clip(start, -MOST_START_DEG, MOST_START_DEG), np.clip(axis, -MOST_AXIS_DEG, MOST_AXIS_DEG)


def side_readings(world: World, true: dict[str, Array], rng: np.random.Generator) -> dict[str, Array]:
    """Read what the world's logs say of start, axis, offline and cross wind."""
    n = len(true["true_offline_yd"])
    read = rng.standard_normal((3, n))
    known = {
        "launch_side_deg": true["true_side_deg"] + SIDE_READ_DEG * read[0],
        "spin_axis_deg": true["true_axis_deg"] + AXIS_READ_DEG * read[1],
        "offline_yd": true["true_blown_yd"] + OFFLINE_READ_YD * read[2],
        "wind_cross_mps": true["true_cross_mps"],
    }
    return {name: known[name] for name in world.side_said}
