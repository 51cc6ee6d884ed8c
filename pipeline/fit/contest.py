"""The contest of candidate models on golfers held out of the fit, and the interval that comes of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.errors import UserError
from pipeline.fit.drives import Speed, golfer_codes, inputs, typical_drives
from pipeline.fit.flight_surface import FlightMaker, FlightSurface
from pipeline.fit.least_squares import Fit, fit_least_squares
from pipeline.fit.model import CarryModel, known_key
from pipeline.fit.surface import Array, Surface, line, quadratic, splines
from pipeline.fit.trends import BETTER_QUARTER, Trends, fit_trends, strike_effects
from pipeline.flight.offsets import find_offsets

FOLDS = 10
MIN_GOLFERS = 6
DRIVES_PER_TERM = 5  # a candidate with fewer drives a term than this does not compete
LEVEL = 0.90

Maker = Callable[[Sequence[Array]], Surface | FlightSurface]


@dataclass(frozen=True)
class Candidate:
    """A named way to make a surface from the inputs of the drives in the fit; simplest first in a contest."""

    name: str
    make: Maker


def candidates_for(speed: Speed, flight: FlightMaker | None = None) -> tuple[Candidate, ...]:
    """Give the candidates, simplest first; the straight line always takes club speed, flight always ball speed."""
    flying = (Candidate("flight", flight),) if flight is not None and speed == "ball" else ()
    return (
        Candidate("line", lambda x: line(x, "club")),
        *flying,
        Candidate("quadratic", lambda x: quadratic(x, speed)),
        Candidate("splines", lambda x: splines(x, speed)),
    )


@dataclass(frozen=True)
class Fitted:
    """One candidate fitted to drives: a model without its interval yet, and the fit's own figures."""

    model: CarryModel
    fit: Fit
    labels: tuple[str, ...]


@dataclass(frozen=True)
class HeldOut:
    """A candidate's predictions on golfers held out, over all drives of the contest in their order.

    Attributes
    ----------
    measured : ndarray, shape (n,)
        Carry, yd, less the offset of its device and ball.
    predicted : dict of str to ndarray, shape (n,)
        Predictions, yd, by what is known (see `known_key`).
    fold : ndarray of int, shape (n,)
    terms : int
    """

    measured: Array
    predicted: dict[str, Array]
    fold: npt.NDArray[np.int64]
    terms: int


EVERYTHING = known_key(True, True, True)


def fit_candidate(candidate: Candidate, drives: pl.DataFrame, trends: Trends | None = None) -> Fitted:
    """Fit one candidate to all of the given drives.

    Parameters
    ----------
    candidate : Candidate
    drives : DataFrame
        Drives that are usable for the surface's speed, with the columns of `FIT_COLUMNS`.
    trends : Trends, optional
        Those of the drives, where they are known already.

    Returns
    -------
    Fitted
        Standard errors are clustered by golfer.

    Raises
    ------
    UserError
        From `fit_least_squares`.
    """
    club = candidate.make(inputs(drives, "club"))
    surface = club if club.speed == "club" else candidate.make(inputs(drives, "ball"))
    offsets = find_offsets(drives)
    x = inputs(drives, surface.speed)
    X = np.hstack([surface.design(*x), offsets.design(drives)])
    fit = fit_least_squares(X, drives.get_column("carry_yd").to_numpy() - surface.base(*x), golfer_codes(drives))
    split = surface.size
    trends = trends or fit_trends(typical_drives(drives, ["golfer"]))
    model = CarryModel(surface, fit.coefficients[:split], offsets, fit.coefficients[split:], trends, {})
    if surface.speed == "club":
        effects = strike_effects(drives, model.departure(drives)).get_column("effect").to_numpy()
        model = replace(model, better_share=float(np.quantile(effects, BETTER_QUARTER)))
    return Fitted(model, fit, (*surface.labels, *offsets.labels))


def fold_trends(drives: pl.DataFrame, seed: int) -> list[Trends]:
    """Fit the trends without each fold: they are the same for all candidates."""
    fold = assign_folds(golfer_codes(drives), seed)
    kept = (drives.filter(pl.Series(fold != k)) for k in np.unique(fold))
    return [fit_trends(typical_drives(rows, ["golfer"])) for rows in kept]


def hold_out(candidate: Candidate, drives: pl.DataFrame, seed: int, trends: Sequence[Trends] | None = None) -> HeldOut:
    """Predict every golfer's drives by a fit that never saw the golfer.

    Parameters
    ----------
    candidate : Candidate
    drives : DataFrame
        As for `fit_candidate`.
    seed : int
        Decides which golfers share a fold; the same for all candidates.
    trends : sequence of Trends, optional
        From `fold_trends`.

    Returns
    -------
    HeldOut
    """
    trends = trends or fold_trends(drives, seed)
    fold = assign_folds(golfer_codes(drives), seed)
    measured = np.empty(drives.height)
    predicted = {known_key(*known): np.empty(drives.height) for known in product((False, True), repeat=3)}
    terms = 0
    for k in np.unique(fold):
        out = fold == k
        fitted = fit_candidate(candidate, drives.filter(pl.Series(~out)), trends[int(k)])
        rows = drives.filter(pl.Series(out))
        model = fitted.model
        measured[out] = rows.get_column("carry_yd").to_numpy() - model.offsets.design(rows) @ model.offset_yd
        for known in product((False, True), repeat=3):
            predicted[known_key(*known)][out] = predict_from(model, rows, *known)
        terms = max(terms, len(fitted.labels))
    return HeldOut(measured, predicted, fold, terms)


