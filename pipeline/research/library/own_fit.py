"""A fit of one's own, scored on the same folds of golfers as the study's model."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import golfer_codes
from pipeline.errors import UserError
from pipeline.fit.comparison import paired_score
from pipeline.fit.held_out import EVERYTHING, HeldOut
from pipeline.fit.scores import score
from pipeline.statistics.arrays import Array

Predict = Callable[[pl.DataFrame], npt.ArrayLike]
Fit = Callable[[pl.DataFrame], Predict]

CARRIES = ("carry_measured_yd", "carry_standard_yd", "carry_reference_yd")
REFERENCE, STANDARD = "carry_reference_yd", "carry_standard_yd"
OWN = "own"
SCORES = ("rmse_yd", "rmse_std_error_yd", "mae_yd", "bias_yd")


def score_fit(
    fit: Fit, drives: pl.DataFrame, held_out: pl.DataFrame, chosen: str, predicts: str = REFERENCE
) -> pl.DataFrame:
    """Fit without each fold of golfers, predict it, and score beside the study's model on the same drives.

    Parameters
    ----------
    fit : callable
        Takes the drives outside a fold (DataFrame) and gives a callable that takes the drives of the fold, without
        their carry, and gives their predicted carry, yd, one a drive.
    drives : DataFrame, n rows
        As `Study.drives` gives them.
    held_out : DataFrame
        As `Study.held_out` gives it, for those of the drives that were fitted. The others are left out.
    chosen : str
        Name of the study's model.
    predicts : str
        The carry that is predicted: carry_reference_yd or carry_standard_yd.

    Returns
    -------
    DataFrame
        A row for the fit and one for the study's model: model, golfers, drives, rmse_yd, rmse_std_error_yd (clustered
        by golfer), mae_yd, bias_yd (predicted minus measured); for the fit also difference_yd, its rms error less that
        of the study's model, and difference_std_error_yd, of that difference on the same drives.

    Raises
    ------
    UserError
        If there are no drives or the fit doesn't give a number for each of them.

    Notes
    -----
    Measured carry on the reference device and ball is that of the contest: devices' and balls' shares come from a fit
    without the golfer. Those in the training drives come from the fit to all golfers; who predicts carry_standard_yd,
    with device and ball among the regressors, uses none of them.
    """
    if predicts not in (REFERENCE, STANDARD):
        raise UserError(f"predicts={predicts!r}: can be {REFERENCE} or {STANDARD}.")
    scored = held_out.drop("golfer").join(drives, on=["source", "row"], how="inner", maintain_order="left")
    if scored.is_empty():
        raise UserError("score: none of the drives was in the fit; nothing can be scored.")
    measured, predicted, standard, fold = (
        scored.get_column(name).to_numpy() for name in ("measured_yd", "predicted_yd", STANDARD, "fold")
    )
    if predicts == STANDARD:
        measured, predicted = standard, predicted * standard / measured
    given = scored.select(drives.columns)
    own = np.empty(scored.height)
    for k in np.unique(fold):
        inside = fold == k
        predict = fit(given.filter(pl.Series(~inside)))
        own[inside] = _numbers(predict(given.filter(pl.Series(inside)).drop(CARRIES)), int(inside.sum()), int(k))
    golfer = golfer_codes(scored)
    table = pl.DataFrame({"golfer": scored["golfer"], "old_yd": predicted - measured, "new_yd": own - measured})
    both = paired_score(table)
    rows = []
    for name, values in ((OWN, own), (chosen, predicted)):
        found = score(HeldOut(measured, {EVERYTHING: values}, fold.astype(np.int16), 0), golfer)
        own_only = {"difference_yd": both.difference_yd, "difference_std_error_yd": both.std_error_yd}
        of = own_only if name == OWN else dict.fromkeys(own_only)
        counts = {"model": name, "golfers": both.golfers, "drives": both.drives}
        rows.append(counts | {one: found[one] for one in SCORES} | of)
    return pl.DataFrame(rows, infer_schema_length=None)


def _numbers(values: npt.ArrayLike, drives: int, fold: int) -> Array:
    """Take what a fit predicts as an array of floats, one a drive."""
    found = np.asarray(values, dtype=float).ravel()
    count = int(np.isfinite(found).sum())
    if found.shape != (drives,) or count < drives:
        raise UserError(
            f"score: the fit gives {count} numbers for the {drives} drives of fold {fold}; leave out with `among` the "
            "drives that it can't predict, such as those that lack a reading."
        )
    return found
