"""Reading a study's results for one goal, and the answer in plain words (an edge module)."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.lookup_command import Asked, read_results
from pipeline.benchmark.run_and_conditions import Place
from pipeline.coach.goals.needed_speed import (
    PRESENT_COLUMNS,
    DistanceCurve,
    Present,
    needed_efficient,
    needed_present,
    reach_words,
    shares,
)
from pipeline.edge.artefacts import read_arrays
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.physics.trajectory import RPM, Launch, fly
from pipeline.physics.turf import run_m
from pipeline.statistics.arrays import Array
from pipeline.texts.catalogue import told
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

GOLFERS = Path("golfers/golfers.csv")
REPLICATES = "replicates.npz"
TEXTS = ("golfer", "quarter", "status", "note")
USED: dict[str, Any] = dict.fromkeys(TEXTS, pl.String) | dict.fromkeys(PRESENT_COLUMNS, pl.Float64)
EDGES = ("", "lo90_", "hi90_")


@dataclass(frozen=True)
class Wish:
    """A goal as asked for; null is what isn't known.

    Attributes
    ----------
    goal_yd : float
    carry : bool
        Whether the goal is carry; else carry and roll together.
    club_speed_mph, launch_deg, spin_rpm, ball_speed_mph : float or None
        Of the golfer's drive now.
    golfer : str or None
        A pseudonym of golfers.csv, whose newest quarter stands for the drive.
    """

    goal_yd: float
    carry: bool = False
    club_speed_mph: float | None = None
    launch_deg: float | None = None
    spin_rpm: float | None = None
    ball_speed_mph: float | None = None
    golfer: str | None = None

    @property
    def delivery(self) -> tuple[float | None, float | None, float | None]:
        """What is known of the delivery."""
        return self.ball_speed_mph, self.launch_deg, self.spin_rpm


@dataclass(frozen=True)
class Study:
    """What a goal needs of a study's results."""

    name: str
    model: CarryModel
    coefficients: Array
    curve: DistanceCurve
    place: Place


def answer_goal(folder: Path, wish: Wish) -> tuple[str, dict[str, Any]]:
    """Answer a goal from a study's results.

    Parameters
    ----------
    folder : Path
        See `pipeline.benchmark.lookup_command.find_results`.
    wish : Wish

    Returns
    -------
    tuple of str and dict
        The study's name; the answer of `plan_one` with the golfer's pseudonym and quarter.

    Raises
    ------
    UserError
        If the results can't be read, there is no such golfer, or what is given doesn't go together.
    """
    _check(wish)
    study = _read(folder, wish.carry)
    quarter, note, present = _present(folder, wish, study)
    answer = plan_one(study, wish, present)
    notes = [text for text in (note, answer["note"]) if text]
    return study.name, {"golfer": wish.golfer, "quarter": quarter} | answer | {"note": "; ".join(notes) or None}


def _check(wish: Wish) -> None:
    some = any(value is not None for value in wish.delivery)
    if wish.golfer is not None and some:
        raise UserError("--golfer brings a delivery of its own; leave out --launch, --spin and --ball-speed.")
    if some and wish.club_speed_mph is None:
        raise UserError("a delivery needs its club speed; give --speed too.")


def _read(folder: Path, carry: bool) -> Study:
    found = read_results(folder, Asked())
    curve = (DistanceCurve.of_carry if carry else DistanceCurve.of_total)(found.frontier)
    refits = read_arrays(found.model_path.with_name(REPLICATES))["coefficients"]
    return Study(found.frontier.study, found.model, refits, curve, found.place)


def _present(folder: Path, wish: Wish, study: Study) -> tuple[str | None, str | None, Present | None]:
    """Give the golfer's quarter, a remark, and what the golfer does now, as far as it is known."""
    if wish.golfer is not None:
        return _of_golfer(folder, wish, study)
    if wish.club_speed_mph is None or all(value is None for value in wish.delivery):
        return None, None, None
    model, club = study.model, np.array([wish.club_speed_mph])
    ball, launch, spin = (np.array([np.nan if value is None else value]) for value in wish.delivery)
    drive = model.with_usual(Delivery(club, ball / club, launch, spin))
    if not study.curve.frontier.holds(drive)[0]:
        return None, f"hardly any drive near {wish.club_speed_mph:g} mph is like this one", None
    used = model.by_ball_speed and wish.ball_speed_mph is not None
    lo, hi = model.interval[known_key(used, wish.launch_deg is not None, wish.spin_rpm is not None)]
    carry = model.expected(drive)
    present = Present(drive, carry, carry * (1 + lo), carry * (1 + hi), np.zeros(1))
    return None, "today's yards are those of one drive; 9 in 10 fall inside the interval", present


