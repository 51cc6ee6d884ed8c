"""How far efficient carry may be off because devices misread club or ball speed: what is known stands in devices.json.

Efficient carry is that of the better quarter's speed ratio. Golfers of a device that reads club speed high, or ball
speed low, have too low a ratio, and pull the better quarter's down by their share of the golfers. Launch and spin are
left out: efficient carry is at a maximum over them. So is a surface over club speed, which looks at no ratio.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.benchmark.efficient import SHAPE_WIDTHS, Efficient
from pipeline.benchmark.support import kernel_weights
from pipeline.benchmark.widened import widened
from pipeline.drives import Drives
from pipeline.fit.model import CarryModel, Delivery
from pipeline.flight.devices import READINGS, StudyDevices
from pipeline.flight.offsets import UNSTATED
from pipeline.physics.ball import SETS
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import satterthwaite

STEP = 0.005  # of a speed ratio to either side: carry is smooth over far more
# What a speed ratio that is read too high by a share of 1 has of each reading.
OF_RATIO = np.array([{"ball_speed_mph": 1.0, "club_speed_mph": -1.0}.get(name, 0.0) for name in READINGS])


@dataclass(frozen=True)
class MisreadRatio:
    """What devices' doubtful ratios do to efficient carry.

    Attributes
    ----------
    carry_yd : ndarray, shape (devices, n)
        Standard deviation of efficient carry at n club speeds by each device.
    freedom : ndarray, shape (devices,)
        Degrees of freedom that they are known with.
    """

    carry_yd: Array
    freedom: Array


def device_shares(drives: Drives, speed_mph: Array, half_width_mph: float, devices: StudyDevices) -> Array:
    """Give what share of the golfers about n club speeds each device measured, shape (devices, n).

    A golfer counts once, by the nearness of the own mean club speed, and for each device as it measured the drives.
    """
    if not devices.devices:
        return np.zeros((0, len(speed_mph)))
    named = pl.col("device").fill_null(UNSTATED)
    sums = drives.gathered(
        lambda frame: frame.group_by("golfer").agg(
            pl.col("club_speed_mph").cast(pl.Float64).mean(),
            *(named.eq(one.device).mean().alias(f"share:{one.device}") for one in devices.devices),
        )
    ).sort("golfer")
    golfers = sums.get_column("club_speed_mph").to_numpy()
    shares = sums.select(pl.col("^share:.*$")).to_numpy()
    weights = np.stack([kernel_weights(golfers, float(v), SHAPE_WIDTHS * half_width_mph) for v in speed_mph])
    return np.asarray((weights @ shares / weights.sum(axis=1, keepdims=True)).T)


def misread_ratio(model: CarryModel, at: Delivery, shares: Array, devices: StudyDevices) -> MisreadRatio:
    """Work out the doubt of efficient carry.

    Parameters
    ----------
    model : CarryModel
    at : Delivery
        The efficient ones, shape (n,), with their speed ratio.
    shares : ndarray, shape (devices, n)
        From `device_shares`.
    devices : StudyDevices
    """
    more, less = (model.expected(at.struck(at.speed_ratio * (1 + step))) for step in (STEP, -STEP))
    doubts = [OF_RATIO @ np.array(one.doubt) @ OF_RATIO for one in devices.devices]
    each = np.sqrt(np.maximum(np.array(doubts).reshape(-1, 1), 0.0))
    return MisreadRatio(shares * each * (more - less) / (2 * STEP), np.array([one.freedom for one in devices.devices]))


def with_misread(efficient: dict[float, Efficient], said: MisreadRatio) -> dict[float, Efficient]:
    """Widen the intervals of efficient carry by devices' doubtful ratios.

    Parameters
    ----------
    efficient : dict of float to Efficient
        By club speed.
    said : MisreadRatio
        Of these, by rising speed.

    Returns
    -------
    dict of float to Efficient
        A device's error is one at all speeds, and its draws go together there.
    """
    found = {}
    for place, speed in enumerate(sorted(efficient)):
        each = said.carry_yd[:, place]
        freedom = float(satterthwaite(each**2, said.freedom))
        found[speed] = widened(efficient[speed], each, freedom, first=len(SETS))
    return found
