"""Student's t for the mean of skewed drives.

A mishit falls far short and no drive goes as far beyond, so that yards lost have a long upper tail. With a few dozen
drives the mean's t then errs to one side: in invented academies three in four of the intervals that missed the truth
lay below it. A cubic transformation of t takes the skewness out of it, to the order of one over the number of drives;
it rises throughout, so that it has an inverse and serves intervals and p-values alike.

References
----------
Hall, On the removal of skewness by transformation, J. R. Stat. Soc. B 54 (1992) 221 (the formulas from memory; the
tests hold them against drawn means).
"""

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array


def straightened(t: Array, skewness: Array) -> Array:
    """Give the transformed t, which is distributed like Student's.

    Parameters
    ----------
    t : ndarray, shape (n,)
        Estimate less truth, over its standard error.
    skewness : ndarray, shape (n,)
        Of the estimate: for the mean of k drives, theirs over the root of k.

    Returns
    -------
    ndarray, shape (n,)
    """
    return np.asarray(t + skewness * t**2 / 3 + skewness**2 * t**3 / 27 + skewness / 6)


def bent(quantile: Array, skewness: Array) -> Array:
    """Give the t whose transformed value is a quantile of Student's; the inverse of `straightened`, shapes alike."""
    step = quantile - skewness / 6
    root = np.cbrt(1 + skewness * step)
    # (root - 1) * 3 / skewness, without the difference that a skewness near nil would leave to rounding.
    return np.asarray(3 * step / (root**2 + root + 1))


def pooled_skewness(skewness: Array, count: npt.NDArray[np.int64]) -> float:
    """Give the skewness of a golfer's values, pooled over golfers by their numbers of drives.

    A golfer's own skewness is too unsure to go by: in invented academies it scattered by two thirds of its mean. NaN
    counts for nothing; where no golfer has one, it is 0.

    Parameters
    ----------
    skewness, count : ndarray, shape (n,)
    """
    known = np.isfinite(skewness)
    return float(np.average(skewness[known], weights=count[known])) if known.any() else 0.0