def _of_golfer(folder: Path, wish: Wish, study: Study) -> tuple[str | None, str | None, Present | None]:
    rows = _rows_of(folder / GOLFERS, wish.golfer or "")
    if rows.is_empty():
        raise UserError(f"{folder / GOLFERS}: has no golfer with this pseudonym; copy one from its first column.")
    row = rows.sort("quarter").tail(1)
    quarter = str(row.get_column("quarter").item())
    if row.get_column("status").item() == "not_assessed":
        return quarter, f"not assessed in {quarter}: {row.get_column('note').item()}", None
    present = Present.of(row, study.curve.frontier, study.model)
    if wish.club_speed_mph is None:
        return quarter, None, present
    there = np.array([wish.club_speed_mph])
    grown = there / present.club_speed_mph
    carry = present.carry_at(study.model, there)
    lo, hi = (carry + (edge - present.carry_yd) * grown for edge in (present.lo90_yd, present.hi90_yd))
    moved = replace(
        present,
        drive=present.drive.at(there),
        carry_yd=carry,
        lo90_yd=lo,
        hi90_yd=hi,
        shared_yd=present.shared_yd * grown,
        lasting_yd=present.lasting_yd * grown,
    )
    return quarter, f"at {there[0]:g} mph with the delivery of {quarter}", moved


def _rows_of(path: Path, golfer: str) -> pl.DataFrame:
    """Read a golfer's rows; without the table's schema, whose import would take half of the answer's time."""
    try:
        table = pl.read_csv(path, columns=list(USED), schema_overrides=USED)
    except (OSError, pl.exceptions.PolarsError):
        raise UserError(f"{path}: can't be read; delete it and run snakemake again.") from None
    return table.filter(pl.col("golfer") == golfer)


def plan_one(study: Study, wish: Wish, present: Present | None) -> dict[str, Any]:
    """Plan one goal.

    Parameters
    ----------
    study : Study
    wish : Wish
    present : Present or None
        Of one golfer.

    Returns
    -------
    dict
        goal_yd, distance (carry or total), club_speed_mph; each with its 90 % interval (`_lo90_`, `_hi90_`) present_yd,
        efficient_yd (at today's speed), gap_yd, delivery_yd, speed_yd, efficient_speed_mph and present_speed_mph;
        reach (a word of `pipeline.tables.goals.REACHES`), supported, note. What isn't known is None, `supported` is
        false where not even the speed with an efficient delivery is known, and `note` says why.
    """
    curve, goal = study.curve, np.array([wish.goal_yd])
    club = present.club_speed_mph if present is not None else np.array([wish.club_speed_mph or np.nan])
    lasting = np.zeros(1) if present is None else present.lasting_yd
    found: dict[str, Array] = {
        **_with_edges("present", "yd", (np.full(1, np.nan),) * 3),
        **_with_edges("efficient", "yd", tuple(curve.at(v, club) for v in (curve.yards, curve.lo90_yd, curve.hi90_yd))),
        **{f"{name}_{edge}yd": np.full(1, np.nan) for name in ("gap", "delivery", "speed") for edge in EDGES},
        **_with_edges("efficient_speed", "mph", needed_efficient(curve, goal, lasting)),
        **_with_edges("present_speed", "mph", (np.full(1, np.nan),) * 3),
    }
    reach = None
    if present is not None:
        run, run_here = (None, np.zeros(1)) if wish.carry else _runs(study, present)
        now, least, most = (carry + run_here for carry in (present.carry_yd, present.lo90_yd, present.hi90_yd))
        speeds = needed_present(study.model, study.coefficients, curve, present, goal, run)
        found |= _with_edges("present", "yd", (now, least, most)) | shares(
            curve, club, now, least, most, goal, lasting_yd=present.lasting_yd
        )
        found |= _with_edges("present_speed", "mph", speeds)
        named = (found[name] for name in ("gap_yd", "delivery_yd", "speed_yd", "efficient_speed_mph"))
        reach = str(reach_words(goal, *named)[0])
    plain = {name: None if np.isnan(values[0]) else float(values[0]) for name, values in found.items()}
    supported = plain["efficient_speed_mph"] is not None
    answer = {
        "goal_yd": wish.goal_yd,
        "distance": "carry" if wish.carry else "total",
        "club_speed_mph": None if np.isnan(club[0]) else float(club[0]),
        **plain,
        "reach": reach,
        "supported": supported,
    }
    return answer | {"note": "; ".join(_notes(study, answer, present)) or None}


def _with_edges(name: str, unit: str, values: tuple[Array, ...]) -> dict[str, Array]:
    return {f"{name}_{edge}{unit}": value for edge, value in zip(EDGES, values, strict=True)}


def _runs(study: Study, present: Present) -> tuple[Array, Array]:
    """Give the run of the present typical drive at each speed of the benchmarks, shape (1, m), and at today's, yd."""
    drives = present.drive.at(np.append(study.curve.speeds_mph, present.club_speed_mph))
    ball = drives.club_speed_mph * study.model.ratio(drives)
    standard = study.place.standard
    shots = Launch.straight(ball * MPS_PER_MPH, present.drive.launch_deg[0], present.drive.spin_rpm[0])
    landing = fly(shots, study.place.ball, standard.air)
    run = run_m(landing.speed_mps, landing.descent_deg, landing.spin_rpm * RPM, standard.turf) / METRES_PER_YARD
    return run[None, :-1], run[-1:]


