"""Resampling golfers: the same fit over and over on golfers drawn with replacement."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.configuration.study import Model
from pipeline.drives import Drives, Piece, inputs
from pipeline.fit.factored import numbered_strikes
from pipeline.fit.model import CarryModel
from pipeline.fit.trend import Line, Trend
from pipeline.fit.usual_delivery import pulled_ratios, strike_effects
from pipeline.statistics.arrays import Array
from pipeline.threads import in_order

_REPLICATES = Model().replicates  # of a study that says nothing


@dataclass(frozen=True)
class ResampledFits:
    """Refits on resampled golfers, all in one order.

    Attributes
    ----------
    counts : ndarray of int, shape (replicates, golfers)
        How often each golfer was drawn, golfers in their order.
    coefficients : ndarray, shape (replicates, terms of the surface)
    better_ratio : ndarray, shape (replicates, 3)
        Terms of the better quarter's speed ratio (see `Line.of_draws`); NaN where ball speed is not known.
    better_share : ndarray, shape (replicates,)
        As in `CarryModel`.
    launch, spin : ndarray, shape (replicates, 3)
        Terms of the usual trends, deg and rpm.
    offset_share : ndarray, shape (replicates, terms of the offsets)
        Shares of carry, as in `CarryModel`.
    regressors : ndarray, shape (replicates, regressors)
        Coefficients, as in `CarryModel`; of shape (0, 0) in files of before there were any.
    """

    counts: npt.NDArray[np.integer[Any]]
    coefficients: Array
    better_ratio: Array
    better_share: Array
    launch: Array
    spin: Array
    offset_share: Array
    regressors: Array = field(default_factory=lambda: np.zeros((0, 0)))

    def better_speed(self, model: CarryModel, club_speed_mph: float) -> Array:
        """Give the speed that the surface takes when struck as the better quarter do, mph, shape (replicates,)."""
        line = model.usual.better_ratio
        if model.surface.speed == "club" or line is None:
            return np.full(len(self.counts), float(model.better_speed(club_speed_mph)))
        return club_speed_mph * line.of_draws(self.better_ratio, club_speed_mph)

    def to_arrays(self) -> dict[str, npt.NDArray[Any]]:
        """Give the arrays by name, for a file."""
        return dict(vars(self))


def draw_counts(golfers: int, seed: int, replicates: int = _REPLICATES) -> npt.NDArray[np.uint8]:
    """Draw how often each golfer enters each replicate, shape (replicates, golfers)."""
    rng = np.random.default_rng([seed, 1])
    # Nobody is drawn more than a few times; a byte each keeps 200 draws of 200,000 golfers small.
    drawn = np.empty((replicates, golfers), dtype=np.uint8)
    for row in drawn:
        row[:] = rng.multinomial(golfers, np.full(golfers, 1 / golfers))
    return drawn


def refit(
    model: CarryModel, drives: pl.DataFrame | Drives, typical: pl.DataFrame, counts: npt.NDArray[np.integer[Any]]
) -> ResampledFits:
    """Refit surface, offsets and the better quarter's ratio on each draw of golfers.

    Parameters
    ----------
    model : CarryModel
        Its form stays; its coefficients are fitted anew.
    drives : DataFrame or Drives
        The drives that the fit uses; a golfer of `typical` may have none.
    typical : DataFrame
        One row per golfer, from `typical_drives`.
    counts : ndarray of int, shape (replicates, golfers)
        Golfers in the order of `typical`.

    Returns
    -------
    ResampledFits

    Notes
    -----
    Normal equations are summed per golfer, so that a replicate costs golfers, not drives, and added up over golfers
    piece by piece. They are safe here since every column is centred and scaled; the least-squares fit itself goes by
    QR.
    """
    place_of = pl.DataFrame({"golfer": typical.get_column("golfer"), "place": np.arange(typical.height)})

    def placed(piece: Piece) -> Piece:
        names = piece.drives.select(pl.col("golfer").unique()).sort("golfer")
        place = names.join(place_of, on="golfer", how="left", maintain_order="left").get_column("place").to_numpy()
        return Piece(piece.drives, place[piece.golfer - piece.golfer.min()])

    answers = in_order(RefitOf(model, counts), map(placed, Drives.of(drives).pieces()))
    return refits_from(answers, model, typical, counts)


@dataclass(frozen=True)
class RefitOf:
    """Asks pieces of drives for the normal equations of every draw and, where carry goes by club speed, strikes.

    Golfers are numbered as in `counts`, which `refit` describes.
    """

    model: CarryModel
    counts: npt.NDArray[np.integer[Any]]

    def __call__(self, piece: Piece) -> tuple[Array, Array, pl.DataFrame | None]:
        """Answer for a piece: shapes (replicates, terms * terms) and (replicates, terms)."""
        model, drives = self.model, piece.drives
        base, design = model.surface.base_and_design(*inputs(drives, model.surface.speed))
        X = np.hstack([design, model.offsets.terms(drives), model.regressors.terms(drives)])
        y = drives.get_column("carry_standard_yd").to_numpy() - base
        places, golfer = np.unique(piece.golfer, return_inverse=True)
        gram, moment = per_golfer_sums(X, y, golfer, len(places))
        drawn = self.counts[:, places].astype(float)
        return drawn @ gram.reshape(len(places), -1), drawn @ moment, numbered_strikes(piece, model)


def refits_from(
    answers: Iterable[tuple[Array, Array, pl.DataFrame | None]],
    model: CarryModel,
    typical: pl.DataFrame,
    counts: npt.NDArray[np.integer[Any]],
) -> ResampledFits:
    """Solve the normal equations of all pieces, which `RefitOf` found, and refit the trends; see `refit`."""
    split = [model.surface.size, model.surface.size + len(model.offsets.levels)]
    size = split[1] + len(model.regressors.names)
    grams, moments, strikes = np.zeros((len(counts), size * size)), np.zeros((len(counts), size)), []
    for gram, moment, struck in answers:
        grams += gram
        moments += moment
        strikes += [] if struck is None else [struck]
    sums = zip(grams.reshape(-1, size, size), moments, strict=True)
    coefficients = np.stack([np.linalg.lstsq(gram, moment, rcond=1e-12)[0] for gram, moment in sums])
    line, usual = model.usual.better_ratio, model.usual
    better = np.full((len(counts), 3), np.nan) if line is None else _better_lines(line, typical, counts, usual.strike)
    share = _better_shares(pl.concat(strikes), counts, usual.strike) if strikes else np.zeros(len(counts))
    surface, offsets, regressors = np.split(coefficients, split, axis=1)
    launch, spin = (
        _usual_lines(trend, typical, name, counts)
        for trend, name in ((usual.launch, "launch_deg"), (usual.spin, "spin_rpm"))
    )
    return ResampledFits(counts, surface, better, share, launch, spin, offsets, regressors)


def _better_lines(line: Line, typical: pl.DataFrame, counts: npt.NDArray[np.integer[Any]], strike: float) -> Array:
    """Fit the ratio of an efficient strike on each draw; see `Trend.of_draws`.

    The pull of each golfer's ratio is that of all golfers: how it varies over draws is of second order.
    """
    _, known = pulled_ratios(typical.with_row_index("place"))
    speed, pulled = (known.get_column(name).to_numpy() for name in ("club_speed_mph", "pulled"))
    drawn = counts[:, known.get_column("place").to_numpy()]
    better = Trend.like(line, speed, pulled, strike).of_draws(line, drawn)
    better[np.count_nonzero(drawn, axis=1) < 3] = np.nan
    return better


def _usual_lines(line: Line, typical: pl.DataFrame, name: str, counts: npt.NDArray[np.integer[Any]]) -> Array:
    """Fit the usual trend of launch or spin on each draw; see `Trend.of_draws`.

    Golfers whose spin isn't measured don't count.
    """
    known = typical.get_column(name).is_not_null()
    speed, values = (typical.filter(known).get_column(column).to_numpy() for column in ("club_speed_mph", name))
    return Trend.like(line, speed, values, 0.5).of_draws(line, counts[:, known.to_numpy()])


def _better_shares(strikes: pl.DataFrame, counts: npt.NDArray[np.integer[Any]], strike: float) -> Array:
    """Take the quantile `strike` of the golfers drawn, shape (replicates,); golfers outside the fit don't count."""
    effects = strike_effects(strikes)
    place, values = effects.get_column("golfer").to_numpy(), effects.get_column("effect").to_numpy()
    return np.array([np.quantile(np.repeat(values, drawn[place]), strike) for drawn in counts])


def per_golfer_sums(X: Array, y: Array, golfer: npt.NDArray[np.int64], golfers: int) -> tuple[Array, Array]:
    """Sum X'X and X'y by golfer.

    Parameters
    ----------
    X : ndarray, shape (n, terms)
    y : ndarray, shape (n,)
    golfer : ndarray of int, shape (n,)
        Golfers numbered from 0; one without drives has sums of nil.
    golfers : int

    Returns
    -------
    tuple of ndarray
        Shapes (golfers, terms, terms) and (golfers, terms).
    """
    terms = X.shape[1]
    gram, moment = np.zeros((golfers, terms, terms)), np.zeros((golfers, terms))
    order = np.argsort(golfer, kind="stable")
    present, starts = np.unique(golfer[order], return_index=True)
    for place, rows in zip(present, np.split(order, starts[1:]), strict=True):
        gram[place] = X[rows].T @ X[rows]
        moment[place] = X[rows].T @ y[rows]
    return gram, moment
