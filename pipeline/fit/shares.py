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

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Drives
from pipeline.fit.level_cells import CELL, KNOWN, Mode, cells_of, level_counts
from pipeline.fit.model import CarryModel
from pipeline.fit.resampled import ResampledFits
from pipeline.flight.offsets import MIN_SHOTS, Offsets
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach
from pipeline.statistics.shrinkage import between_golfers

# Golfers of whom nothing but speed and launch is known differ by some 3 % of carry. Of three of them the mean is known
# to half of what devices differ by (`DEVICE_SHARE_SD`); of fewer, a share would say little that wasn't known before.
MIN_GOLFERS = 3

# A golfer's own ratio, spin and carry on compared devices stand for what is usual from this many drives on: the median
# ratio of five drives is known to 0.8 %, beside the 1.5 to 2 % by which golfers' ratios differ.
PAIR_SHOTS = 5

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
class _Plan:
    """Which levels keep the fit's share, which are estimated outside it, and what isn't known of their drives."""

    inside: tuple[Level, ...]
    outside: tuple[Level, ...]
    absorbed: tuple[Level, ...]
    modes: dict[tuple[str, str], Mode]  # by device and ball, of pairs with an outside level

    @classmethod
    def of(cls, model: CarryModel, counts: pl.DataFrame) -> "_Plan":
        """Plan by `level_counts`."""
        every = list(_levels(counts, "drives"))
        enough = [level for level, shots, golfers in every if shots >= MIN_SHOTS and golfers >= MIN_GOLFERS]
        used = [level for level, _, golfers in _levels(counts, "usable") if golfers >= MIN_GOLFERS]
        inside = tuple(level for level in model.offsets.levels if level in used)
        pairs = counts.group_by(CELL).agg(pl.col("drives", "blind", "guessed").sum()).sort(CELL)
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


def _levels(counts: pl.DataFrame, name: str) -> Iterator[tuple[Level, int, int]]:
    """Give each level's drives and golfers, devices first, of each the level of most drives first."""
    for column in CELL:
        there = counts.filter(pl.col(name) > 0).group_by(column)
        table = there.agg(pl.col(name).sum(), pl.col("golfer").n_unique().alias("golfers"))
        for level, shots, golfers in table.sort([name, column], descending=[True, False]).iter_rows():
            yield (column, level), shots, golfers


