"""Every device's and ball's share of carry with its error, those too whose drives a fit can't use.

A fit needs ball speed and measured spin. A device or ball (a level) whose logs lack them, or whose spin is guessed, has
no term in it. Its share is estimated after the fit, from all its drives: each golfer's carry there over expected
carry, with the usual ratio and spin of the golfer's speed standing in for what isn't known. The golfers of the fit,
looked at as if the same weren't known of them either, tell what such a ratio is at an ordinary device, and by how much
golfers differ: that, and not the number of drives, makes the error. A golfer who hit at a compared device too is
compared with himself there: own ratio, own spin, own carry.

The errors of shares that come from the fit take the spread between golfers from all of them together, too. The few
golfers of one device would show it poorly.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Drives, Piece, straightened
from pipeline.fit.level_cells import LevelCounts, Mode, cells_of
from pipeline.fit.model import CarryModel
from pipeline.fit.resampled import ResampledFits
from pipeline.fit.usual_delivery import MEDIAN_VARIANCE
from pipeline.flight.offsets import CELL, MIN_SHOTS, Offsets
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach
from pipeline.statistics.robust import MAD_TO_SD, robust_regression
from pipeline.statistics.shrinkage import between_golfers

# Golfers of whom nothing but speed and launch is known differ by some 3 % of carry. Of three of them the mean is known
# to half of what devices differ by (`DEVICE_SHARE_SD`); of fewer, a share would say little that wasn't known before.
MIN_GOLFERS = 3

# A golfer's own ratio, spin and carry on compared devices stand for what is usual from this many drives on: the median
# ratio of five drives is known to 0.8 %, beside the 1.5 to 2 % by which golfers' ratios differ.
PAIR_SHOTS = 5

# From this many golfers who are compared with themselves their own spread is used: a median distance of five is known
# to a third.
MIN_PAIRS = 5

# From this share of golfers who count for less than half, a level's golfers don't agree. One golfer in ten or so is far
# off by mishits; of six golfers, half are then once in 60 academies, and a robust fit may take either half for the
# usual one.
UNCLEAR_SHARE = 0.25

Level = tuple[str, str]


@dataclass(frozen=True)
class LevelShares:
    """Shares of carry of all levels that can be compared with the reference.

    Attributes
    ----------
    offsets : Offsets
    share, std_error : ndarray, shape (levels,)
    golfers : ndarray of int, shape (levels,)
        Behind each.
    draws : ndarray, shape (replicates, levels)
        Of the same replicates as the rest of the fit; their spread is the standard error.
    """

    offsets: Offsets
    share: Array
    std_error: Array
    golfers: npt.NDArray[np.int64]
    draws: Array

    def of_model(self, model: CarryModel) -> CarryModel:
        """Give a model these shares."""
        error, golfers = self.std_error, self.golfers.astype(float)
        return replace(
            model, offsets=self.offsets, offset_share=self.share, offset_std_error=error, offset_golfers=golfers
        )

    def in_table(self, coefficients: pl.DataFrame, model: str) -> pl.DataFrame:
        """Put the shares into the table `Coefficients` in place of the device and ball terms of a model, by its name.

        The edges are Student's, by the golfers behind a share.
        """
        reach = t_reach(np.maximum(self.golfers - 1, 1)) * self.std_error
        edges = {"lo90": self.share - reach, "hi90": self.share + reach}
        names = {"model": [model] * len(self.share), "term": list(self.offsets.labels)}
        figures = {"estimate": self.share, "std_error": self.std_error, **edges}
        rows = pl.DataFrame({**names, **figures}, schema=coefficients.schema)
        own = pl.col("model") == model
        split = own & pl.any_horizontal(pl.col("term").str.starts_with(f"{column}:") for column in CELL)
        order = coefficients.get_column("model").unique(maintain_order=True)
        tables = pl.concat([coefficients.filter(~split), rows])
        return pl.concat(tables.filter(pl.col("model") == name) for name in order)


@dataclass(frozen=True)
class SharePlan:
    """Which levels keep the fit's share, which are estimated outside it, and what isn't known of their drives."""

    inside: tuple[Level, ...]
    outside: tuple[Level, ...]
    absorbed: tuple[Level, ...]
    modes: dict[tuple[str, str], Mode]  # by device and ball, of pairs with an outside level

    @classmethod
    def of(cls, model: CarryModel, counts: LevelCounts) -> "SharePlan":
        """Plan by the counts of all drives."""
        every = list(_levels(counts.levels, "drives"))
        enough = [level for level, shots, golfers in every if shots >= MIN_SHOTS and golfers >= MIN_GOLFERS]
        used = [level for level, _, golfers in _levels(counts.levels, "usable") if golfers >= MIN_GOLFERS]
        inside = tuple(level for level in model.offsets.levels if level in used)
        pairs = counts.pairs
        columns = [np.ones(pairs.height), *Offsets({}, inside).design(pairs).T]
        outside: list[Level] = []
        absorbed: list[Level] = []
        for level in enough:
            if level in inside or level in model.offsets.reference.items():
                continue
            tried = [*columns, Offsets({}, (level,)).design(pairs)[:, 0]]
            if np.linalg.matrix_rank(np.column_stack(tried)) == len(tried):
                columns = tried
                outside.append(level)
            else:
                absorbed.append(level)
        modes = {
            (device, ball): Mode(2 * blind >= drives, 2 * guessed >= drives)
            for device, ball, drives, blind, guessed in pairs.iter_rows()
            if ("device", device) in outside or ("ball", ball) in outside
        }
        return cls(inside, tuple(outside), tuple(absorbed), modes)

    @property
    def offsets(self) -> tuple[Offsets, Offsets]:
        """The levels inside the fit, and those outside."""
        return Offsets({}, self.inside), Offsets({}, self.outside)


def _levels(levels: pl.DataFrame, name: str) -> Iterator[tuple[Level, int, int]]:
    """Give each level's drives and golfers, devices first, of each the level of most drives first."""
    there = levels.filter(pl.col(name) > 0).sort([name, "level"], descending=[True, False])
    for column in CELL:
        for level, shots, golfers in there.filter(column=column).select("level", name, f"{name}_golfers").iter_rows():
            yield (column, level), shots, golfers


