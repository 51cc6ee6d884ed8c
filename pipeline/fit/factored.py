"""A candidate fitted from the factors of each fold's drives, so that one reading of them serves every fold."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.drives import Piece, inputs
from pipeline.fit.flight_surface import Form
from pipeline.fit.model import CarryModel
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import UsualDelivery, strike_effects, strikes_of
from pipeline.flight.offsets import Offsets, every_level
from pipeline.statistics.arrays import Array
from pipeline.statistics.least_squares import Factor, Fit, Solved, scores_by_cluster, solve


@dataclass(frozen=True)
class CandidateFit:
    """One candidate fitted to drives: a model without its interval yet, and the fit's own figures."""

    model: CarryModel
    fit: Fit
    labels: tuple[str, ...]


@dataclass(frozen=True)
class Factored:
    """A candidate's surface with the factors of the drives of each fold.

    Attributes
    ----------
    surface : Surface or FlightSurface
        The same for all folds: its form depends on inputs alone, never on carry.
    levels : Offsets
        Every device and ball that may have a term; their columns follow those of the surface.
    folds : list of Factor
    """

    surface: Form
    levels: Offsets
    folds: list[Factor]

    @classmethod
    def of(cls, survey: Survey, surface: Form) -> "Factored":
        """Read the drives once."""
        levels = every_level(survey.levels)
        size = surface.size + len(levels.levels) + 1
        parts = [Factor(np.zeros((size, size)), 0)] * survey.folds

        def factored(piece: Piece) -> list[tuple[int, Factor]]:
            entering = piece.chosen(survey.among)
            x = inputs(entering.drives, surface.speed)
            base, design = surface.base_and_design(*x)
            X = np.hstack([design, levels.terms(entering.drives)])
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
    surface, offsets = factored.surface, survey.offsets()
    solved = factored.solve(offsets)
    model = factored.model(solved, offsets, trends)

    def second(piece: Piece) -> tuple[Array, pl.DataFrame | None]:
        base, design = surface.base_and_design(*inputs(piece.drives, surface.speed))
        X = np.hstack([design, offsets.terms(piece.drives)])
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
        model = replace(model, better_share=float(np.quantile(effects, trends.strike)))
    return CandidateFit(model, solved.clustered(meat, survey.typical.height), (*surface.labels, *offsets.labels))