def _notes(study: Study, answer: dict[str, Any], present: Present | None) -> list[str]:
    notes = []
    speeds = study.curve.speeds_mph
    if len(speeds) == 0:
        return [told("refusals", "no_benchmarks")]
    if not answer["supported"]:
        most = study.curve.yards.max()
        if answer["goal_yd"] > most:
            notes.append(
                f"out of reach here: the data end at {speeds[-1]:g} mph, where an efficient drive goes {most:.0f} yd"
            )
        else:
            notes.append(f"the data don't show the club speed for it: they begin at {speeds[0]:g} mph")
    if answer["club_speed_mph"] is not None and answer["efficient_yd"] is None:
        notes.append(f"the data reach club speeds from {speeds[0]:g} to {speeds[-1]:g} mph, so the gap can't be split")
    if present is not None and answer["present_speed_mph"] is None:
        notes.append("no speed for today's delivery: too few golfers here have both that speed and that delivery")
    open_ends = [
        answer[f"{name}_mph"] is not None and None in (answer[f"{name}_lo90_mph"], answer[f"{name}_hi90_mph"])
        for name in ("efficient_speed", "present_speed")
    ]
    if any(open_ends):
        notes.append("an interval without an end goes beyond the data")
    if answer["distance"] == "total":
        notes.append("roll is calculated for the study's turf; the interval doesn't cover its error")
    return notes


def goal_text(study: str, answer: dict[str, Any]) -> str:
    """Write an answer as a small table with a sentence.

    Parameters
    ----------
    study : str
    answer : dict
        From `answer_goal`.
    """
    kind = "carry" if answer["distance"] == "carry" else "carry and roll"
    head = [f"goal {answer['goal_yd']:g} yd of {kind}"]
    if answer["golfer"] is not None:
        head.append(f"{answer['golfer']}, {answer['quarter']}")
    if answer["club_speed_mph"] is not None:
        head.append(f"club speed {answer['club_speed_mph']:.1f} mph")
    rows = [
        ("today", "present", "yd", ""),
        ("efficient today", "efficient", "yd", ""),
        ("gap to the goal", "gap", "yd", ""),
        ("  by delivery", "delivery", "yd", ""),
        ("  by speed", "speed", "yd", ""),
        ("speed, efficient", "efficient_speed", "mph", _more(answer, "efficient_speed_mph")),
        ("speed, as now", "present_speed", "mph", _more(answer, "present_speed_mph")),
    ]
    lines = [_row(answer, *row) for row in rows if answer[f"{row[1]}_{row[2]}"] is not None]
    tail = [text for text in (_sentence(answer), answer["note"]) if text]
    return "\n".join([f"{study}: {', '.join(head)}", *lines, *(f"  {text}" for text in tail)])


def _row(answer: dict[str, Any], label: str, name: str, unit: str, remark: str) -> str:
    value, lo, hi = (answer[f"{name}_{edge}{unit}"] for edge in EDGES)
    digits = 0 if unit == "yd" else 1
    edges = ["..." if edge is None else f"{edge:.{digits}f}" for edge in (lo, hi)]
    return f"  {label:<17}{value:>7.{digits}f} {unit:<5}90 % interval: {edges[0]} to {edges[1]} {unit}{remark}"


def _more(answer: dict[str, Any], name: str) -> str:
    if answer[name] is None or answer["club_speed_mph"] is None:
        return ""
    step = answer[name] - answer["club_speed_mph"]
    return f"; {abs(step):.1f} mph {'more' if step > 0 else 'less'} than today"


def _sentence(answer: dict[str, Any]) -> str | None:
    reach, goal, efficient = answer["reach"], answer["goal_yd"], answer["efficient_yd"]
    if reach == "reached":
        return f"The mean drive already goes the distance, with {-answer['gap_yd']:.0f} yd to spare."
    if reach == "delivery":
        return "An efficient delivery goes the distance at today's club speed."
    if reach == "both":
        return (
            f"Delivery can give {answer['delivery_yd']:.0f} yd of the gap at today's club speed; the other "
            f"{answer['speed_yd']:.0f} yd take {answer['efficient_speed_mph'] - answer['club_speed_mph']:.1f} mph more."
        )
    if reach == "speed":
        return "The delivery has nothing left to give: only more club speed helps."
    if reach is None and efficient is not None:
        short = goal - efficient
        told = f"{short:.0f} yd short" if short > 0 else "which is enough"
        return (
            f"An efficient delivery at {answer['club_speed_mph']:.1f} mph goes {efficient:.0f} yd, {told}. Today's "
            "delivery isn't known: give --launch, --spin and --ball-speed, or --golfer."
        )
    return None
