"""Predictions of golfers held out of the fit, and the interval of a drive that comes of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Piece
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL
from pipeline.statistics.quantiles import Quantiles

Known = tuple[bool, bool, bool]  # ball speed, launch, spin
ALL_KNOWN: Known = (True, True, True)
CLUB_SPEED_ALONE: Known = (False, False, False)
DRIVE_KEYS = ("golfer", "source", "row")
EVERYTHING = known_key(*ALL_KNOWN)
COMBINATIONS: tuple[Known, ...] = tuple(product((False, True), repeat=3))  # type: ignore[arg-type]
TOLD = (ALL_KNOWN, CLUB_SPEED_ALONE)  # whose predictions stand in the table of drives


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
    fold: npt.NDArray[np.int16]
    terms: int

    @classmethod
    def joined(cls, parts: Sequence["HeldOut"]) -> "HeldOut":
        """Put the predictions of pieces one after the other."""
        predicted = {name: np.concatenate([part.predicted[name] for part in parts]) for name in parts[0].predicted}
        measured, fold = (np.concatenate([getattr(part, name) for part in parts]) for name in ("measured", "fold"))
        return cls(measured, predicted, fold, parts[0].terms)

    @property
    def departures(self) -> dict[str, Array]:
        """Measured over predicted carry, less 1, by what is known."""
        return {name: departure(self.measured, values) for name, values in self.predicted.items()}


@dataclass(frozen=True)
class PredictionsOf:
    """Asks pieces of drives for predictions of each golfer by a fit that never saw the golfer.

    Attributes
    ----------
    models : sequence of CarryModel
        One a fold, from `Factored.without_each`.
    fold : ndarray of int, shape (golfers,)
    known : sequence of (bool, bool, bool)
        From which knowledge of ball speed, launch and spin to predict.
    at_centers : bool
        As for `predict_from`.
    """

    models: Sequence[CarryModel]
    fold: npt.NDArray[np.integer[Any]]
    known: Sequence[Known]
    at_centers: bool = False

    @property
    def terms(self) -> int:
        """Most terms of the models."""
        return max(len(one.coefficients) + len(one.offsets.levels) + len(one.regressors.names) for one in self.models)

    def __call__(self, piece: Piece) -> HeldOut:
        """Answer for a piece."""
        fold = self.fold[piece.golfer]
        measured, predicted = np.empty(len(fold)), {known_key(*one): np.empty(len(fold)) for one in self.known}
        for k in np.unique(fold):
            out = np.flatnonzero(fold == k)
            rows, model = piece.drives[out], self.models[k]
            measured[out] = model.reference_carry(rows)
            for one, values in zip(self.known, predicted.values(), strict=True):
                values[out] = predict_from(model, rows, *one, at_centers=self.at_centers)
        return HeldOut(measured, predicted, fold.astype(np.int16), self.terms)


class Predicted(NamedTuple):
    """What `EveryKnownOf` finds: predictions for the table, and departures for the other intervals."""

    held: HeldOut
    departures: dict[str, Array]


@dataclass(frozen=True)
class EveryKnownOf:
    """Asks pieces of drives for predictions from whatever may be known; `models` and `fold` as of `PredictionsOf`."""

    models: Sequence[CarryModel]
    fold: npt.NDArray[np.integer[Any]]

    def __call__(self, piece: Piece) -> Predicted:
        """Answer for a piece."""
        # Who asks for an interval gives a drive's speed, launch and spin: the regressors are part of its luck.
        again = any(model.regressors.names for model in self.models)
        left = [one for one in COMBINATIONS if one not in TOLD or (again and one == ALL_KNOWN)]
        others = PredictionsOf(self.models, self.fold, left, at_centers=True)(piece)
        return Predicted(PredictionsOf(self.models, self.fold, TOLD)(piece), others.departures)


def predict_from(
    model: CarryModel, drives: pl.DataFrame, ball_speed: bool, launch: bool, spin: bool, *, at_centers: bool = False
) -> Array:
    """Predict carry, yd, shape (n,), from club speed and what else is known; the usual value stands for the rest.

    Where everything is known, so are the regressors of a model, unless carry `at_centers` is asked for.
    """
    drive = Delivery.of(drives)
    unknown = np.full_like(drive.launch_deg, np.nan)
    known = replace(
        drive,
        launch_deg=drive.launch_deg if launch else unknown,
        spin_rpm=drive.spin_rpm if spin else unknown,
    )
    expected = model.expected(model.with_usual(known), "own" if ball_speed else "usual")
    everything = (ball_speed, launch, spin) == ALL_KNOWN
    return expected * model.own_regressors(drives) if everything and not at_centers else expected


def interval_edges(measured: Array, predicted: Array, level: float = LEVEL) -> tuple[float, float]:
    """Give the interval for one drive as shares of the prediction: quantiles of measured / predicted - 1."""
    lo, hi = np.quantile(departure(measured, predicted), edge_quantiles(level))
    return float(lo), float(hi)


def departure(measured: Array, predicted: Array) -> Array:
    """Give measured over predicted carry, less 1."""
    return np.asarray(measured / np.maximum(predicted, 1.0) - 1.0)


def edge_quantiles(level: float = LEVEL) -> tuple[float, float]:
    """Give between which quantiles an interval lies."""
    return (1 - level) / 2, (1 + level) / 2


def edges_at(level: float, held_out: pl.DataFrame) -> dict[str, tuple[float, float]]:
    """Give the intervals of one drive at a level, as shares of its expected carry.

    Parameters
    ----------
    level : float
        Such as 0.8.
    held_out : DataFrame
        From `held_out_table`.

    Returns
    -------
    dict of str to tuple of float
        By what is known (see `known_key`): everything, and club speed alone.
    """
    columns = {EVERYTHING: "predicted_yd", known_key(*CLUB_SPEED_ALONE): "predicted_by_club_speed_yd"}
    measured = held_out.get_column("measured_yd").to_numpy()
    return {
        known: interval_edges(measured, held_out.get_column(name).to_numpy(), level) for known, name in columns.items()
    }


def intervals_held_out(parts: Iterable[Predicted]) -> dict[str, tuple[float, float]]:
    """Give the interval of a drive for each set of things known, from golfers held out; see `interval_edges`.

    Parameters
    ----------
    parts : iterable of Predicted
        Of all pieces; read twice.
    """
    edges = {known_key(*one): Quantiles(edge_quantiles()) for one in COMBINATIONS}
    for take in (Quantiles.look, Quantiles.gather):
        for part in parts:
            here = part.held.departures | part.departures
            for name, quantiles in edges.items():
                take(quantiles, here[name])
    found = {name: quantiles.of_all.values() for name, quantiles in edges.items()}
    return {name: (float(lo), float(hi)) for name, (lo, hi) in found.items()}


def held_out_table(held: HeldOut, keys: pl.DataFrame) -> pl.DataFrame:
    """List measured and predicted carry, yd, per drive: from all inputs, and from club speed alone.

    Parameters
    ----------
    held : HeldOut
    keys : DataFrame, n rows
        golfer, source and row of the same drives, in their order.

    Returns
    -------
    DataFrame, n rows
        The table `HeldOut` of `pipeline.tables.figures`.
    """
    return pl.DataFrame(
        {
            **{name: keys.get_column(name) for name in DRIVE_KEYS},
            "measured_yd": held.measured,
            "predicted_yd": held.predicted[EVERYTHING],
            "predicted_by_club_speed_yd": held.predicted[known_key(*CLUB_SPEED_ALONE)],
            "fold": held.fold.astype(np.int64),
        }
    )