def find_shares(
    model: CarryModel, drives: pl.DataFrame | Drives, refits: ResampledFits, typical: pl.DataFrame
) -> LevelShares:
    """Work out the shares of all levels.

    Parameters
    ----------
    model : CarryModel
        As fitted, with the shares of the levels that the fit used.
    drives : DataFrame or Drives
        All accepted drives, with the columns of `FIT_COLUMNS`.
    refits : ResampledFits
        Of the same model, offset_share of the levels that the fit used.
    typical : DataFrame
        Needs `golfer`, in the order of the replicates' counts.

    Returns
    -------
    LevelShares
        Levels with fewer than `MIN_SHOTS` drives or `MIN_GOLFERS` golfers have no share.
    """
    read = Drives.of(drives).mapped(straightened)
    plan = SharePlan.of(model, LevelCounts.joined(read.each(partial(LevelCounts.of, speed=model.surface.speed))))
    place = typical.select("golfer", pl.Series("place", np.arange(typical.height)))
    cells = read.gathered(lambda frame: cells_of(frame, model, set(plan.modes.values())))
    return shares_from(cells.join(place, on="golfer", how="left").drop("golfer"), plan, model, refits)


@dataclass(frozen=True)
class CellsOf:
    """Asks pieces of drives for `cells_of` their golfers, whose numbers stand there as `place`."""

    model: CarryModel
    plan: SharePlan

    def __call__(self, piece: Piece) -> pl.DataFrame:
        """Answer for a piece."""
        cells = cells_of(piece.drives, self.model, set(self.plan.modes.values()))
        names = piece.drives.get_column("golfer").unique().sort()
        place = pl.DataFrame({"golfer": names, "place": np.unique(piece.golfer)})
        return cells.join(place, on="golfer", how="left").drop("golfer")


