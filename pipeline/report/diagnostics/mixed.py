"""Mixed model and quantile regression beside the chosen model, as statsmodels has them."""

import warnings
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import golfer_codes, inputs, straightened
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, Delivery
from pipeline.report.diagnostics.slopes import LEAST_GOLFERS, clustered_line
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import MANY, Z90, Estimate
from pipeline.statistics.least_squares import Factor, clustered_fit, solve

MOST_GOLFERS = 500  # whose drives a mixed model takes: its time grows with them, and more hardly move it
MOST_DRIVES = 20_000  # that quantile regression takes
QUANTILES = (0.1, 0.5, 0.9)
LEAST_RATIO = 1e-3  # of golfers' variance to that of drives where a search begins: at nil it would stay there
AT_SPEEDS = (0.1, 0.9)  # quantiles of club speed between which the spread of drives is compared


@dataclass(frozen=True)
class GolferIntercepts:
    """The chosen model's form with an intercept for each golfer.

    Attributes
    ----------
    golfers, drives : int
    golfer_sd_yd, drive_sd_yd : float
        Of intercepts, and of drives about them.
    terms, moved : int
        Fixed terms, and those that are outside the 90 % interval of the fit without intercepts.
    move_yd : ndarray, shape (n,)
        What the intercepts change of expected carry at deliveries.
    """

    golfers: int
    drives: int
    golfer_sd_yd: float
    drive_sd_yd: float
    terms: int
    moved: int
    move_yd: Array

    @property
    def share(self) -> float:
        """Share of the variance that is between golfers."""
        return self.golfer_sd_yd**2 / (self.golfer_sd_yd**2 + self.drive_sd_yd**2)


@dataclass(frozen=True)
class SpreadByCarry:
    """How the spread of drives grows with carry.

    Attributes
    ----------
    club_speed_mph, carry_yd : tuple of float
        A slow and a fast club speed, and expected carry of the usual drive there.
    lines_yd : ndarray, shape (3, 2)
        Carry at the quantiles `QUANTILES`, at both.
    p_value : float
        That the size of residuals doesn't go with expected carry, clustered by golfer.
    slope : float
        By how much the mean size of residuals grows with a yard of expected carry.
    """

    club_speed_mph: tuple[float, float]
    carry_yd: tuple[float, float]
    lines_yd: Array
    p_value: float
    slope: float

    @property
    def spread_yd(self) -> Array:
        """What eight drives in ten lie within, yd, shape (2,)."""
        return np.asarray(self.lines_yd[-1] - self.lines_yd[0])


def golfer_intercepts(model: CarryModel, drives: pl.DataFrame, at: Delivery) -> GolferIntercepts | str:
    """Fit the chosen model's design with an intercept for each golfer, by restricted maximum likelihood.

    Parameters
    ----------
    model : CarryModel
    drives : DataFrame
        Of the fit, with the columns of `FIT_COLUMNS`; the first `MOST_GOLFERS` golfers are taken.
    at : Delivery
        Struck as the better quarter do.

    Returns
    -------
    GolferIntercepts or str
        A sentence where the fit fails or doesn't converge.

    References
    ----------
    Laird and Ware, Biometrics 38 (1982) 963, doi 10.2307/2529876 (from memory).
    """
    taken = drives.sort("golfer", maintain_order=True)
    codes = golfer_codes(taken)
    taken, codes = taken.filter(pl.Series(codes < MOST_GOLFERS)), codes[codes < MOST_GOLFERS]
    golfers = int(codes.max()) + 1
    if golfers < LEAST_GOLFERS:
        return f"A mixed model needs {LEAST_GOLFERS} golfers; the fit has {golfers}."
    x = inputs(taken, model.surface.speed)
    base, design = model.surface.base_and_design(*x)
    X = np.hstack([design, model.offsets.terms(taken)])
    y = straightened(taken)["carry_standard_yd"].to_numpy() - base
    try:
        plain = clustered_fit(solve(Factor.of(X, y)), [(X, y, codes)])
    except UserError as error:
        return f"The mixed model was left out. {error}"
    found = _mixed(X, y, codes)
    if isinstance(found, str):
        return found
    coefficients, golfer_sd, drive_sd = found
    outside = np.abs(coefficients - plain.coefficients) > Z90 * plain.std_errors
    terms = design.shape[1]
    asked = model.surface.design(*model.inputs(at, "better")) * (1 + model.better_share)
    move = asked @ (coefficients - plain.coefficients)[:terms]
    return GolferIntercepts(golfers, taken.height, golfer_sd, drive_sd, len(outside), int(outside.sum()), move)


