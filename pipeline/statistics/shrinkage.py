"""Shrinkage of estimates towards what is usual, and variances steadied by each other (empirical Bayes)."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array
from pipeline.statistics.linear import least_squares

MIN_ESTIMATES = 3  # fewer are shrunk towards nothing at all

# Carry is logged to a tenth of a yard: even drives that read the same have the variance of rounding, yd^2.
ROUNDING_VARIANCE = 0.1**2 / 12


@dataclass(frozen=True)
class Shrunk:
    """Estimates of one figure for each golfer, shrunk towards what is usual, in the figure's own unit.

    Attributes
    ----------
    value, std_error : ndarray, shape (n,)
        Posterior mean and standard deviation.
    own_share : ndarray, shape (n,)
        Weight of the golfer's own figure, 0 to 1; the rest is that of the usual one.
    usual : ndarray, shape (n,)
        What is usual for golfers like this one.
    """

    value: Array
    std_error: Array
    own_share: Array
    usual: Array


@dataclass(frozen=True)
class Moderation:
    """How golfers' variances of one drive are scattered: what steadies each of them.

    Attributes
    ----------
    prior : float
        Degrees of freedom that the centre counts for; infinite where variances differ no more than luck would have it,
        NaN where nobody has two drives.
    centre : float
    """

    prior: float
    centre: float

    @classmethod
    def of(cls, variance: Array, shots: npt.NDArray[np.int64]) -> "Moderation":
        """Learn it from all golfers; see `moderated_variance`."""
        from scipy.optimize import brentq
        from scipy.special import digamma, polygamma

        own, floored, known = _own(variance, shots)
        if not known.any():
            return cls(np.nan, np.nan)
        half = own[known] / 2
        log = np.log(floored[known]) - digamma(half) + np.log(half)
        excess = (np.var(log, ddof=1) - np.mean(polygamma(1, half))) if known.sum() > 1 else 0.0
        if excess <= polygamma(1, 1e4):
            return cls(np.inf, float(np.average(floored[known], weights=own[known])))
        prior = 2 * float(brentq(lambda x: float(polygamma(1, x)) - excess, 1e-4, 1e4))
        return cls(prior, float(np.exp(np.mean(log) + digamma(prior / 2) - np.log(prior / 2))))

    def steadied(self, variance: Array, shots: npt.NDArray[np.int64]) -> tuple[Array, Array]:
        """Give golfers' variances and their degrees of freedom, each of shape (n,); golfers don't depend on others."""
        if not np.isfinite(self.prior):
            return np.full(variance.shape, self.centre), np.full(variance.shape, self.prior)
        own, floored, known = _own(variance, shots)
        own = np.where(known, own, 0.0)
        return (self.prior * self.centre + own * floored) / (self.prior + own), self.prior + own


def moderated_variance(variance: Array, shots: npt.NDArray[np.int64]) -> tuple[Array, Array]:
    """Steady the variance of one drive by that of the other golfers' drives.

    A variance of two or three drives is near nothing by luck now and then, and would then count as certainty; one
    of a single drive does not exist. Golfers' variances are taken as scattered like an inverse chi-squared, whose
    centre and degrees of freedom are found by moments; each is then averaged with that centre.

    Parameters
    ----------
    variance : ndarray, shape (n,)
        Sample variance of a golfer's drives; NaN for a single drive.
    shots : ndarray of int, shape (n,)

    Returns
    -------
    variance, freedom : ndarray, shape (n,)
        NaN all through where nobody has two drives. Freedom is infinite where golfers' variances differ no more
        than luck would have it: all then have the pooled one.

    References
    ----------
    Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004) 3, section 6.2, doi 10.2202/1544-6115.1027.
    """
    return Moderation.of(variance, shots).steadied(variance, shots)


def _own(variance: Array, shots: npt.NDArray[np.int64]) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """Give own degrees of freedom, variances not below that of rounding, and which are known."""
    own = np.where(shots > 1, shots - 1, 0).astype(float)
    known = (own > 0) & np.isfinite(variance)
    return own, np.maximum(np.where(known, variance, 0.0), ROUNDING_VARIANCE), known


def shrink(lost_yd: Array, own_variance: Array, X: Array) -> Shrunk:
    """Shrink golfers of one quarter towards what is usual for golfers like them.

    Parameters
    ----------
    lost_yd : ndarray, shape (n,)
    own_variance : ndarray, shape (n,)
        Variance of each golfer's figure by the luck of the drives, yd^2, above nil. The error of efficient carry
        is no part of it: golfers of one speed share that error, so it says nothing of who is worse, and the
        regression takes it up.
    X : ndarray, shape (n, p)
        From `design`.

    Returns
    -------
    Shrunk

    Raises
    ------
    ValueError
        Under three golfers.

    Notes
    -----
    The regression's own error is in the standard deviation, and so is that of tau (Morris's last term); both are
    worth something only where golfers are few.

    References
    ----------
    Morris, J. Am. Stat. Assoc. 78 (1983) 47, section 5, doi 10.1080/01621459.1983.10477920.
    """
    golfers = len(lost_yd)
    if golfers < MIN_ESTIMATES:
        raise ValueError(f"shrinkage needs {MIN_ESTIMATES} golfers, found {golfers}")
    tau2, coefficients, covariance = between_golfers(lost_yd, own_variance, X)
    usual = X @ coefficients
    total = tau2 + own_variance
    # An estimated tau is too often too small where golfers are few, so they are pulled a little less (Morris).
    spare = max(golfers - X.shape[1] - 2, 1)
    own_share = 1 - spare / (spare + 2) * own_variance / total
    usual_variance = np.einsum("ij,jk,ik->i", X, covariance, X)
    typical = np.sum(own_variance / total) / np.sum(1 / total)
    tau_unsure = 2 / spare * (1 - own_share) ** 2 * (typical + tau2) / total * (lost_yd - usual) ** 2
    variance = own_share * own_variance + (1 - own_share) ** 2 * usual_variance + tau_unsure
    mean = usual + own_share * (lost_yd - usual)
    return Shrunk(mean, np.sqrt(variance), own_share, usual)


def between_golfers(value: Array, variance: Array, X: Array) -> tuple[float, Array, Array]:
    """Fit a random-effects regression, its variance between golfers by Paule and Mandel's method (`paule_mandel`).

    Parameters
    ----------
    value, variance : ndarray, shape (n,)
        Estimates and the variance of each one's own error.
    X : ndarray, shape (n, p)
        Design, with a column of ones; n > p.

    Returns
    -------
    tau2 : float
    coefficients : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        Of the coefficients, both variances taken as known.

    References
    ----------
    Berkey and others, Stat. Med. 14 (1995) 395, doi 10.1002/sim.4780140406, whose empirical Bayes estimate it is.
    """
    freedom = X.shape[0] - X.shape[1]
    # With weights of 1 / most or less the squares are too small.
    most = least_squares(X, value).ssr / freedom
    tau2 = paule_mandel(lambda tau2: least_squares(X, value, 1 / (tau2 + variance)).ssr, freedom, 2 * most)
    fit = least_squares(X, value, 1 / (tau2 + variance))
    return tau2, fit.coefficients, fit.bread


def paule_mandel(squares: Callable[[float], float], freedom: float, most: float) -> float:
    """Give the variance between groups at which the weighted squares are what chance makes them; 0 if less are there.

    Parameters
    ----------
    squares : callable
        Takes a variance between groups; gives the sum of squares about what is usual, each over its whole variance.
        It falls as that variance rises.
    freedom : float
        Degrees of freedom of the squares: their mean by chance.
    most : float
        A variance above 0 that is likely too large; it is doubled as often as needed.

    Notes
    -----
    statsmodels' combine_effects solves this equation for a mean alone, and asked for more digits than it gives by
    itself a rounding error sends it to zero; so the root is bracketed.

    References
    ----------
    Paule and Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377, doi 10.6028/jres.087.022.
    """
    from scipy.optimize import brentq

    if squares(0.0) <= freedom:
        return 0.0
    while squares(most) > freedom:
        most *= 2
    return float(brentq(lambda variance: squares(variance) - freedom, 0.0, most, xtol=1e-12))
