"""What a person types: one rule for numbers, and one sentence for what can't be used, on the command and the page.

The page's script (`report/shared/templates/lookup_words.js`) ports this module line by line; both are tested with
tests/report/typed_numbers.json. The rule for a number, after outer spaces are dropped:

1. It may begin with a sign: + or -, or the minus sign that phones and texts have.
2. Where thousands are parted (spin, altitude, pressure): one to three digits, the first not 0, then one mark, then
   exactly three digits are a whole number. A mark is a point, a comma, a space or an apostrophe: 2.650, 2,650 and 2 650
   are 2650. None of these is ever typed to a thousandth, so nothing is misread.
3. Otherwise digits, with at most one point or comma among them, are a decimal number: 97.5 and 97,5 are the same, and
   so are 97. and .5 as a person stops typing.
4. Anything else is no number: no text, nan, inf, 1e3, 0x10, and no digits but 0 to 9.
"""

import re
from dataclasses import dataclass
from typing import Literal

from pipeline.physics.air import WORKING_ALTITUDE_M, WORKING_PRESSURE_PA, WORKING_TEMP_C, WORKING_WIND_MPS
from pipeline.shown import ANGLE_STEP_DEG, IMPERIAL, ON_STEP, SPIN_STEP_RPM, Units, inward, number_text
from pipeline.texts.catalogue import texts, told
from pipeline.units import MPS_PER_MPH

Limits = tuple[float, float]

# Spaces of all widths, which phones put between thousands, and apostrophes, straight and curled.
_SPACES, _APOSTROPHES, _MINUS = "[\u0020\u00a0\u2009\u202f]", "['\u2019]", "\u2212"
_PARTED = re.compile(rf"([+-]?)([1-9][0-9]{{0,2}})(?:[.,]|{_SPACES}|{_APOSTROPHES})([0-9]{{3}})")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)")

# Limits of the conditions: what air and wind the flight's laws are kept to, in the units in which they are typed.
CONDITIONS: dict[str, Limits] = {
    "altitude": WORKING_ALTITUDE_M,
    "pressure": (WORKING_PRESSURE_PA[0] / 100, WORKING_PRESSURE_PA[1] / 100),
    "temperature": WORKING_TEMP_C,
    "wind": (WORKING_WIND_MPS[0] / MPS_PER_MPH, WORKING_WIND_MPS[1] / MPS_PER_MPH),
}


@dataclass(frozen=True)
class Asked:
    """How one number is typed.

    Attributes
    ----------
    kind : str
        Its quantity: `speed` and `distance` are typed in the person's units, the others in one unit.
    unit : str
        That one unit, a key of the catalogue's `units`; empty for speeds and distances.
    step : float
        The limits that a sentence gives are multiples of it, in the unit typed; 0 for speeds and distances.
    decimals : int
        Of limits.
    thousands : bool
        Whether a mark before the last three digits parts thousands.
    """

    kind: Literal["speed", "distance", "plain"]
    unit: str = ""
    step: float = 1.0
    decimals: int = 0
    thousands: bool = False


ASKED = {
    "club_speed": Asked("speed"),
    "ball_speed": Asked("speed"),
    "wind": Asked("speed"),
    "distance": Asked("distance"),
    "launch": Asked("plain", "deg", ANGLE_STEP_DEG, 1),
    "spin": Asked("plain", "rpm", SPIN_STEP_RPM, thousands=True),
    "altitude": Asked("plain", "m", thousands=True),
    "pressure": Asked("plain", "hPa", thousands=True),
    "temperature": Asked("plain", "degC"),
}


def typed_number(text: str, thousands: bool = False) -> float | None:
    """Read a typed number; None if it is none. See the module for the rule.

    Parameters
    ----------
    text : str
    thousands : bool
        Whether a mark before the last three digits parts thousands.
    """
    plain = text.strip().replace(_MINUS, "-")
    parted = _PARTED.fullmatch(plain) if thousands else None
    if parted is not None:
        return float("".join(parted.groups()))
    return float(plain.replace(",", ".")) if _DECIMAL.fullmatch(plain) else None


def read_typed(name: str, text: str, limits: Limits | None, units: Units = IMPERIAL) -> tuple[float | None, str | None]:
    """Read something typed, with its limits.

    Parameters
    ----------
    name : str
        A key of `ASKED`.
    text : str
    limits : tuple of float or None
        Least and most that hold here, in mph, yd or the one unit of the quantity; None if nothing limits it.
    units : Units
        In which speeds and distances are typed.

    Returns
    -------
    tuple of float or None and str or None
        The value in mph, yd or its one unit, None if the text is no number; and the sentence that refuses it, None
        where it can be used.
    """
    asked = ASKED[name]
    number = typed_number(text, asked.thousands)
    if number is None:
        return None, refusal_of(name, limits, units)
    each = _each(asked, units)
    value = number * each
    if limits is None:
        return value, None
    # A limit that is shown can be typed, though factors of units move it by their rounding.
    kept, slack = min(max(value, limits[0]), limits[1]), ON_STEP * each
    return (kept, None) if abs(value - kept) <= slack else (value, refusal_of(name, limits, units))


def refusal_of(name: str, limits: Limits | None, units: Units = IMPERIAL) -> str:
    """Say what to type instead: `Club speed: give a number from 65 to 119 mph.`; arguments as in `read_typed`.

    The limits move inward to steps, so that each of them can be typed.
    """
    what = texts("asked")[name]
    if limits is None:
        return told("numbers", "no_range", what=what)
    lo, hi, unit = limits_text(name, limits, units)
    return told("numbers", "range", what=what, lo=lo, hi=f"{hi} {unit}")


def limits_text(name: str, limits: Limits, units: Units = IMPERIAL) -> tuple[str, str, str]:
    """Write least and most, moved inward to steps, and their unit; arguments as in `read_typed`."""
    asked = ASKED[name]
    each = _each(asked, units)
    decimals = units.speed_decimals if asked.kind == "speed" else asked.decimals
    step = 0.5 if asked.kind == "speed" and decimals else asked.step
    lo, hi = limits[0] / each, limits[1] / each
    ends = inward(lo, hi, step)
    if ends is None:  # narrower than a step
        ends, decimals = (lo, hi), decimals + 1
    return number_text(ends[0], decimals), number_text(ends[1], decimals), texts("units")[_unit(asked, units)]


def _each(asked: Asked, units: Units) -> float:
    return {"speed": units.mph_each, "distance": units.yd_each, "plain": 1.0}[asked.kind]


def _unit(asked: Asked, units: Units) -> str:
    return {"speed": units.speed_unit, "distance": units.distance_unit, "plain": asked.unit}[asked.kind]
