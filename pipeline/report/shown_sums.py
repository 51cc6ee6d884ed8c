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
    of, by = _whole(row.get(whole), units), _whole(row.get(less), units)
    # The difference of what is shown.
    total = None if of is None or by is None or row.get(left) is None else of - by
    return {whole: of, less: by} | _added_up(row, left, parts, total, units)


def _added_up(row: Row, name: str, parts: Sequence[str], total: int | None, units: Units) -> Whole:
    found: Whole = dict.fromkeys((name, *parts))
    found[name] = total = _whole(row.get(name), units) if total is None else total
    known = {part: yd for part in parts if (yd := row.get(part)) is not None}
    if known:
        # Parts without a whole have nothing to add up to.
        found.update(zip(known, units.parts_whole(list(known.values()), total), strict=True))
    return found


def _whole(yd: float | None, units: Units) -> int | None:
    return None if yd is None else units.distance_whole(yd)