def predict_from(model: CarryModel, drives: pl.DataFrame, ball_speed: bool, launch: bool, spin: bool) -> Array:
    """Predict carry, yd, shape (n,), from club speed and what else is known; the usual value stands for the rest."""
    club, l, p = inputs(drives, "club")
    ratio = drives.get_column("ball_speed_mph").to_numpy() / club if ball_speed else None
    speed = model.speed(club, ratio)
    return model.carry(speed, l if launch else model.trends.launch(club), p if spin else model.trends.spin(club))


def assign_folds(golfer: npt.NDArray[np.int64], seed: int) -> npt.NDArray[np.int64]:
    """Share golfers out over folds at random, as evenly as can be; all drives of a golfer fall in one fold."""
    count = int(golfer.max()) + 1
    folds = min(FOLDS, count)
    order = np.random.default_rng([seed, 0]).permutation(count)
    return np.asarray((np.arange(count) % folds)[np.argsort(order)][golfer], dtype=np.int64)


def interval_edges(measured: Array, predicted: Array) -> tuple[float, float]:
    """Give the 90 % interval for one drive as shares of the prediction: quantiles of measured / predicted - 1."""
    departure = measured / np.maximum(predicted, 1.0) - 1.0
    lo, hi = np.quantile(departure, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return float(lo), float(hi)


def score(held: HeldOut, golfer: npt.NDArray[np.int64]) -> dict[str, float]:
    """Score held-out predictions.

    Parameters
    ----------
    held : HeldOut
    golfer : ndarray of int, shape (n,)

    Returns
    -------
    dict
        rmse_yd and its standard error clustered by golfer, mae_yd, bias_yd (predicted minus measured) and
        coverage90: of an interval whose edges come from the other folds, so no drive judges itself.
    """
    predicted = held.predicted[EVERYTHING]
    error = predicted - held.measured
    mse = float(np.mean(error**2))
    # Sum of (squared error - mean) per golfer: the cluster-robust variance of a mean.
    totals = np.bincount(golfer, weights=error**2 - mse)
    clusters = len(totals)
    variance = float(np.sum(totals**2)) / len(error) ** 2 * clusters / max(clusters - 1, 1)
    rmse = float(np.sqrt(mse))
    inside = np.empty(len(error), dtype=bool)
    for k in np.unique(held.fold):
        out = held.fold == k
        lo, hi = interval_edges(held.measured[~out], predicted[~out])
        departure = held.measured[out] / np.maximum(predicted[out], 1.0) - 1.0
        inside[out] = (departure >= lo) & (departure <= hi)
    return {
        "rmse_yd": rmse,
        "rmse_std_error_yd": float(np.sqrt(variance)) / (2 * rmse) if rmse > 0 else 0.0,
        "mae_yd": float(np.mean(np.abs(error))),
        "bias_yd": float(np.mean(error)),
        "coverage90": float(np.mean(inside)),
    }


def choose(scores: Sequence[dict[str, float]]) -> int:
    """Choose the simplest candidate within one standard error of the best.

    Parameters
    ----------
    scores : sequence of dict
        With rmse_yd and rmse_std_error_yd, simplest candidate first.

    Returns
    -------
    int
        The chosen one's place.

    References
    ----------
    The one-standard-error rule: Breiman, Friedman, Olshen and Stone, Classification and Regression Trees (1984).
    """
    best = min(scores, key=lambda s: s["rmse_yd"])
    limit = best["rmse_yd"] + best["rmse_std_error_yd"]
    return next(place for place, s in enumerate(scores) if s["rmse_yd"] <= limit)


def enough_for_a_fit(drives: pl.DataFrame) -> None:
    """Raise UserError where there are too few golfers or drives for any fit."""
    golfers = drives.get_column("golfer").n_unique()
    least = DRIVES_PER_TERM * 4
    if golfers < MIN_GOLFERS or drives.height < least:
        raise UserError(
            f"The study has {drives.height} usable drives of {golfers} golfers; a fit needs at least "
            f"{least} drives of {MIN_GOLFERS} golfers: add logs, or see rejects.csv for what was left out."
        )


def may_compete(candidate: Candidate, drives: pl.DataFrame) -> str | None:
    """Say why a candidate can't compete on these drives, or None where it can."""
    surface = candidate.make(inputs(drives, "club"))
    need = DRIVES_PER_TERM * surface.size
    return None if drives.height >= need else f"needs {need} drives"
