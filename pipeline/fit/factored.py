"""A candidate fitted from the factors of each fold's drives, so that one reading of them serves every fold."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Piece, inputs
from pipeline.fit.form import Form
from pipeline.fit.model import CarryModel
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import UsualDelivery, strike_effects, strikes_of
from pipeline.flight.offsets import Offsets, every_level
from pipeline.flight.regressors import Regressors
from pipeline.statistics.arrays import Array
from pipeline.statistics.least_squares import Factor, Fit, Solved, scores_by_cluster, solve

# A regressor has a term where devices, balls and the regressors before it explain less than all but this share of its
# variance. Temperatures that differ between two sites alone are the sites' devices; a thousandth more shows nothing.
OWN_SHARE = 1e-3
SAME = 1e-20  # a variance of so little of the squared center is rounding: the values are the same


@dataclass(frozen=True)
class CandidateFit:
    """One candidate fitted to drives: a model without its interval yet, and the fit's own figures."""

    model: CarryModel
    fit: Fit
    labels: tuple[str, ...]


@dataclass(frozen=True)
class FactorsOf:
    """Asks pieces of drives for the factors of each fold: its number, its factor, and that of shares if any."""

    surface: Form
    levels: Offsets
    regressors: Regressors
    fold: npt.NDArray[np.int64]
    among: pl.Expr | None

    @classmethod
    def of(cls, survey: Survey, surface: Form) -> "FactorsOf":
        """Ask for what a candidate's surface needs of a survey's drives."""
        return cls(surface, every_level(survey.levels), survey.regressors, survey.fold, survey.among)

    def __call__(self, piece: Piece) -> list[tuple[int, Factor, Factor | None]]:
        """Answer for a piece."""
        entering = piece.chosen(self.among)
        drives, x = entering.drives, inputs(entering.drives, self.surface.speed)
        base, design = self.surface.base_and_design(*x)
        X = np.hstack([design, self.levels.terms(drives), self.regressors.terms(drives)])
        y = drives.get_column("carry_standard_yd").to_numpy() - base
        fold = self.fold[entering.golfer]
        apart = None
        if self.regressors.names:
            apart = np.hstack([np.ones((drives.height, 1)), self.levels.design(drives), self.regressors.design(drives)])
        found = []
        for k in np.unique(fold):
            out = fold == k
            own = None if apart is None else Factor.of(apart[out], np.zeros(np.count_nonzero(out)))
            found.append((int(k), Factor.of(X[out], y[out]), own))
        return found


@dataclass(frozen=True)
class Factored:
    """A candidate's surface with the factors of the drives of each fold.

    Attributes
    ----------
    surface : Form
        The same for all folds: its form depends on inputs alone, never on carry.
    levels : Offsets
        Every device and ball that may have a term; their columns follow those of the surface.
    folds : list of Factor
    regressors : Regressors
        Those that may have a term; their columns follow.
    shares : list of Factor
        Of each fold, of a column of ones and the same devices, balls and regressors as shares of carry; none without
        regressors.
    """

    surface: Form
    levels: Offsets
    folds: list[Factor]
    regressors: Regressors = field(default_factory=Regressors)
    shares: list[Factor] = field(default_factory=list)

    @classmethod
    def of(cls, survey: Survey, surface: Form) -> "Factored":
        """Read the drives once."""
        asked = FactorsOf.of(survey, surface)
        factored = cls.empty(asked, survey.folds)
        for found in survey.drives.each_piece(asked):
            factored.join(found)
        return factored

    @classmethod
    def empty(cls, asked: FactorsOf, folds: int) -> "Factored":
        """Begin without any drives."""
        further = len(asked.levels.levels) + len(asked.regressors.names)
        shares = [_empty(1 + further)] * folds if asked.regressors.names else []
        parts = [_empty(asked.surface.size + further)] * folds
        return cls(asked.surface, asked.levels, parts, asked.regressors, shares)

    def join(self, found: Iterable[tuple[int, Factor, Factor | None]]) -> None:
        """Take in what `FactorsOf` found in a piece."""
        for k, factor, own in found:
            self.folds[k] = Factor.joined([self.folds[k], factor])
            if own is not None:
                self.shares[k] = Factor.joined([self.shares[k], own])

    def told_apart(self, offsets: Offsets, without: int | None = None) -> Regressors:
        """Give the regressors that can have a term beside those of `offsets`; see `OWN_SHARE`."""
        if not self.shares:
            return Regressors()
        r = Factor.joined([part for k, part in enumerate(self.shares) if k != without]).r
        known = [r[:, 0], *(r[:, 1 + self.levels.levels.index(level)] for level in offsets.levels)]
        one = known[0] / np.linalg.norm(known[0])
        names = []
        columns = zip(
            self.regressors.names, self.regressors.centers, r[:, 1 + len(self.levels.levels) : -1].T, strict=True
        )
        for name, center, column in columns:
            left = left_beside(known, column)
            whole = column - one * (one @ column)
            if left @ left > OWN_SHARE * (whole @ whole) and whole @ whole > SAME * center**2 * (known[0] @ known[0]):
                names.append(name)
                known.append(column)
        return self.regressors.only(names)

    def solve(self, offsets: Offsets, without: int | None = None, regressors: Regressors | None = None) -> Solved:
        """Fit all drives, or those outside a fold; raise UserError as `solve` does.

        The terms are those of `offsets`, then those of `regressors`: unless given, all that `told_apart` gives.
        """
        regressors = self.told_apart(offsets, without) if regressors is None else regressors
        levels = self.surface.size + len(self.levels.levels)
        places = [self.levels.levels.index(level) + self.surface.size for level in offsets.levels]
        places += [self.regressors.names.index(name) + levels for name in regressors.names]
        rest = Factor.joined([part for k, part in enumerate(self.folds) if k != without])
        return solve(rest.with_columns([*range(self.surface.size), *places]))

    def model(
        self, solved: Solved, offsets: Offsets, trends: UsualDelivery, regressors: Regressors | None = None
    ) -> CarryModel:
        """Make the model of a solution with these terms; it has no interval yet."""
        ends = [self.surface.size, self.surface.size + len(offsets.levels)]
        surface, shares, further = np.split(solved.coefficients, ends)
        fitted = (regressors or Regressors()).fitted(further)
        return CarryModel(self.surface, surface, offsets, shares, trends, {}, regressors=fitted)

    def without_each(
        self, survey: Survey, trends: Sequence[UsualDelivery], leave_out: str | None = None
    ) -> list[CarryModel]:
        """Fit the drives outside each fold; a regressor that is named in `leave_out` has no term."""
        models = []
        for k in range(survey.folds):
            offsets = survey.offsets(without=k)
            terms = self.told_apart(offsets, without=k)
            terms = terms.only([name for name in terms.names if name != leave_out])
            models.append(self.model(self.solve(offsets, k, terms), offsets, trends[k], terms))
        return models


