"""The candidate models of a contest, and what a study needs for a fit. A new candidate is added here.

A candidate is a form of `surface.py` with a name. Its place in `candidates_for` says how simple it is.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.configuration.sentences import nearest
from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import Drives, Speed
from pipeline.errors import UserError
from pipeline.fit.flight_surface import FlightMaker, Form
from pipeline.fit.surface import Extent, Inputs, line, quadratic, splines
from pipeline.flight.calibrate import Calibration
from pipeline.physics.air import Air

FLIGHT = "flight"
MIN_GOLFERS = 6
DRIVES_PER_TERM = 5  # a candidate with fewer drives a term than this does not compete


@dataclass(frozen=True)
class Candidate:
    """A named way to make a surface from the inputs of the drives in the fit."""

    name: str
    make: Callable[[Inputs], Form]

    def surface(self, extents: Mapping[str, tuple[Extent, Extent, Extent]]) -> Form:
        """Make the surface for a survey's `extents`; only one over club speed serves where ball speed isn't known."""
        club = self.make(extents["club"])
        return club if club.speed == "club" else self.make(extents["ball"])


def candidates_for(speed: Speed, flight: FlightMaker | None = None) -> tuple[Candidate, ...]:
    """Give the candidates, simplest first; the straight line always takes club speed, flight always ball speed."""
    flying = (Candidate(FLIGHT, flight),) if flight is not None and speed == "ball" else ()
    return (
        Candidate("line", lambda x: line(x, "club")),
        *flying,
        Candidate("quadratic", lambda x: quadratic(x, speed)),
        Candidate("splines", lambda x: splines(x, speed)),
    )


def candidates_of_study(
    speed: Speed,
    extents: Mapping[str, tuple[Extent, Extent, Extent]],
    calibration: Calibration,
    air: StandardAir,
    choices: Model | None = None,
) -> tuple[Candidate, ...]:
    """Give a study's candidates, simplest first.

    Parameters
    ----------
    speed : "ball" or "club"
        That the study is fitted on.
    extents : mapping
        Those of the `Survey`. Flight is no candidate where a drive has no ball speed.
    calibration : Calibration
        Of the study's flight, which is flown over these extents.
    air : StandardAir
        The study's standard conditions.
    choices : Model, optional
        Those it names compete, and the one it wants used; all built-in ones unless given.

    Raises
    ------
    UserError
        If it wants one used that isn't there, or none is left.
    """
    choices = choices or Model()
    flight = None
    if "ball" in extents:
        here = Air.of(air.temp_c, air.pressure_hpa * 100, air.humidity)
        flight = FlightMaker.of(calibration.ball, here, extents["ball"])
    built_in = candidates_for(speed, flight)
    found = tuple(one for one in built_in if one.name in (*choices.candidates, choices.choose))
    check_named(choices, [one.name for one in found])
    return found


def check_named(choices: Model, names: Sequence[str]) -> None:
    """Raise UserError where a study's choices leave no candidate, or where the one to use isn't among the names."""
    choose = choices.choose
    if FLIGHT not in names and (choose == FLIGHT or not names):
        key = "choose" if choose == FLIGHT else "candidates"
        raise UserError(
            f"model.{key} in study.yaml: flight goes by ball speed, which too few golfers or drives of this study "
            "have; name another candidate."
        )
    if choose is not None and choose not in names:
        raise UserError(
            f"model.choose in study.yaml: there is no candidate {choose!r}{nearest(choose, names)}; "
            f"there are {', '.join(names)}."
        )


def may_compete(surface: Form, shots: int) -> str | None:
    """Say why a candidate's surface can't be fitted to so many drives, or None where it can."""
    need = DRIVES_PER_TERM * surface.size
    return None if shots >= need else f"needs {need} drives"


def enough_for_a_fit(drives: pl.DataFrame | Drives) -> None:
    """Raise UserError where there are too few golfers or drives for any fit."""
    found = Drives.of(drives).gathered(lambda f: f.select(pl.col("golfer").n_unique(), pl.len()).cast(pl.Int64))
    golfers, shots = found.sum().row(0)
    least = DRIVES_PER_TERM * 4
    if golfers < MIN_GOLFERS or shots < least:
        raise UserError(
            f"The study has {shots} usable drives of {golfers} golfers; a fit needs at least "
            f"{least} drives of {MIN_GOLFERS} golfers: add logs, or see rejects.csv for what was left out."
        )
