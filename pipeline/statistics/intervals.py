"""Intervals by the normal distribution or Student's t, at the level that all columns have or another; Welch's test."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

LEVEL = 0.90  # of every interval whose columns say lo90 and hi90
Z90 = 1.6448536269514722  # standard normal, 95 % point: half a 90 % interval in standard errors

# Degrees of freedom beyond which Student's t is the normal distribution to every digit that matters.
MANY = 1e6


def t_reach(freedom: npt.ArrayLike, level: float = LEVEL) -> Array:
    """Give half an interval of a level in standard errors by Student's t, for degrees of freedom of any shape.

    Infinitely many are the normal distribution.
    """
    # scipy takes long to import, and the lookup has no use for it.
    from scipy.special import stdtrit

    return np.asarray(stdtrit(freedom, (1 + level) / 2))


@dataclass(frozen=True)
class Estimate:
    """Estimates, each with its standard error and the degrees of freedom of that; all of shape (n,).

    A standard error that isn't known is NaN, and so are the interval and the p-value then.
    """

    value: Array
    std_error: Array
    freedom: Array

    @property
    def edges90(self) -> tuple[Array, Array]:
        """Lower and upper edges of the 90 % intervals."""
        reach = t_reach(self.freedom) * self.std_error
        return self.value - reach, self.value + reach

    @property
    def p_value(self) -> Array:
        """Two-sided p-values against zero."""
        from scipy.special import stdtr

        return np.asarray(2 * stdtr(self.freedom, -np.abs(self.value) / self.std_error))


def satterthwaite(variance: Array, freedom: Array) -> Array:
    """Give the degrees of freedom of sums of independent variances, at most `MANY`.

    Parameters
    ----------
    variance : ndarray, shape (..., parts)
    freedom : ndarray, shape (parts,)

    Returns
    -------
    ndarray, shape (...)
        `MANY` where the sum is zero.

    References
    ----------
    Satterthwaite, Biometrics Bull. 2 (1946) 110, doi 10.2307/3002019.
    """
    whole, unsure = variance.sum(axis=-1), np.sum(variance**2 / freedom, axis=-1)
    known = np.divide(whole**2, unsure, out=np.full_like(whole, MANY), where=unsure > 0)
    return np.asarray(np.minimum(known, MANY), dtype=float)


def welch_error(
    now: tuple[Array, Array], then: tuple[Array, Array], *more: tuple[Array | float, Array | float]
) -> tuple[Array, Array]:
    """Give the standard error of the difference of two independent estimates, and its degrees of freedom.

    Parameters
    ----------
    now, then : tuple of ndarray, each of shape (n,)
        Variance of each estimate, and the degrees of freedom of that variance.
    *more : tuple
        Variances of other errors of the difference with their degrees of freedom, infinite where a variance is known.

    Returns
    -------
    std_error, freedom : ndarray, shape (n,)
        The error is NaN where both estimates have no variance of their own, or one that isn't known. Degrees of
        freedom are at most `MANY`.

    References
    ----------
    Welch, Biometrika 34 (1947) 28, doi 10.1093/biomet/34.1-2.28; Satterthwaite, Biometrics Bull. 2 (1946) 110,
    doi 10.2307/3002019.
    """
    parts = (now, then, *more)
    variance = np.asarray(sum(part for part, _ in parts))
    unsure = np.asarray(sum(part**2 / freedom for part, freedom in parts))
    some = (variance > 0) & (now[0] + then[0] > 0)
    freedom = np.divide(variance**2, unsure, out=np.full_like(variance, MANY), where=some & (unsure > 0))
    return np.sqrt(np.where(some, variance, np.nan)), np.minimum(freedom, MANY)
