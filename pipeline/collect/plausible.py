"""What looks wrong with a whole log, in plain sentences: units, exchanged columns, time formats (pure).

Rows are judged one by one elsewhere. A wrong unit often passes there, for a carry in metres is a possible carry in
yards; only flight tells them apart. Nothing is changed here: a sentence is for the reader to act on.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.collect.rules import Split
from pipeline.collect.sample import LEAST_ROWS, SAMPLE_NUMBERS, SampleDrives, fly_samples
from pipeline.configuration.layouts import Layout
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.units import METRES_PER_YARD, units_of

_SAMPLE_ROWS = 200  # of a piece, and of all pieces together

# Medians of many drivers' drives lie well inside these; a unit mistaken for another moves them far outside.
_USUAL = {"launch_deg": (2.0, 30.0), "spin_rpm": (700.0, 9000.0)}
_TYPICAL = {"launch_deg": (4.0, 22.0), "spin_rpm": (1000.0, 6000.0)}
_USUAL_RATIO = (1.2, 1.6)
# Median carry for each mph of club speed: at a ratio of 1.2 to 1.5 a ball carries 1.3 to 1.8 yd for each of its own mph
# (common practice, no source).
_USUAL_CARRY = (1.5, 2.8)

# The published sets differ by a fifth in carry, so flight is the geometric mean of theirs. A metre is 1.094 yd: what
# lies nearer to that than to 1 is reported. Other units lie farther apart, so a ball that isn't the mean of the sets
# doesn't hide them. With an assumed speed ratio only those are reported.
_CLOSE = 0.5 * float(np.log(1 / METRES_PER_YARD))
_CLOSE_ENOUGH = 0.16
_METRES_AND_YARDS = {"m", "yd"}
_ALIKE = 0.03  # logs of one study differ by their devices, a few hundredths of carry
_FAR = np.log(1.25)


@dataclass
class Impression:
    """What a log looks like as a whole, gathered piece by piece.

    Attributes
    ----------
    layout : Layout
        Of the log, for the units that it names.
    """

    layout: Layout
    _rows: int = 0
    _counts: list[pl.DataFrame] = field(default_factory=list)
    _sample: list[pl.DataFrame] = field(default_factory=list)
    _fits_only_given: int = 0
    _fits_only_exchanged: int = 0

    def take(self, rows: pl.DataFrame, parts: Split) -> None:
        """Take the next piece: standardised rows, and the same rows as split."""
        self._rows += rows.height
        self._counts.append(parts.rejected.group_by("rule", "column").len())
        self._fits_only_exchanged += int(rows["only_exchanged"].sum())
        self._fits_only_given += int((rows["struck_on"].dt.day() > 12).sum())
        known = rows.filter(pl.col("fault_rule").is_null()).select(*SAMPLE_NUMBERS, *AIR_COLUMNS, "spin_measured")
        self._sample.append(_thinned(known))

    def refusal(self) -> str | None:
        """Say why the log can't be used after all; None if it can."""
        if self._fits_only_exchanged > self._fits_only_given:
            return (
                f"its times fit the layout's format only in part, and {self._fits_only_exchanged} more fit with day "
                "and month exchanged; correct the format of 'struck_at'"
            )
        return None

    def carry_over_flight(self) -> float | None:
        """Give the median of carry over that of flight, by which logs are compared; None where that isn't known."""
        if self._compared is None:
            return None
        ratio = self._compared.carry_over_flight(1.0)
        return None if np.isnan(ratio) else ratio

    def remarks(self) -> list[str]:
        """Say what looks wrong, a clause each; none if nothing does."""
        if not self._sample:
            return []
        found, drives = self._judged
        found = found + (by_flight(drives, self.layout) if drives else by_speed(self._thin))
        counts = pl.concat(self._counts).group_by("rule", "column").agg(pl.col("len").sum())
        return found or [text for text in [rejection_remark(counts, self._rows, self._thin)] if text]

    def samples(self) -> list[SampleDrives]:
        """Give the drives whose flight is asked for."""
        judged = self._judged[1] if self._sample else None
        return [one for one in (self._compared, judged) if one is not None]

    @cached_property
    def _thin(self) -> pl.DataFrame:
        return _thinned(pl.concat(self._sample))

    @cached_property
    def _judged(self) -> tuple[list[str], SampleDrives | None]:
        return by_themselves(self._thin, self.layout)

    @cached_property
    def _compared(self) -> SampleDrives | None:
        if not self._sample:
            return None
        known = pl.concat(self._sample).drop_nulls(list(SAMPLE_NUMBERS)).filter(pl.col("ball_speed_mph") > 0)
        known = _thinned(known.filter(pl.col("club_speed_mph") > 0, pl.col("carry_yd") > 0, pl.col("spin_rpm") > 0))
        if known.height < LEAST_ROWS:
            return None
        drives = SampleDrives.of(known, dict.fromkeys(SAMPLE_NUMBERS, 1.0), measured=True)
        judged = self._judged[1]
        return judged if judged is not None and judged.same_as(drives) else drives