def shares_from(cells: pl.DataFrame, plan: SharePlan, model: CarryModel, refits: ResampledFits) -> LevelShares:
    """Give the shares of all levels from the cells of all pieces, as of `CellsOf`; see `find_shares`."""
    at = [model.offsets.levels.index(level) for level in plan.inside]
    inside = replace(model, offsets=plan.offsets[0], offset_share=model.offset_share[at])
    cells = _on_reference(cells, inside).sort("place", *CELL, "usable")
    fitted = _fitted_shares(inside, cells, refits.counts, refits.offset_share[:, at])
    absorbed = tuple(dict.fromkeys((*model.offsets.absorbed, *plan.absorbed)))
    offsets = Offsets(model.offsets.reference, (*plan.inside, *plan.outside), absorbed)
    if not plan.outside:
        return replace(fitted, offsets=offsets)
    share, error, golfers, draws = _outside_shares(plan, cells, refits.counts, fitted.draws - fitted.share)
    return LevelShares(
        offsets,
        np.concatenate([fitted.share, share]),
        np.concatenate([fitted.std_error, error]),
        np.concatenate([fitted.golfers, golfers]),
        np.hstack([fitted.draws, draws]),
    )


def _on_reference(cells: pl.DataFrame, inside: CarryModel) -> pl.DataFrame:
    """Add what the fit's levels make of carry (`factor`), and how its logarithm moves with each's share (`known_0`)."""
    factor = 1 + inside.added_share(cells)
    moves = inside.offsets.design(cells) / factor[:, None]
    names = [f"known_{k}" for k in range(moves.shape[1])]
    columns = [pl.Series(name, column) for name, column in zip(names, moves.T, strict=True)]
    return cells.with_columns(pl.Series("factor", factor), *columns)


def _log_ratios(cells: pl.DataFrame, name: str, keys: list[str]) -> pl.DataFrame:
    """Give the log ratios of carry, on the fit's reference, to a kind of expected carry.

    Returns
    -------
    DataFrame
        keys, drives, value (mean of cells' log medians, weighted by drives), variance (by the luck of drives), speed
        (mean club speed, mph), known_0 and so on: by how much the value falls with the share of each level of the fit.
    """
    shots = pl.col("drives")
    spread = (MAD_TO_SD * pl.col(f"{name}_spread") / pl.col(name)) ** 2
    pooled = cells.select((spread * (shots - 1)).sum() / (shots - 1).sum().clip(1)).item()
    known = [column for column in cells.columns if column.startswith("known_")]
    means = {"value": (pl.col(name) / pl.col("factor")).log(), "speed": pl.col("club_speed_mph")}
    means |= {column: pl.col(column) for column in known}
    rows = cells.group_by(keys).agg(
        shots.sum(), *((value * shots).sum().alias(column) / shots.sum() for column, value in means.items())
    )
    variance = (MEDIAN_VARIANCE * pooled / shots).alias("variance")
    return rows.select(*keys, "drives", "value", variance, "speed", *known).sort(keys)


def _fitted_shares(
    inside: CarryModel, cells: pl.DataFrame, counts: npt.NDArray[np.integer[Any]], refitted: Array
) -> LevelShares:
    """Take the fit's shares; the golfers' part of their errors is that of golfers who differ as all golfers do."""
    used = cells.filter("usable")
    every = _means(used)
    tau2 = _between(every, _centred(every))
    errors, golfers = np.zeros(len(inside.offset_share)), np.zeros(len(inside.offset_share), dtype=np.int64)
    draws = refitted.copy()
    for k, (column, level) in enumerate(inside.offsets.levels):
        here = _means(used.filter(pl.col(column) == level))
        place, shots, value, luck = (here.get_column(n).to_numpy() for n in ("place", "drives", "value", "variance"))
        weight = shots / shots.sum()
        share = inside.offset_share[k]
        resampled, pooled = weight**2 @ (value - weight @ value) ** 2, weight**2 @ (tau2 + luck)
        golfers[k] = len(place)
        drawn = np.where(counts[:, place].sum(axis=1) == 0, np.nan, draws[:, k])
        errors[k], draws[:, k] = _spread_to(drawn, share, resampled * (1 + share) ** 2, pooled * (1 + share) ** 2)
    return LevelShares(inside.offsets, inside.offset_share, errors, golfers, draws)


