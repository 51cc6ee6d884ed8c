"""How figures are shown that people act on: one rounding and one text for page, command, sheet, table and picture.

Files hold full floats; this is for display alone. Halves go up, `floor(x + 0.5)`, as JavaScript's `Math.round` has it,
so that the coach's page and the command agree; zero never shows as -0.

The steps follow what is known and what a coach can act on. A mean carry is known to about a yard; a launch of single
drives is read to about half a degree, and so are attack and loft; spin to some tens of rpm, and a change below fifty
can't be felt or practiced; a golfer's typical club speed to about 1 mph. Finer digits would only seem exact.

What should add up is shown so that it does:

- Parts of a whole (contact, launch, spin, consistency and other of yards lost; delivery and speed of a gap) are rounded
  by the largest remainder: all go down to whole units, and the units that are missing to the shown whole go one each to
  the parts that lost most by it. No part moves by a whole unit as long as the parts add up to the whole.
- A difference of two figures that stand beside it (efficient less expected carry) is the difference of what is shown.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, Protocol

import numpy as np
import numpy.typing as npt

from pipeline.units import UNITS

ANGLE_STEP_DEG = 0.5
SPIN_STEP_RPM = 50.0
RATIO_STEP = 0.01
NO_WINDOW = "none at this speed"
# Edges of windows lie on the steps; a kept one that is off by less than this share of a step counts as on it.
ON_STEP = 1e-6


def rounded(values: npt.ArrayLike, step: float = 1.0) -> npt.NDArray[np.float64]:
    """Round to multiples of a step, halves up.

    Parameters
    ----------
    values : array_like
    step : float
        A whole number, or one over a whole number: 50, 1, 0.5, 0.01.

    Returns
    -------
    ndarray
        In the shape of `values`; NaN stays, and -0 is 0.
    """
    given = np.asarray(values, dtype=float)
    if step >= 1:
        return np.asarray(step * np.floor(given / step + 0.5) + 0.0)
    parts = round(1 / step)
    return np.asarray(np.floor(given * parts + 0.5) / parts + 0.0)


def rounded_one(value: float, step: float = 1.0) -> float:
    """Round one number just as `rounded` does; without an array, which takes ten times as long."""
    if not math.isfinite(value):
        return value
    if step >= 1:
        return step * math.floor(value / step + 0.5) + 0.0
    parts = round(1 / step)
    return math.floor(value * parts + 0.5) / parts + 0.0


def whole(value: float) -> int:
    """Round to a whole number, halves up."""
    return math.floor(value + 0.5)


def adding_up(parts: Sequence[float], total: int | None = None) -> list[int]:
    """Round parts to whole numbers that add up to the whole that is shown, by the largest remainder.

    Parameters
    ----------
    parts : sequence of float
        May be negative.
    total : int, optional
        The shown whole; without it, the rounded sum of the parts.

    Returns
    -------
    list of int
        In the order of `parts`. Of equal remainders the earlier part goes up. Each is less than 1 from its part if the
        parts add up to the whole before rounding, to within a half.
    """
    if not parts:
        return []
    low = [math.floor(part) for part in parts]
    missing = (whole(math.fsum(parts)) if total is None else total) - sum(low)
    each, some = divmod(missing, len(parts))
    most = sorted(range(len(parts)), key=lambda i: low[i] - parts[i])[:some]
    return [value + each + (i in most) for i, value in enumerate(low)]


def number_text(value: float, decimals: int = 0) -> str:
    """Write a figure, rounded half up to some decimals, thousands separated by a comma."""
    return f"{rounded_one(value, 10.0**-decimals):,.{decimals}f}"


def signed_text(value: float, decimals: int = 0) -> str:
    """Write a figure with its sign; what rounds to zero has none."""
    text = number_text(value, decimals)
    return f"+{text}" if rounded_one(value, 10.0**-decimals) > 0 else text


def by_error(value: float, error: float, *, signed: bool = False) -> str:
    """Write a figure to the digits that its standard error leaves it.

    Parameters
    ----------
    value, error : float
        An error of 0, or one that isn't known, leaves all that four digits of the value show.
    signed : bool
        Whether a plus sign is written.

    Returns
    -------
    str
        Down to the error's first digit or, where that is 1 or 2, its second: 3.1747 is 3.17 by an error of 0.084, and
        3.175 by one of 0.021.

    Notes
    -----
    The error itself is written by `by_error(error, error)`.
    """
    known = error > 0 and math.isfinite(error)
    size = error if known else abs(value) / 1000 or 1.0
    first = math.floor(math.log10(size))
    more = 1 if known and size / 10.0**first < 2.95 - 1e-9 else 0  # what rounds to 3 has one digit
    decimals = max(more - first, 0)
    return signed_text(value, decimals) if signed else number_text(value, decimals)


def typed_text(value: float) -> str:
    """Write a value as a person typed it: no digit more than it has, six at most."""
    return f"{value:.6g}"


def angle_figure(deg: float) -> str:
    """Write launch, attack or loft in half degrees, without unit."""
    return f"{rounded_one(deg, ANGLE_STEP_DEG):.1f}"


def angle_text(deg: float) -> str:
    """Write launch, attack or loft in half degrees."""
    return f"{angle_figure(deg)} deg"


def spin_figure(rpm: float) -> str:
    """Write spin in fifties of rpm, without unit."""
    return f"{rounded_one(rpm, SPIN_STEP_RPM):,.0f}"


def spin_text(rpm: float) -> str:
    """Write spin in fifties of rpm."""
    return f"{spin_figure(rpm)} rpm"


def ratio_text(speed_ratio: float) -> str:
    """Write a speed ratio in hundredths."""
    return f"{rounded_one(speed_ratio, RATIO_STEP):.2f}"


def percent_text(share: float) -> str:
    """Write a share from 0 to 1 in whole percent."""
    return f"{whole(100 * share)} %"


class WindowEdges(Protocol):
    """What has the edges of a window, such as `pipeline.benchmark.window.Window`."""

    @property
    def launch_lo_deg(self) -> float: ...  # noqa: D102
    @property
    def launch_hi_deg(self) -> float: ...  # noqa: D102
    @property
    def spin_lo_rpm(self) -> float: ...  # noqa: D102
    @property
    def spin_hi_rpm(self) -> float: ...  # noqa: D102


@dataclass(frozen=True)
class WindowText:
    """A window in words.

    Attributes
    ----------
    launch, spin : str
        `14.5 to 16.5 deg` and `2,650 to 3,150 rpm`.
    """

    launch: str
    spin: str

    def __str__(self) -> str:
        """Give the text of the whole window: `launch 14.5 to 16.5 deg, spin 2,650 to 3,150 rpm`."""
        return f"launch {self.launch}, spin {self.spin}"


def inward(low: float, high: float, step: float) -> tuple[float, float] | None:
    """Move the ends of a range inward to multiples of a step; None if no multiple lies in it, or an end isn't known."""
    if math.isnan(low) or math.isnan(high):
        return None
    first, last = math.ceil(low / step - ON_STEP), math.floor(high / step + ON_STEP)
    return None if first > last else (first * step, last * step)