def left_beside(known: Sequence[Array], column: Array) -> Array:
    """Give what other columns leave of a column, by least squares."""
    if not known:
        return column
    beside = np.column_stack(known)
    lengths = np.linalg.norm(beside, axis=0)
    beside = beside / np.where(lengths > 0, lengths, 1.0)
    return np.asarray(column - beside @ np.linalg.lstsq(beside, column, rcond=1e-10)[0])


def _empty(columns: int) -> Factor:
    return Factor(np.zeros((columns + 1, columns + 1)), 0)


@dataclass(frozen=True)
class ResidualsOf:
    """Asks pieces of drives for what their residuals say: see `BegunFit.finished`."""

    model: CarryModel
    coefficients: Array

    def __call__(self, piece: Piece) -> tuple[Array, pl.DataFrame | None]:
        """Answer for a piece."""
        model, drives = self.model, piece.drives
        base, design = model.surface.base_and_design(*inputs(drives, model.surface.speed))
        X = np.hstack([design, model.offsets.terms(drives), model.regressors.terms(drives)])
        residual = drives.get_column("carry_standard_yd").to_numpy() - base - X @ self.coefficients
        sums = scores_by_cluster(X, residual, piece.golfer - piece.golfer.min())
        return sums.T @ sums, numbered_strikes(piece, model)


def numbered_strikes(piece: Piece, model: CarryModel) -> pl.DataFrame | None:
    """Give `strikes_of` drives with golfers' numbers for their names, where the surface goes by club speed."""
    if model.surface.speed != "club":
        return None
    return strikes_of(piece.drives, model.departure(piece.drives)).with_columns(golfer=np.unique(piece.golfer))


@dataclass(frozen=True)
class BegunFit:
    """A candidate solved for all drives, of whose errors nothing is known yet."""

    model: CarryModel
    solved: Solved

    @classmethod
    def of(cls, factored: Factored, survey: Survey, trends: UsualDelivery) -> "BegunFit":
        """Solve; raise UserError as `solve` does."""
        offsets = survey.offsets()
        regressors = factored.told_apart(offsets)
        solved = factored.solve(offsets, regressors=regressors)
        return cls(factored.model(solved, offsets, trends, regressors), solved)

    @property
    def asked(self) -> ResidualsOf:
        """What pieces of the drives are asked for next."""
        return ResidualsOf(self.model, self.solved.coefficients)

    def finished(self, found: Iterable[tuple[Array, pl.DataFrame | None]], golfers: int) -> CandidateFit:
        """Finish the fit of so many golfers with the sums of squared scores and the strikes of all pieces."""
        model, meat, strikes = self.model, np.zeros_like(self.solved.bread), []
        for part, struck in found:
            meat += part
            strikes += [] if struck is None else [struck]
        if strikes:
            effects = strike_effects(pl.concat(strikes)).get_column("effect").to_numpy()
            model = replace(model, better_share=float(np.quantile(effects, model.usual.strike)))
        fit = self.solved.clustered(meat, golfers)
        regressors = model.regressors
        if regressors.names:
            model = replace(model, regressors=replace(regressors, std_errors=fit.std_errors[-len(regressors.names) :]))
        return CandidateFit(model, fit, (*model.surface.labels, *model.offsets.labels, *regressors.labels))


def fit_candidate(factored: Factored, survey: Survey, trends: UsualDelivery) -> CandidateFit:
    """Fit one candidate to all drives of a survey.

    Parameters
    ----------
    factored : Factored
        The candidate's surface with the factors of the survey's drives.
    survey : Survey
        Of drives that are usable for the surface's speed, with the columns of `FIT_COLUMNS`.
    trends : UsualDelivery
        Those of the survey's golfers.

    Returns
    -------
    CandidateFit
        Standard errors are clustered by golfer.

    Raises
    ------
    UserError
        From `solve`.
    """
    begun = BegunFit.of(factored, survey, trends)
    return begun.finished(survey.drives.each_piece(begun.asked), survey.typical.height)
