"""Reading a study's results for a lookup, and the answer as a small table (an edge module)."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.frontier_here import frontier_in
from pipeline.benchmark.run_and_conditions import Conditions, Place
from pipeline.edge.artefacts import read_artefact
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, FittedModel
from pipeline.flight.calibrate import Calibration, StudyFlight
from pipeline.physics.air import Air, pressure_at
from pipeline.physics.turf import FIRMNESS
from pipeline.units import MPS_PER_MPH

RESULTS = Path("results")
FRONTIER = Path("benchmarks/frontier.json")
CALIBRATION = Path("flight/calibration.json")


def find_results(given: Path | None) -> Path:
    """Give the folder of a study's results: the given one, else the newest below results/.

    Raises
    ------
    UserError
        If there are none.
    """
    if given is not None:
        if not (given / FRONTIER).is_file():
            raise UserError(
                f"{given}: holds no benchmarks; give a study's folder below results/, or run snakemake first."
            )
        return given
    made = [path.parent.parent for path in RESULTS.glob(f"*/{FRONTIER}")]
    if not made:
        raise UserError("results: holds no study's benchmarks; run snakemake first, or give the folder by --results.")
    return max(made, key=lambda folder: ((folder / FRONTIER).stat().st_mtime_ns, folder.name))


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


def read_results(folder: Path, asked: Asked) -> StudyResults:
    """Read what a lookup needs.

    Raises
    ------
    UserError
        If a file is missing or not what the workflow writes.
    """
    frontier = read_artefact(folder / FRONTIER, Frontier)
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
    if asked == Asked():
        return Place(kept.ball, standard, standard)
    pressure = air["pressure_hpa"] * 100 if asked.pressure_hpa is None else asked.pressure_hpa * 100
    if asked.altitude_m is not None:
        pressure = float(pressure_at(np.array(asked.altitude_m)))
    temp = air["temp_c"] if asked.temp_c is None else asked.temp_c
    here = Conditions(
        Air.of(np.array(temp), np.array(pressure), np.array(air["humidity"])),
        (asked.wind_mph or 0.0) * MPS_PER_MPH,
        FIRMNESS[asked.turf or turf],
    )
    return Place(kept.ball, standard, here)


def answer_table(
    study: str, answer: dict[str, Any], given: dict[str, tuple[float | None, str]], turf: str | None = None
) -> str:
    """Write an answer as a small table.

    Parameters
    ----------
    study : str
    answer : dict
        From `look_up`.
    given : dict
        What was given beside club speed: name to value and unit; a null value is left out.
    turf : str, optional
        Firmness that was asked for.
    """
    asked = [f"club speed {answer['club_speed_mph']:g} mph"]
    asked += [f"{name} {value:g} {unit}" for name, (value, unit) in given.items() if value is not None]
    asked += [f"{turf} turf"] if turf else []
    lines = [f"{study}: {', '.join(asked)}"]
    if not answer["supported"]:
        return "\n".join([*lines, f"  {answer['note']}"])
    most_drives = f"9 drives in 10 land between {_range(answer, 'expected', 'and')}"
    interval = f"90 % interval: {_range(answer, 'efficient', 'to')}"
    rows = [
        ("expected carry", _yards(answer, "expected_carry_yd"), most_drives),
        ("efficient carry", _yards(answer, "efficient_carry_yd"), interval),
        ("expected total", _yards(answer, "expected_total_yd"), "carry and roll"),
        ("efficient total", _yards(answer, "efficient_total_yd"), "carry and roll"),
        ("yards available", _yards(answer, "yards_available_yd"), "of carry"),
    ]
    lines += [f"  {name:<17}{value:>8}   {remark}".rstrip() for name, value, remark in rows]
    if answer["launch_window_deg"] is None:
        return "\n".join([*lines, "  no efficient window at this speed"])
    launch, spin = answer["launch_window_deg"], answer["spin_window_rpm"]
    window = f"launch {launch[0]:.1f} to {launch[1]:.1f} deg, spin {spin[0]:.0f} to {spin[1]:.0f} rpm"
    return "\n".join([*lines, f"  {'efficient window':<17}{window}"])


def _yards(answer: dict[str, Any], name: str) -> str:
    return f"{answer[name]:.0f} yd"


def _range(answer: dict[str, Any], name: str, between: str) -> str:
    return f"{answer[f'{name}_lo90_yd']:.0f} {between} {answer[f'{name}_hi90_yd']:.0f} yd"
