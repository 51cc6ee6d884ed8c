"""Ordinary and weighted least squares of a matrix in memory, and Wilson's interval, in numpy.

statsmodels has all of it and is what tests hold this against, digit for digit. It takes a second and a half to import,
and a study runs some twenty steps.
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
    inverse = _pseudo_inverse(wide)
    coefficients = np.dot(inverse, response)
    return LeastSquares(coefficients, np.dot(inverse, inverse.T), _squares(wide, response, coefficients))


def least_squares_hc3(X: Array, y: Array) -> tuple[Array, Array]:
    """Solve ordinary least squares, with standard errors robust to unequal scatter (HC3).

    Parameters
    ----------
    X : ndarray, shape (n, p)
    y : ndarray, shape (n,)

    Returns
    -------
    coefficients, std_error : ndarray, shape (p,)

    References
    ----------
    MacKinnon and White, J. Econom. 29 (1985) 305, doi 10.1016/0304-4076(85)90158-7.
    """
    inverse = _pseudo_inverse(X)
    coefficients = np.dot(inverse, y)
    leverage = np.einsum("ij,ik,kj->i", X, X, np.dot(inverse, inverse.T))
    scatter = ((y - np.dot(X, coefficients)) / (1 - leverage)) ** 2
    return coefficients, np.sqrt(np.diag(np.dot(inverse, scatter[:, None] * inverse.T)))


def wilson_interval(count: Array, n: Array, level: float) -> tuple[Array, Array]:
    """Give Wilson's interval of the share count / n, in the limits 0 and 1; both may be fractions.

    Parameters
    ----------
    count, n : ndarray
        Of one shape.
    level : float
        From 0 to 1.

    References
    ----------
    Wilson, J. Am. Stat. Assoc. 22 (1927) 209, doi 10.1080/01621459.1927.10502953.
    """
    from scipy.special import ndtri

    share, reach = count / n, -float(ndtri((1 - level) / 2.0))
    denominator = 1 + reach**2 / n
    middle = (share + reach**2 / (2 * n)) / denominator
    half = reach * np.sqrt(share * (1.0 - share) / n + reach**2 / (4.0 * n**2)) / denominator
    return np.clip(middle - half, 0, 1), np.clip(middle + half, 0, 1)


def _squares(X: Array, y: Array, coefficients: Array) -> float:
    residual = y - np.dot(X, coefficients)
    return float(np.dot(residual, residual))


def _pseudo_inverse(X: Array) -> Array:
    """Invert a matrix by its singular values; those below 1e-15 of the largest count for nothing."""
    u, s, vt = np.linalg.svd(X, full_matrices=False)
    kept = s > 1e-15 * s.max()
    inverted = np.divide(1.0, s, out=np.zeros_like(s), where=kept)
    return np.asarray(np.dot(vt.T, inverted[:, None] * u.T))
