"""Reading a study's results for a lookup, and the answer as a small table (an edge module)."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.frontier_part import part_about
from pipeline.benchmark.lookup import UNANSWERED, look_up
from pipeline.benchmark.lookup_text import asked_texts, lookup_text, reaching_lines
from pipeline.benchmark.reaching import reaching_of, usual_here
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.benchmark.typed_question import Drive, read_drive, read_place, read_turf, refusal_in, used
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.kinds_of_results import BY_HAND, FRONTIER
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, FittedModel
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.air import Air, pressure_at
from pipeline.physics.turf import FIRMNESS
from pipeline.shown import IMPERIAL, METRIC, Units
from pipeline.statistics.drive_spread import UsualReaching
from pipeline.units import MPS_PER_MPH

RESULTS = Path("results")
FORMER_FRONTIER = Path("benchmarks/frontier.json")  # where earlier versions wrote it
CALIBRATION = Path("flight/calibration.json")
USUAL_REACHING = Path("golfers/usual_reaching.json")

# A distance asked for, yd: beyond these no drive is in question.
DISTANCES_YD = (1.0, 500.0)


def find_results(given: Path | None) -> Path:
    """Give the folder of a study's results: the given one, else the newest below results/.

    Raises
    ------
    UserError
        If there are none.
    """
    if given is not None:
        if not (given / FRONTIER).is_file():
            check_version(given)
            refuse_by_hand(given)
            raise UserError(
                f"{given}: holds no benchmarks; give a study's folder below results/, or run snakemake first."
            )
        return given
    made = [path.parent.parent for path in RESULTS.glob(f"*/{FRONTIER}")]
    if not made:
        for former in RESULTS.glob(f"*/{FORMER_FRONTIER}"):
            check_version(former.parent.parent)
        for reference in RESULTS.glob(f"*/{BY_HAND}"):
            refuse_by_hand(reference.parent.parent)
        raise UserError("results: holds no study's benchmarks; run snakemake first, or give the folder by --results.")
    return max(made, key=lambda folder: ((folder / FRONTIER).stat().st_mtime_ns, folder.name))


def check_version(folder: Path) -> None:
    """Refuse results of a version that wrote the frontier among what may be published, and none where it is now.

    Raises
    ------
    UserError
    """
    if (folder / FORMER_FRONTIER).is_file() and not (folder / FRONTIER).is_file():
        raise UserError(f"{folder}: its results are of an earlier version of Yardband; run the workflow again.")


def refuse_by_hand(folder: Path) -> None:
    """Refuse results of a study whose logs have neither launch nor spin, for what needs a model of carry.

    Raises
    ------
    UserError
    """
    if (folder / BY_HAND).is_file() and not (folder / FRONTIER).is_file():
        raise UserError(
            f"{folder}: its logs have no launch and no spin, so there is no model to answer by; add both to the logs "
            "and run again. benchmarks/bands.csv has what golfers carry at each speed."
        )


@dataclass(frozen=True)
class Asked:
    """Conditions that a lookup asks for; null means the study's standard ones."""

    altitude_m: float | None = None
    temp_c: float | None = None
    wind_mph: float | None = None
    turf: str | None = None
    pressure_hpa: float | None = None


@dataclass(frozen=True)
class StudyResults:
    """What answers to coaches are made from; the frontier is the one of the place."""

    frontier: Frontier
    model: CarryModel
    place: Place
    model_path: Path


def read_frontier(folder: Path) -> Frontier:
    """Read a study's frontier, at its standard conditions.

    Raises
    ------
    UserError
        If it is missing or not what the workflow writes.
    """
    return read_artefact(folder / FRONTIER, Frontier)


def read_results(folder: Path, asked: Asked, kept: Frontier | None = None) -> StudyResults:
    """Read what a lookup needs; `kept` is its frontier where somebody has read it already.

    Raises
    ------
    UserError
        If a file is missing or not what the workflow writes.
    """
    frontier = read_frontier(folder) if kept is None else kept
    path = folder / frontier.model_file
    # A kept model has its calibration of flight beside it.
    beside = path.with_name(CALIBRATION.name)
    flight = read_artefact(beside if beside.is_file() else folder / CALIBRATION, StudyFlight)
    place = place_of(flight.calibration, frontier.air, frontier.turf, asked)
    model = read_artefact(path, FittedModel).model
    return StudyResults(frontier_in(frontier, model, place), model, place, path)


