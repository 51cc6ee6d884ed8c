"""Holding a new fit against a kept one: scores on golfers whom neither has seen, and the verdict."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import FIT_COLUMNS, Drives, golfer_codes, straightened
from pipeline.errors import UserError
from pipeline.fit.candidates import MIN_GOLFERS
from pipeline.fit.factored import Factored
from pipeline.fit.form import Form
from pipeline.fit.held_out import ALL_KNOWN, predict_from
from pipeline.fit.model import CarryModel
from pipeline.fit.model_changes import ComparedFit
from pipeline.fit.survey import Survey
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.flight.calibrate import Calibration
from pipeline.flight.standard import AirNodes, StudyTables, standard_flight
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import AIR_COLUMNS, air_of_drives
from pipeline.physics.flight_table import FlightTable
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.statistics.arrays import Array

NO_MATTER_YD = 0.1  # a rise of the error that is nothing beside its 3 yd, however surely it is known
SLICE = 100_000  # rows of a fingerprint at a time, so that memory doesn't grow with them


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

    `repeated` tells whether the old fit could be repeated without the golfers whom it is scored on, `folds` into how
    many parts golfers were shared out.
    """

    new_golfers: int
    on_new: PairedScore | None
    on_all: PairedScore | None
    repeated: bool
    folds: int = 10

    @property
    def deciding(self) -> PairedScore | None:
        """The score that the verdict goes by."""
        return self.on_new or self.on_all


@dataclass(frozen=True)
class Verdict:
    """Whether the new model is adopted, and why, in sentences."""

    adopt: bool
    reasons: tuple[str, ...]


def fingerprint(used: pl.DataFrame | Drives) -> str:
    """Digest the drives of a fit, whatever the order of a golfer's drives and the files they came in.

    Parameters
    ----------
    used : DataFrame or Drives
        The drives of the fit, with the columns of `FIT_COLUMNS`.

    Returns
    -------
    str
        SHA-256, 64 hexadecimal digits.
    """
    digest, columns = hashlib.sha256(), [name for name in FIT_COLUMNS if name != "curve_yd"]

    def texts(frame: pl.DataFrame) -> list[bytes]:
        ordered = straightened(frame).select(columns).sort(columns, nulls_last=True)
        slices = ordered.iter_slices(SLICE)
        return [part.write_csv(include_header=False, quote_style="non_numeric").encode() for part in slices]

    for parts in Drives.of(used).each(texts):
        for part in parts:
            digest.update(part)
    return digest.hexdigest()


def carry_by(
    drives: pl.DataFrame | Drives,
    calibration: Calibration,
    speed_ratio: float | None,
    air: StandardAir,
    grids: dict[str, FlightTable] | None = None,
) -> Drives:
    """Move measured carry to standard conditions by a given calibration of flight.

    Parameters
    ----------
    drives : DataFrame or Drives
        With carry_measured_yd, the columns of `FIT_COLUMNS` and `AIR_COLUMNS`; `SIDE_COLUMNS` as far as there are.
    calibration : Calibration
    speed_ratio : float or None
        Ball over club speed of a drive without ball speed.
    air : StandardAir
    grids : dict, optional
        Grids of flight by their keys; those that are flown here are added, about a second for each.

    Returns
    -------
    Drives
        The same with carry_standard_yd so moved, flown_yd and curve_yd. Drives are flown here, once, and not again
        each time they are read.
    """
    read = Drives.of(drives)
    airs = read.gathered(lambda frame: frame.select(AIR_COLUMNS).unique()).unique().sort(AIR_COLUMNS)
    around, _ = air_of_drives(airs, air.temp_c, air.pressure_hpa)
    here = Air.of(np.array(air.temp_c), np.array(air.pressure_hpa * 100), np.array(air.humidity))
    standard = (float(here.density_kg_m3), float(here.viscosity_pa_s))
    known = {} if grids is None else grids
    tables = StudyTables.build(calibration.ball, standard, AirNodes.of(around), known)
    known |= tables.by_key

    def moved(frame: pl.DataFrame) -> pl.DataFrame:
        found = standard_flight(frame, tables, air.temp_c, air.pressure_hpa, speed_ratio or ASSUMED_RATIO)
        standard = (pl.col("carry_measured_yd") + pl.Series(found.change_yd)).alias("carry_standard_yd")
        curve = pl.Series("curve_yd", found.curve_yd, pl.Float64).fill_nan(None)
        return frame.select(standard, pl.Series("flown_yd", found.flown_yd), curve)

    return read.with_once(moved)


def errors_of(model: CarryModel, drives: pl.DataFrame) -> Array:
    """Give predicted minus measured carry of drives, yd, shape (n,), both on the model's reference device and ball."""
    return predict_from(model, drives, *ALL_KNOWN) - model.reference_carry(drives)