def shown_edges(window: WindowEdges | None) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Give the launch and the spin range of a window as they are shown and drawn; None without one."""
    if window is None:
        return None
    launch = inward(window.launch_lo_deg, window.launch_hi_deg, ANGLE_STEP_DEG)
    spin = inward(window.spin_lo_rpm, window.spin_hi_rpm, SPIN_STEP_RPM)
    return None if launch is None or spin is None else (launch, spin)


def window_parts(window: WindowEdges | None) -> WindowText | None:
    """Word launch and spin of a window, moved inward to half degrees and fifties of rpm; None without one."""
    edges = shown_edges(window)
    if edges is None:
        return None
    launch, spin = edges
    angles, spins = ([figure(end) for end in ends] for figure, ends in ((angle_figure, launch), (spin_figure, spin)))
    return WindowText(f"{angles[0]} to {angles[1]} deg", f"{spins[0]} to {spins[1]} rpm")


def window_text(window: WindowEdges | None) -> str:
    """Give the one text of a window: `launch 14.5 to 16.5 deg, spin 2,650 to 3,150 rpm`, or that there is none."""
    told = window_parts(window)
    return NO_WINDOW if told is None else str(told)


_DISTANCE_UNITS = {"yards": "yd", "metres": "m"}
_SPEED_DECIMALS = {"mph": 0, "km/h": 0, "m/s": 1}


@dataclass(frozen=True)
class Units:
    """The units in which a person reads and types distances and speeds; inside, all are yd and mph.

    Attributes
    ----------
    distance : str
        yards or metres, as `units` of study.yaml has them.
    speed : str
        mph, km/h or m/s.
    """

    distance: Literal["yards", "metres"] = "yards"
    speed: Literal["mph", "km/h", "m/s"] = "mph"

    @property
    def distance_unit(self) -> str:
        """Unit of distance as it stands behind a figure: yd or m."""
        return _DISTANCE_UNITS[self.distance]

    @property
    def speed_unit(self) -> str:
        """Unit of speed as it stands behind a figure."""
        return self.speed

    @cached_property
    def yd_each(self) -> float:
        """Yards in one unit of distance: what a typed distance is multiplied by."""
        return UNITS["yd"][self.distance_unit].factor

    @property
    def mph_each(self) -> float:
        """Miles per hour in one unit of speed: what a typed speed is multiplied by."""
        return UNITS["mph"][self.speed].factor

    @property
    def speed_decimals(self) -> int:
        """Decimals of a speed."""
        return _SPEED_DECIMALS[self.speed]

    def distance_whole(self, yd: float) -> int:
        """Give a distance as it is shown: whole yards or metres."""
        return whole(yd / self.yd_each)

    def distance_figure(self, yd: float) -> str:
        """Write a distance without unit."""
        return f"{self.distance_whole(yd):,}"

    def distance_text(self, yd: float) -> str:
        """Write a distance: `231 yd`, `211 m`."""
        return f"{self.distance_figure(yd)} {self.distance_unit}"

    def distance_range_text(self, low_yd: float, high_yd: float, between: str = "to") -> str:
        """Write a range of distances: `197 to 249 yd`."""
        return f"{self.distance_figure(low_yd)} {between} {self.distance_text(high_yd)}"

    def signed_distance_text(self, yd: float) -> str:
        """Write a change of distance: `+4 yd`."""
        return f"{signed_text(yd / self.yd_each)} {self.distance_unit}"

    def typed_distance_text(self, yd: float) -> str:
        """Write a distance that a person typed in these units, as typed."""
        return f"{typed_text(yd / self.yd_each)} {self.distance_unit}"

    def difference_whole(self, yd: float, less_yd: float) -> int:
        """Give the difference of two shown distances, which stands beside them: efficient less expected carry."""
        return self.distance_whole(yd) - self.distance_whole(less_yd)

    def parts_whole(self, parts_yd: Sequence[float], total: int | None = None) -> list[int]:
        """Give parts of a distance in whole units that add up; see `adding_up`. `total` is the whole as shown."""
        return adding_up([part / self.yd_each for part in parts_yd], total)

    def speed_figure(self, mph: float) -> str:
        """Write a speed without unit: whole mph and km/h, m/s with one decimal."""
        return number_text(mph / self.mph_each, self.speed_decimals)

    def speed_text(self, mph: float) -> str:
        """Write a speed: `97 mph`, `156 km/h`, `43.4 m/s`."""
        return f"{self.speed_figure(mph)} {self.speed}"

    def typed_speed_text(self, mph: float) -> str:
        """Write a speed that a person typed in these units, as typed."""
        return f"{typed_text(mph / self.mph_each)} {self.speed}"

    def signed_speed_text(self, mph: float, decimals: int | None = None) -> str:
        """Write a change of speed; gains of a quarter are tenths, so `decimals` may ask for more."""
        return f"{signed_text(mph / self.mph_each, self.speed_decimals if decimals is None else decimals)} {self.speed}"

    def as_json(self) -> dict[str, Any]:
        """Give what a page's script needs: units as written, factors and decimals."""
        return {
            "distance": self.distance,
            "distance_unit": self.distance_unit,
            "yd_each": self.yd_each,
            "speed": self.speed,
            "mph_each": self.mph_each,
            "speed_decimals": self.speed_decimals,
        }


IMPERIAL = Units()
METRIC = Units("metres", "km/h")
