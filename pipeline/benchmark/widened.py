"""Widen the interval of efficient carry by errors that have nothing to do with which golfers were drawn."""

from dataclasses import replace

import numpy as np

from pipeline.benchmark.efficient import Efficient
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import satterthwaite, t_reach


def widened(one: Efficient, each_yd: Array, freedom: float, first: int = 0) -> Efficient:
    """Add independent errors to that of efficient carry at one club speed.

    Parameters
    ----------
    one : Efficient
    each_yd : ndarray, shape (errors,)
        Standard deviations, with a sign: of two speeds it says whether an error raises both.
    freedom : float
        Degrees of freedom of their squares' sum.
    first : int
        Number of the first error's wave. Draws of errors with different numbers are independent.

    Returns
    -------
    Efficient
        Variances are added, degrees of freedom by `satterthwaite`.
    """
    before, added = one.std_error_yd**2, float(each_yd @ each_yd)
    if added == 0:
        return one
    error = float(np.sqrt(before + added))
    whole = float(satterthwaite(np.array([before, added]), np.array([one.freedom, freedom])))
    reach = float(t_reach(whole)) * error
    draws = one.errors_yd + each_yd @ waves(len(each_yd), len(one.errors_yd), first)
    spread = float(np.std(draws)) if len(draws) else 0.0
    return replace(
        one,
        lo90_yd=one.carry_yd - reach,
        hi90_yd=one.carry_yd + reach,
        std_error_yd=error,
        freedom=whole,
        errors_yd=draws * (error / spread) if spread > 0 else draws,
    )


def waves(count: int, draws: int, first: int = 0) -> Array:
    """Give waves over draws, shape (count, draws): mean zero, variance 1, no correlation (the cosine transform's)."""
    place = (np.arange(draws) + 0.5) / max(draws, 1)
    return np.asarray(np.sqrt(2) * np.cos(np.pi * (1 + first + np.arange(count))[:, None] * place))