def errors_by_fold(drives: Drives, folds: pl.DataFrame, models: Sequence[CarryModel]) -> Array:
    """Give predicted minus measured carry of drives, yd, shape (n,), by the model of each golfer's fold.

    Parameters
    ----------
    drives : Drives
    folds : DataFrame
        golfer and fold, for every golfer of the drives.
    models : sequence of CarryModel
        One a fold.
    """

    def errors_there(frame: pl.DataFrame) -> Array:
        fold = frame.select("golfer").join(folds, on="golfer", how="left", maintain_order="left")["fold"].to_numpy()
        errors = np.empty(frame.height)
        for k in np.unique(fold):
            rows = np.flatnonzero(fold == k)
            errors[rows] = errors_of(models[k], frame[rows])
        return errors

    return np.concatenate([np.array([]), *drives.each(errors_there)])


def models_held_out(form: Form, survey: Survey, trends: UsualDelivery) -> list[CarryModel]:
    """Fit a form without each fold of golfers.

    Parameters
    ----------
    form : Form
    survey : Survey
    trends : UsualDelivery
        Of all models; what is predicted from everything known doesn't depend on them.

    Raises
    ------
    UserError
        If a fold leaves too few drives or golfers.
    """
    if survey.left_by_any_fold < 2:
        raise UserError("The fit has fewer than 2 golfers; add logs.")
    return Factored.of(survey, form).without_each(survey, [trends] * survey.folds)


def score_both(
    old: ComparedFit, form: Form, survey: Survey, old_drives: pl.DataFrame | Drives
) -> tuple[Scored, pl.DataFrame]:
    """Score the old and the new model on golfers that neither has seen.

    Parameters
    ----------
    old : ComparedFit
    form : Form
        The new model's.
    survey : Survey
        Of the drives of the new fit, carry at standard conditions; its folds are those of the contest.
    old_drives : DataFrame or Drives
        The same drives with their carry at the old fit's standard conditions by the old calibration: each model is
        scored on its own.

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
    speed, trends = old.model.surface.speed, old.model.usual
    folds = survey.fold_of_golfers
    rows = Drives.of(old_drives).usable(speed)
    seen = pl.col("golfer").is_in(old.typical.get_column("golfer").implode())
    among = seen & pl.col("quarter").is_in(list(old.quarters))

    def plainly(frame: pl.DataFrame) -> pl.DataFrame:
        error = errors_of(old.model, frame) if frame.height else np.array([])
        return frame.select(
            "golfer", (~seen).alias("is_new"), among.fill_null(False).alias("fitted"), pl.Series("plain_yd", error)
        )

    table = rows.gathered(plainly)
    plain, any_fitted = table.get_column("plain_yd").to_numpy(), table.get_column("fitted").any()
    table = table.select("golfer", "is_new")
    new_error = errors_by_fold(survey.drives.usable(speed), folds, models_held_out(form, survey, trends))
    try:
        if not any_fitted:
            raise UserError("The fit has no drives; add logs.")
        again = errors_by_fold(rows, folds, _held_out_again(old, rows, folds, among))
        repeated = True
    except UserError:
        again, repeated = plain, False
    is_new = table.get_column("is_new").to_numpy()
    table = table.with_columns(pl.Series("old_yd", np.where(is_new, plain, again)), pl.Series("new_yd", new_error))
    new = table.filter("is_new")
    count = new.get_column("golfer").n_unique()
    on_new = paired_score(new) if count >= MIN_GOLFERS else None
    enough = table.get_column("golfer").n_unique() >= MIN_GOLFERS
    return Scored(count, on_new, paired_score(table) if enough else None, repeated, survey.folds), table


def _held_out_again(old: ComparedFit, rows: Drives, folds: pl.DataFrame, among: pl.Expr) -> list[CarryModel]:
    """Fit the old model's form again without each fold, to the drives that it was fitted to."""
    survey = Survey.of(rows, folds=folds, among=among, regressors=old.model.regressors.names)
    return models_held_out(old.model.surface, survey, old.model.usual)


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


def judge(old: ComparedFit, new: ComparedFit, scored: Scored, *, golfers: float = 1.0) -> Verdict:
    """Decide by the stated rule whether the new model is adopted; the reasons tell each part of it.

    Parameters
    ----------
    old, new : ComparedFit
    scored : Scored
    golfers : float
        Fewest golfers of the new fit, as a share of the old one's.
    """
    if old.air != new.air:
        return Verdict(True, ("the study's standard conditions have changed, so the old model can't be used",))
    score = scored.deciding
    if score is None:
        few = (
            f"fewer than {MIN_GOLFERS} golfers have drives that both models can predict, so none is shown to be better"
        )
        return Verdict(False, (few,))
    who = "golfers new to the old fit" if scored.on_new else "all golfers, each held out"
    allowed = max(score.std_error_yd, NO_MATTER_YD)
    near = score.difference_yd <= allowed
    needed = ceil(golfers * old.golfers - 1e-9)  # a product such as 0.7 * 10 may lie a little above 7
    enough = new.golfers >= needed
    error = f"on {who}, the new model's rms error of {score.new_rmse_yd:.2f} yd is {abs(score.difference_yd):.2f} yd "
    if score.difference_yd <= 0:
        error += "below the old one's"
    else:
        error += f"above the old one's, {'within' if near else 'more than'} the {allowed:.2f} yd allowed"
    rests = f"the new model rests on {new.golfers} golfers, the old one on {old.golfers}"
    if needed < old.golfers:
        rests += f"; at least {needed} were needed"
    return Verdict(near and enough, (error, rests))
