"""Ordinary and weighted least squares of a matrix in memory, by numpy's factorizations.

statsmodels has both and is what tests hold this against. It takes a second and a half to import, and most steps of a
run need nothing else of it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array


@dataclass(frozen=True)
class LeastSquares:
    """A solved fit of p terms to n rows.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
    bread : ndarray, shape (p, p)
        (X'WX)^-1: the coefficients' covariance over the variance of a row of weight 1.
    ssr : float
        Weighted sum of squared residuals.
    """

    coefficients: Array
    bread: Array
    ssr: float


def least_squares_qr(X: Array, y: Array) -> LeastSquares:
    """Solve ordinary least squares by QR, which is right to more digits than the normal equations.

    Parameters
    ----------
    X : ndarray, shape (n, p)
        Of full rank, which the caller sees to.
    y : ndarray, shape (n,)

    Raises
    ------
    numpy.linalg.LinAlgError
        If X has columns of zeros alone.
    """
    Q, R = np.linalg.qr(X)
    bread = np.linalg.inv(np.dot(R.T, R))
    coefficients = np.linalg.solve(R, np.dot(Q.T, y))
    return LeastSquares(coefficients, bread, _squares(X, y, coefficients))


def least_squares(X: Array, y: Array, weights: npt.ArrayLike = 1.0) -> LeastSquares:
    """Solve weighted least squares by the pseudo-inverse: columns that depend on each other share what is theirs.

    Parameters
    ----------
    X : ndarray, shape (n, p)
    y : ndarray, shape (n,)
    weights : array_like, shape (n,) or ()
        In inverse variances; not negative.
    """
    root = np.sqrt(np.broadcast_to(np.asarray(weights, dtype=float), np.shape(y)))
    wide, response = root[:, None] * X, y * root
    inverse = np.linalg.pinv(wide, rcond=1e-15)
    coefficients = np.dot(inverse, response)
    return LeastSquares(coefficients, np.dot(inverse, inverse.T), _squares(wide, response, coefficients))


def _squares(X: Array, y: Array, coefficients: Array) -> float:
    residual = y - np.dot(X, coefficients)
    return float(np.dot(residual, residual))
