"""Which columns of a log are which readings, and in which unit (pure)."""

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from pipeline.collect.drafting.drafted import Choice, Place
from pipeline.collect.drafting.log_columns import LogColumn
from pipeline.collect.drafting.units_drafted import (
    RATIO,
    Numbers,
    possible_units,
    same_readings,
    speeds_and_carry,
)
from pipeline.collect.sample import LEAST_ROWS
from pipeline.tables.logs import NUMBERS, REQUIRED, WANTED
from pipeline.units import units_of

_TOGETHER = ("club_speed_mph", "ball_speed_mph", "carry_yd")
_ALONE = tuple(name for name in (*REQUIRED, *WANTED) if name in NUMBERS and name not in _TOGETHER)
_MOST_OPTIONS = 3
# Ball speed over club speed differs from drive to drive by a hundredth at least; speed in two units doesn't.
_RATIO_SPREAD = (0.003, 0.12)
_FEW_LOFTS = 8
_PERCENT = "Its humidity is in percent, and a log's must be between 0 and 1: the column isn't used."

Found = dict[str, tuple[LogColumn, ...]]


def draft_numbers(columns: Sequence[LogColumn]) -> tuple[dict[str, Choice], list[str]]:
    """Give the choices of all readings, and what else to say of them."""
    notes = [
        f"The numbers in {each.name!r} can't be read: their marks or units aren't the same everywhere."
        for each in columns
        if each.unread
    ]
    usable = [each for each in columns if each.numeric and not each.unread]
    said: Found = {}
    for name in NUMBERS:
        if meant := [each for each in usable if each.header.meaning == name]:
            said[name] = _one_of_copies(name, meant)
    _total_spin(said, usable)
    _tell_speeds(said, usable)
    sure = {name for name, meant in said.items() if len(meant) == 1 and meant[0].header.whole}
    _distance(said, usable)
    _by_values(said, usable)
    choices = {name: _alone(name, said[name], name in sure) for name in _ALONE if name in said}
    choices |= _joint(said, sure, choices)
    more, told = _optional(said, sure, usable)
    return choices | more, notes + told


def _one_of_copies(name: str, meant: list[LogColumn]) -> tuple[LogColumn, ...]:
    """Leave one of several columns that hold the same reading in several units: the standard one, or the first."""
    meant.sort(key=lambda each: (not each.header.whole, each.unit != next(iter(units_of(name)), None)))
    factors = [one.factor for one in units_of(name).values()]
    ratios = [a / b for a in factors for b in factors]
    first = meant[0]
    if first.unit is not None and all(same_readings(first.numbers, each.numbers, ratios) for each in meant[1:]):
        return (first,)
    return tuple(meant)


def _total_spin(said: Found, usable: Sequence[LogColumn]) -> None:
    """Take total spin where nothing else is spin; beside it the other one is backspin, which is never more."""
    totals = tuple(each for each in usable if each.header.meaning == "(total spin)")
    spins = said.get("spin_rpm", ())
    backs = len(totals) == len(spins) == 1 and _never_more(spins[0].numbers, totals[0].numbers)
    if totals and not backs:
        said["spin_rpm"] = (*spins, *totals)


def _never_more(one: pl.Series, other: pl.Series) -> bool:
    both = (one.is_not_null() & other.is_not_null()).fill_null(False)
    more = one.filter(both) > other.filter(both) + 1  # rounded
    return len(more) >= LEAST_ROWS and bool(more.mean() <= 0.02)  # type: ignore[operator]


def _tell_speeds(said: Found, usable: Sequence[LogColumn]) -> None:
    """Tell club from ball where a header says speed alone: the ball is 1.2 to 1.5 times as fast."""
    plain = [each for each in usable if each.header.meaning == "(speed)" and each.header.whole]
    club, ball = (said.get(name, ()) for name in _TOGETHER[:2])
    pairs = [
        (a, b) for a in (club or plain) for b in (ball or plain) if a is not b and _is_strike(a.numbers, b.numbers)
    ]
    if len(club) <= 1 and len(ball) <= 1 and len(pairs) == 1 and not (club and ball):
        [(said["club_speed_mph"], said["ball_speed_mph"])] = [((a,), (b,)) for a, b in pairs]
    elif not club and plain:
        said["club_speed_mph"] = (plain[0], plain[0])  # twice: not sure


def _is_strike(club: pl.Series, ball: pl.Series) -> bool:
    both = (club.is_not_null() & ball.is_not_null() & (club > 0)).fill_null(False)
    if both.sum() < LEAST_ROWS:
        return False
    ratios = (ball.filter(both) / club.filter(both)).to_numpy()
    low, high = np.quantile(ratios, [0.16, 0.84])
    return bool(RATIO[0] <= np.median(ratios) <= RATIO[1] and _RATIO_SPREAD[0] < (high - low) / 2 < _RATIO_SPREAD[1])


def _distance(said: Found, usable: Sequence[LogColumn]) -> None:
    plain = [each for each in usable if each.header.meaning == "(distance)"]
    if "carry_yd" not in said and plain:
        said["carry_yd"] = tuple(plain)


