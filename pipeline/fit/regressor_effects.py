"""What each regressor does to carry: its effect with an error by golfers, within golfers too, and what it predicts.

The effect over all drives mixes golfers' differences with those of a golfer's own drives. Golfers who attack upward may
carry farther for other reasons; so the effect within golfers stands beside it, and a note where the two disagree.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import Piece, inputs
from pipeline.fit.comparison import errors_of, paired_score
from pipeline.fit.factored import Factored, left_beside
from pipeline.fit.form import Form
from pipeline.fit.model import CarryModel
from pipeline.fit.survey import REGRESSOR_GOLFERS, Survey
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.flight.regressors import LABEL, Regressors, values_of
from pipeline.statistics.arrays import Array
from pipeline.statistics.false_discovery import adjusted
from pipeline.statistics.intervals import Estimate
from pipeline.statistics.jackknife import Golfers, Jackknifed, about_golfers
from pipeline.statistics.least_squares import Factor
from pipeline.tables.figures import RegressorTable
from pipeline.tables.types import types_of

RATE = 0.05  # of false discoveries among the regressors that are said to matter

# A regressor has an effect within golfers where at least this share of its variance is within them.
LEAST_WITHIN = 0.01
# One golfer who makes up more than this of all that tells a regressor apart is no ground for an error by golfers.
MOST_OF_ONE = 0.9


def assess_regressors(names: Sequence[str], surface: Form, survey: Survey, trends: UsualDelivery) -> pl.DataFrame:
    """Test each regressor that a study names.

    Parameters
    ----------
    names : sequence of str
        Columns of the drives; one that they lack counts as not known.
    surface : Surface or FlightSurface
        Of the chosen model.
    survey : Survey
        Of the drives of the fit, with the regressors.
    trends : UsualDelivery
        Of the model; what is predicted from everything known doesn't depend on them.

    Returns
    -------
    DataFrame
        The table `RegressorTable`, a row for each name in the given order.
    """
    if not names:
        return pl.DataFrame(schema=types_of(RegressorTable))
    factored = Factored.of(survey, surface)
    rows = judge_effects(names, factored, survey)
    tested = [name for name, row in rows.items() if "estimate" in row]
    for name, score in zip(tested, held_out_scores(factored, survey, trends, tested), strict=True):
        rows[name] |= score
    columns = types_of(RegressorTable)
    return pl.DataFrame([{column: row.get(column) for column in columns} for row in rows.values()], schema=columns)


def judge_effects(names: Sequence[str], factored: Factored, survey: Survey) -> dict[str, dict[str, Any]]:
    """Estimate the effects of regressors and say which matter.

    Returns
    -------
    dict of str to dict
        By regressor the columns of the table `RegressorTable` but those of predictions; what isn't known is absent.
    """
    about = describe_values(names, survey)
    rows: dict[str, dict[str, Any]] = {name: {"regressor": name, **own} for name, own in zip(names, about, strict=True)}
    offsets = survey.offsets()
    told = factored.told_apart(offsets)
    terms = factored.surface.size + len(offsets.levels) + len(told.names)
    for name, row in rows.items():
        row["freedom"] = row["golfers"] - terms
        why = _why_not(name, row, told, terms)
        row |= {"verdict": "not_estimable", "note": why} if why else {}
    effects = estimate_effects(factored, survey, offsets, told) if told.names else []
    for name, effect in zip(told.names, effects, strict=True):
        rows[name] |= {} if "verdict" in rows[name] else _figures(effect, rows[name])
    p_value = pl.Series([row.get("p_value") for row in rows.values()], dtype=pl.Float64)
    q_values = adjusted(p_value, pl.repeat("study", len(p_value), eager=True))
    for row, q_value in zip(rows.values(), q_values, strict=True):
        row["q_value"] = q_value
        row.setdefault("verdict", "matters" if q_value is not None and q_value < RATE else "not_shown")
    return rows


def _why_not(name: str, about: dict[str, Any], told: Regressors, terms: int) -> str | None:
    """Say why a regressor's effect can't be estimated; None if it can."""
    golfers = about["golfers"]
    if not golfers:
        return "No drive of the fit has a value."
    if golfers < REGRESSOR_GOLFERS:
        return f"Only {golfers} golfer{'s have' if golfers > 1 else ' has'} a value; it needs {REGRESSOR_GOLFERS}."
    if about["varies_within"] is None:
        return "It is the same for all drives."
    if name not in told.names:
        return "It can't be separated from the devices, the balls or the regressors before it."
    if about["freedom"] < 1:
        return f"{golfers} golfers with a value are too few for a fit of {terms} terms."
    return None


def describe_values(names: Sequence[str], survey: Survey) -> list[dict[str, Any]]:
    """Count and describe the known values of columns.

    Returns
    -------
    list of dict
        Of each: known_drives, golfers, center, sd, varies_within (None where all are the same) and mean_carry_yd, of
        all drives of the fit.
    """
    carry = pl.col("carry_standard_yd")

    def values(piece: Piece) -> pl.DataFrame:
        frame = piece.chosen(survey.among).drives
        known = {name: values_of(frame, name) for name in names}
        return frame.select("golfer", carry).with_columns(**known).fill_nan(None)

    def firsts(piece: Piece) -> pl.DataFrame:
        return values(piece).select(pl.col(name).drop_nulls().first() for name in names)

    # About any value of the column sums of squares keep their digits.
    found = pl.concat(list(survey.drives.each_piece(firsts))).select(pl.col(names).drop_nulls().first())
    origin = {name: found.get_column(name).item() or 0.0 for name in names}

    def summed(piece: Piece) -> pl.DataFrame:
        each = [carry.len().alias("|drives"), carry.sum()]
        for name in names:
            away = pl.col(name) - origin[name]
            each += [away.count().alias(f"{name}|n"), away.sum().alias(f"{name}|sum")]
            each.append(away.pow(2).sum().alias(f"{name}|square"))
        return values(piece).group_by("golfer").agg(each)

    sums = pl.concat(list(survey.drives.each_piece(summed))).sort("golfer")
    mean_carry = float(
        sums.get_column("carry_standard_yd").to_numpy().sum() / sums.get_column("|drives").to_numpy().sum()
    )
    told = []
    for name in names:
        shots, total, square = (sums.get_column(f"{name}|{part}").to_numpy() for part in ("n", "sum", "square"))
        told.append(_described(shots, total, square, origin[name]) | {"mean_carry_yd": mean_carry})
    return told


def _described(shots: Array, total: Array, square: Array, origin: float) -> dict[str, Any]:
    """Describe a column by golfers' counts of values, sums and sums of squares, both about an origin."""
    known, drives = shots > 0, int(shots.sum())
    golfers = int(known.sum())
    about: dict[str, Any] = {"known_drives": drives, "golfers": golfers}
    if not drives:
        return about | dict.fromkeys(("center", "sd", "varies_within"))
    whole = max(float(square.sum() - total.sum() ** 2 / drives), 0.0)
    within = float(np.sum(square[known] - total[known] ** 2 / shots[known]))
    return about | {
        "center": origin + float(np.mean(total[known] / shots[known])),
        "sd": float(np.sqrt(whole / max(drives - 1, 1))),
        "varies_within": min(max(within / whole, 0.0), 1.0) if whole > 0 else None,
    }