NO_QUANTILES = "Quantile regression did not converge, so it says nothing here."
FAILED = "The mixed model did not converge, so it says nothing here."


def _mixed(X: Array, y: Array, golfer: npt.NDArray[np.int64]) -> tuple[Array, float, float] | str:
    from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

    scale = np.linalg.norm(X, axis=0) / np.sqrt(len(y))  # columns of one size converge
    with warnings.catch_warnings(record=True):  # what it warns of is seen below, in `converged` and in the figures
        warnings.simplefilter("always")
        try:
            coefficients, ratio = _moments(X / scale, y, golfer)
            # It wants another kind of value, says the type that is guessed of its defaults.
            begin = MixedLMParams.from_components(coefficients, np.array([[ratio]]))  # type: ignore[arg-type]
            fit = MixedLM(y, X / scale, groups=golfer).fit(reml=True, start_params=begin)
        except (np.linalg.LinAlgError, ValueError):
            return FAILED
    coefficients = np.asarray(fit.fe_params) / scale
    spread = np.array([float(np.asarray(fit.cov_re).item()), float(fit.scale)])
    if not fit.converged or not np.isfinite([*coefficients, *spread]).all() or spread.min() < 0:
        return FAILED
    golfer_sd, drive_sd = np.sqrt(spread)
    return coefficients, float(golfer_sd), float(drive_sd)


def _moments(X: Array, y: Array, golfer: npt.NDArray[np.int64]) -> tuple[Array, float]:
    """Estimate coefficients, and golfers' variance over that of drives, by analysis of variance.

    A likelihood searched from here takes a tenth of the steps. From equal variances, the search may also stop too early
    where golfers hardly differ.
    """
    coefficients: Array = np.asarray(np.linalg.lstsq(X, y, rcond=None)[0], dtype=float)
    residuals, drives = y - X @ coefficients, np.bincount(golfer)
    means = np.bincount(golfer, residuals) / drives
    within = np.sum((residuals - means[golfer]) ** 2) / max(len(y) - len(drives) - X.shape[1], 1)
    between = np.var(means, ddof=1) - np.mean(within / drives)
    return coefficients, max(float(between / within), LEAST_RATIO)


def spread_by_carry(model: CarryModel, residuals: pl.DataFrame) -> SpreadByCarry | str:
    """Fit quantiles of measured carry on expected carry and club speed, and test whether residuals grow with carry.

    Parameters
    ----------
    model : CarryModel
    residuals : DataFrame
        golfer, club_speed_mph, measured_yd, predicted_yd, residual_yd; every so many drives are taken where they are
        more than `MOST_DRIVES`.

    Returns
    -------
    SpreadByCarry or str
        A sentence where a fit fails.

    References
    ----------
    Koenker and Bassett, Econometrica 46 (1978) 33. The test is Glejser's, J. Am. Stat. Assoc. 64 (1969) 316 (from
    memory), with standard errors clustered by golfer.
    """
    from statsmodels.regression.quantile_regression import QuantReg
    from statsmodels.tools.sm_exceptions import ModelWarning

    ordered = residuals.sort("golfer", maintain_order=True)
    some = ordered.gather_every(-(-ordered.height // MOST_DRIVES))
    expected, club = some["predicted_yd"].to_numpy(), some["club_speed_mph"].to_numpy()
    X = np.column_stack([np.ones(len(club)), expected, club])
    speeds = np.quantile(club, AT_SPEEDS)
    usual = model.expected(model.usual_at(speeds), "usual")
    asked = np.column_stack([np.ones(2), usual, speeds])
    lines = []
    with warnings.catch_warnings():
        warnings.simplefilter("error", ModelWarning)  # the limit of iterations, or a cycle
        for quantile in QUANTILES:
            try:
                lines.append(asked @ QuantReg(some["measured_yd"].to_numpy(), X).fit(q=quantile).params)
            except (ModelWarning, ValueError, np.linalg.LinAlgError):
                return NO_QUANTILES
    if not np.isfinite(lines).all():
        return NO_QUANTILES
    slope, error = clustered_line(expected, np.abs(some["residual_yd"].to_numpy()), golfer_codes(some))
    freedom = min(some["golfer"].n_unique() - 1, MANY)
    p_value = float(Estimate(np.array([slope]), np.array([error]), np.array([freedom])).p_value[0])
    ends = tuple(float(v) for v in speeds), tuple(float(v) for v in usual)
    return SpreadByCarry(*ends, np.array(lines), p_value, slope)  # type: ignore[arg-type]
