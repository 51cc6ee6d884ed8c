"""The candidate models of a contest, and what a study needs for a fit. A new candidate is added here.

A candidate is a form of `surface.py` with a name. Its place in `candidates_for` says how simple it is.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives, Speed
from pipeline.errors import UserError
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.form import Form
from pipeline.fit.surface import Extent, Inputs, line, quadratic, splines
from pipeline.flight.calibrate import Calibration
from pipeline.physics.air import Air

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
    flying = (Candidate("flight", flight),) if flight is not None and speed == "ball" else ()
    return (
        Candidate("line", lambda x: line(x, "club")),
        *flying,
        Candidate("quadratic", lambda x: quadratic(x, speed)),
        Candidate("splines", lambda x: splines(x, speed)),
    )


def candidates_of_study(
    speed: Speed, extents: Mapping[str, tuple[Extent, Extent, Extent]], calibration: Calibration, air: StandardAir
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
    """
    if "ball" not in extents:
        return candidates_for(speed)
    here = Air.of(air.temp_c, air.pressure_hpa * 100, air.humidity)
    return candidates_for(speed, FlightMaker.of(calibration.ball, here, extents["ball"]))


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
