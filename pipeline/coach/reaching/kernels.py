"""Golfers' own drives smoothed and filled up with those of the others: how drives scatter about their center.

A golfer's distribution is what n own drives and `PRIOR_DRIVES` drives of the others say, each drive smeared by a normal
kernel: the mean of a Dirichlet process whose base is how golfers here scatter, in the golfer's own scale. Mishits are
in it as they are in the drives, own and others'.

References
----------
Ferguson, Ann. Stat. 1 (1973) 209, doi 10.1214/aos/1176342360 (the mean of the posterior process; from memory).
Shannon, Proc. IRE 37 (1949) 10, doi 10.1109/JRPROC.1949.232969 (values far enough apart say what lies between; from
memory).
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import SMALL, Array
from pipeline.statistics.drive_spread import LEVELS

# The others count as much as so many drives. Of simulated golfers of 6 to 120 drives (tests/coach/reaching) 5, 10 and
# 20 give shares of the next quarter that err alike (0.103, 0.103 and 0.104, root mean square) and intervals of which
# 91, 90 and 88 % cover the true share.
PRIOR_DRIVES = 10.0

# Fewer own drives say nothing of how they scatter: the others' do.
MIN_OWN = 8
# From so many drives on the others are under a fifth of it.
MOSTLY_OWN = 40

# Points that stand for the others' drives, and quantiles that each golfer gives to them.
BASE_POINTS = 101
_FROM_EACH = (np.arange(25) + 0.5) / 25

# Width of the kernel over the spread, times n^(1/5), n counting the others too: two thirds of the normal rule (0.9 to
# 1.06; Silverman, Density Estimation (1986), section 3.4.2, from memory). Half or one and a half of it give simulated
# golfers the same errors to 0.0001.
KERNEL = 0.6

_FAR = 8.3  # kernels from a drive at which it lies wholly on one side: a normal tail of 5e-17

_GRID = 241  # distances at which a distribution is worked out before quantiles are read off

# From so many golfers on, shares below distances are sums of densities a few distances apart, and the others' part is
# looked up in a table of places and kernels, made once.
MANY = 1000
# Smeared drives have hardly any waves shorter than two of such steps, in kernels: what densities at every few distances
# give is off by some 2e-11 of all drives at a step of 0.5, by 1e-9 at 0.55 and 1e-6 at 0.7.
_APART = 0.5
# Distances from one density to the next: whole parts of the grid.
_STRIDES = np.array([12, 10, 8, 6, 5, 4, 3, 2, 1])
_ENDS = 6  # more steps beyond either end, by which next to nothing is left of the densities
# Steps of the table: kernels apart as a share, places apart in the narrowest kernels. Cubic splines between them are
# off by some 1e-9 of the densities, and quantiles by some 1e-6 yd with all the rest (tests/coach/reaching).
_KERNEL_STEP, _PLACE_STEP = 0.0075, 1 / 32
_PART = 4 * SMALL  # places of golfers' own drives at a time; of half as many a fifth more time goes into calls
_SPARE = 12  # rows beyond the outermost kernels, by which what the splines take for granted at the table's edge is gone


@dataclass(frozen=True)
class Scatter:
    """One golfer's drives.

    Attributes
    ----------
    off_yd : ndarray, shape (n,)
        Drives less their center.
    spread_yd : float
        Standard deviation of the sound ones.
    """

    off_yd: Array
    spread_yd: float


def shows_scatter(golfer: Scatter) -> bool:
    """Say whether a golfer's drives count in `others_shape`."""
    return len(golfer.off_yd) >= MIN_OWN and golfer.spread_yd > 0


def others_shape(golfers: list[Scatter]) -> Array:
    """Pool how golfers scatter, each counting the same.

    Returns
    -------
    ndarray, shape (BASE_POINTS,)
        Points about the center, in standard deviations of sound drives. Those of a normal distribution where no golfer
        has `MIN_OWN` drives.
    """
    from scipy.special import ndtri

    at = (np.arange(BASE_POINTS) + 0.5) / BASE_POINTS
    enough = [one for one in golfers if shows_scatter(one)]
    if not enough:
        return np.asarray(ndtri(at))
    pooled = np.empty((len(enough), len(_FROM_EACH)))
    counts = np.array([len(one.off_yd) for one in enough])
    for count in np.unique(counts):
        alike = np.flatnonzero(counts == count)
        off, spread = (
            np.stack([enough[row].off_yd for row in alike]),
            np.array([enough[row].spread_yd for row in alike]),
        )
        pooled[alike] = np.quantile(off, _FROM_EACH, axis=1).T / spread[:, None]
    return np.asarray(np.quantile(pooled, at))


def own_weight(drives: int) -> float:
    """Give the weight of a golfer's own drives; the rest is the others'."""
    return drives / (drives + PRIOR_DRIVES) if drives >= MIN_OWN else 0.0