def fly_together(impressions: Sequence[Impression]) -> None:
    """Fly the drives by which logs are judged, those of all logs at once: for small logs far quicker than one by one.

    Their `carry_over_flight` and `remarks` then find the flights made.
    """
    fly_samples([drives for each in impressions for drives in each.samples()])


def remarks_across(ratios: Mapping[str, float | None]) -> dict[str, str]:
    """Say which logs' carries stand to those of the others as metres stand to yards.

    This needs no knowledge of the ball: the flight of a log's drives is compared with that of the other logs.

    Parameters
    ----------
    ratios : mapping of str to float or None
        Source: `Impression.carry_over_flight`.

    Returns
    -------
    dict of str to str
        Source: a clause, for the logs that there is something to say of.
    """
    known = {source: ratio for source, ratio in ratios.items() if ratio is not None}
    told = {}
    for source, ratio in known.items():
        others = [other for one, other in known.items() if one != source]
        share = ratio / float(np.median(others)) if others else 1.0
        for true, said, unit in (("m", "yd", METRES_PER_YARD), ("yd", "m", 1 / METRES_PER_YARD)):
            if abs(np.log(share / unit)) < _ALIKE:
                told[source] = (
                    f"its drives carry {share:.2f} times what those of the other logs do for similar speed, launch, "
                    f"spin and air, as if {true} were called {said}"
                )
    return told


def rejection_remark(counts: pl.DataFrame, rows: int, sample: pl.DataFrame) -> str | None:
    """Say what a log looks like, most of whose rows break one rule.

    Parameters
    ----------
    counts : pl.DataFrame
        `rule`, `column` and `len`, the number of rejected rows.
    rows : int
        All rows of the log.
    sample : pl.DataFrame
        Some of its rows in standard units, rejected ones too.

    Returns
    -------
    str or None
        A clause; None if no rule is broken by most rows.
    """
    most = counts.filter(pl.col("len") * 2 > rows).sort("len", descending=True).head(1)
    if rows < 2 or not most.height:
        return None
    rule, column, number = most.row(0)
    launch, spin = (_median(sample, name) for name in ("launch_deg", "spin_rpm"))
    lo, hi = _TYPICAL["spin_rpm"]
    if lo <= launch <= hi and 0 < spin <= _USUAL["launch_deg"][1]:
        return "launch_deg and spin_rpm look exchanged; correct their headers in the layout or in the log"
    mend = {
        "ragged": "they have more or fewer cells than the header, as with decimal commas between comma delimiters; "
        "check the delimiter and the decimal mark",
        "not_a_number": "check the layout's decimal mark, and whether its cells hold units or thousands marks",
        "not_a_time": "give the layout the format of its times, since a date such as 03/04/2026 is never guessed",
        "in_the_future": "check the clock of the device and of this computer",
        "missing": "check which header it comes from",
        "not_a_name": "its names are damaged; export it again as utf-8",
    }.get(rule, "check its unit and which header it comes from")
    return f"{number} of {rows} rows break the rule {rule} in {column}: {mend}"


def by_themselves(sample: pl.DataFrame, layout: Layout) -> tuple[list[str], SampleDrives | None]:
    """Judge launch and spin by what is usual; give the drives with those mended, none where there are too few.

    `sample` has drives in what the layout takes for standard units: speeds, launch, spin, carry, `AIR_COLUMNS` and
    `spin_measured`; nulls allowed.
    """
    known = sample.drop_nulls(["club_speed_mph", "launch_deg", "spin_rpm", "carry_yd"])
    known = known.filter(pl.col("club_speed_mph") > 0, pl.col("carry_yd") > 0, pl.col("spin_rpm") > 0)
    with_ball = known.filter(pl.col("ball_speed_mph") > 0)
    measured = 2 * with_ball.height >= known.height
    known = with_ball if measured else known
    if known.height < LEAST_ROWS:
        return [], None
    found: list[str] = []
    factors = dict.fromkeys(SAMPLE_NUMBERS, 1.0)
    for column in ("launch_deg", "spin_rpm"):
        mistaken = _by_usual(column, _median(known, column), layout)
        if mistaken is not None:
            factors[column] = mistaken.factor
            found.append(_mistaken_text([column], mistaken))
    return found, SampleDrives.of(known, factors, measured)


class _Mistaken(NamedTuple):
    """A unit taken for another; `factor` mends the value."""

    said: str
    true: str
    factor: float


