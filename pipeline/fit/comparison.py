"""Holding a new fit against a kept one: scores on golfers whom neither has seen, and the verdict."""

import hashlib
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.errors import UserError
from pipeline.fit.contest import MIN_GOLFERS, Candidate, assign_folds, fit_candidate, predict_from
from pipeline.fit.drives import FIT_COLUMNS, golfer_codes, usable
from pipeline.fit.model import CarryModel
from pipeline.fit.moves import Fitted
from pipeline.fit.surface import Array
from pipeline.flight.air import Air
from pipeline.flight.around import air_of_drives
from pipeline.flight.calibrate import Calibration
from pipeline.flight.impact import ASSUMED_RATIO
from pipeline.flight.standard import AirNodes, StudyTables, standard_change_yd
from pipeline.study import StandardAir

NO_MATTER_YD = 0.1  # a rise of the error that is nothing beside its 3 yd, however surely it is known
SLICE = 100_000  # rows of a fingerprint at a time, so that memory doesn't grow with them

Marks = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class PairedScore:
    """Errors of two models on the same drives, yd; `std_error_yd` is that of `difference_yd`, clustered by golfer."""

    golfers: int
    drives: int
    old_rmse_yd: float
    new_rmse_yd: float
    old_bias_yd: float
    new_bias_yd: float
    difference_yd: float
    std_error_yd: float


@dataclass(frozen=True)
class Scored:
    """Scores on golfers new to the old fit (None if too few) and on all golfers (None if there are none to score).

    `repeated` tells whether the old fit could be repeated without the golfers whom it is scored on.
    """

    new_golfers: int
    on_new: PairedScore | None
    on_all: PairedScore | None
    repeated: bool

    @property
    def deciding(self) -> PairedScore | None:
        """The score that the verdict goes by."""
        return self.on_new or self.on_all


@dataclass(frozen=True)
class Verdict:
    """Whether the new model is adopted, and why, in sentences."""

    adopt: bool
    reasons: tuple[str, ...]


def fingerprint(used: pl.DataFrame) -> str:
    """Digest the drives of a fit, whatever their order and the files they came in.

    Parameters
    ----------
    used : DataFrame
        The drives of the fit, with the columns of `FIT_COLUMNS`.

    Returns
    -------
    str
        SHA-256, 64 hexadecimal digits.
    """
    digest = hashlib.sha256()
    ordered = used.select(FIT_COLUMNS).sort(FIT_COLUMNS, nulls_last=True)
    for part in ordered.iter_slices(SLICE):
        digest.update(part.write_csv(include_header=False, quote_style="non_numeric").encode())
    return digest.hexdigest()


def carry_by(
    drives: pl.DataFrame, calibration: Calibration, speed_ratio: float | None, air: StandardAir
) -> npt.NDArray[np.float64]:
    """Move measured carry to standard conditions by a given calibration of flight.

    Parameters
    ----------
    drives : DataFrame
        Carry as measured, the columns of `FIT_COLUMNS` and `AIR_COLUMNS`.
    calibration : Calibration
    speed_ratio : float or None
        Ball over club speed of a drive without ball speed.
    air : StandardAir

    Returns
    -------
    ndarray, shape (n,)
        Carry, yd. The grids of flight are flown anew, about a second for each air.
    """
    around, _ = air_of_drives(drives, air.temp_c, air.pressure_hpa)
    here = Air.of(np.array(air.temp_c), np.array(air.pressure_hpa * 100), np.array(air.humidity))
    standard = (float(here.density_kg_m3), float(here.viscosity_pa_s))
    tables = StudyTables.build(calibration.ball, standard, AirNodes.of(around))
    change = standard_change_yd(drives, tables, air.temp_c, air.pressure_hpa, speed_ratio or ASSUMED_RATIO)
    return drives.get_column("carry_yd").to_numpy() + change


def errors_of(model: CarryModel, drives: pl.DataFrame) -> Array:
    """Give predicted minus measured carry of drives, yd, shape (n,), both on the model's reference device and ball."""
    measured = drives.get_column("carry_yd").to_numpy() - model.offsets.design(drives) @ model.offset_yd
    return predict_from(model, drives, True, True, True) - measured


def errors_held_out(candidate: Candidate, drives: pl.DataFrame, among: Marks, fold: npt.NDArray[np.int64]) -> Array:
    """Give predicted minus measured carry of every drive by a fit without the drive's fold of golfers.

    Parameters
    ----------
    candidate : Candidate
        What is fitted.
    drives : DataFrame
        As for `fit_candidate`.
    among : ndarray of bool, shape (n,)
        Drives that a fit may use; the others are only predicted.
    fold : ndarray of int, shape (n,)

    Returns
    -------
    ndarray, shape (n,)
        Yards.

    Raises
    ------
    UserError
        If a fold leaves too few drives or golfers.
    """
    errors = np.empty(drives.height)
    for k in np.unique(fold):
        out = fold == k
        rest = drives.filter(pl.Series(among & ~out))
        if rest.get_column("golfer").n_unique() < 2:
            raise UserError("The fit has fewer than 2 golfers; add logs.")
        errors[out] = errors_of(fit_candidate(candidate, rest).model, drives.filter(pl.Series(out)))
    return errors


