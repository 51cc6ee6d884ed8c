"""The contest of candidate models on golfers held out of the fit, and the interval that comes of it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Drives, Piece, Speed, inputs, typical_drives
from pipeline.errors import UserError
from pipeline.fit.flight_surface import FlightMaker, FlightSurface
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.fit.surface import Extent, Inputs, Surface, line, quadratic, splines
from pipeline.fit.usual_delivery import BETTER_QUARTER, UsualDelivery, fit_usual_delivery, strike_effects, strikes_of
from pipeline.flight.offsets import Offsets, count_levels, every_level, offsets_from
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL
from pipeline.statistics.least_squares import Factor, Fit, Solved, scores_by_cluster, solve

FOLDS = 10
MIN_GOLFERS = 6
DRIVES_PER_TERM = 5  # a candidate with fewer drives a term than this does not compete

Maker = Callable[[Inputs], Surface | FlightSurface]


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
class CandidateFit:
    """One candidate fitted to drives: a model without its interval yet, and the fit's own figures."""

    model: CarryModel
    fit: Fit
    labels: tuple[str, ...]


@dataclass(frozen=True)
class Survey:
    """What all fits to the same drives share.

    Attributes
    ----------
    drives : Drives
        Those of the fits.
    typical : DataFrame
        One row per golfer, from `typical_drives` of these drives.
    fold : ndarray of int, shape (golfers,)
        Golfers in the order of `typical`.
    among : Expr or None
        Which drives may enter a fit; None for all. The others are only predicted.
    levels : DataFrame
        Drives that may enter a fit, by quarter, fold, device and ball.
    extents : dict
        For each speed that the drives have: the spread of speed, launch and spin.
    """

    drives: Drives
    typical: pl.DataFrame
    fold: npt.NDArray[np.int64]
    among: pl.Expr | None
    levels: pl.DataFrame
    extents: dict[str, tuple[Extent, Extent, Extent]]

    @classmethod
    def of(
        cls,
        drives: pl.DataFrame | Drives,
        seed: int = 0,
        folds: pl.DataFrame | None = None,
        among: pl.Expr | None = None,
    ) -> "Survey":
        """Read the drives; `seed` decides which golfers share a fold, unless `folds` (golfer, fold) says so."""
        read = Drives.of(drives)
        parts = [
            (typical_drives(frame, ["golfer"]), count_levels(entering(frame, among), "golfer", "quarter"))
            for frame in read.read()
        ]
        typical = pl.concat(part for part, _ in parts).sort("golfer")
        if folds is None:
            folds = typical.select("golfer", pl.Series("fold", share_out(typical.height, seed)))
        fold = typical.join(folds, on="golfer", how="left", maintain_order="left").get_column("fold").to_numpy()
        counts = pl.concat(part for _, part in parts).join(folds, on="golfer")
        levels = counts.group_by("quarter", "fold", "device", "ball").agg(pl.col("drives").sum())
        return cls(read, typical, fold, among, levels, _extents(read))

    @property
    def fold_of_golfers(self) -> pl.DataFrame:
        """Give the fold of each golfer: golfer, fold."""
        return self.typical.select("golfer", pl.Series("fold", self.fold))

    @property
    def quarters(self) -> list[str]:
        """The quarters of the drives, in order."""
        return self.levels.get_column("quarter").unique().sort().to_list()

    @property
    def folds(self) -> int:
        """Number of folds."""
        return int(self.fold.max()) + 1

    @property
    def shots(self) -> int:
        """Number of drives."""
        return int(self.levels.get_column("drives").sum())

    @cached_property
    def golfer_of_drives(self) -> npt.NDArray[np.int32]:
        """Give each drive its golfer's number, shape (n,)."""
        return np.concatenate([piece.golfer.astype(np.int32) for piece in self.drives.pieces()])

    def offsets(self, without: int | None = None) -> Offsets:
        """Choose the device and ball terms, of all drives or of those outside a fold."""
        return offsets_from(self.levels if without is None else self.levels.filter(pl.col("fold") != without))

    def surface(self, candidate: Candidate) -> Surface | FlightSurface:
        """Make a candidate's surface; only one over club speed can be made where ball speed isn't known."""
        club = candidate.make(self.extents["club"])
        return club if club.speed == "club" else candidate.make(self.extents["ball"])

    def trends(self) -> list[UsualDelivery]:
        """Fit the trends without each fold: they are the same for all candidates."""
        rest = (self.typical.filter(pl.Series(self.fold != k)) for k in range(self.folds))
        return [fit_usual_delivery(golfers) for golfers in rest]


def entering(frame: pl.DataFrame, among: pl.Expr | None) -> pl.DataFrame:
    """Keep the drives that may enter a fit."""
    return frame if among is None else frame.filter(among.fill_null(False))