def worth_of(drives: int) -> float:
    """Give the number of drives that the two are worth together."""
    return PRIOR_DRIVES + (drives if drives >= MIN_OWN else 0)


def quantiles_of(golfer: Scatter, usual_spread_yd: float, others: Array, more_yd: float) -> Array:
    """Give a golfer's distribution about the center.

    Parameters
    ----------
    golfer : Scatter
    usual_spread_yd : float
        Standard deviation of sound drives, steadied by the other golfers', yd: what others' drives are scaled by. NaN
        where nobody's drives show any.
    others : ndarray, shape (BASE_POINTS,)
        From `others_shape`.
    more_yd : float
        Standard deviation of what these days lack of many days' scatter.

    Returns
    -------
    ndarray, shape (levels,)
        Quantiles at `LEVELS`, yd; NaN without a spread.
    """
    from scipy.special import ndtr

    if np.isnan(usual_spread_yd):
        return np.full(len(LEVELS), np.nan)

    drives = len(golfer.off_yd)
    own = own_weight(drives)
    width = KERNEL * worth_of(drives) ** -0.2
    points, weights = others * usual_spread_yd, np.full(len(others), (1 - own) / len(others))
    if own > 0:
        points = np.concatenate([golfer.off_yd, points])
        weights = np.concatenate([np.full(drives, own / drives), weights])
    # Drawn in as much as the kernel smears, so that sound drives keep their spread.
    points = points / np.hypot(1.0, width)
    kernel = max(float(np.hypot(width * usual_spread_yd / np.hypot(1.0, width), more_yd)), 1e-3)
    grid = np.linspace(points.min() - 4 * kernel, points.max() + 4 * kernel, _GRID)
    beyond = (grid[:, None] - points) / kernel
    near = np.abs(beyond) < _FAR
    below = (beyond > 0).astype(float)
    below[near] = ndtr(beyond[near])  # most of what a golfer takes: a third of the places are near
    below = below @ weights
    return np.asarray(np.interp(LEVELS, np.maximum.accumulate(below), grid))