@dataclass(frozen=True)
class Effect:
    """A regressor's effect over all drives, and within golfers (NaN where it hardly varies there).

    `apart_error` is the standard error of the difference of the two, `most_of_one` the largest part of a golfer in what
    tells the regressor apart.
    """

    estimate: float
    std_error: float
    within: float
    within_error: float
    apart_error: float
    most_of_one: float


def estimate_effects(factored: Factored, survey: Survey, offsets: Offsets, told: Regressors) -> list[Effect]:
    """Estimate the effects of regressors beside the surface, devices and balls, over all drives and within golfers."""
    surface, count = factored.surface, len(told.names)

    def rows_of(piece: Piece) -> tuple[Array, Array, Golfers, Array]:
        here = piece.chosen(survey.among)
        here = Piece(here.drives[order := np.argsort(here.golfer, kind="stable")], here.golfer[order])
        base, design = surface.base_and_design(*inputs(here.drives, surface.speed))
        X = np.hstack([design, offsets.terms(here.drives), told.terms(here.drives)])
        y = here.drives.get_column("carry_standard_yd").to_numpy() - base
        shares = np.hstack([offsets.design(here.drives), told.design(here.drives)])
        return X, y, np.unique(here.golfer, return_inverse=True)[1], shares

    def factors(piece: Piece) -> tuple[Factor, Factor, Factor, Array]:
        X, y, golfer, shares = rows_of(piece)
        within, nothing = about_golfers(np.column_stack([X, y]), golfer), np.zeros(len(y))
        apart = Factor.of(about_golfers(shares, golfer), nothing)
        own = shares[:, len(offsets.levels) :]
        parts = np.array([[*np.bincount(golfer, weights=column**2)] for column in own.T])
        return Factor.of(X, y), Factor.of(within[:, :-1], within[:, -1]), apart, parts

    found = list(survey.drives.each_piece(factors))
    every, by_golfer = Factor.joined([part[0] for part in found]), Factor.joined([part[1] for part in found])
    shares = Factor.joined([part[2] for part in found])
    squares = np.hstack([part[3] for part in found])
    inside = _varies_within(shares.r, len(offsets.levels), squares.sum(axis=1))
    others = every.r.shape[1] - 1 - count
    kept = [*range(others), *(others + np.flatnonzero(inside))]
    overall = Jackknifed.of(every, count)
    within = Jackknifed.of(by_golfer.with_columns(kept), len(kept) - others)

    def moving(piece: Piece) -> tuple[Array, Array]:
        X, y, golfer, _ = rows_of(piece)
        about = about_golfers(np.column_stack([X, y]), golfer)
        moved = np.full((int(golfer[-1]) + 1, count), np.nan)
        moved[:, inside] = within.moves(about[:, kept], about[:, -1], golfer)
        return overall.moves(X, y, golfer), moved

    moved = [np.vstack(parts) for parts in zip(*survey.drives.each_piece(moving), strict=True)]
    golfers = len(moved[0])
    errors = [np.sqrt((golfers - 1) / golfers * np.sum(of**2, axis=0)) for of in (*moved, moved[1] - moved[0])]
    slopes = np.full(count, np.nan)
    slopes[inside] = within.effects
    columns = (overall.effects, errors[0], slopes, errors[1], errors[2], squares.max(axis=1) / squares.sum(axis=1))
    return [Effect(*(float(column[k]) for column in columns)) for k in range(count)]


