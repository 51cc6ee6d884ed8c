"""What carry and readings of a fit refer to, and by how much that changed since another fit.

A fit's carry is that of its reference device and ball, those of most of its drives. Its readings are those of the
device that the others are compared with. Where one of these is another in a new fit, every figure moves, though no
golfer swings differently.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import polars as pl

from pipeline.fit.model import CarryModel, Delivery, Strike
from pipeline.flight.devices import NO_DEVICES, READINGS, StudyDevices
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import MANY, satterthwaite, t_reach

# Who tells what a new reference adds to carry: a term of the old fit, one of the new fit, the term of the device that
# comes with it, or nobody.
ToldBy = Literal["old", "new", "device", "nobody"]


@dataclass(frozen=True)
class ReferenceChange:
    """Another reference device or ball.

    Attributes
    ----------
    column : str
        device or ball.
    old, new : str
        Names.
    told_by : str
        See `ToldBy`.
    share : float
        What carry on the new one is more than on the old one, as a share; NaN where nobody tells it, 0 where the
        device's share holds it.
    std_error, freedom : float
        Of the share; the error is NaN where it isn't known.
    golfers : int
        Behind the share; 0 where their number isn't known.
    """

    column: str
    old: str
    new: str
    told_by: ToldBy
    share: float
    std_error: float
    freedom: float
    golfers: int = 0

    @property
    def edges90(self) -> tuple[float, float]:
        """Edges of the share's 90 % interval; NaN where the error isn't known."""
        reach = float(t_reach(self.freedom)) * self.std_error
        return self.share - reach, self.share + reach


@dataclass(frozen=True)
class ReadingsChange:
    """Another device that readings are compared with.

    Attributes
    ----------
    old, new : str
        Names.
    step : ndarray, shape (4,)
        What brings readings from the old one's scale to the new one's, by `READINGS`: logs of factors, and deg for
        launch. NaN where the study's devices don't tell it; 0 where nothing is corrected.
    """

    old: str
    new: str
    step: Array = field(compare=False)

    @property
    def is_known(self) -> bool:
        """Whether the study's devices tell the step."""
        return bool(np.isfinite(self.step).all())

    @property
    def moves(self) -> bool:
        """Whether readings are known to move."""
        return self.is_known and bool(self.step.any())


@dataclass(frozen=True)
class References:
    """Everything that changed of what two fits refer to; nothing unless given.

    Attributes
    ----------
    changes : tuple of ReferenceChange
    readings : ReadingsChange or None
    """

    changes: tuple[ReferenceChange, ...] = ()
    readings: ReadingsChange | None = None

    @property
    def factor(self) -> float:
        """What brings the old model's carry to the new reference device and ball; NaN where it isn't known."""
        by_old = sum(one.share for one in self.changes if one.told_by in {"old", "nobody"})
        by_new = np.prod([1 + one.share for one in self.changes if one.told_by == "new"])
        return float((1 + by_old) * by_new)

    @property
    def is_known(self) -> bool:
        """Whether all of the change can be told in yards."""
        return bool(np.isfinite(self.factor)) and (self.readings is None or self.readings.is_known)

    @property
    def std_error(self) -> float:
        """Of the factor; the shares of a device and a ball count as known apart."""
        return float(np.sqrt(sum(one.std_error**2 for one in self.changes)))

    @property
    def freedom(self) -> float:
        """Degrees of freedom of the factor's error."""
        if not self.changes:
            return MANY
        variance, freedom = np.array([(one.std_error**2, one.freedom) for one in self.changes]).T
        return float(satterthwaite(np.nan_to_num(variance), freedom))

    def old_speed(self, club_speed_mph: Array) -> Array:
        """Give what club speeds of today read when the old fit was made, mph."""
        if not self._moved or self.readings is None:
            return club_speed_mph
        return np.asarray(club_speed_mph * np.exp(-self.readings.step[0]))

    def old_readings(self, delivery: Delivery) -> Delivery:
        """Give what deliveries as read today read when the old fit was made."""
        if not self._moved or self.readings is None:
            return delivery
        club, ball, launch, spin = self.readings.step
        return Delivery(
            delivery.club_speed_mph * np.exp(-club),
            delivery.speed_ratio * np.exp(club - ball),
            delivery.launch_deg - launch,
            delivery.spin_rpm * np.exp(-spin),
        )

    def old_drives(self, drives: pl.DataFrame) -> pl.DataFrame:
        """Give drives with the readings that they had when the old fit was made; carry stays."""
        if not self._moved or self.readings is None:
            return drives
        changed = [
            (pl.col(name) - step if name == "launch_deg" else pl.col(name) * float(np.exp(-step))).alias(name)
            for name, step in zip(READINGS, self.readings.step, strict=True)
        ]
        return drives.with_columns(changed)

    def today(self, name: str, old: Array) -> Array:
        """Give what launch (`launch_deg`) or spin (`spin_rpm`) of the old fit reads today."""
        if not self._moved or self.readings is None:
            return old
        step = self.readings.step[READINGS.index(name)]
        return np.asarray(old + step if name == "launch_deg" else old * np.exp(step))

    def old_carry(self, old: CarryModel, delivery: Delivery, strike: Strike = "own") -> Array:
        """Give carry that the old model expects of deliveries as read today, yd, on the new reference device and ball.

        NaN where the change of reference isn't known.
        """
        return old.expected(self.old_readings(delivery), strike) * (self.factor if self.is_known else np.nan)

    @property
    def names(self) -> str:
        """Name what changed of them, such as `reference device and ball`; empty where nothing moves figures."""
        parts = [" and ".join(one.column for one in self.changes)]
        parts = [f"reference {parts[0]}"] if parts[0] else []
        if self.readings is not None and (self.readings.moves or not self.readings.is_known):
            parts.append("scale of readings")
        return " and ".join(parts)

    @property
    def _moved(self) -> bool:
        return self.readings is not None and self.readings.moves


