"""Errors that golfers share: of efficient carry, of what devices and balls add or misread, of moves to standard air.

The first two are known from refits on resampled golfers, the third from devices.json, the last from coefficient sets. A
replicate's error of a golfer's yards lost is that of efficient carry at the golfer's speed, and that of each offset as
far as the golfer's drives have it; over the replicates they have a variance, and so has their difference between two
quarters. What is the same in both cancels there by itself: nearly all of it at one speed on one device, nothing of an
offset where the device was changed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import KEYS, Drives
from pipeline.fit.model import CarryModel
from pipeline.flight.devices import NO_DEVICES, READINGS, StudyDevices
from pipeline.golfers.doubt import Part
from pipeline.golfers.moves import MOVED, with_moves
from pipeline.golfers.reading_doubt import load_columns, reading_variance, with_readings
from pipeline.golfers.uncompared import uncompared_doubt
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import MANY

CHUNK = 4000  # golfers at a time: each has an error in every replicate


@dataclass(frozen=True)
class Quarters:
    """What n golfers' quarters have of the shared errors.

    Attributes
    ----------
    club_speed_mph : ndarray, shape (n,)
    offset_yd : ndarray, shape (n, levels)
        By how many yards mean reference carry falls with the share of each device or ball that has an offset: the
        carry of the drives on it, over all drives.
    uncompared_yd : ndarray, shape (n,)
        Standard deviation of mean carry by devices and balls that nobody could compare.
    misread_yd : ndarray, shape (n, devices, readings)
        Yards lost for each reading of each device that is too high by a share of 1, launch by a degree.
    moved_yd : ndarray, shape (n,)
        By how far mean carry was moved to standard conditions, see `moved_yards`.
    """

    club_speed_mph: Array
    offset_yd: Array
    uncompared_yd: Array
    misread_yd: Array
    moved_yd: Array

    def rows(self, rows: slice) -> "Quarters":
        """Take some of them."""
        return Quarters(*(values[rows] for values in vars(self).values()))


def exposure(drives: pl.DataFrame, model: CarryModel) -> pl.DataFrame:
    """Give what golfers' quarters have of each device's or ball's share, and of those that nobody could compare.

    Parameters
    ----------
    drives : DataFrame
        Accepted drives, with the columns of `FIT_COLUMNS`.
    model : CarryModel

    Returns
    -------
    DataFrame
        One row per golfer and quarter, sorted: keys, a column for each of `model.offsets.labels` (see `Quarters`), and
        the columns of `uncompared_doubt`.
    """
    falls = model.reference_carry(drives) / (1 + model.added_share(drives))
    columns = (model.offsets.design(drives) * falls[:, None]).T
    named = [pl.Series(label, column) for label, column in zip(model.offsets.labels, columns, strict=True)]
    found = drives.select(KEYS).with_columns(named).group_by(KEYS).agg(pl.exclude(KEYS).mean())
    return found.join(uncompared_doubt(drives, model), on=KEYS, validate="1:1").sort(KEYS)


@dataclass(frozen=True)
class SharedErrors:
    """Draws of the errors, the same place of all belonging to one draw.

    Attributes
    ----------
    frontier : Frontier
        Whose grid of m speeds the errors of efficient carry go by, with their degrees of freedom.
    efficient_yd : ndarray, shape (replicates, m)
    offset_share : ndarray, shape (replicates, levels)
        Error of what each device or ball adds, as a share of carry; with 0 levels no offset has any.
    offset_freedom : ndarray, shape (levels,)
        Golfers of that device or ball, less one.
    labels : tuple of str
        Names of the levels, see `Offsets`.
    devices : StudyDevices
        What devices may misread.
    """

    frontier: Frontier
    efficient_yd: Array
    offset_share: Array
    offset_freedom: Array
    labels: tuple[str, ...]
    devices: StudyDevices = field(default=NO_DEVICES)

    @classmethod
    def of(
        cls,
        frontier: Frontier,
        efficient_yd: Array,
        offset_share: Array | None = None,
        golfers: Array | None = None,
        labels: tuple[str, ...] = (),
        devices: StudyDevices = NO_DEVICES,
    ) -> "SharedErrors":
        """Take the errors of replicates.

        Parameters
        ----------
        frontier : Frontier
        efficient_yd : ndarray, shape (replicates, m)
        offset_share : ndarray, shape (replicates, levels), optional
            Offsets themselves, or their errors; without them none has any.
        golfers : ndarray, shape (levels,), optional
            Who hit drives of each level.
        labels : tuple of str
            Of the levels.
        devices : StudyDevices
        """
        share = np.zeros((len(efficient_yd), 0)) if offset_share is None else offset_share
        counts = np.full(share.shape[1], np.inf) if golfers is None or len(golfers) == 0 else golfers
        return cls(frontier, efficient_yd, share - share.mean(axis=0), np.clip(counts - 1, 1, MANY), labels, devices)

    @classmethod
    def read_from(
        cls,
        frontier: Frontier,
        model: CarryModel,
        efficient: Mapping[str, Array],
        refits: Mapping[str, Array],
        devices: StudyDevices,
    ) -> "SharedErrors":
        """Take them from the arrays of efficient_replicates.npz and replicates.npz."""
        return cls.of(
            frontier, efficient["error_yd"], refits["offset_share"], model.offset_golfers, model.offsets.labels, devices
        )

    def with_loads(self, golfers: pl.DataFrame, drives: pl.DataFrame | Drives, model: CarryModel) -> pl.DataFrame:
        """Add what golfers' quarters have of moves in doubt and of misreadings (`with_moves`, `with_readings`)."""
        moved = with_moves(golfers, drives, model, self.frontier.moved_share)
        return with_readings(moved, drives, model, self.frontier, self.devices)

    @property
    def carried(self) -> list[str]:
        """Name the columns of `exposure` and `with_loads` that `quarters` takes."""
        return [*self.labels, "uncompared_variance", MOVED, *load_columns(self.devices)]

    def quarters(self, golfers: pl.DataFrame, end: str = "") -> Quarters:
        """Take golfers' quarters from a table of club_speed_mph and the columns `carried`, `end` after each name."""
        speed, *carried = (
            golfers.get_column(f"{name}{end}").cast(pl.Float64).to_numpy() for name in ("club_speed_mph", *self.carried)
        )
        n, levels = golfers.height, len(self.labels)
        offsets = np.stack(carried[:levels], axis=-1) if levels else np.zeros((n, 0))
        uncompared, moved, *loads = carried[levels:]
        misread = np.stack(loads, axis=-1) if loads else np.zeros((n, 0))
        misread = misread.reshape(n, len(self.devices.devices), len(READINGS))
        return Quarters(speed, offsets, np.sqrt(uncompared), misread, moved)

    def of_figure(self, quarters: Quarters) -> Part:
        """Give the variance of yards lost by shared errors, yd^2, and its degrees of freedom.

        NaN at a club speed that the benchmarks don't reach.
        """
        return self._in_chunks(lambda rows: self._parts(quarters.rows(rows)), len(quarters.club_speed_mph))

    def of_change(self, now: Quarters, then: Quarters) -> Part:
        """Give the same of the change from one quarter to another of the same golfers."""
        return self._in_chunks(lambda rows: self._parts(now.rows(rows), then.rows(rows)), len(now.club_speed_mph))

    def of_carry_change(self, now: Quarters, then: Quarters) -> Part:
        """Give the same of the change of carry, which has nothing of efficient carry's error."""
        known = np.zeros_like(now.club_speed_mph)
        return self._in_chunks(
            lambda rows: self._with_offsets(known[rows, None], now.rows(rows), then.rows(rows)), len(known)
        )

    def _parts(self, now: Quarters, then: Quarters | None = None) -> Part:
        efficient = self._efficient(now.club_speed_mph)
        if then is not None:
            efficient = efficient - self._efficient(then.club_speed_mph)
        return self._with_offsets(efficient, now, then)

    def _with_offsets(self, efficient: Array, now: Quarters, then: Quarters | None) -> Part:
        """Add the offsets' errors to those of efficient carry, shape (n, replicates) or (n, 1)."""
        loads = now.offset_yd if then is None else now.offset_yd - then.offset_yd
        # A device that nobody could compare is taken as the same in both quarters, where there is one in both.
        uncompared = now.uncompared_yd if then is None else now.uncompared_yd - then.uncompared_yd
        misread = reading_variance(now.misread_yd - (0 if then is None else then.misread_yd), self.devices)
        moved = self.frontier.moved_share * (now.moved_yd - (0 if then is None else then.moved_yd))
        # More carry that is the offset's own makes less carry of the golfer's, and so more yards lost.
        offset = loads @ self.offset_share.T
        parts = np.var(efficient, axis=1), np.var(offset, axis=1), uncompared**2 + moved**2
        variance = np.var(efficient + offset, axis=1) + parts[2] + misread[0]
        return variance, self._freedom(*parts, misread, now.club_speed_mph, loads)

    def _efficient(self, club_speed_mph: Array) -> Array:
        """Errors of efficient carry, shape (n, replicates); NaN where the benchmarks don't reach."""
        grid = self.frontier.speed_mph
        if len(grid) < 2:
            only = self.efficient_yd if len(grid) else np.zeros((len(self.efficient_yd), 1))
            found = np.repeat(only.T, len(club_speed_mph), axis=0)
        else:
            after = np.searchsorted(grid, np.clip(np.nan_to_num(club_speed_mph), grid[0], grid[-1])).clip(1)
            share = (np.clip(club_speed_mph, grid[0], grid[-1]) - grid[after - 1]) / (grid[after] - grid[after - 1])
            low, high = self.efficient_yd[:, after - 1].T, self.efficient_yd[:, after].T
            found = low + share[:, None] * (high - low)
        return np.asarray(np.where(self.frontier.reaches(club_speed_mph)[:, None], found, np.nan))

    def _freedom(
        self, efficient: Array, offset: Array, assumed: Array, misread: Part, club_speed_mph: Array, loads: Array
    ) -> Array:
        """Combine the parts' degrees of freedom by Satterthwaite's rule: the offsets' by what each weighs.

        `assumed` has no freedom to lose: what devices differ by that nobody could compare, and what sets do.
        """
        each = loads**2 * np.var(self.offset_share, axis=0)
        # Levels' own variances needn't add up to that of them all together: only their proportions are used.
        spread = np.divide(each, each.sum(axis=1, keepdims=True), out=np.zeros_like(each), where=each > 0)
        unsure = offset**2 * (spread**2 / self.offset_freedom).sum(axis=1)
        unsure = unsure + efficient**2 / self.frontier.at("freedom", club_speed_mph) + misread[0] ** 2 / misread[1]
        nothing = np.where(np.isnan(unsure), np.nan, MANY)
        whole = efficient + offset + assumed + misread[0]
        return np.asarray(np.divide(whole**2, unsure, out=nothing, where=unsure > 0))

    def _in_chunks(self, parts: Callable[[slice], Part], n: int) -> Part:
        found = [parts(slice(first, first + CHUNK)) for first in range(0, n, CHUNK)]
        variance, freedom = (np.concatenate([np.zeros(0), *(one[place] for one in found)]) for place in (0, 1))
        return variance, freedom