def quantiles_of_all(golfers: list[Scatter], usual_spread_yd: Array, others: Array, more_yd: Array) -> Array:
    """Give many golfers' distributions, shape (golfers, levels); see `quantiles_of`.

    From `MANY` golfers on they are sums of densities, the others' from a table. Golfers whose drives lie so far apart
    that these would have to stand closer than distances do are still worked out one by one.
    """
    if len(golfers) < MANY:
        each = zip(golfers, usual_spread_yd, more_yd, strict=True)
        one_by_one = [quantiles_of(golfer, float(usual), others, float(more)) for golfer, usual, more in each]
        return np.array(one_by_one).reshape(-1, len(LEVELS))
    found = np.full((len(golfers), len(LEVELS)), np.nan)
    known = ~np.isnan(usual_spread_yd)
    if not known.any():
        return found
    counts = np.array([len(one.off_yd) for one in golfers])
    counts[counts < MIN_OWN] = 0
    width = KERNEL * (PRIOR_DRIVES + counts) ** -0.2
    unit = usual_spread_yd / np.hypot(1.0, width)
    kernel = np.maximum(np.hypot(width * unit, more_yd), 1e-3)
    smeared = _Smeared.of(others, (kernel / unit)[known])
    for count in np.unique(counts[known]):
        alike = np.flatnonzero(known & (counts == count))
        off = np.stack([golfers[row].off_yd[:count] for row in alike]) / np.hypot(1.0, width[alike])[:, None]
        every = np.hstack([off, unit[alike, None] * others[[0, -1]]])
        ends = np.stack([every.min(axis=1) - 4 * kernel[alike], every.max(axis=1) + 4 * kernel[alike]])
        strides = _strides(np.ptp(ends, axis=0) / kernel[alike])
        for row in alike[strides == 0]:
            found[row] = quantiles_of(golfers[row], float(usual_spread_yd[row]), others, float(more_yd[row]))
        for stride in np.unique(strides[strides > 0]):
            spaced = _Spaced.of(int(stride))
            these = np.flatnonzero(strides == stride)
            part = max(_PART // (len(spaced.at) * max(int(count), 1)), 1)
            for rows in np.split(these, range(part, len(these), part)):
                who = alike[rows]
                found[who] = _quantiles(off[rows], ends[:, rows], unit[who], kernel[who], smeared, spaced)
    return found


def _strides(kernels: Array) -> npt.NDArray[np.int64]:
    """Say how many steps of grids that are so many kernels long may lie between densities, shape (n,); 0 is none."""
    fits = kernels[:, None] / (_GRID - 1) * _STRIDES <= _APART
    return np.where(fits.any(axis=1), _STRIDES[np.argmax(fits, axis=1)], 0)


@dataclass(frozen=True)
class _Spaced:
    """Every so many-th place of a grid, and what densities there add to the shares below all of its places.

    Attributes
    ----------
    at : ndarray, shape (m,)
        In steps of the grid from its first place on, `_ENDS` beyond either end.
    shares : ndarray, shape (m, _GRID)
        Of a density per step of the grid.
    """

    at: Array
    shares: Array

    @classmethod
    @cache
    def of(cls, stride: int) -> "_Spaced":
        """Take places so many steps apart: between them densities are sums of sines over their arguments."""
        from scipy.special import sici

        at = np.arange(-_ENDS * stride, _GRID + _ENDS * stride, stride, dtype=float)
        integral, _ = sici(np.pi * (np.arange(_GRID) - at[:, None]) / stride)
        return cls(at, stride * (0.5 + integral / np.pi))


def _quantiles(
    off_yd: Array, ends_yd: Array, unit_yd: Array, kernel_yd: Array, smeared: "_Smeared", spaced: _Spaced
) -> Array:
    """Give the quantiles of golfers of as many drives, drawn in, shape (golfers, drives), with grids of such ends."""
    low, high = ends_yd
    step = (high - low) / (_GRID - 1)
    place = low[:, None] + step[:, None] * spaced.at
    density = smeared.density(place / unit_yd[:, None], kernel_yd / unit_yd)
    own = own_weight(off_yd.shape[1])
    if own > 0:
        density = (1 - own) * density + own * _density(place, off_yd, kernel_yd)
    density *= (step / kernel_yd)[:, None]
    # Golfer by golfer, so that none depends in the last digit on how many stand beside.
    below = np.matmul(density[:, None, :], spaced.shares)[:, 0]
    grid, rising = np.linspace(low, high, _GRID, axis=1), np.maximum.accumulate(below, axis=1)
    return np.stack([np.interp(LEVELS, shares, yards) for shares, yards in zip(rising, grid, strict=True)])


def _density(place: Array, points: Array, kernel: Array) -> Array:
    """Give the density per kernel of points, each smeared by the row's kernel, at places.

    `place` is of shape (rows, places), `points` of shape (rows, points), `kernel` of shape (rows,).
    """
    unit = (np.sqrt(2) * kernel)[:, None]
    beyond = (place / unit)[:, None, :] - (points / unit)[:, :, None]
    # All in one array: it is most of what a golfer takes.
    np.negative(np.square(beyond, out=beyond), out=beyond)
    return np.asarray(np.exp(beyond, out=beyond).mean(axis=1) / np.sqrt(2 * np.pi))


@dataclass(frozen=True)
class _Smeared:
    """The density of the others' drives at places, in their own unit, by the kernel that they are smeared with.

    Attributes
    ----------
    splines : ndarray, shape (kernels, places)
        Coefficients of cubic splines. Kernels grow by `_KERNEL_STEP`; places go evenly from `_FAR` kernels below the
        least point to as many above the largest.
    least_kernel : float
        Of the first row.
    ends : tuple of float
        The least and the largest point.
    """

    splines: Array
    least_kernel: float
    ends: tuple[float, float]

    @classmethod
    def of(cls, others: Array, kernels: Array) -> "_Smeared":
        """Make the table for all the kernels, shape (n,)."""
        from scipy import ndimage

        ends = float(others[0]), float(others[-1])
        narrow, wide = np.log(kernels.min()), np.log(kernels.max())
        rows = np.exp(narrow + _KERNEL_STEP * np.arange(-_SPARE, np.ceil((wide - narrow) / _KERNEL_STEP) + _SPARE + 1))
        share = np.linspace(0, 1, int(((ends[1] - ends[0]) / rows[0] + 2 * _FAR) / _PLACE_STEP) + 1)
        each = [
            _density((low + share * (high - low))[None, :], others[None, :], np.array([kernel]))
            for kernel, low, high in zip(rows, ends[0] - _FAR * rows, ends[1] + _FAR * rows, strict=True)
        ]
        coefficients: Any = ndimage.spline_filter  # type: ignore[attr-defined]  # scipy declares no types here
        return cls(coefficients(np.concatenate(each)), float(rows[0]), ends)

    def density(self, place: Array, kernel: Array) -> Array:
        """Give the densities per kernel at places, shape (n, places), with kernels, shape (n,)."""
        from scipy import ndimage

        row = np.log(kernel / self.least_kernel) / _KERNEL_STEP
        low, span = self.ends[0] - _FAR * kernel, self.ends[1] - self.ends[0] + 2 * _FAR * kernel
        column = (place - low[:, None]) * ((self.splines.shape[1] - 1) / span)[:, None]
        at = np.stack([np.broadcast_to(row[:, None], column.shape), column])
        value: Any = ndimage.map_coordinates  # type: ignore[attr-defined]  # scipy declares no types here
        return np.asarray(value(self.splines, at, order=3, mode="nearest", prefilter=False))
