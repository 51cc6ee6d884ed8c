"""Adjustment of p-values for the rate of false discoveries."""

from collections.abc import Sequence

import numpy as np
import polars as pl


def adjusted(p_value: pl.Series, group: pl.Series, part: float = 1.0) -> pl.Series:
    """Adjust p-values within each group; null stays null.

    Parameters
    ----------
    p_value, group : Series
    part : float
        The part of the rate of false discoveries that these tests have; others have the rest.

    Returns
    -------
    Series
        q_value, at most 1.

    References
    ----------
    Benjamini and Hochberg, J. R. Stat. Soc. B 57 (1995) 289, doi 10.1111/j.2517-6161.1995.tb02031.x.
    """
    from scipy.stats import false_discovery_control

    p, groups = p_value.cast(pl.Float64).to_numpy(), group.to_numpy()
    q = np.full_like(p, np.nan)
    for one in np.unique(groups):
        rows = (groups == one) & ~np.isnan(p)
        if rows.any():
            q[rows] = false_discovery_control(p[rows], method="bh")
            q[rows] = np.minimum(q[rows] / part, 1.0)
    return pl.Series("q_value", q).fill_nan(None)


def adjusted_families(p_values: Sequence[pl.Series], group: pl.Series, rate: float, part: float) -> list[pl.Series]:
    """Adjust several families of tests that share a part of a rate of false discoveries, within each group.

    Families that show anything together are chosen first, by their Simes p-values, and share the part: each is tested
    at the part times the share of families chosen. Where nothing is to be found anywhere, nothing is found but by the
    part of the rate; where all families have something, each has the whole part.

    Parameters
    ----------
    p_values : sequence of Series
        Of the same rows; null stays null.
    group : Series
    rate : float
    part : float
        Of the rate.

    Returns
    -------
    list of Series
        q values: a test is a discovery where its own is at most the rate.

    References
    ----------
    Benjamini and Bogomolov, J. R. Stat. Soc. B 76 (2014) 297, doi 10.1111/rssb.12028 (from memory).
    """
    own = np.stack([adjusted(p_value, group).to_numpy() for p_value in p_values])
    count, groups = len(own), group.to_numpy()
    for one in np.unique(groups):
        rows = groups == one
        # The least value adjusted by Benjamini and Hochberg is the Simes p-value of the family.
        simes = np.array([np.nanmin(q, initial=1.0) for q in own[:, rows]])
        ranked = np.sort(simes)
        met = np.flatnonzero(ranked <= rate * part * np.arange(1, count + 1) / count)
        chosen = 0 if len(met) == 0 else int(met[-1]) + 1
        # One more than are chosen for a family that isn't: not even then would it be.
        among = np.where(simes <= (ranked[chosen - 1] if chosen else -1.0), chosen, chosen + 1)
        own[:, rows] = np.minimum(own[:, rows] * (count / part / among)[:, None], 1.0)
    return [pl.Series("q_value", q).fill_nan(None) for q in own]
