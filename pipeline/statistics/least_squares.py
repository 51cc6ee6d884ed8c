"""Ordinary least squares from factors of parts of the rows, with standard errors clustered by golfer."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.errors import UserError
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90
from pipeline.statistics.linear import least_squares_qr


@dataclass(frozen=True)
class Fit:
    """Coefficients with their covariance.

    Attributes
    ----------
    coefficients : ndarray, shape (terms,)
    covariance : ndarray, shape (terms, terms)
    residual_sd : float
        Residual standard deviation with the degrees of freedom of the fit.
    """

    coefficients: Array
    covariance: Array
    residual_sd: float

    @property
    def std_errors(self) -> Array:
        """Standard errors, shape (terms,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def edges90(self) -> tuple[Array, Array]:
        """Lower and upper edges of the coefficients' 90 % intervals, each of shape (terms,)."""
        half = Z90 * self.std_errors
        return self.coefficients - half, self.coefficients + half


@dataclass(frozen=True)
class Factor:
    """What a least-squares fit needs of its rows: the triangular factor of a QR decomposition of [X y].

    Factors of parts of the rows join to the factor of all of them, so that rows are never held together.

    Attributes
    ----------
    r : ndarray, shape (columns + 1, columns + 1)
        Upper triangular; the last column belongs to y.
    rows : int

    References
    ----------
    Golub and Van Loan, Matrix Computations, 4th ed. (2013), section 6.5 (updating by rows), cited from memory.
    """

    r: Array
    rows: int

    @classmethod
    def of(cls, X: Array, y: Array) -> "Factor":
        """Factor rows: X of shape (n, columns), y of shape (n,)."""
        return cls(_triangle(np.column_stack([X, y])), len(y))

    @classmethod
    def joined(cls, parts: Sequence["Factor"]) -> "Factor":
        """Join the factors of parts of the rows."""
        return cls(_triangle(np.vstack([part.r for part in parts])), sum(part.rows for part in parts))

    def with_columns(self, columns: Sequence[int]) -> "Factor":
        """Keep some columns of X."""
        return Factor(_triangle(self.r[:, [*columns, -1]]), self.rows)


def _triangle(rows: Array) -> Array:
    columns = rows.shape[1]
    if len(rows) < columns:
        rows = np.vstack([rows, np.zeros((columns - len(rows), columns))])
    return np.asarray(np.linalg.qr(rows, mode="r"))


@dataclass(frozen=True)
class Solved:
    """A least-squares solution.

    Attributes
    ----------
    coefficients : ndarray, shape (terms,)
    bread : ndarray, shape (terms, terms)
        Inverse of X'X.
    rss : float
        Sum of squared residuals.
    rows : int
    """

    coefficients: Array
    bread: Array
    rss: float
    rows: int

    def classical(self) -> Fit:
        """Give the fit whose rows are taken as independent."""
        variance = self.rss / (self.rows - len(self.coefficients))
        return Fit(self.coefficients, variance * self.bread, float(np.sqrt(variance)))

    def clustered(self, meat: Array, clusters: int) -> Fit:
        """Give the fit whose rows depend on each other inside clusters.

        Parameters
        ----------
        meat : ndarray, shape (terms, terms)
            Sum over clusters of s s', where s is the sum of x times residual over the cluster.
        clusters : int

        Notes
        -----
        With the correction G / (G - 1) * (n - 1) / (n - p) for few clusters (Cameron and Miller, J. Hum. Resour. 50
        (2015) 317, doi 10.3368/jhr.50.2.317), as statsmodels has it, which tests hold this against.
        """
        terms = len(self.coefficients)
        correction = clusters / (clusters - 1) * (self.rows - 1) / (self.rows - terms)
        covariance = correction * self.bread @ meat @ self.bread
        return Fit(self.coefficients, covariance, float(np.sqrt(self.rss / (self.rows - terms))))


def solve(factor: Factor) -> Solved:
    """Solve a least-squares fit from its factor.

    Raises
    ------
    UserError
        If there are too few rows, or columns depend on each other.

    Notes
    -----
    Columns are scaled to unit length and solved by QR on the factor's rows, which keeps polynomial fits
    accurate (tested against the certified values of NIST's Statistical Reference Datasets).
    """
    X, y = factor.r[:, :-1], factor.r[:, -1]
    terms = X.shape[1]
    if factor.rows <= terms:
        raise UserError(f"The fit has {factor.rows} drives for {terms} terms; add logs.")
    lengths = np.linalg.norm(X, axis=0)
    # Rounding of the factor grows with the rows as well as with the terms.
    least = np.finfo(float).eps * factor.rows
    if np.any(lengths == 0) or np.linalg.matrix_rank(X / lengths, rtol=least) < terms:
        raise UserError("The fit's columns depend on each other; drop a device or ball that differs in nothing else.")
    result = least_squares_qr(X / lengths, y)
    return Solved(result.coefficients / lengths, result.bread / np.outer(lengths, lengths), result.ssr, factor.rows)


def scores_by_cluster(X: Array, residual: Array, cluster: npt.NDArray[np.int64]) -> Array:
    """Sum x times residual by cluster, shape (clusters, terms); clusters are numbered from 0."""
    return np.column_stack([np.bincount(cluster, weights=column * residual) for column in X.T])


def clustered_fit(solved: Solved, parts: Iterable[tuple[Array, Array, npt.NDArray[np.int64]]]) -> Fit:
    """Give a solution its standard errors clustered by golfer, from a second reading of the rows.

    Parameters
    ----------
    solved : Solved
    parts : iterable of (ndarray, ndarray, ndarray)
        X, y and cluster of some rows; a cluster's rows stand in one part. Rows of a single cluster are taken as
        independent.
    """
    meat, clusters = np.zeros_like(solved.bread), 0
    for X, y, cluster in parts:
        found, codes = np.unique(cluster, return_inverse=True)
        sums = scores_by_cluster(X, y - X @ solved.coefficients, codes)
        meat += sums.T @ sums
        clusters += len(found)
    return solved.clustered(meat, clusters) if clusters > 1 else solved.classical()