def _means(cells: pl.DataFrame) -> pl.DataFrame:
    """Give each golfer's log mean ratio, all known, which is what a fit goes by; columns as of `_log_ratios`."""
    shots = pl.col("drives")
    pooled = cells.select((pl.col("var") * (shots - 1)).sum() / (shots - 1).sum().clip(1)).item()
    rows = cells.group_by("place").agg(
        shots.sum(),
        ((pl.col("mean") / pl.col("factor") * shots).sum() / shots.sum()).log().alias("value"),
        ((pl.col("club_speed_mph") * shots).sum() / shots.sum()).alias("speed"),
    )
    return rows.with_columns((pooled / shots).alias("variance")).sort("place")


def _spread_to(draws: Array, share: float, resampled: float, pooled: float) -> tuple[float, Array]:
    """Give a share's standard error, and draws about the share with that spread.

    What resampling the level's own few golfers shows of their spread (variance `resampled`) gives way to what all
    golfers show (`pooled`); the rest of the draws' variance is that of the other terms, which stays. A replicate
    without any of the level's golfers (NaN) says nothing of the share.
    """
    known = ~np.isnan(draws)
    away = np.where(known, draws - np.mean(draws[known]), 0.0) if known.any() else np.zeros_like(draws)
    found = float(np.var(away))
    error = float(np.sqrt(max(found - resampled, 0.0) + pooled))
    return error, share + (away * error / np.sqrt(found) if found > 0 else away)


def _between(rows: pl.DataFrame, X: Array) -> float:
    """Give the variance of golfers' log ratios about a design, by Paule and Mandel's method."""
    tau2, _, _ = between_golfers(rows.get_column("value").to_numpy(), rows.get_column("variance").to_numpy(), X)
    return tau2


def _centred(rows: pl.DataFrame) -> Array:
    """Give a column of ones and one of club speed about its mean: what is usual may bend with speed."""
    speed = rows.get_column("speed").to_numpy()
    return np.column_stack([np.ones(len(speed)), speed - speed.mean()])


def _outside_shares(
    plan: SharePlan, cells: pl.DataFrame, counts: npt.NDArray[np.integer[Any]], fitted_away: Array
) -> tuple[Array, Array, npt.NDArray[np.int64], Array]:
    """Estimate the levels outside the fit from golfers' log ratios: share, error, golfers and draws.

    A golfer who mishits often, or strikes far worse than others, says nothing of a device where that can't be seen:
    the regression is a robust one. Replicates count a golfer as often as drawn; weights are those of all golfers.
    """
    rows, X, kind = _regression(plan, cells)
    value, place = rows.get_column("value").to_numpy(), rows.get_column("place").to_numpy()
    fit = robust_regression(value, rows.get_column("variance").to_numpy(), X, kind)
    moves = [rows.get_column(f"known_{k}").to_numpy() for k in range(fitted_away.shape[1])]
    known = np.stack(moves, axis=-1) if moves else np.zeros((rows.height, 0))
    again = np.full((len(counts), X.shape[1]), np.nan)
    for row, times, away in zip(again, counts[:, place], fitted_away, strict=True):
        weight = fit.weights * times
        gram = X.T @ (weight[:, None] * X)
        there = np.diag(gram) > 0
        moment = (X.T @ (weight * (value - known @ away)))[there]
        row[there] = np.linalg.lstsq(gram[np.ix_(there, there)], moment, rcond=1e-12)[0]
    resampled = _resampled_variance(X, fit.weights, value - X @ fit.coefficients, place)
    size = len(plan.outside)
    share = np.expm1(fit.coefficients[:size])
    errors, draws = np.zeros(size), np.zeros((len(counts), size))
    least = _unclear_variance(X[:, :size], value - X @ fit.coefficients, fit.counted)
    for k, scale in enumerate((1 + share) ** 2):
        both = resampled[k] * scale, max(fit.covariance[k, k], least[k]) * scale
        errors[k], draws[:, k] = _spread_to(np.expm1(again[:, k]), share[k], *both)
    golfers = np.array([len(np.unique(place[X[:, k] != 0])) for k in range(size)], dtype=np.int64)
    return share, errors, golfers, draws


