"""Ordinary least squares by statsmodels, with columns scaled and standard errors clustered by golfer."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.errors import UserError
from pipeline.fit.surface import Array

Z90 = 1.6448536269514722  # standard normal, 95 % point


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


def fit_least_squares(X: Array, y: Array, groups: npt.NDArray[np.int64] | None) -> Fit:
    """Fit y = X b by least squares.

    Parameters
    ----------
    X : ndarray, shape (n, terms)
        Design matrix of full column rank.
    y : ndarray, shape (n,)
    groups : ndarray of int, shape (n,), or None
        Cluster of each row (the golfer), for cluster-robust standard errors; None gives the classical ones.

    Returns
    -------
    Fit

    Raises
    ------
    UserError
        If there are too few rows or groups, or columns depend on each other.

    Notes
    -----
    Columns are scaled to unit length and solved by QR, which keeps polynomial fits accurate (tested against
    the certified values of NIST's Statistical Reference Datasets).
    """
    # statsmodels takes a second to import; the lookup imports this package and never fits.
    from statsmodels.regression.linear_model import OLS

    n, terms = X.shape
    if n <= terms:
        raise UserError(f"The fit has {n} drives for {terms} terms; add logs.")
    lengths = np.linalg.norm(X, axis=0)
    if np.any(lengths == 0) or np.linalg.matrix_rank(X / lengths) < terms:
        raise UserError("The fit's columns depend on each other; drop a device or ball that differs in nothing else.")
    model = OLS(y, X / lengths)
    if groups is None:
        result = model.fit(method="qr")
    else:
        result = model.fit(method="qr", cov_type="cluster", cov_kwds={"groups": groups})
    covariance = np.asarray(result.cov_params()) / np.outer(lengths, lengths)
    return Fit(np.asarray(result.params) / lengths, covariance, float(np.sqrt(result.mse_resid)))
