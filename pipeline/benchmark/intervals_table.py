"""Intervals of the model's and the benchmarks' figures at any level: the table `Intervals`."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.fit.flight_surface import MULTIPLIERS
from pipeline.fit.held_out import CLUB_SPEED_ALONE, EVERYTHING, edges_at
from pipeline.fit.model import CarryModel, known_key
from pipeline.statistics.intervals import LEVEL, t_reach
from pipeline.tables.intervals import CARRY, COEFFICIENT, DRIVE, TOTAL, Intervals
from pipeline.tables.types import types_of
from pipeline.texts.catalogue import told

SHARE, YARDS, MULTIPLIER = "share of carry", "yd", "change of the multiplier"
KNOWN = {EVERYTHING: "everything known", known_key(*CLUB_SPEED_ALONE): "club speed alone"}
NOT_KEPT = "Predictions of golfers held out aren't kept with a model, so there is only the 90 % interval."

Row = dict[str, Any]


def intervals_table(
    model: CarryModel,
    coefficients: pl.DataFrame,
    frontier: Frontier,
    centres_mph: Sequence[float],
    level: float,
    held_out: pl.DataFrame | None,
) -> pl.DataFrame:
    """List every figure that has a standard error with its interval at a level.

    Parameters
    ----------
    model : CarryModel
        The one in use.
    coefficients : DataFrame
        The table `Coefficients` of its fit.
    frontier : Frontier
    centres_mph : sequence of float
        Of the bands.
    level : float
    held_out : DataFrame or None
        From `held_out_table`; None for a kept model.

    Returns
    -------
    DataFrame
        The table `Intervals`. At the level 0.9 the ends are those of the columns lo90 and hi90.
    """
    rows = [
        *_coefficients(model, coefficients.filter(pl.col("model") == model.surface.name)),
        *_benchmarks(frontier, centres_mph),
    ]
    found = [*({**row, **_ends(row, level)} for row in rows), *_drives(model, level, held_out)]
    return pl.DataFrame([{**row, "level": level} for row in found], schema=types_of(Intervals), orient="row")


def _ends(row: Row, level: float) -> Row:
    reach = float(t_reach(np.inf if row["freedom"] is None else row["freedom"], level)) * row["std_error"]
    return {"lo": row["estimate"] - reach, "hi": row["estimate"] + reach}


def _coefficients(model: CarryModel, terms: pl.DataFrame) -> Iterable[Row]:
    """Give the chosen model's terms: normal intervals, and of devices and balls Student's t by their golfers."""
    golfers = dict(zip(model.offsets.labels, model.offset_golfers.tolist(), strict=True))
    for term, estimate, std_error in terms.select("term", "estimate", "std_error").iter_rows():
        yield {
            "quantity": COEFFICIENT,
            "key": term,
            "unit": SHARE if term in golfers else MULTIPLIER if term in MULTIPLIERS else YARDS,
            "estimate": estimate,
            "std_error": std_error,
            "freedom": max(golfers[term] - 1.0, 1.0) if term in golfers else None,
            "note": None,
        }


def _benchmarks(frontier: Frontier, centres_mph: Sequence[float]) -> Iterable[Row]:
    """Give efficient carry and total of the bands that the data reach; the error of the total is that of carry."""
    places = {speed: place for place, speed in enumerate(frontier.speed_mph.tolist())}
    for quantity, column in ((CARRY, frontier.carry_yd), (TOTAL, frontier.total_yd)):
        for centre in sorted(centre for centre in centres_mph if centre in places):
            place = places[centre]
            yield {
                "quantity": quantity,
                "key": f"{centre:g}",
                "unit": YARDS,
                "estimate": float(column[place]),
                "std_error": float(frontier.std_error_yd[place]),
                "freedom": float(frontier.freedom[place]),
                "note": told("notes", "roll_apart") if quantity == TOTAL else None,
            }


def _drives(model: CarryModel, level: float, held_out: pl.DataFrame | None) -> Iterable[Row]:
    """Give the interval of one drive of a golfer outside the fit, about its expected carry."""
    edges = edges_at(level, held_out) if held_out is not None else model.interval if level == LEVEL else {}
    for known, key in KNOWN.items():
        lo, hi = edges.get(known, (None, None))
        yield {
            "quantity": DRIVE,
            "key": key,
            "unit": SHARE,
            "estimate": 0.0,
            "std_error": None,
            "freedom": None,
            "lo": lo,
            "hi": hi,
            "note": None if edges else NOT_KEPT,
        }
