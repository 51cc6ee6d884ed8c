"""Units of speeds, carry, launch and spin, by what a log says and by what flight allows (pure)."""

from collections.abc import Iterable, Mapping
from itertools import product
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.collect.sample import LEAST_ROWS, SAMPLE_NUMBERS, SampleDrives
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.units import units_of

# Medians of a log of drives, wider than any academy's (common practice, no source). Units apart by a factor of two or
# more are told by these alone.
_RANGES = {
    "club_speed_mph": (55.0, 135.0),
    "ball_speed_mph": (75.0, 200.0),
    "launch_deg": (3.0, 26.0),
    "spin_rpm": (1200.0, 7000.0),
    "carry_yd": (80.0, 340.0),
    "total_yd": (85.0, 380.0),
}
RATIO = (1.2, 1.56)  # medians of ball speed over club speed
_FLIGHT = 0.25  # published sets differ by a fifth, and so may air; units of speed by more than a quarter
_FAR = 0.35  # where the log names its units, what lies beyond this can't be meant

_FLOWN = 40  # drives, whose median is within a hundredth of that of all
_STEP_RAD = 1.6  # angles of a log of drives in radians all lie below this


class Numbers(NamedTuple):
    """A column of numbers that may be a standard one."""

    values: pl.Series
    unit: str | None
    """As the log names it."""


def possible_units(column: str, numbers: Numbers) -> list[str]:
    """List the units under which a column's median is a driver's, the standard one first; the one named if any is.

    Columns without a range of their own have all their units, unless the log names one.
    """
    units = units_of(column)
    if numbers.unit is not None:
        named = [numbers.unit] if numbers.unit in units else []
        return [one for one in named if _fits(column, numbers.values, one)]
    return [one for one in units if _fits(column, numbers.values, one)]


def _fits(column: str, values: pl.Series, unit: str) -> bool:
    known = values.drop_nulls()
    if not len(known):
        return False
    if column.endswith("_deg") and units_of(column)[unit].factor != 1.0:
        return float(known.abs().max() or 0) <= _STEP_RAD and _between(column, known, unit)  # type: ignore[arg-type]
    if column.endswith("_deg") and float(known.abs().quantile(0.95) or 0) < _STEP_RAD and column in _RANGES:
        return False
    return _between(column, known, unit)


def _between(column: str, known: pl.Series, unit: str) -> bool:
    if column not in _RANGES:
        return True
    lo, hi = _RANGES[column]
    one = units_of(column)[unit]
    return lo <= float(np.median(known.to_numpy())) * one.factor + one.offset <= hi


def speeds_and_carry(found: Mapping[str, Numbers], spin_and_launch: Mapping[str, str]) -> dict[str, list[str]]:
    """List the units that club speed, ball speed and carry may have together.

    Parameters
    ----------
    found : mapping of str to Numbers
        `club_speed_mph`, `ball_speed_mph`, `carry_yd`, `launch_deg` and `spin_rpm`, as far as they are there.
    spin_and_launch : mapping of str to str
        Units of those two where they are known.

    Returns
    -------
    dict of str to list of str
        Column: units that are possible, the likeliest first; empty where none is.
    """
    asked = [name for name in ("club_speed_mph", "ball_speed_mph", "carry_yd") if name in found]
    each = {name: possible_units(name, found[name]) for name in asked}
    named = all(found[name].unit is not None for name in asked)
    flown: dict[tuple[str, ...], float | None] = {}
    kept: list[tuple[float, dict[str, str]]] = []
    for units in (dict(zip(asked, one, strict=True)) for one in product(*each.values())):
        if not _one_measure(units, found):
            continue
        off = _off_flight(units | dict(spin_and_launch), found, flown)
        if off is None or off < (_FAR if named else _FLIGHT):
            kept.append((off or 0.0, units))
    kept += [(off + 1, other) for off, units in kept for other in _too_near(units, each, found)]
    kept.sort(key=lambda one: one[0])
    return {name: list(dict.fromkeys(units[name] for _, units in kept)) for name in asked}