def _extents(drives: Drives) -> dict[str, tuple[Extent, Extent, Extent]]:
    # Quantiles need a whole column.
    club, ball, launch, spin = drives.columns("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm")
    l, p = Extent.of(launch), Extent.of(spin)
    found = {"club": (Extent.of(club), l, p)}
    return found if np.isnan(ball).any() else found | {"ball": (Extent.of(ball), l, p)}


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


Known = tuple[bool, bool, bool]  # ball speed, launch, spin
EVERYTHING = known_key(True, True, True)
COMBINATIONS: tuple[Known, ...] = tuple(product((False, True), repeat=3))  # type: ignore[arg-type]


@dataclass(frozen=True)
class Factored:
    """A candidate's surface with the factors of the drives of each fold.

    Attributes
    ----------
    surface : Surface or FlightSurface
        The same for all folds: its form hangs on inputs alone, never on carry.
    levels : Offsets
        Every device and ball that may have a term; their columns follow those of the surface.
    folds : list of Factor
    """

    surface: Surface | FlightSurface
    levels: Offsets
    folds: list[Factor]

    @classmethod
    def of(cls, survey: Survey, surface: Surface | FlightSurface) -> "Factored":
        """Read the drives once."""
        levels = every_level(survey.levels)
        size = surface.size + len(levels.levels) + 1
        parts = [Factor(np.zeros((size, size)), 0)] * survey.folds

        def factored(piece: Piece) -> list[tuple[int, Factor]]:
            entering = piece.chosen(survey.among)
            x = inputs(entering.drives, surface.speed)
            base, design = surface.base_and_design(*x)
            X = np.hstack([design, levels.design(entering.drives)])
            y = entering.drives.get_column("carry_standard_yd").to_numpy() - base
            fold = survey.fold[entering.golfer]
            return [(int(k), Factor.of(X[fold == k], y[fold == k])) for k in np.unique(fold)]

        for found in survey.drives.each_piece(factored):
            for k, factor in found:
                parts[k] = Factor.joined([parts[k], factor])
        return cls(surface, levels, parts)

    def solve(self, offsets: Offsets, without: int | None = None) -> Solved:
        """Fit all drives, or those outside a fold, with the terms of `offsets`; raise UserError as `solve` does."""
        places = [self.levels.levels.index(level) + self.surface.size for level in offsets.levels]
        rest = Factor.joined([part for k, part in enumerate(self.folds) if k != without])
        return solve(rest.with_columns([*range(self.surface.size), *places]))

    def model(self, solved: Solved, offsets: Offsets, trends: UsualDelivery) -> CarryModel:
        """Make the model of a solution; it has no interval yet."""
        split = self.surface.size
        return CarryModel(self.surface, solved.coefficients[:split], offsets, solved.coefficients[split:], trends, {})

    def without_each(self, survey: Survey, trends: Sequence[UsualDelivery]) -> list[CarryModel]:
        """Fit the drives outside each fold."""
        models = []
        for k in range(survey.folds):
            offsets = survey.offsets(without=k)
            models.append(self.model(self.solve(offsets, without=k), offsets, trends[k]))
        return models


def fit_candidate(
    candidate: Candidate,
    drives: pl.DataFrame | Drives | Survey,
    trends: UsualDelivery | None = None,
    factored: Factored | None = None,
) -> CandidateFit:
    """Fit one candidate to all of the given drives.

    Parameters
    ----------
    candidate : Candidate
    drives : DataFrame, Drives or Survey
        Drives that are usable for the surface's speed, with the columns of `FIT_COLUMNS`.
    trends : UsualDelivery, optional
        Those of the drives, where they are known already.
    factored : Factored, optional
        The candidate's, where it is known already.

    Returns
    -------
    CandidateFit
        Standard errors are clustered by golfer.

    Raises
    ------
    UserError
        From `solve`.
    """
    survey = drives if isinstance(drives, Survey) else Survey.of(drives)
    factored = factored or Factored.of(survey, survey.surface(candidate))
    surface, offsets = factored.surface, survey.offsets()
    solved = factored.solve(offsets)
    model = factored.model(solved, offsets, trends or fit_usual_delivery(survey.typical))

    def second(piece: Piece) -> tuple[Array, pl.DataFrame | None]:
        base, design = surface.base_and_design(*inputs(piece.drives, surface.speed))
        X = np.hstack([design, offsets.design(piece.drives)])
        residual = piece.drives.get_column("carry_standard_yd").to_numpy() - base - X @ solved.coefficients
        sums = scores_by_cluster(X, residual, piece.golfer - piece.golfer.min())
        club = surface.speed == "club"
        return sums.T @ sums, strikes_of(piece.drives, model.departure(piece.drives)) if club else None

    meat, strikes = np.zeros_like(solved.bread), []
    for part, struck in survey.drives.each_piece(second):
        meat += part
        strikes += [] if struck is None else [struck]
    if strikes:
        effects = strike_effects(pl.concat(strikes)).get_column("effect").to_numpy()
        model = replace(model, better_share=float(np.quantile(effects, BETTER_QUARTER)))
    return CandidateFit(model, solved.clustered(meat, survey.typical.height), (*surface.labels, *offsets.labels))