def score_both(
    old: Fitted, candidate: Candidate, drives: pl.DataFrame, old_carry_yd: Array, seed: int
) -> tuple[Scored, pl.DataFrame]:
    """Score the old and the new model on golfers that neither has seen.

    Parameters
    ----------
    old : Fitted
    candidate : Candidate
        The new model's way to be fitted.
    drives : DataFrame
        The drives of the new fit, carry at standard conditions.
    old_carry_yd : ndarray, shape (n,)
        Their carry at the old fit's standard conditions by the old calibration: each model is scored on its own.
    seed : int
        Decides the folds; those of the contest.

    Returns
    -------
    tuple of Scored and DataFrame
        The scores, and the errors behind them: golfer, is_new, old_yd, new_yd.

    Notes
    -----
    The new model is scored by refits without the golfers of a fold. So is the old one for golfers whom it has seen:
    its own form is fitted again to the drives of its golfers and quarters. Plain predictions, which flatter it, stand
    in where those are no longer in the study.
    """
    fold = assign_folds(golfer_codes(drives), seed)
    new_error = errors_held_out(candidate, drives, np.ones(drives.height, dtype=bool), fold)
    both = usable(drives, old.model.surface.speed)
    rows, fold = drives.with_columns(pl.Series("carry_yd", old_carry_yd)).filter(pl.Series(both)), fold[both]
    seen = rows.select(pl.col("golfer").is_in(old.typical.get_column("golfer").implode())).to_series().to_numpy()
    among = seen & rows.select(pl.col("quarter").is_in(list(old.quarters))).to_series().to_numpy()
    plain = errors_of(old.model, rows)
    try:
        again = errors_held_out(Candidate("old", lambda _: old.model.surface), rows, among, fold)
        repeated = True
    except UserError:
        again, repeated = plain, False
    table = pl.DataFrame(
        {
            "golfer": rows.get_column("golfer"),
            "is_new": ~seen,
            "old_yd": np.where(seen, again, plain),
            "new_yd": new_error[both],
        }
    )
    new = table.filter("is_new")
    count = new.get_column("golfer").n_unique()
    on_new = paired_score(new) if count >= MIN_GOLFERS else None
    enough = table.get_column("golfer").n_unique() >= MIN_GOLFERS
    return Scored(count, on_new, paired_score(table) if enough else None, repeated), table


def paired_score(errors: pl.DataFrame) -> PairedScore:
    """Compare two models' root mean square errors on the same drives.

    Parameters
    ----------
    errors : DataFrame
        golfer, old_yd, new_yd: predicted minus measured, one row a drive.

    Returns
    -------
    PairedScore
        The standard error of the difference by linearising both roots and summing over golfers (delta method).
    """
    old, new = (errors.get_column(name).to_numpy() for name in ("old_yd", "new_yd"))
    old_rmse, new_rmse = (float(np.sqrt(np.mean(error**2))) for error in (old, new))
    lean = _lean(new, new_rmse) - _lean(old, old_rmse)
    totals = np.bincount(golfer_codes(errors), weights=lean)
    clusters = len(totals)
    std_error = float(np.sqrt(np.sum(totals**2) * clusters / max(clusters - 1, 1)) / len(lean))
    bias = float(old.mean()), float(new.mean())
    return PairedScore(clusters, len(lean), old_rmse, new_rmse, *bias, new_rmse - old_rmse, std_error)


def _lean(error: Array, rmse: float) -> Array:
    return (error**2 - rmse**2) / (2 * rmse) if rmse > 0 else np.zeros_like(error)


def judge(old: Fitted, new: Fitted, scored: Scored) -> Verdict:
    """Decide by the stated rule whether the new model is adopted; the reasons tell each part of it."""
    if old.air != new.air:
        return Verdict(True, ("the study's standard conditions have changed, so the old model can't serve",))
    score = scored.deciding
    if score is None:
        few = (
            f"fewer than {MIN_GOLFERS} golfers have drives that both models can predict, so none is shown to be better"
        )
        return Verdict(False, (few,))
    who = "golfers new to the old fit" if scored.on_new else "all golfers, each held out"
    allowed = max(score.std_error_yd, NO_MATTER_YD)
    near = score.difference_yd <= allowed
    enough = new.golfers >= old.golfers
    error = f"on {who}, the new model's rms error of {score.new_rmse_yd:.2f} yd is {abs(score.difference_yd):.2f} yd "
    if score.difference_yd <= 0:
        error += "below the old one's"
    else:
        error += f"above the old one's, {'within' if near else 'more than'} the {allowed:.2f} yd allowed"
    rests = f"the new model rests on {new.golfers} golfers, the old one on {old.golfers}"
    return Verdict(near and enough, (error, rests))
