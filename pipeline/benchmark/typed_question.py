"""A coach's question as typed: which numbers can be used here, and the sentence that refuses the others.

The coach's page asks the same of what is typed there, in the same order.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.benchmark.drives_near import INSIDE
from pipeline.benchmark.frontier import Frontier
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, Delivery
from pipeline.physics.turf import FIRMNESS
from pipeline.shown import Units
from pipeline.texts.catalogue import told
from pipeline.typed import CONDITIONS, Limits, read_typed

# Names of what is typed of a drive, in the order in which it is looked at.
DRIVE = ("club_speed", "ball_speed", "launch", "spin")


@dataclass(frozen=True)
class Drive:
    """A drive as typed, in mph, deg and rpm; None is what isn't known, and `refusal` says why it gets no answer."""

    club_speed: float | None = None
    ball_speed: float | None = None
    launch: float | None = None
    spin: float | None = None
    refusal: str | None = None

    def known(self) -> dict[str, float | None]:
        """Give the numbers by the names under which they are typed, in the order in which they are told."""
        return {"club_speed": self.club_speed, "launch": self.launch, "spin": self.spin, "ball_speed": self.ball_speed}

    def delivery(self) -> Delivery:
        """Give it for a model, NaN for what isn't known; a club speed is needed."""
        club, ball, launch, spin = (
            np.array(np.nan if value is None else value)
            for value in (self.club_speed, self.ball_speed, self.launch, self.spin)
        )
        return Delivery(club, ball / club, launch, spin)


def read_place(typed: Mapping[str, str | None], units: Units) -> dict[str, float]:
    """Read typed conditions.

    Parameters
    ----------
    typed : mapping of str to str or None
        Text by the names of `CONDITIONS`; None and what is left out isn't asked for.
    units : Units

    Returns
    -------
    dict of str to float
        altitude, m; pressure, hPa; temperature, deg C; wind, mph; those that are given.

    Raises
    ------
    UserError
        If one is no number or out of its limits, or altitude and pressure are both given.
    """
    given = {name: text for name, text in typed.items() if text is not None}
    found = {name: used(name, text, CONDITIONS[name], units) for name, text in given.items()}
    if "altitude" in found and "pressure" in found:
        raise UserError(told("numbers", "altitude_or_pressure"))
    return found


def read_turf(typed: str | None) -> str | None:
    """Read the firmness of turf.

    Raises
    ------
    UserError
        If it is none that there is.
    """
    plain = None if typed is None else typed.strip().lower()
    if plain is None or plain in FIRMNESS:
        return plain
    raise UserError(told("numbers", "turf"))


def read_drive(frontier: Frontier, typed: Mapping[str, str | None], units: Units) -> Drive:
    """Read a typed drive.

    Parameters
    ----------
    frontier : Frontier
        Of the place.
    typed : mapping of str to str or None
        Text by the names of `DRIVE`; None and what is left out isn't known. A club speed is needed for the others.
    units : Units

    Returns
    -------
    Drive
        Of several numbers out of their range the first one is refused.

    Raises
    ------
    UserError
        If a text is no number.
    """
    found: dict[str, float] = {}
    refusal = None if len(frontier.speed_mph) else told("refusals", "no_benchmarks")
    limits = {"club_speed": _ends(frontier)}
    for name in DRIVE:
        text = typed.get(name)
        if text is None:
            continue
        value, why = read_typed(name, text, limits.get(name), units)
        if value is None:
            raise UserError(refusal if name == "club_speed" and refusal else why)
        found[name] = value
        refusal = refusal or why
        if name == "club_speed" and frontier.reaches(value):
            limits |= limits_near(frontier, value)
    return Drive(**found, refusal=refusal)


def limits_near(frontier: Frontier, club_speed_mph: float) -> dict[str, Limits | None]:
    """Give the least and the most that drives near a club speed show.

    Parameters
    ----------
    frontier : Frontier
    club_speed_mph : float
        One that the benchmarks reach.

    Returns
    -------
    dict
        ball_speed, mph (None where ball speed isn't known); launch, deg; spin, rpm. Of launch and spin it is the box
        around every delivery that gets an answer: a corner of it may get none.
    """
    place = int(frontier.nearest(club_speed_mph))
    reach, reached = frontier.reach, frontier.reach.masks[place]
    room = np.sqrt(INSIDE * np.diagonal(np.linalg.inv(frontier.near.inverse[place])))
    box = {}
    for axis, (name, grid) in enumerate((("launch", reach.launch_deg), ("spin", reach.spin_rpm))):
        middle = frontier.near.mean[place, axis]
        edges = [middle - room[axis], middle + room[axis], *grid[reached.any(axis=1 - axis)]]
        box[name] = (float(min(edges)), float(max(edges)))
    box["spin"] = (max(box["spin"][0], 0.0), box["spin"][1])
    ratios = float(frontier.near.ratio_lo[place]), float(frontier.near.ratio_hi[place])
    ball = None if np.isnan(ratios).any() else (ratios[0] * club_speed_mph, ratios[1] * club_speed_mph)
    return {"ball_speed": ball, **box}


def refusal_in(frontier: Frontier, model: CarryModel, drive: Drive, units: Units) -> str | None:
    """Say in somebody's units why a drive with a club speed gets no answer; None where it does."""
    delivery = model.with_usual(drive.delivery())
    refusal = frontier.refusal(delivery, model.usual_at(delivery.club_speed_mph))
    return None if refusal is None else refusal.sentence(units)


def used(name: str, text: str, limits: Limits | None, units: Units) -> float:
    """Read a typed number that has to be within its limits.

    Raises
    ------
    UserError
        If it isn't.
    """
    value, refusal = read_typed(name, text, limits, units)
    if value is None or refusal is not None:
        raise UserError(refusal)
    return value


def _ends(frontier: Frontier) -> Limits | None:
    speeds = frontier.speed_mph
    return (float(speeds[0]), float(speeds[-1])) if len(speeds) else None