def _unclear_variance(levels: Array, left: Array, counted: Array) -> Array:
    """Give the least variance of levels' shares where golfers don't agree, shape (levels,); 0 where they do.

    Where too many of a level's golfers are far from the others (`UNCLEAR_SHARE`), nobody can say which are the usual
    ones: their plain mean is known no better than by their whole spread.
    """
    found = np.zeros(levels.shape[1])
    for k, column in enumerate(levels.T):
        here = column != 0
        if np.mean(counted[here] < 0.5) >= UNCLEAR_SHARE:
            found[k] = np.mean(left[here] ** 2) / np.count_nonzero(here)
    return found


def _resampled_variance(X: Array, weights: Array, left: Array, place: npt.NDArray[np.int64]) -> Array:
    """Give the variance of each coefficient that resampling golfers shows, to first order, shape (columns,)."""
    bread = np.linalg.pinv(X.T @ (weights[:, None] * X), hermitian=True)
    by_golfer = np.zeros((int(place.max()) + 1, X.shape[1]))
    np.add.at(by_golfer, place, (X * (weights * left)[:, None]) @ bread)
    return np.asarray(np.sum(by_golfer**2, axis=0))


def _regression(plan: SharePlan, cells: pl.DataFrame) -> tuple[pl.DataFrame, Array, npt.NDArray[np.int64]]:
    """Build the rows of the regression, its design (levels first) and each row's kind.

    Of a mode, rows by what is usual are of one kind and have a level and a slope with club speed of their own; golfers
    compared with themselves are of another, unless they are too few to show how much they differ. (They then count as
    differing like all golfers, which is more.)
    """
    outside, modes = plan.offsets[1], sorted(set(plan.modes.values()))
    compared = cells.filter("usable").join(_pairs(plan.modes), on=CELL, how="anti")
    rows, designs, kinds = [], [], []
    for k, mode in enumerate(modes):
        there = cells.join(_pairs(pair for pair, other in plan.modes.items() if other == mode), on=CELL, how="semi")
        usual, paired = _compare(there, compared, mode)
        size = usual.height + paired.height
        nuisance = np.zeros((size, 2 * len(modes)))
        nuisance[: usual.height, 2 * k : 2 * k + 2] = _centred(usual)
        both = pl.concat([usual, paired])
        kind = np.full(size, 2 * k)
        if paired.height >= MIN_PAIRS:
            kind[usual.height :] += 1
        rows.append(both)
        designs.append(np.hstack([outside.design(both), nuisance]))
        kinds.append(kind)
    return pl.concat(rows), np.vstack(designs), np.concatenate(kinds)


def _pairs(pairs: Iterable[tuple[str, str]]) -> pl.DataFrame:
    return pl.DataFrame(list(pairs), schema=dict.fromkeys(CELL, pl.String), orient="row")


def _compare(there: pl.DataFrame, compared: pl.DataFrame, mode: Mode) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give a mode's rows by what is usual, those of the fit's golfers among them, and those of golfers by themselves.

    Parameters
    ----------
    there, compared : DataFrame
        Cells at levels outside the fit, and those of the fit.
    mode : Mode
        What isn't known of either then: mishits would move a ratio where they don't show, and not where they do.
    """
    keys = ["place", *CELL]
    own = _log_ratios(compared, mode.own, ["place"])
    enough = own.filter(pl.col("drives") >= PAIR_SHOTS)
    names = [column for column in own.columns if column.startswith("known_")]
    alone = there.join(enough, on="place", how="anti")
    with_own = there.join(enough, on="place", how="semi")
    fit = _log_ratios(compared, mode.usual, ["place"]).with_columns(device=pl.lit(""), ball=pl.lit(""))
    usual = [_log_ratios(alone, mode.usual, keys)] if alone.height else []
    usual.append(fit.select(usual[0].columns if usual else [*keys, *(c for c in fit.columns if c not in keys)]))
    if not with_own.height:
        return pl.concat(usual), usual[-1].clear()
    pairs = _log_ratios(with_own, mode.own, keys).join(enough, on="place", suffix="_own", maintain_order="left")
    less = [(pl.col(name) - pl.col(f"{name}_own")).alias(name) for name in ("value", *names)]
    paired = pairs.with_columns(*less, variance=pl.col("variance") + pl.col("variance_own"))
    return pl.concat(usual), paired.select(usual[-1].columns)