def _by_values(said: Found, usable: Sequence[LogColumn]) -> None:
    """Look for what is needed among columns whose headers say nothing, by their values."""
    taken = {each.name for meant in said.values() for each in meant}
    unknown = [each for each in usable if not each.header.whole and each.name not in taken and _varies(each)]
    if "club_speed_mph" in said and "ball_speed_mph" not in said:
        club = said["club_speed_mph"][0]
        balls = tuple(each for each in unknown if _is_strike(club.numbers, each.numbers))
        if balls:
            said["ball_speed_mph"] = balls[:_MOST_OPTIONS]
            unknown = [each for each in unknown if each not in balls]
    for name in (*REQUIRED, *WANTED):
        if name in NUMBERS and name not in said and name != "ball_speed_mph":
            like = [each for each in unknown if possible_units(name, Numbers(each.numbers, each.unit))]
            if like:
                said[name] = tuple(like[:_MOST_OPTIONS])
    taken = {each.name for meant in said.values() for each in meant}
    left = tuple(each for each in unknown if each.name not in taken)
    if left and "launch_deg" not in said and "spin_rpm" not in said:
        # They may be either all the same, and a log with launch must not pass for results by hand.
        said["launch_deg"] = left[:_MOST_OPTIONS]


def _varies(column: LogColumn) -> bool:
    return column.numbers.drop_nulls().n_unique() > 1


def _alone(name: str, meant: tuple[LogColumn, ...], sure: bool) -> Choice:
    """Choose launch or spin, whose units their values tell."""
    options = [Place(each.name, unit) for each in meant for unit in _units(name, each)]
    if not options:
        every = [Place(each.name, unit) for each in meant for unit in units_of(name)]
        return Choice(tuple(every), False, "its values are no driver's in any unit")
    one = sure and len(options) == 1
    return Choice(tuple(options), one and _enough(meant[0]), _why(meant, options, sure))


def _units(name: str, column: LogColumn) -> list[str]:
    return possible_units(name, Numbers(column.numbers, column.unit))


def _enough(column: LogColumn) -> bool:
    """Tell whether its values may tell its unit, if the log doesn't name it."""
    return column.unit is not None or len(column.numbers) - column.numbers.null_count() >= LEAST_ROWS


def _why(meant: tuple[LogColumn, ...], options: Sequence[Place], sure: bool) -> str:
    if not sure:
        several = len({each.name for each in meant}) > 1
        return "more than one column may be it" if several else "its header doesn't say so"
    if len(options) > 1:
        return f"its unit isn't named, and may be {' or '.join(str(one.unit) for one in options)}"
    if meant[0].unit is not None:
        return "by its header, with the unit named"
    return "by its header, with the unit by its values"


def _joint(said: Found, sure: set[str], alone: Mapping[str, Choice]) -> dict[str, Choice]:
    """Choose speeds and carry, whose units are told together."""
    found = {name: Numbers(said[name][0].numbers, said[name][0].unit) for name in _TOGETHER if name in said}
    known = {name: choice.options[0].unit for name, choice in alone.items() if choice.sure}
    for name in known:
        found[name] = Numbers(said[name][0].numbers, said[name][0].unit)
    units = speeds_and_carry(found, {name: unit for name, unit in known.items() if unit is not None})
    choices = {}
    for name, possible in units.items():
        meant = said[name]
        distinct = list({each.name: each for each in meant}.values())
        options = [Place(meant[0].name, unit) for unit in possible]
        if not possible:
            named = meant[0].unit if meant[0].unit in units_of(name) else None
            order = sorted(units_of(name), key=lambda unit: unit != named)
            every = tuple(Place(meant[0].name, unit) for unit in order)
            choices[name] = Choice(every, False, "speeds and carry don't fit each other in the units named")
            continue
        options += [Place(each.name, unit) for each in distinct[1:] for unit in _units(name, each)]
        one = name in sure and len(options) == 1 and _enough(meant[0])
        choices[name] = Choice(tuple(options), one, _why(meant, options, name in sure))
    return choices


def _optional(said: Found, sure: set[str], usable: Sequence[LogColumn]) -> tuple[dict[str, Choice], list[str]]:
    """Choose what no run needs: only with a unit that the log names, or where one unit alone is possible."""
    choices: dict[str, Choice] = {}
    notes: list[str] = []
    for name, meant in said.items():
        if name in _TOGETHER or name in _ALONE:
            continue
        if name == "humidity":
            if meant[0].unit == "%" or float(np.nanmax(meant[0].numbers.to_numpy())) > 1:
                notes.append(_PERCENT)
            else:
                choices[name] = Choice((Place(meant[0].name),), len(meant) == 1, "by its header")
            continue
        options = [Place(each.name, unit) for each in meant for unit in _units(name, each)]
        if options:
            one = name in sure and len(options) == 1 and _enough(meant[0])
            choices[name] = Choice(tuple(options), one, _why(meant, options, name in sure))
    lofts = [each for each in usable if each.header.meaning == "(loft)"]
    if "loft_deg" not in choices and len(lofts) == 1 and lofts[0].unit in (None, "deg"):
        few = lofts[0].numbers.drop_nulls().n_unique() <= _FEW_LOFTS
        why = "by its header and its few values" if few else "it may be the loft at impact, which is another thing"
        choices["loft_deg"] = Choice((Place(lofts[0].name, "deg"),), few, why)
    return choices, notes
