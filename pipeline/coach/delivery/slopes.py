"""How launch, spin and speed ratio go with attack angle and loft: inside golfers, between them, and by rigid impact.

A golfer's own slope, from swing to swing with the same club and device, is what a change in that golfer goes by.
Between golfers the same regression tells how golfers differ, which has other reasons too: it is shown apart.

Readings of attack have errors, which flatten a slope on them. What a reading is worth is found without a guess at the
device: geometry says that launch less attack hangs on the difference of loft and attack alone, as spin does, so launch
less its share of spin is the attack over again, with errors of its own. The reading serves as instrument for it
(Fuller, Measurement Error Models (1987), section 1.4; from memory). How much launch goes with that much spin is rigid
impact's word, and its doubt is in the standard errors.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.coach.delivery.impact_slopes import LOFT_DOUBT, SPIN_DOUBT, slopes_by_impact
from pipeline.coach.delivery.sums import ATTACK, LAUNCH, ORIGIN, RATIO, SPIN, Sums
from pipeline.coach.delivery.sums import RESPONSE_PLACES as Y
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach
from pipeline.tables.delivery import DeliverySlopes

RESPONSES = ("launch_deg", "spin_rpm", "speed_ratio")

# Fewer golfers tell no standard error by clusters; fewer who vary their loft tell too little of it.
MIN_GOLFERS = 8
# A reading of attack of which less than this share of the variance is attack tells nothing to go by.
MIN_RELIABILITY = 0.2
# Drives of a golfer who enters between golfers: with fewer the mean attack is mostly error.
MIN_DRIVES = 5


@dataclass(frozen=True)
class DeliverySlope:
    """Slopes of launch (deg), spin (rpm at the mean club speed) and speed ratio on one thing, inside golfers.

    Attributes
    ----------
    as_read, slope : ndarray, shape (3,)
        On the readings as they are, and with their errors taken out; NaN where unknown.
    covariance : ndarray, shape (3, 3)
        Of `slope`, clustered by golfer.
    golfer_covariance : ndarray, shape (3, 3)
        How golfers' own slopes differ about it.
    reliability : float
        Share of the readings' variance inside golfers that is not error.
    golfers, drives : int
        Behind it; of loft, those who vary it.
    note : str or None
    """

    as_read: Array
    slope: Array
    covariance: Array
    golfer_covariance: Array
    reliability: float
    golfers: int
    drives: int
    note: str | None

    @property
    def known(self) -> bool:
        """Whether launch and spin have a slope."""
        return bool(np.isfinite(self.slope[:2]).all())


@dataclass(frozen=True)
class DeliveryModel:
    """The slopes to move a delivery along.

    Attributes
    ----------
    attack, loft : DeliverySlope
        Inside golfers.
    impact : dict of str to ndarray, shape (3,)
        By rigid impact, at the golfers' mean speed, attack and launch.
    loft_measured : bool
        Whether slopes on loft are measured ones; else rigid impact is used instead.
    speed_mph : float
        Mean club speed of golfers, at which spin's slopes are given; spin goes with club speed.
    """

    attack: DeliverySlope
    loft: DeliverySlope
    impact: dict[str, Array]
    loft_measured: bool
    speed_mph: float


def fit_delivery(sums: Sums) -> DeliveryModel | None:
    """Fit the slopes inside golfers; None where fewer than `MIN_GOLFERS` have readings of attack.

    Parameters
    ----------
    sums : Sums

    Returns
    -------
    DeliveryModel or None
    """
    if sums.golfers < MIN_GOLFERS:
        return None
    means = _golfer_means(sums)
    speed = float(np.mean(sums.speed_mph))
    impact = slopes_by_impact(speed, float(np.mean(means[:, ATTACK])), float(np.mean(means[:, LAUNCH])))
    scale = np.ones((sums.golfers, 4))
    scale[:, SPIN] = speed / sums.speed_mph
    attack, influence = _on_attack(sums, scale, impact["loft_deg"])
    loft = _on_loft(sums, scale, attack, influence)
    surely = loft.known and loft.covariance[0, 0] ** 0.5 < LOFT_DOUBT * impact["loft_deg"][0]
    return DeliveryModel(attack, loft, impact, bool(surely), speed)


def _golfer_means(sums: Sums) -> Array:
    """Give golfers' mean attack, launch, spin and speed ratio, shape (golfers, 4); NaN without ball speed."""
    n, known = sums.by_golfer(sums.n), sums.by_golfer(np.where(sums.ball_known, sums.n, 0.0))
    counts = np.stack([n, n, n, known], axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(sums.by_golfer(sums.total) / counts + ORIGIN)


def _on_attack(sums: Sums, scale: Array, by_loft: Array) -> tuple[DeliverySlope, Array]:
    """Fit the slopes on attack; give also what they would lose without each golfer, shape (golfers, 3)."""
    scatter = sums.within_cells() * scale[sums.golfer, :, None] * scale[sums.golfer, None, :]
    every = sums.by_golfer(scatter)
    struck = sums.by_golfer(np.where(sums.ball_known[:, None, None], scatter, 0.0))
    of = [every, every, struck]
    xx = np.stack([part[:, ATTACK, ATTACK] for part in of], axis=-1)
    xy = np.stack([part[:, ATTACK, y] for part, y in zip(of, Y, strict=True)], axis=-1)
    x_spin = np.stack([part[:, ATTACK, SPIN] for part in of], axis=-1)
    x_launch = np.stack([part[:, ATTACK, LAUNCH] for part in of], axis=-1)
    # Launch less attack, deg, that goes with 1 rpm: both follow the difference of loft and attack.
    share = by_loft[0] / by_loft[1]
    again = x_launch - share * x_spin
    whole = xx.sum(axis=0)
    reliability = float(again[:, 0].sum() / whole[0]) if whole[0] > 0 else 0.0
    drives = int(sums.n.sum())
    if reliability < MIN_RELIABILITY:
        nothing, no_cov = np.full(3, np.nan), np.full((3, 3), np.nan)
        note = "readings of attack hardly go with launch and spin"
        return DeliverySlope(nothing, nothing, no_cov, no_cov, reliability, sums.golfers, drives, note), np.zeros_like(
            xy
        )
    corrected = reliability < 1
    by = again if corrected else xx
    with np.errstate(invalid="ignore", divide="ignore"):
        as_read, slope = xy.sum(axis=0) / whole, xy.sum(axis=0) / by.sum(axis=0)
        influence = (xy - slope * by) / (by.sum(axis=0) - by)
        by_share = slope * x_spin.sum(axis=0) / by.sum(axis=0) if corrected else np.zeros(3)
    covariance = _clustered(influence) + np.outer(by_share, by_share) * (SPIN_DOUBT * share) ** 2
    spread = _spread(struck if whole[2] > 0 else every, sums, by_loft) / min(reliability, 1.0) ** 2
    note = "errors of readings taken out" if corrected else "readings show no error"
    return DeliverySlope(
        as_read, slope, covariance, spread, min(reliability, 1.0), sums.golfers, drives, note
    ), influence


def _on_loft(sums: Sums, scale: Array, attack: DeliverySlope, attack_influence: Array) -> DeliverySlope:
    """Fit the slopes on stated loft at the same attack, among clubs or settings of one golfer, quarter and device."""
    xx_cell, xy_cell = sums.within_parents()
    xy_cell = xy_cell * scale[sums.golfer]
    struck = np.where(sums.ball_known, xx_cell, 0.0)
    xx = np.stack([sums.by_golfer(part) for part in (xx_cell, xx_cell, struck)], axis=-1)
    xy_every, xy_struck = sums.by_golfer(xy_cell), sums.by_golfer(np.where(sums.ball_known[:, None], xy_cell, 0.0))
    xy = np.stack([xy_every[:, LAUNCH], xy_every[:, SPIN], xy_struck[:, RATIO]], axis=-1)
    x_attack = np.stack([xy_every[:, ATTACK], xy_every[:, ATTACK], xy_struck[:, ATTACK]], axis=-1)
    varied = xx[:, 0] > 0
    golfers = int(varied.sum())
    drives = int(sums.n[varied[sums.golfer]].sum())
    nothing, no_cov = np.full(3, np.nan), np.full((3, 3), np.nan)
    if golfers < MIN_GOLFERS or not attack.known:
        note = f"{golfers} golfers vary their loft, which is too few"
        return DeliverySlope(nothing, nothing, no_cov, no_cov, 1.0, golfers, drives, note)
    whole = xx.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = (xy - attack.slope * x_attack).sum(axis=0) / whole
        own = (xy - attack.slope * x_attack - slope * xx) / (whole - xx)
        influence = own - x_attack.sum(axis=0) / whole * attack_influence
    return DeliverySlope(slope, slope, _clustered(influence), np.zeros((3, 3)), 1.0, golfers, drives, None)


def _clustered(influence: Array) -> Array:
    """Give the covariance of three slopes, shape (3, 3), from what they lose without each golfer: the jackknife.

    Clustered by golfer like the usual one, but not too small where few golfers count (MacKinnon, Nielsen and Webb,
    J. Appl. Econom. 38 (2023) 671; from memory).
    """
    many = max(int(np.count_nonzero(np.any(influence != 0, axis=1))), 1)
    return np.asarray(influence.T @ influence * (many - 1) / many)


def _spread(scatter: Array, sums: Sums, by_loft: Array) -> Array:
    """Give how golfers' own slopes differ beyond their errors, as a covariance, shape (3, 3).

    Golfers differ in how far the face follows the path, so their slopes differ along what loft does. That one figure is
    taken from each golfer's own slopes by least squares, its variance by moments, weighted by each golfer's scatter of
    attack (DerSimonian and Laird, Control. Clin. Trials 7 (1986) 177; from memory). Below nil it is nil.
    """
    xx, xy, yy = scatter[:, ATTACK, ATTACK], scatter[:, ATTACK][:, Y], scatter[:, Y][:, :, Y]
    some = xx > 0
    xx, xy, yy = xx[some], xy[some], yy[some]
    free = sums.n.sum() - len(sums.n) - len(xx)
    own = xy / xx[:, None]
    noise = (yy - own[:, :, None] * xy[:, None, :]).sum(axis=0) / max(free, 1.0)
    # Without ball speed nothing scatters in the ratio, and it tells nothing.
    told = np.diag(noise) > 0
    weights = np.linalg.solve(noise[np.ix_(told, told)], by_loft[told])
    precision = float(by_loft[told] @ weights)
    follows = (own - xy.sum(axis=0) / xx.sum())[:, told] @ weights / precision
    between = float(xx @ follows**2) - (len(xx) - 1) / precision
    variance = max(between / float(xx.sum() - (xx**2).sum() / xx.sum()), 0.0)
    return np.asarray(variance * np.outer(by_loft, by_loft))


def between_golfers(sums: Sums, predictor: str) -> tuple[Array, Array, int, int]:
    """Regress golfers' means of launch, spin and speed ratio on their mean attack, or on their loft at like attack.

    Parameters
    ----------
    sums : Sums
    predictor : str
        attack_deg or loft_deg.

    Returns
    -------
    tuple
        Slopes and their standard errors, shape (3,), NaN where too few golfers; golfers; drives. Ordinary least
        squares, one point a golfer, errors robust to unequal scatter (HC3).
    """
    from statsmodels.regression.linear_model import OLS

    means, n = _golfer_means(sums), sums.by_golfer(sums.n)
    stated = np.where(np.isnan(sums.loft_deg), 0.0, sums.n)
    with np.errstate(invalid="ignore", divide="ignore"):
        loft = sums.by_golfer(np.nan_to_num(sums.loft_deg) * stated) / sums.by_golfer(stated)
    columns = [np.ones_like(n), means[:, ATTACK]] + ([loft] if predictor == "loft_deg" else [])
    X = np.column_stack(columns)
    slope, std_error = np.full(3, np.nan), np.full(3, np.nan)
    sound = (n >= MIN_DRIVES) & np.isfinite(X).all(axis=1)
    for k, y in enumerate(means[:, Y].T):
        rows = sound & np.isfinite(y)
        if rows.sum() >= MIN_GOLFERS and np.ptp(X[rows, -1]) > 0:
            fit = OLS(y[rows], X[rows]).fit(cov_type="HC3")
            slope[k], std_error[k] = fit.params[-1], fit.bse[-1]
    return slope, std_error, int(sound.sum()), int(n[sound].sum())


def slopes_table(sums: Sums, model: DeliveryModel | None) -> pl.DataFrame:
    """Gather the table `DeliverySlopes`: every response on attack and loft, inside and between golfers."""
    if model is None:
        return DeliverySlopes.create_empty()
    rows = []
    for predictor, fitted in (("attack_deg", model.attack), ("loft_deg", model.loft)):
        used = predictor == "attack_deg" or model.loft_measured
        error = np.sqrt(np.diag(fitted.covariance))
        spread = np.sqrt(np.diag(fitted.golfer_covariance)) if predictor == "attack_deg" else np.full(3, np.nan)
        counts = {"golfers": fitted.golfers, "drives": fitted.drives, "reliability": fitted.reliability}
        note = fitted.note if used or not fitted.known else "too uncertain"
        note = note if used else f"{note}; rigid impact is used instead"
        for k, response in enumerate(RESPONSES):
            row = {"as_read": fitted.as_read[k], "slope": fitted.slope[k], "std_error": error[k]}
            row |= {"golfer_sd": spread[k], "used": used and bool(np.isfinite(fitted.slope[k])), **counts, "note": note}
            rows.append({"response": response, "predictor": predictor, "scope": "within", **row})
        slope, error, golfers, drives = between_golfers(sums, predictor)
        for k, response in enumerate(RESPONSES):
            row = {"as_read": slope[k], "slope": slope[k], "std_error": error[k], "golfers": golfers, "drives": drives}
            row |= {"reliability": None, "golfer_sd": None, "used": False, "note": "golfers differ in other ways too"}
            rows.append({"response": response, "predictor": predictor, "scope": "between", **row})
    table = pl.DataFrame(rows, infer_schema_length=None).with_columns(
        pl.col("as_read", "slope", "std_error", "golfer_sd").cast(pl.Float64).fill_nan(None)
    )
    reach = pl.Series(t_reach(np.maximum(table.get_column("golfers").to_numpy() - 1, 1))) * pl.col("std_error")
    impact = [float(model.impact[p][RESPONSES.index(r)]) for p, r in table.select("predictor", "response").iter_rows()]
    return (
        table.with_columns(
            (pl.col("slope") - reach).alias("lo90"),
            (pl.col("slope") + reach).alias("hi90"),
            pl.Series("impact_slope", impact),
        )
        .select(DeliverySlopes.column_names())
        .cast({"scope": DeliverySlopes.scope.dtype})
    )
