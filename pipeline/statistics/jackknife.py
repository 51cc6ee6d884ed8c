"""Least squares whose errors come from leaving out each golfer, from factors of parts of the rows."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array
from pipeline.statistics.least_squares import Factor

Golfers = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Jackknifed:
    """A least-squares fit whose last terms are asked for, and by how much each golfer left out would move them.

    Attributes
    ----------
    coefficients : ndarray, shape (terms,)
    basis : ndarray, shape (terms, rank)
        Rows of the fit times it are orthonormal columns. Terms that depend on each other have fewer of these.
    asked : int
        Number of terms at the end.

    References
    ----------
    MacKinnon, Nielsen and Webb, J. Econometrics 232 (2023) 272, doi 10.1016/j.jeconom.2022.04.001 (from memory): with
    few or unequal clusters, errors from leaving out each cluster hold their rate where the plain ones don't.
    """

    coefficients: Array
    basis: Array
    asked: int

    @classmethod
    def of(cls, factor: Factor, asked: int) -> "Jackknifed":
        """Solve a fit from the factor of its rows."""
        X, y = factor.r[:, :-1], factor.r[:, -1]
        lengths = np.linalg.norm(X, axis=0)
        scale = np.where(lengths > 0, lengths, 1.0)
        u, s, v = np.linalg.svd(X / scale, full_matrices=False)
        kept = s > 1e-9 * s[0]
        basis = (v[kept].T / s[kept]) / scale[:, None]
        return cls(basis @ (u[:, kept].T @ y), basis, asked)

    @property
    def effects(self) -> Array:
        """Of the terms that are asked for, shape (asked,)."""
        return self.coefficients[len(self.coefficients) - self.asked :]

    def moves(self, X: Array, y: Array, golfer: Golfers) -> Array:
        """Give by how much each golfer moves the effects, shape (golfers, asked): with him less without him.

        Parameters
        ----------
        X, y : ndarray
            Rows of the fit, those of a golfer together.
        golfer : ndarray of int
            Numbered from 0, rising.
        """
        Q, residual = X @ self.basis, y - X @ self.coefficients
        starts = np.flatnonzero(np.diff(golfer, prepend=-1))
        scores = np.add.reduceat(Q * residual[:, None], starts, axis=0)
        moved = np.empty_like(scores)
        for k, (first, last) in enumerate(zip(starts, [*starts[1:], len(y)], strict=True)):
            own = Q[first:last]
            value, vector = np.linalg.eigh(own.T @ own)
            # What no other golfer shows, such as a device that he alone hit at, stays as it is without him.
            left = np.where(1 - value > 1e-9, 1 - value, np.inf)
            moved[k] = vector @ ((vector.T @ scores[k]) / left)
        return np.asarray(moved @ self.basis[len(self.coefficients) - self.asked :].T)


def about_golfers(values: Array, golfer: Golfers) -> Array:
    """Take each golfer's mean out of columns, shape (n, columns); golfers are numbered from 0."""
    if not values.shape[1]:
        return values
    shots = np.bincount(golfer)
    means = np.column_stack([np.bincount(golfer, weights=column) / shots for column in values.T])
    return np.asarray(values - means[golfer])
