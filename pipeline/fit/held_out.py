"""Predictions of golfers held out of the fit, and the interval of a drive that comes of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Piece
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.fit.survey import Survey
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL

Known = tuple[bool, bool, bool]  # ball speed, launch, spin
ALL_KNOWN: Known = (True, True, True)
CLUB_SPEED_ALONE: Known = (False, False, False)
DRIVE_KEYS = ("golfer", "source", "row")
EVERYTHING = known_key(*ALL_KNOWN)
COMBINATIONS: tuple[Known, ...] = tuple(product((False, True), repeat=3))  # type: ignore[arg-type]

# Sets of known things whose predictions are made in one reading: quantiles need those of all drives at once, and more
# would fill a large study's memory.
TOGETHER = 3


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


def predict_held_out(
    survey: Survey, models: Sequence[CarryModel], known: Sequence[Known], *, at_centers: bool = False
) -> HeldOut:
    """Predict every golfer's drives by a fit that never saw the golfer.

    Parameters
    ----------
    survey : Survey
    models : sequence of CarryModel
        One a fold, from `Factored.without_each`.
    known : sequence of (bool, bool, bool)
        From which knowledge of ball speed, launch and spin to predict.
    at_centers : bool
        As for `predict_from`.
    """
    names = [known_key(*one) for one in known]

    def predict(piece: Piece) -> Array:
        fold = survey.fold[piece.golfer]
        here = np.empty((2 + len(names), len(fold)))
        here[0] = fold
        for k in np.unique(fold):
            out = np.flatnonzero(fold == k)
            rows, model = piece.drives[out], models[k]
            here[1, out] = model.reference_carry(rows)
            for place, one in enumerate(known, start=2):
                here[place, out] = predict_from(model, rows, *one, at_centers=at_centers)
        return here

    drives = int(survey.typical.get_column("shots").sum())
    fold, measured = np.empty(drives, dtype=np.int16), np.empty(drives)
    predicted = {name: np.empty(drives) for name in names}
    first = 0
    for here in survey.drives.each_piece(predict):
        rows = slice(first, first + here.shape[1])
        fold[rows], measured[rows] = here[0], here[1]
        for name, values in zip(names, here[2:], strict=True):
            predicted[name][rows] = values
        first = rows.stop
    terms = max(model.surface.size + len(model.offsets.levels) + len(model.regressors.names) for model in models)
    return HeldOut(measured, predicted, fold, terms)


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
    departure = measured / np.maximum(predicted, 1.0) - 1.0
    lo, hi = np.quantile(departure, [(1 - level) / 2, (1 + level) / 2])
    return float(lo), float(hi)


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


def intervals_held_out(survey: Survey, models: Sequence[CarryModel], known: HeldOut) -> dict[str, tuple[float, float]]:
    """Give the interval of a drive for each set of things known, from golfers held out; see `interval_edges`.

    Parameters
    ----------
    survey : Survey
    models : sequence of CarryModel
        One a fold.
    known : HeldOut
        Predictions for some of the sets, which need not be made again.
    """
    edges = {name: interval_edges(known.measured, predicted) for name, predicted in known.predicted.items()}
    if any(model.regressors.names for model in models):
        # Who asks for an interval gives a drive's speed, launch and spin: the regressors are part of its luck.
        edges.pop(EVERYTHING, None)
    left = [one for one in COMBINATIONS if known_key(*one) not in edges]
    for first in range(0, len(left), TOGETHER):
        held = predict_held_out(survey, models, left[first : first + TOGETHER], at_centers=True)
        edges |= {name: interval_edges(held.measured, predicted) for name, predicted in held.predicted.items()}
    return {known_key(*one): edges[known_key(*one)] for one in COMBINATIONS}


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
