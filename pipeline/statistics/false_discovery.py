"""Adjustment of p-values for the rate of false discoveries."""

import numpy as np
import polars as pl


def adjusted(p_value: pl.Series, group: pl.Series) -> pl.Series:
    """Adjust p-values within each group; null stays null.

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
    return pl.Series("q_value", q).fill_nan(None)
