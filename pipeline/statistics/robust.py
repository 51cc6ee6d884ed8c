"""Regression of groups' estimates in which a few groups that are far off don't count (bisquare, numpy alone)."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

MAD_TO_SD = 1.4826  # of a normal distribution: standard deviation over the median distance from the median
TUNING = 4.685  # of Tukey's bisquare: 95 % as efficient as least squares where all is normal (Huber, from memory)
ROUNDS = 50


@dataclass(frozen=True)
class RobustFit:
    """A regression.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
    weights : ndarray, shape (n,)
        Which least squares would need for the same coefficients: over a row's variance, and 0 for one far off.
    counted : ndarray, shape (n,)
        The bisquare's part of the weights: 1 for a row at the fit, 0 for one far off.
    between : dict of int to float
        Variance between groups, by kind.
    """

    coefficients: Array
    covariance: Array
    weights: Array
    counted: Array
    between: dict[int, float]


def robust_regression(value: Array, luck: Array, X: Array, kind: npt.NDArray[np.int64]) -> RobustFit:
    """Fit groups' estimates by Tukey's bisquare.

    Parameters
    ----------
    value, luck : ndarray, shape (n,)
        Estimates and the variance of each one's own error.
    X : ndarray, shape (n, p)
    kind : ndarray of int, shape (n,)
        Groups of a kind differ by one variance, which is found from the median of their distances.

    Returns
    -------
    RobustFit
        The covariance is Huber's first (all rows together tell the mean square of what counts of a residual), with
        n / (n - p).

    Notes
    -----
    Begun at least absolute deviations, since a bisquare fit may end at whatever it is begun with.

    References
    ----------
    Huber, Robust Statistics (1981), section 7.6, cited from memory.
    """
    found = _least_absolute(value, X)
    rows, columns = X.shape
    spare = rows / max(rows - columns, 1)
    between: dict[int, float] = {}
    for _ in range(ROUNDS):
        left = value - X @ found
        for one in np.unique(kind):
            here = kind == one
            scale = (MAD_TO_SD * float(np.median(np.abs(left[here])))) ** 2 * spare
            between[int(one)] = max(scale - float(np.mean(luck[here])), 0.0)
        variance = np.maximum(np.array([between[int(one)] for one in kind]) + luck, np.finfo(float).tiny)
        u = left / np.sqrt(variance) / TUNING
        counted = np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0)
        weights = counted / variance
        again = _weighted(value, X, weights)
        ended = np.allclose(again, found, rtol=0, atol=1e-9)
        found = again
        if ended:
            break
    counts = np.where(np.abs(u) < 1, (1 - u**2) * (1 - 5 * u**2), 0.0).mean()  # slope of what counts of a residual
    size = np.mean(weights**2 * variance * left**2)
    covariance = np.linalg.pinv(X.T @ (X / variance[:, None]), hermitian=True) * spare * size / counts**2
    return RobustFit(found, covariance, weights, counted, between)


def _least_absolute(value: Array, X: Array) -> Array:
    weights = np.ones(len(value))
    for _ in range(ROUNDS):
        found = _weighted(value, X, weights)
        weights = 1 / np.maximum(np.abs(value - X @ found), 1e-6)
    return found


def _weighted(value: Array, X: Array, weights: Array) -> Array:
    root = np.sqrt(weights)
    return np.asarray(np.linalg.lstsq(X * root[:, None], value * root, rcond=1e-12)[0])
