"""The candidate models of a contest, and what a study needs for a fit. A new candidate is added here.

A candidate is a form of `form.py` with a name. The place of a built-in one in `candidates_for` says how simple it is;
those that a researcher wrote stand among them by their number of terms.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.configuration.sentences import nearest
from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import Drives, Speed
from pipeline.errors import UserError
from pipeline.fit.flight_surface import FlightMaker
from pipeline.fit.form import Form
from pipeline.fit.surface import Extent, Inputs, line, quadratic, splines
from pipeline.fit.tabulated import TabulatedSurface, Written, tabulate
from pipeline.flight.calibrate import Calibration
from pipeline.physics.air import Air

FLIGHT = "flight"
MIN_GOLFERS = 6
DRIVES_PER_TERM = 5  # a candidate with fewer drives a term than this does not compete


@dataclass(frozen=True)
class Candidate:
    """A named way to make a surface from the inputs of the drives in the fit.

    Attributes
    ----------
    name : str
    make : callable
    note : str
        What people are told of it.
    terms : int or None
        Of one that a researcher wrote, whose terms are worked out when it is made; 0 where the study can't have it.
    """

    name: str
    make: Callable[[Inputs], Form]
    note: str = ""
    terms: int | None = None

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
    written: Sequence[Written] = (),
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
    written : sequence of Written
        The study's formulas and own files.

    Raises
    ------
    UserError
        If it wants one used that isn't there, or none is left, or from `tabulate`.
    """
    choices = choices or Model()
    flight = None
    if "ball" in extents:
        here = Air.of(air.temp_c, air.pressure_hpa * 100, air.humidity)
        flight = FlightMaker.of(calibration.ball, here, extents["ball"])
    built_in = candidates_for(speed, flight)
    found = list(built_in)
    for one in written:
        found = _with_written(found, tabulated(one, speed, extents), extents)
    of_study = {*choices.candidates, choices.choose, *(one.name for one in written)}
    found = [one for one in found if one.name in of_study]
    check_named(choices, [one.name for one in found])
    return tuple(found)


def tabulated(written: Written, speed: Speed, extents: Mapping[str, tuple[Extent, Extent, Extent]]) -> Candidate:
    """Make a candidate of what a researcher wrote, with its terms worked out for a study on ball or club speed."""
    if written.speed == "ball" and (speed != "ball" or "ball" not in extents):
        return Candidate(written.name, _refused, terms=0)
    surface, left_out = tabulate(written, extents[written.speed])
    note = f"{written.name}: left out {', '.join(left_out)}, which the terms before it give." if left_out else ""
    return Candidate(written.name, lambda _: surface, note, surface.size)


def _refused(_: Inputs) -> Form:
    raise UserError("It goes by ball speed, which too few golfers or drives of this study have.")


def _with_written(
    found: Sequence[Candidate], one: Candidate, extents: Mapping[str, tuple[Extent, Extent, Extent]]
) -> list[Candidate]:
    """Put a written candidate after the last of those found that has no more terms than it."""
    sizes = [other.surface(extents).size if other.terms is None else other.terms for other in found]
    place = max((k for k, size in enumerate(sizes, 1) if size <= (one.terms or 0)), default=0)
    return [*found[:place], one, *found[place:]]


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


def form_again(
    surface: Form,
    speed: Speed,
    extents: Mapping[str, tuple[Extent, Extent, Extent]],
    calibration: Calibration,
    air: StandardAir,
) -> Form:
    """Make the form of a fitted surface for drives of these extents; see `candidates_of_study`.

    Terms that a researcher wrote stay as they were kept, so that a kept model needs no file of the study.
    """
    if isinstance(surface, TabulatedSurface):
        return surface
    candidates = candidates_of_study(speed, extents, calibration, air)
    return next(one for one in candidates if one.name == surface.name).surface(extents)


def may_compete(surface: Form, shots: int) -> str | None:
    """Say why a candidate's surface can't be fitted to so many drives, or None where it can."""
    need = DRIVES_PER_TERM * surface.size
    return None if shots >= need else f"needs {need} drives"


def enough_for_a_fit(drives: pl.DataFrame | Drives) -> None:
    """Raise UserError where there are too few golfers or drives for any fit."""
    found = Drives.of(drives).gathered(lambda f: f.select(pl.col("golfer").n_unique(), pl.len()).cast(pl.Int64))
    check_enough(*found.sum().row(0))


def check_enough(golfers: int, shots: int) -> None:
    """Raise UserError where so many golfers and usable drives are too few for any fit."""
    least = DRIVES_PER_TERM * 4
    if golfers < MIN_GOLFERS or shots < least:
        raise UserError(
            f"The study has {shots} usable drives of {golfers} golfers; a fit needs at least "
            f"{least} drives of {MIN_GOLFERS} golfers: add logs, or see rejects.csv for what was left out."
        )
