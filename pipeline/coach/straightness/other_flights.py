"""What other published coefficient sets say of side motion: how far a mean offline may be off by the flight in use.

What a cross wind does, and how far an axis bends a flight, no log tells: a set of coefficients does. Sets that carry
alike differ in it, and the error is one for all drives of a study: it doesn't fall with their number.
"""

from dataclasses import replace
from functools import partial

import numpy as np
import polars as pl

from pipeline.benchmark.form_error import SAMPLED, same_carry
from pipeline.coach.straightness.offline import SideFlight, beside_columns, rests_on_flight
from pipeline.drives import Drives
from pipeline.golfers.doubt import Part
from pipeline.physics.ball import SETS, Ball
from pipeline.statistics.intervals import MANY


def with_others(flight: SideFlight, drives: Drives) -> SideFlight:
    """Add the other sets, with the multipliers at which they carry the drives as the study's flight does.

    Parameters
    ----------
    flight : SideFlight
    drives : Drives
        `pipeline.coach.straightness.offline.COLUMNS` of all accepted drives.

    Returns
    -------
    SideFlight
        The same where no drive's offline rests on flight.
    """
    counted = drives.gathered(lambda frame: frame.filter(rests_on_flight()).select(pl.len()))
    step = max(int(counted.sum().item() or 0) // SAMPLED, 1)
    sample = drives.gathered(lambda frame: frame.filter(rests_on_flight()).gather_every(step))
    if sample.is_empty():
        return flight
    carry = flight.straight_carry(sample, flight.ball)
    names = sorted(set(SETS) - {flight.ball.coefficients})
    others = (same_carry(Ball(name), partial(flight.straight_carries, sample), carry) for name in names)
    return replace(flight, others=tuple(others))


def flight_error(table: pl.DataFrame, since: str | None = None) -> Part:
    """Give the variance that golfers' mean offlines have by the choice of a set, yd^2, with its degrees of freedom.

    Parameters
    ----------
    table : DataFrame
        With the means of `beside_columns`, n rows; without them nothing is in doubt.
    since : str, optional
        What ends the names of the same columns of an earlier quarter: the variance is then that of the change.

    Returns
    -------
    tuple of ndarray, shape (n,)
        The mean square over sets of what each says more than the set in use; as many degrees of freedom as sets.
    """
    names = [name for name in table.columns if name in beside_columns(len(SETS))]
    if not names:
        return np.zeros(table.height), np.full(table.height, MANY)
    said = table.select(pl.col(names).fill_null(0.0)).to_numpy()
    if since is not None:
        said = said - table.select(pl.col(f"{name}{since}").fill_null(0.0) for name in names).to_numpy()
    return np.mean(said**2, axis=1), np.full(table.height, float(len(names)))