def _too_near(
    units: Mapping[str, str], each: Mapping[str, list[str]], found: Mapping[str, Numbers]
) -> list[dict[str, str]]:
    """List the same units but for one that is a tenth off, where the log doesn't name it: flight can't tell them.

    Balls and air make that much: yards are 1.09 of a meter, feet a second 1.1 of km/h.
    """
    others = []
    for pair, columns in (({"yd", "m"}, ["carry_yd"]), ({"km/h", "ft/s"}, ["club_speed_mph", "ball_speed_mph"])):
        open_ = [name for name in columns if name in units and units[name] in pair and found[name].unit is None]
        changed = dict(units) | {name: (pair - {units[name]}).pop() for name in open_}
        if open_ and all(changed[name] in each[name] for name in open_) and _one_measure(changed, found):
            others.append(changed)
    return others


def _one_measure(units: Mapping[str, str], found: Mapping[str, Numbers]) -> bool:
    """Tell whether units go together: a ratio of speeds that is one, and one measure for speeds and carry.

    Where the log doesn't name both, nobody writes feet a second beside meters, or km/h and m/s beside feet (common
    practice, no source).
    """
    names = [name for name in ("club_speed_mph", "ball_speed_mph") if name in units]
    speeds, unnamed = [units[name] for name in names], [found[name].unit is None for name in names]
    if len(set(speeds)) > 1 and any(unnamed):
        return False
    if len(speeds) == 2 and not RATIO[0] <= _ratio(units, found) <= RATIO[1]:
        return False
    if "carry_yd" not in units or not (any(unnamed) or found["carry_yd"].unit is None):
        return True
    mixed = {"m": {"ft/s"}, "ft": {"km/h", "m/s"}}.get(units["carry_yd"], set())
    return not mixed & set(speeds)


def _ratio(units: Mapping[str, str], found: Mapping[str, Numbers]) -> float:
    ball, club = (_standard(name, units, found) for name in ("ball_speed_mph", "club_speed_mph"))
    both = (ball.is_not_null() & club.is_not_null() & (club > 0)).fill_null(False)
    return float(np.median((ball.filter(both) / club.filter(both)).to_numpy())) if both.any() else float("nan")


def _standard(name: str, units: Mapping[str, str], found: Mapping[str, Numbers]) -> pl.Series:
    one = units_of(name)[units[name]]
    return found[name].values * one.factor + one.offset


def _off_flight(
    units: Mapping[str, str], found: Mapping[str, Numbers], flown: dict[tuple[str, ...], float | None]
) -> float | None:
    """Say how far, as a logarithm, carry is from that of flight under these units; None where flight can't say.

    `flown` keeps median carry in the log's own unit over that of flight by the other units, for flights take long.
    """
    if not {"club_speed_mph", "launch_deg", "spin_rpm", "carry_yd"} <= set(units):
        return None
    key = tuple(unit for name, unit in sorted(units.items()) if name != "carry_yd")
    if key not in flown:
        flown[key] = _carry_over_flight(units, found)
    ratio = flown[key]
    return None if ratio is None else abs(float(np.log(ratio * units_of("carry_yd")[units["carry_yd"]].factor)))


def _carry_over_flight(units: Mapping[str, str], found: Mapping[str, Numbers]) -> float | None:
    read = {name: _standard(name, units, found) for name in SAMPLE_NUMBERS if name in units and name != "carry_yd"}
    frame = pl.DataFrame(read | {"carry_yd": found["carry_yd"].values})
    measured = "ball_speed_mph" in frame.columns
    if not measured:
        frame = frame.with_columns(ball_speed_mph=pl.col("club_speed_mph"))
    known = frame.drop_nulls().filter(pl.all_horizontal(pl.col("club_speed_mph", "spin_rpm", "carry_yd") > 0))
    if known.height < LEAST_ROWS:
        return None
    known = known.gather_every(max(1, known.height // _FLOWN)).with_columns(
        *(pl.lit(None, pl.Float64).alias(name) for name in AIR_COLUMNS)
    )
    ratio = SampleDrives.of(known, dict.fromkeys(SAMPLE_NUMBERS, 1.0), measured).carry_over_flight(1.0)
    return None if np.isnan(ratio) or ratio <= 0 else ratio


def same_readings(one: pl.Series, other: pl.Series, units: Iterable[float]) -> bool:
    """Tell whether two columns are one reading in two units: their ratio is a fixed factor, of those given."""
    both = (one.is_not_null() & other.is_not_null() & (other != 0)).fill_null(False)
    if both.sum() < 2:
        return False
    ratios = (one.filter(both) / other.filter(both)).to_numpy()
    middle = float(np.median(ratios))
    fixed = float(np.median(np.abs(ratios / middle - 1))) < 0.004 if middle else False
    return fixed and any(abs(middle / unit - 1) < 0.01 for unit in units)
