"""Units of foreign logs and their exact factors to Yardband's standard units.

Sources: international yard and pound agreement of 1959 (1 yd = 0.9144 m, so 1 mph = 0.44704 m/s, 1 ft = 0.3048 m);
the conventional inch of mercury, 3386.389 Pa (ISO 80000-4 / NIST SP 811); temperature scales by definition.
"""

import math
from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

METRES_PER_YARD = 0.9144
MPS_PER_MPH = 0.44704


class Unit(NamedTuple):
    """A unit: value in the standard unit = factor * value + offset."""

    factor: float
    offset: float = 0.0
    confusable: bool = False
    """Whether devices export it unasked, so that a log may hold it and call it another; else it is never suspected."""


_METRES = {"yd": Fraction("0.9144"), "m": Fraction(1), "ft": Fraction("0.3048")}
_METRES_PER_SECOND = {"mph": Fraction("0.44704"), "m/s": Fraction(1), "km/h": Fraction(10, 36), "ft/s": _METRES["ft"]}


def _exported(sizes: Mapping[str, Fraction], standard: str) -> dict[str, Unit]:
    """Give units that devices export, from their sizes in SI; the standard one stands first."""
    names = sorted(sizes, key=lambda name: name != standard)
    return {name: Unit(float(sizes[name] / sizes[standard]), confusable=True) for name in names}


# The units of a column by the last part of its name, which is its standard unit; the standard one stands first.
UNITS: dict[str, dict[str, Unit]] = {
    "mph": _exported(_METRES_PER_SECOND, "mph"),
    "mps": _exported(_METRES_PER_SECOND, "m/s"),
    "yd": _exported(_METRES, "yd"),
    "m": _exported(_METRES, "m"),
    "deg": {"deg": Unit(1.0, confusable=True), "rad": Unit(180 / math.pi, confusable=True)},
    "rpm": {
        "rpm": Unit(1.0, confusable=True),
        "1/s": Unit(60.0, confusable=True),
        "rad/s": Unit(30 / math.pi, confusable=True),
    },
    "c": {"degC": Unit(1.0, confusable=True), "degF": Unit(5 / 9, -160 / 9, confusable=True)},
    "hpa": {"hPa": Unit(1.0, confusable=True), "kPa": Unit(10.0), "inHg": Unit(33.86389, confusable=True)},
}


def units_of(column: str) -> Mapping[str, Unit]:
    """Give the units that a standard column of a log may have, the standard one first; none for one without units."""
    return UNITS.get(column.rpartition("_")[2], {})


# How the names of columns end that hold a rate, which no log does.
_RATES = {"mph_per_week": "mph a week", "yards_per_mph": "yd per mph"}


def unit_of(column: str) -> str:
    """Give the unit of a column by its name, empty if it has none: `carry_p25_yd` is in yd."""
    rate = next((unit for ending, unit in _RATES.items() if column.endswith(ending)), None)
    return next(iter(units_of(column)), "") if rate is None else rate