def find_shares(
    model: CarryModel, drives: pl.DataFrame | Drives, refits: ResampledFits, golfers: pl.Series
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
    golfers : Series
        In the order of the replicates' counts.

    Returns
    -------
    LevelShares
        Levels with fewer than `MIN_SHOTS` drives or `MIN_GOLFERS` golfers have no share.
    """
    read = Drives.of(drives)
    plan = _Plan.of(model, read.gathered(lambda frame: level_counts(frame, model.surface.speed)))
    at = [model.offsets.levels.index(level) for level in plan.inside]
    inside = replace(model, offsets=plan.offsets[0], offset_share=model.offset_share[at])
    place = pl.DataFrame({"golfer": golfers, "place": np.arange(len(golfers))})
    cells = read.gathered(lambda frame: cells_of(frame, model, set(plan.modes.values())))
    cells = _on_reference(cells.join(place, on="golfer", how="left"), inside).sort("place", *CELL, "usable")
    fitted = _fitted_shares(inside, cells, refits.counts, refits.offset_share[:, at])
    absorbed = tuple(dict.fromkeys((*model.offsets.absorbed, *plan.absorbed)))
    if plan.outside:
        found = _outside_shares(plan, cells, refits.counts, fitted.draws - fitted.share)
        parts = zip((fitted.share, fitted.std_error, fitted.golfers), found[:3], strict=True)
        figures = [np.concatenate(both) for both in parts]
        draws = np.hstack([fitted.draws, found[3]])
    else:
        figures, draws = [fitted.share, fitted.std_error, fitted.golfers], fitted.draws
    offsets = Offsets(model.offsets.reference, (*plan.inside, *plan.outside), absorbed)
    return LevelShares(offsets, *figures, draws)


def _on_reference(cells: pl.DataFrame, inside: CarryModel) -> pl.DataFrame:
    """Move carry off the fit's levels; add by how much its logarithm falls with each level's share (`known`)."""
    factor = 1 + inside.added_share(cells)
    reference = cells.get_column("carry").to_numpy() / factor
    falls = inside.offsets.design(cells) * (reference / factor)[:, None]
    names = [f"known_{k}" for k in range(falls.shape[1])]
    moved = cells.with_columns(pl.Series("reference", reference), pl.Series("factor", factor))
    return moved.with_columns(pl.Series(name, column) for name, column in zip(names, falls.T, strict=True))


def _log_ratios(cells: pl.DataFrame, name: str, keys: list[str]) -> pl.DataFrame:
    """Sum up log ratios of reference carry to a kind of expected carry.

    Returns
    -------
    DataFrame
        keys, drives, value, variance (by the luck of drives), speed (mean club speed, mph), known_0 and so on: by how
        much the value falls with the share of each level of the fit.
    """
    known = [column for column in cells.columns if column.startswith("known_")]
    variance = _variance_of_a_drive(cells, name)
    rows = cells.group_by(keys).agg(pl.col("drives", "club", "reference", name, *known).sum()).sort(keys)
    return rows.select(
        *keys,
        "drives",
        (pl.col("reference") / pl.col(name)).log().alias("value"),
        (variance / pl.col("drives")).alias("variance"),
        (pl.col("club") / pl.col("drives")).alias("speed"),
        *(pl.col(column) / pl.col("reference") for column in known),
    )


def _variance_of_a_drive(cells: pl.DataFrame, name: str) -> float:
    """Give the variance of a drive's carry over expected carry within golfers, devices and balls, over its mean."""
    shots, sums, squares = (
        cells.get_column(column).to_numpy().astype(float) for column in ("drives", f"{name}_r", f"{name}_q")
    )
    within = float(np.sum(squares - sums**2 / shots))
    return within / max(float(np.sum(shots - 1)), 1.0) / float(sums.sum() / shots.sum()) ** 2


def _fitted_shares(
    inside: CarryModel, cells: pl.DataFrame, counts: npt.NDArray[np.integer], refitted: Array
) -> LevelShares:
    """Take the fit's shares; the golfers' part of their errors is that of golfers who differ as all golfers do."""
    used = cells.filter("usable")
    every = _log_ratios(used, KNOWN.usual, ["place"])
    tau2 = _between(every, _centred(every))
    errors, golfers = np.zeros(len(inside.offset_share)), np.zeros(len(inside.offset_share), dtype=np.int64)
    draws = refitted.copy()
    for k, (column, level) in enumerate(inside.offsets.levels):
        here = _log_ratios(used.filter(pl.col(column) == level), KNOWN.usual, ["place"])
        place, shots, value, luck = (here.get_column(n).to_numpy() for n in ("place", "drives", "value", "variance"))
        weight = shots / shots.sum()
        resampled = float(weight**2 @ (value - weight @ value) ** 2)
        pooled = float(weight**2 @ (tau2 + luck))
        golfers[k] = len(place)
        absent = counts[:, place].sum(axis=1) == 0
        share = inside.offset_share[k]
        scale = (1 + share) ** 2
        errors[k], draws[:, k] = _spread_to(
            np.where(absent, np.nan, draws[:, k]), share, resampled * scale, pooled * scale
        )
    return LevelShares(inside.offsets, inside.offset_share, errors, golfers, draws)


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
    there = X[:, np.any(X != 0, axis=0)]
    tau2, _, _ = between_golfers(rows.get_column("value").to_numpy(), rows.get_column("variance").to_numpy(), there)
    return tau2


def _centred(rows: pl.DataFrame) -> Array:
    """Give a column of ones and one of club speed about its mean: what is usual may bend with speed."""
    speed = rows.get_column("speed").to_numpy()
    return np.column_stack([np.ones(len(speed)), speed - speed.mean()])


def _outside_shares(
    plan: _Plan, cells: pl.DataFrame, counts: npt.NDArray[np.integer], fitted_away: Array
) -> tuple[Array, Array, npt.NDArray[np.int64], Array]:
    """Estimate the levels outside the fit from golfers' log ratios: share, error, golfers and draws.

    A random-effects regression over golfers, the variance between them found for each kind of ratio apart. Replicates
    weigh golfers by how often they were drawn, the variances being those of all golfers.
    """
    rows, X, tau2 = _regression(plan, cells)
    value, luck, place = (rows.get_column(name).to_numpy() for name in ("value", "variance", "place"))
    known = rows.select(f"known_{k}" for k in range(fitted_away.shape[1])).to_numpy()
    weight = 1 / (tau2 + luck)
    covariance = np.linalg.pinv(X.T @ (weight[:, None] * X), hermitian=True)
    found = covariance @ (X.T @ (weight * value))
    size = len(plan.outside)
    # What a golfer's residual moves, were the golfer drawn once more.
    lean = (X * (weight * (value - X @ found))[:, None]) @ covariance
    by_golfer = np.zeros((counts.shape[1], X.shape[1]))
    np.add.at(by_golfer, place, lean)
    resampled = np.sum(by_golfer[:, :size] ** 2, axis=0)
    drawn = counts[:, place].astype(float)
    moved = value - fitted_away @ known.T  # each replicate's values, shape (replicates, rows)
    again = np.full((len(counts), X.shape[1]), np.nan)
    for row, times, values in zip(again, drawn, moved, strict=True):
        gram = X.T @ ((weight * times)[:, None] * X)
        there = np.diag(gram) > 0
        row[there] = np.linalg.lstsq(gram[np.ix_(there, there)], (X.T @ (weight * times * values))[there], rcond=1e-12)[0]
    share = np.expm1(found[:size])
    errors, draws = np.zeros(size), np.zeros((len(counts), size))
    for k in range(size):
        scale = (1 + share[k]) ** 2
        errors[k], draws[:, k] = _spread_to(
            np.expm1(again[:, k]), share[k], resampled[k] * scale, covariance[k, k] * scale
        )
    golfers = np.array([len(np.unique(place[X[:, k] != 0])) for k in range(size)], dtype=np.int64)
    return share, errors, golfers, draws


def _regression(plan: _Plan, cells: pl.DataFrame) -> tuple[pl.DataFrame, Array, Array]:
    """Build the rows of the regression, its design (levels first) and the variance between golfers of each row."""
    outside = plan.offsets[1]
    compared = cells.filter("usable").join(_pairs(plan.modes), on=CELL, how="anti")
    own = _log_ratios(compared, KNOWN.usual, ["place"])
    rows, designs, tau2 = [], [], []
    for mode in sorted(set(plan.modes.values())):
        there = cells.join(_pairs(pair for pair, other in plan.modes.items() if other == mode), on=CELL, how="semi")
        usual, paired = _compare(there, compared, own, mode)
        alone = np.hstack([outside.design(usual), _centred(usual)])
        spread = _between(usual, alone)
        both = outside.design(paired)
        enough = paired.height >= MIN_GOLFERS + np.any(both != 0, axis=0).sum()
        # Too few pairs show no spread of their own: that of golfers who aren't compared with themselves is larger.
        spread_paired = _between(paired, both) if enough else spread
        rows += [usual, paired]
        designs += [(alone[:, : both.shape[1]], alone[:, both.shape[1] :]), (both, np.zeros((paired.height, 2)))]
        tau2 += [np.full(usual.height, spread), np.full(paired.height, spread_paired)]
    levels = np.vstack([one for one, _ in designs])
    nuisance = np.zeros((len(levels), len(designs)))
    first = 0
    for k, (_, part) in enumerate(designs):
        nuisance[first : first + len(part), 2 * (k // 2) : 2 * (k // 2) + 2] = part
        first += len(part)
    return pl.concat(rows), np.hstack([levels, nuisance]), np.concatenate(tau2)


def _pairs(pairs: Iterable[tuple[str, str]]) -> pl.DataFrame:
    return pl.DataFrame(list(pairs), schema=dict.fromkeys(CELL, pl.String), orient="row")


def _compare(
    there: pl.DataFrame, compared: pl.DataFrame, own: pl.DataFrame, mode: Mode
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give a mode's rows by what is usual, those of the fit's golfers among them, and those of golfers by themselves.

    Parameters
    ----------
    there, compared : DataFrame
        Cells at levels outside the fit, and those of the fit.
    own : DataFrame
        Log ratios of golfers over the latter, everything known.
    mode : Mode
    """
    keys = ["place", *CELL]
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