def _candidates(column: str, layout: Layout) -> list[_Mistaken]:
    units = units_of(column)
    said = layout.columns[column].unit or next(iter(units))  # the standard unit stands first
    return [
        _Mistaken(said, true, unit.factor / units[said].factor)
        for true, unit in units.items()
        if unit.confusable and true != said
    ]


def _by_usual(column: str, median: float, layout: Layout) -> _Mistaken | None:
    lo, hi = _USUAL[column]
    if lo <= abs(median) <= hi:
        return None
    lo, hi = _TYPICAL[column]
    fitting = [one for one in _candidates(column, layout) if lo <= median * one.factor <= hi]
    return fitting[0] if fitting else None


def by_flight(drives: SampleDrives, layout: Layout) -> list[str]:
    """Find the one mistaken unit of a speed, both speeds or carry under which the drives fit flight.

    Balls that fly 5 to 13 % short look like metres called yards, and so may a site's unknown air; the clause says so.
    Two mistakes at once in speeds and carry are reported as figures that don't fit, without naming the units.
    """
    close = _CLOSE if drives.measured else _CLOSE_ENOUGH
    ratio, flight = drives.ratio(), drives.carry_over_flight(1.0)
    sound = _USUAL_RATIO[0] <= ratio <= _USUAL_RATIO[1]
    if sound and (np.isnan(flight) or abs(np.log(flight)) < close):
        return []
    tried: list[tuple[float, list[str], _Mistaken]] = []
    if sound:
        tried += [(flight * one.factor, ["carry_yd"], one) for one in _candidates("carry_yd", layout)]
        speeds = ["club_speed_mph", "ball_speed_mph"] if drives.measured else ["club_speed_mph"]
        tried += [(drives.carry_over_flight(m.factor), speeds, m) for m in _candidates("club_speed_mph", layout)]
    else:
        for column, power in (("club_speed_mph", -1), ("ball_speed_mph", 1)):
            for one in _candidates(column, layout):
                if _USUAL_RATIO[0] <= ratio * one.factor**power <= _USUAL_RATIO[1]:
                    mended = drives.carry_over_flight(one.factor) if power == 1 else flight
                    tried.append((mended, [column], one))
    fitting = [
        (abs(np.log(x)), columns, one)
        for x, columns, one in tried
        if (
            abs(np.log(x)) < (_CLOSE if {one.said, one.true} == _METRES_AND_YARDS else _CLOSE_ENOUGH)
            and abs(np.log(x)) < abs(np.log(flight))
        )
        or (not sound and abs(np.log(x)) < _CLOSE_ENOUGH)
    ]
    about = (
        f"its drives carry {flight:.2f} times what flight gives for their speed, launch and spin"
        if sound
        else f"its ball speeds are {ratio:.2f} times its club speeds"
    )
    if fitting:
        _, columns, one = min(fitting, key=lambda each: each[0])
        short = (
            "; balls that fly short or long, and unknown air, look the same"
            if {one.said, one.true} == _METRES_AND_YARDS
            else ""
        )
        return [f"{_mistaken_text(columns, one)}: {about}{short}"]
    if not sound or abs(np.log(flight)) > _FAR:
        return [f"{about}; check the units and the headers of speeds and carry"]
    return []


def by_speed(sample: pl.DataFrame) -> list[str]:
    """Judge results by hand, which have no launch and no spin, by carry for each mph of club speed alone.

    Nothing else tells units; meters called yards pass. `sample` as for `by_themselves`.
    """
    known = sample.filter(pl.col("club_speed_mph") > 0, pl.col("carry_yd") > 0)
    if known.height < LEAST_ROWS or known.select(pl.col("launch_deg", "spin_rpm").count()).row(0) != (0, 0):
        return []
    ratio = float(np.median((known["carry_yd"] / known["club_speed_mph"]).to_numpy()))
    if _USUAL_CARRY[0] <= ratio <= _USUAL_CARRY[1]:
        return []
    lo, hi = _USUAL_CARRY
    return [
        f"its drives carry {ratio:.2f} yd for each mph of club speed, and academies' usually {lo:g} to {hi:g}; "
        "check the units and the headers of club speed and carry"
    ]


def _mistaken_text(columns: list[str], one: _Mistaken) -> str:
    names = " and ".join(columns)
    return f"{names} {'looks' if len(columns) == 1 else 'look'} like {one.true} called {one.said}"


def _median(frame: pl.DataFrame, column: str) -> float:
    middle = frame[column].median()
    return float(middle) if isinstance(middle, int | float) else float("nan")


def _thinned(frame: pl.DataFrame) -> pl.DataFrame:
    """Take at most `_SAMPLE_ROWS` rows, evenly spread, so that the same log gives the same sample."""
    return frame.gather_every(-(-frame.height // _SAMPLE_ROWS)) if frame.height > _SAMPLE_ROWS else frame