def place_of(kept: Calibration, air: dict[str, float], turf: str, asked: Asked) -> Place:
    """Put the calibrated ball into standard and asked-for conditions.

    Pressure is the one asked for, else that of ISO 2533 at an altitude; humidity stays the standard one.
    """
    usual = Air.of(np.array(air["temp_c"]), np.array(air["pressure_hpa"] * 100), np.array(air["humidity"]))
    standard = Conditions(usual, 0.0, FIRMNESS[turf])
    pressure = air["pressure_hpa"] * 100 if asked.pressure_hpa is None else asked.pressure_hpa * 100
    if asked.altitude_m is not None:
        pressure = float(pressure_at(np.array(asked.altitude_m)))
    temp = air["temp_c"] if asked.temp_c is None else asked.temp_c
    given = (temp, pressure, asked.wind_mph or 0.0, asked.turf or turf)
    if given == (air["temp_c"], air["pressure_hpa"] * 100, 0.0, turf):
        return Place(kept.ball, standard, standard)
    here = Conditions(
        Air.of(np.array(temp), np.array(pressure), np.array(air["humidity"])),
        (asked.wind_mph or 0.0) * MPS_PER_MPH,
        FIRMNESS[asked.turf or turf],
    )
    return Place(kept.ball, standard, here)


@dataclass(frozen=True)
class Answered:
    """An answer to a coach.

    Attributes
    ----------
    answer : dict
        For JSON.
    text : str
        For a screen; empty without figures.
    refusal : str or None
        The sentence that says why there are no figures.
    """

    answer: dict[str, Any]
    text: str
    refusal: str | None


def answer_lookup(
    folder: Path,
    drive: Mapping[str, str | None],
    place: Mapping[str, str | None],
    metric: bool | None,
    distance: str | None = None,
    *,
    carry: bool = False,
) -> Answered:
    """Answer a lookup as typed.

    Parameters
    ----------
    folder : Path
        See `find_results`.
    drive, place : mapping of str to str or None
        Texts; see `read_drive` and `read_asked`.
    metric : bool or None
        Whether it is typed and printed in metric units; None for the study's own.
    distance : str, optional
        Text: the share of the usual golfer's drives that reach it is asked for too.
    carry : bool
        Whether that distance is carry; else carry and roll together.

    Returns
    -------
    Answered
        With the answer of `look_up` and the keys `REACHING`.

    Raises
    ------
    UserError
        If the results can't be read, a text is no number, or conditions are out of their limits.
    """
    kept = read_frontier(folder)
    units = units_of(kept, metric)
    asked = read_asked(place, units)
    wanted = None if distance is None else used("distance", distance, DISTANCES_YD, units)
    typed = read_drive(kept, drive, units)
    if typed.refusal is not None:
        return _unanswered(typed, typed.refusal)
    speed = math.nan if typed.club_speed is None else typed.club_speed
    found = read_results(folder, asked, part_about(kept, speed))
    answer = look_up(found.model, found.frontier, found.place, speed, typed.launch, typed.spin, typed.ball_speed)
    answer |= reaching_of(None, None)
    if not answer["supported"]:
        return Answered(answer, "", refusal_in(found.frontier, found.model, typed, units))
    known = typed.known()
    said = asked_texts(known | known_of(asked), asked.turf, units)
    text = lookup_text(kept.study, answer, said, units, left_out=None in known.values())
    if wanted is None:
        return Answered(answer, text, None)
    usual = read_artefact(folder / USUAL_REACHING, UsualReaching)
    moved_share = found.frontier.moved_share
    spread = usual_here(usual, found.model, found.place, typed.delivery(), moved_share, carry=carry)
    answer |= reaching_of(spread, wanted)
    return Answered(answer, "\n".join([text, *reaching_lines(answer, wanted, units, carry=carry)]), None)


def _unanswered(typed: Drive, refusal: str) -> Answered:
    return Answered(
        {"club_speed_mph": typed.club_speed, **UNANSWERED, **reaching_of(None, None), "note": refusal}, "", refusal
    )


def read_asked(place: Mapping[str, str | None], units: Units) -> Asked:
    """Read typed conditions: those of `read_place`, and turf.

    Raises
    ------
    UserError
        If they can't be used.
    """
    found = read_place({name: text for name, text in place.items() if name != "turf"}, units)
    return Asked(
        altitude_m=found.get("altitude"),
        temp_c=found.get("temperature"),
        wind_mph=found.get("wind"),
        turf=read_turf(place.get("turf")),
        pressure_hpa=found.get("pressure"),
    )


def known_of(asked: Asked) -> dict[str, float | None]:
    """Give conditions by the names under which they are typed."""
    return {
        "altitude": asked.altitude_m,
        "pressure": asked.pressure_hpa,
        "temperature": asked.temp_c,
        "wind": asked.wind_mph,
    }


def units_of(frontier: Frontier, metric: bool | None) -> Units:
    """Give the units of a command: those asked for, else the study's."""
    if metric is None:
        return METRIC if frontier.units == METRIC.distance else IMPERIAL
    return METRIC if metric else IMPERIAL