def hold_out(
    candidate: Candidate,
    drives: pl.DataFrame | Drives | Survey,
    seed: int = 0,
    known: Sequence[Known] = COMBINATIONS,
) -> HeldOut:
    """Predict every golfer's drives by a fit that never saw the golfer.

    Parameters
    ----------
    candidate : Candidate
    drives : DataFrame, Drives or Survey
        As for `fit_candidate`.
    seed : int
        Decides which golfers share a fold; the same for all candidates. A survey has it already.
    known : sequence of (bool, bool, bool)
        From which knowledge of ball speed, launch and spin to predict.

    Returns
    -------
    HeldOut
    """
    survey = drives if isinstance(drives, Survey) else Survey.of(drives, seed)
    factored = Factored.of(survey, survey.surface(candidate))
    return predict_held_out(survey, factored.without_each(survey, survey.trends()), known)


def predict_held_out(survey: Survey, models: Sequence[CarryModel], known: Sequence[Known] = COMBINATIONS) -> HeldOut:
    """Predict every golfer's drives by the model of the golfer's fold; see `hold_out`."""
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
                here[place, out] = predict_from(model, rows, *one)
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
    terms = max(model.surface.size + len(model.offsets.levels) for model in models)
    return HeldOut(measured, predicted, fold, terms)


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
    for left in (one for one in COMBINATIONS if known_key(*one) not in edges):
        # One after the other, for quantiles need the predictions of all drives at once.
        held = predict_held_out(survey, models, [left])
        edges[known_key(*left)] = interval_edges(held.measured, held.predicted[known_key(*left)])
    return {known_key(*one): edges[known_key(*one)] for one in COMBINATIONS}


def predict_from(model: CarryModel, drives: pl.DataFrame, ball_speed: bool, launch: bool, spin: bool) -> Array:
    """Predict carry, yd, shape (n,), from club speed and what else is known; the usual value stands for the rest."""
    drive = Delivery.of(drives)
    unknown = np.full_like(drive.launch_deg, np.nan)
    known = replace(
        drive,
        launch_deg=drive.launch_deg if launch else unknown,
        spin_rpm=drive.spin_rpm if spin else unknown,
    )
    return model.expected(model.with_usual(known), "own" if ball_speed else "usual")


def share_out(golfers: int, seed: int) -> npt.NDArray[np.int64]:
    """Share golfers out over folds at random, as evenly as can be: the fold of each, shape (golfers,)."""
    folds = min(FOLDS, golfers)
    order = np.random.default_rng([seed, 0]).permutation(golfers)
    return np.asarray((np.arange(golfers) % folds)[np.argsort(order)], dtype=np.int64)


def assign_folds(golfer: npt.NDArray[np.int64], seed: int) -> npt.NDArray[np.int64]:
    """Share golfers out over folds at random, as evenly as can be; all drives of a golfer fall in one fold."""
    return share_out(int(golfer.max()) + 1, seed)[golfer]


def interval_edges(measured: Array, predicted: Array) -> tuple[float, float]:
    """Give the 90 % interval for one drive as shares of the prediction: quantiles of measured / predicted - 1."""
    departure = measured / np.maximum(predicted, 1.0) - 1.0
    lo, hi = np.quantile(departure, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return float(lo), float(hi)


def score(held: HeldOut, golfer: npt.NDArray[np.integer[Any]]) -> dict[str, float]:
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


def enough_for_a_fit(drives: pl.DataFrame | Drives) -> None:
    """Raise UserError where there are too few golfers or drives for any fit."""
    found = Drives.of(drives).gathered(lambda f: f.select(pl.col("golfer").n_unique(), pl.len()).cast(pl.Int64))
    golfers, shots = found.sum().row(0)
    least = DRIVES_PER_TERM * 4
    if golfers < MIN_GOLFERS or shots < least:
        raise UserError(
            f"The study has {shots} usable drives of {golfers} golfers; a fit needs at least "
            f"{least} drives of {MIN_GOLFERS} golfers: add logs, or see rejects.csv for what was left out."
        )


def may_compete(candidate: Candidate, drives: pl.DataFrame | Drives | Survey) -> str | None:
    """Say why a candidate can't compete on these drives, or None where it can."""
    survey = drives if isinstance(drives, Survey) else Survey.of(drives)
    need = DRIVES_PER_TERM * survey.surface(candidate).size
    return None if survey.shots >= need else f"needs {need} drives"