SAME = References()


def find_references(
    old: CarryModel,
    new: CarryModel,
    old_readings: str | None = None,
    new_readings: str | None = None,
    devices: StudyDevices = NO_DEVICES,
) -> References:
    """Find what changed of the references of two fits.

    Parameters
    ----------
    old, new : CarryModel
    old_readings, new_readings : str or None
        The device that readings were compared with; None where it isn't known.
    devices : StudyDevices
        The study's devices as they are compared today.
    """
    changed = {
        column: (old.offsets.reference[column], level)
        for column, level in new.offsets.reference.items()
        if column in old.offsets.reference and old.offsets.reference[column] != level
    }
    changes = tuple(_change(column, *levels, old, new, changed) for column, levels in changed.items())
    if old_readings is None or new_readings is None or old_readings == new_readings:
        return References(changes)
    step = _correction(old_readings, devices) - _correction(new_readings, devices)
    return References(changes, ReadingsChange(old_readings, new_readings, step))


def _change(
    column: str, was: str, level: str, old: CarryModel, new: CarryModel, changed: dict[str, tuple[str, str]]
) -> ReferenceChange:
    """Tell one change: by the old fit's term, which its figures rest on, else by the new fit's."""
    share, std_error, freedom, golfers = _term(old, column, level)
    if np.isfinite(share):
        return ReferenceChange(column, was, level, "old", share, std_error, freedom, golfers)
    device = changed.get("device")
    if (column, level) in old.offsets.absorbed and device and ("device", device[1]) in old.offsets.levels:
        return ReferenceChange(column, was, level, "device", 0.0, 0.0, MANY)
    share, std_error, freedom, golfers = _term(new, column, was)
    if np.isfinite(share):
        back = 1 / (1 + share)
        return ReferenceChange(column, was, level, "new", back - 1, std_error * back**2, freedom, golfers)
    return ReferenceChange(column, was, level, "nobody", np.nan, np.nan, MANY)


def _term(model: CarryModel, column: str, level: str) -> tuple[float, float, float, int]:
    """Give a level's share of carry, its standard error, degrees of freedom and golfers; NaN without a term."""
    if (column, level) not in model.offsets.levels:
        return np.nan, np.nan, MANY, 0
    place = model.offsets.levels.index((column, level))
    share = float(model.offset_share[place])
    if len(model.offset_std_error) == 0:
        return share, np.nan, MANY, 0
    golfers = float(model.offset_golfers[place])
    return share, float(model.offset_std_error[place]), max(golfers - 1, 1.0), int(golfers)


def _correction(device: str, devices: StudyDevices) -> Array:
    """Give what is added to a device's readings today, by `READINGS`; NaN for a device that isn't compared."""
    if device == devices.reference:
        return np.zeros(len(READINGS))
    found = [one for one in devices.devices if one.device == device and one.compared_by != "none"]
    return np.array(found[0].correction) if found else np.full(len(READINGS), np.nan)