def _varies_within(r: Array, levels: int, whole: Array) -> npt.NDArray[np.bool_]:
    """Mark regressors whose part within golfers isn't that of devices, balls and the regressors before them.

    `r` is the factor of devices, balls and regressors about golfers' means, `whole` the regressors' sums of squares.
    """
    known, marks = [*r[:, :levels].T], []
    for column, square in zip(r[:, levels:-1].T, whole, strict=True):
        left = left_beside(known, column)
        marks.append(bool(left @ left >= LEAST_WITHIN * square))
        known.append(column)
    return np.array(marks)


def _figures(effect: Effect, about: dict[str, Any]) -> dict[str, Any]:
    """Give the figures of an effect as columns of the table; `about` is from `describe_values`, with `freedom`."""
    freedom = about["freedom"]
    if effect.most_of_one > MOST_OF_ONE:
        return {"verdict": "not_estimable", "note": "One golfer alone makes up nearly all of its differences."}
    told = Estimate(*(np.array([value]) for value in (effect.estimate, effect.std_error, float(freedom))))
    (lo,), (hi,) = told.edges90
    found: dict[str, Any] = {
        "estimate": effect.estimate,
        "std_error": effect.std_error,
        "lo90": float(lo),
        "hi90": float(hi),
        "yd_per_sd": effect.estimate * about["sd"] * about["mean_carry_yd"],
        "p_value": float(told.p_value[0]),
    }
    if np.isnan(effect.within):
        return found | {"note": "It hardly varies within golfers: what else sets them apart can't be ruled out."}
    found |= {"within_estimate": effect.within, "within_std_error": effect.within_error}
    away = Estimate(
        *(np.array([value]) for value in (effect.within - effect.estimate, effect.apart_error, float(freedom)))
    )
    if away.p_value[0] < RATE:
        found["note"] = "Within golfers the effect is another: golfers who differ in it differ in something else too."
    return found


def with_errors(model: CarryModel, effects: pl.DataFrame) -> CarryModel:
    """Give a model's regressors the standard errors of their effects, as far as `assess_regressors` has any."""
    told = dict(effects.select("regressor", "std_error").drop_nulls().iter_rows())
    own = zip(model.regressors.names, model.regressors.std_errors, strict=True)
    errors = np.array([told.get(name, error) for name, error in own], dtype=float)
    return replace(model, regressors=replace(model.regressors, std_errors=errors))


def effects_in_table(effects: pl.DataFrame, coefficients: pl.DataFrame, model: str) -> pl.DataFrame:
    """Put the effects' errors and intervals into the table `Coefficients` in place of those of a model, by its name."""
    figures = ("std_error", "lo90", "hi90")
    known = effects.filter(pl.col("std_error").is_not_null())
    told = known.select((LABEL + pl.col("regressor")).alias("term"), *figures, model=pl.lit(model))
    joined = coefficients.join(told, on=("model", "term"), how="left", suffix="_told", maintain_order="left")
    return joined.with_columns(pl.coalesce(f"{name}_told", name).alias(name) for name in figures).select(
        coefficients.columns
    )


def held_out_scores(
    factored: Factored, survey: Survey, trends: UsualDelivery, names: Sequence[str]
) -> list[dict[str, Any]]:
    """Score predictions of golfers held out with all regressors and without one of them, for each of some."""
    usual = [trends] * survey.folds
    both = factored.without_each(survey, usual) if names else []
    found = []
    for name in names:
        less = factored.without_each(survey, usual, leave_out=name)

        def errors(piece: Piece, name: str = name, less: Sequence[Any] = less) -> pl.DataFrame:
            known = ~np.isnan(values_of(piece.drives, name))
            old, new = np.empty(len(known)), np.empty(len(known))
            fold = survey.fold[piece.golfer]
            for k in np.unique(fold):
                out = np.flatnonzero(fold == k)
                rows = piece.drives[out]
                old[out], new[out] = errors_of(less[k], rows), errors_of(both[k], rows)
            golfer = pl.Series("golfer", piece.golfer)
            return pl.DataFrame([golfer, pl.Series("old_yd", old), pl.Series("new_yd", new)]).filter(pl.Series(known))

        score = paired_score(pl.concat(list(survey.drives.each_piece(errors))))
        found.append(
            {
                "rmse_without_yd": score.old_rmse_yd,
                "rmse_with_yd": score.new_rmse_yd,
                "difference_yd": score.difference_yd,
                "difference_std_error_yd": score.std_error_yd,
            }
        )
    return found
