"""Whole figures of a table's row that add up as shown: yards lost and their parts, a goal's gap, a change in carry.

Carry, efficient carry and goals are rounded on their own, the same wherever they stand. Yards lost and the gap to a
goal are the difference of what is shown, and the parts are rounded so that they add up to it (`pipeline.shown`).
"""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipeline.shown import IMPERIAL, Units
from pipeline.tables.golfers import PARTS

Row = Mapping[str, Any]
Whole = dict[str, int | None]

LOSSES = ("efficient_yd", "carry_yd", "lost_yd", *PARTS)
GAP_PARTS = ("delivery_yd", "speed_yd")
CHANGE_PARTS = ("carry_from_speed_yd", "carry_from_delivery_yd", "carry_from_other_yd")
_AT_ONCE = 10_000  # rows that are held one by one
DELIVERY_PARTS = tuple(f"carry_from_{name}_yd" for name in ("contact", "launch", "spin", "consistency"))


def shown_losses(row: Row, units: Units = IMPERIAL) -> Whole:
    """Give carry, efficient carry, yards lost and their parts of a row of `Golfers` as they are shown.

    Parameters
    ----------
    row : mapping
        carry_yd, efficient_yd, lost_yd and the parts; any may be None or missing.
    units : Units

    Returns
    -------
    dict
        By the columns' names; None where the row has none.
    """
    return _difference(row, "efficient_yd", "carry_yd", "lost_yd", PARTS, units)


def shown_goal(row: Row, units: Units = IMPERIAL) -> Whole:
    """Give goal, carry, gap and its parts by delivery and speed of a row of `Goals` as they are shown."""
    return _difference(row, "goal_yd", "carry_yd", "gap_yd", GAP_PARTS, units)


def shown_change(row: Row, units: Units = IMPERIAL) -> Whole:
    """Give the change in carry, its parts and those of delivery, of a row of `Progress`, as they are shown."""
    found = _added_up(row, "carry_change_yd", CHANGE_PARTS, None, units)
    return found | _added_up(row, "carry_from_delivery_yd", DELIVERY_PARTS, found["carry_from_delivery_yd"], units)


def mean_change(row: Row) -> dict[str, float]:
    """Give the mean change in carry of a row of `Cohorts` and its parts, yd, in tenths that add up; none if unknown."""
    names = ("carry_change_yd", *CHANGE_PARTS)
    if any(row.get(name) is None for name in names):
        return {}
    tenths = _added_up({name: 10 * row[name] for name in names}, names[0], CHANGE_PARTS, None, IMPERIAL)
    return {name: (yards or 0) / 10 for name, yards in tenths.items()}


def with_shown_losses(golfers: pl.DataFrame) -> pl.DataFrame:
    """Replace carry, efficient carry, yards lost and their parts by what is shown of them."""
    return golfers.with_columns(shown_columns(golfers).cast(pl.Float64))


def shown_columns(golfers: pl.DataFrame, units: Units = IMPERIAL) -> pl.DataFrame:
    """Give carry, efficient carry, yards lost and their parts as they are shown: whole numbers, a row for each row."""
    schema = dict.fromkeys(LOSSES, pl.Int64)
    made = [
        pl.DataFrame([shown_losses(row, units) for row in some.iter_rows(named=True)], schema=schema)
        for some in golfers.select(LOSSES).iter_slices(_AT_ONCE)
    ]
    return pl.concat([pl.DataFrame(schema=schema), *made])


def _difference(row: Row, whole: str, less: str, left: str, parts: Sequence[str], units: Units) -> Whole:
    found: Whole = {name: _whole(row.get(name), units) for name in (whole, less)}
    of, by = row.get(whole), row.get(less)
    total = units.difference_whole(of, by) if of is not None and by is not None else _whole(row.get(left), units)
    return found | _added_up(row, left, parts, None if row.get(left) is None else total, units)


def _added_up(row: Row, name: str, parts: Sequence[str], total: int | None, units: Units) -> Whole:
    total = _whole(row.get(name), units) if total is None else total
    known = [part for part in parts if row.get(part) is not None]
    # Parts without a whole have nothing to add up to.
    whole = units.parts_whole([row[part] for part in known], total)
    return {name: total, **dict.fromkeys(parts), **dict(zip(known, whole, strict=True))}


def _whole(yd: float | None, units: Units) -> int | None:
    return None if yd is None else units.distance_whole(yd)
