"""One goal of one golfer or drive: what it takes, in the air, wind and on the turf asked for."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipeline.benchmark.run_and_conditions import Place
from pipeline.coach.goals.goal_notes import goal_notes, goal_refusal
from pipeline.coach.goals.needed_speed import (
    DistanceCurve,
    Present,
    needed_efficient,
    needed_present,
    reach_words,
    shares,
)
from pipeline.coach.goals.pace import TIMES, Gain, quarters_to_goal, step_to
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90
from pipeline.texts.sentences import Sentence

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
    """

    goal_yd: float
    carry: bool = False
    club_speed_mph: float | None = None
    launch_deg: float | None = None
    spin_rpm: float | None = None
    ball_speed_mph: float | None = None

    @property
    def delivery(self) -> tuple[float | None, float | None, float | None]:
        """What is known of the delivery."""
        return self.ball_speed_mph, self.launch_deg, self.spin_rpm


@dataclass(frozen=True)
class Study:
    """What a goal needs of a study's results.

    Attributes
    ----------
    name : str
    model : CarryModel
    coefficients : ndarray, shape (replicates, terms)
        See `Present.slope_error_yd`.
    curve : DistanceCurve
        Of the place.
    place : Place
    gain : Gain or None
        The pace of golfers here.
    """

    name: str
    model: CarryModel
    coefficients: Array
    curve: DistanceCurve
    place: Place
    gain: Gain | None


def present_of_drive(study: Study, wish: Wish) -> tuple[Sentence | None, Present | None]:
    """Give a remark, and what one drive does now at standard conditions, as far as it is known."""
    if wish.club_speed_mph is None or all(value is None for value in wish.delivery):
        return None, None
    model, club = study.model, np.array([wish.club_speed_mph])
    ball, launch, spin = (np.array([np.nan if value is None else value]) for value in wish.delivery)
    drive = model.with_usual(Delivery(club, ball / club, launch, spin))
    refusal = study.curve.frontier.refusal(drive.one(0), model.usual_at(club).one(0))
    if refusal is not None:
        return Sentence("notes", "unlike_drives", {"speed_mph": wish.club_speed_mph}), None
    used = model.by_ball_speed and wish.ball_speed_mph is not None
    lo, hi = model.interval[known_key(used, wish.launch_deg is not None, wish.spin_rpm is not None)]
    carry = model.expected(drive)
    present = Present(drive, carry, carry * (1 + lo), carry * (1 + hi), np.zeros(1))
    return Sentence("notes", "one_drive_today"), present


def present_at(study: Study, present: Present, club_speed_mph: float) -> Present:
    """Give what a golfer does now as it would be at another club speed."""
    there = np.array([club_speed_mph])
    grown = there / present.club_speed_mph
    carry = present.carry_at(study.model, there)
    lo, hi = (carry + (edge - present.carry_yd) * grown for edge in (present.lo90_yd, present.hi90_yd))
    return replace(
        present,
        drive=present.drive.at(there),
        carry_yd=carry,
        lo90_yd=lo,
        hi90_yd=hi,
        shared_yd=present.shared_yd * grown,
        lasting_yd=present.lasting_yd * grown,
    )


def plan_one(study: Study, wish: Wish, present: Present | None) -> dict[str, Any]:
    """Plan one goal.

    Parameters
    ----------
    study : Study
    wish : Wish
    present : Present or None
        Of one golfer, at standard conditions.

    Returns
    -------
    dict
        goal_yd, distance (carry or total), club_speed_mph; each with its 90 % interval (`_lo90_`, `_hi90_`) present_yd,
        efficient_yd (at today's speed), gap_yd, delivery_yd, speed_yd, efficient_speed_mph and present_speed_mph;
        quarters that the speed takes at the pace of golfers here, with quarters_lo90 and quarters_hi90; reach (a word
        of `pipeline.tables.goals.REACHES`), supported, note. What isn't known is None, `supported` is false where not
        even the speed with an efficient delivery is known, and `note` says why.
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
        **dict.fromkeys(TIMES, np.full(1, np.nan)),
    }
    reach = None
    if present is not None:
        present, added, added_now = _in_place(study, present, carry=wish.carry)
        now, least, most = (carry + added_now for carry in (present.carry_yd, present.lo90_yd, present.hi90_yd))
        speeds = needed_present(study.model, study.coefficients, curve, present, goal, added)
        run = present.run_below_yd, present.run_above_yd
        found |= _with_edges(
            "present", "yd", (now, now - np.hypot(now - least, run[0]), now + np.hypot(most - now, run[1]))
        )
        found |= shares(curve, club, now, least, most, goal, lasting_yd=present.lasting_yd, run_yd=run)
        found |= _with_edges("present_speed", "mph", speeds)
        # The luck of today's speed isn't known here: golfers.csv doesn't have it, and a typed speed is taken as it is.
        step = step_to(club, 0.0, _edges_of(found, "efficient_speed"), speeds)
        found |= dict(zip(TIMES, quarters_to_goal(step, found["gap_yd"], found["speed_yd"], study.gain), strict=True))
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
    refusal = goal_refusal(curve, answer)
    return answer | {"note": refusal or " ".join(note.text() for note in goal_notes(curve, answer)) or None}


def _with_edges(name: str, unit: str, values: tuple[Array, ...]) -> dict[str, Array]:
    return {f"{name}_{edge}{unit}": value for edge, value in zip(EDGES, values, strict=True)}


def _edges_of(found: dict[str, Array], name: str) -> tuple[Array, Array, Array]:
    value, lo, hi = (found[f"{name}_{edge}mph"] for edge in EDGES)
    return value, lo, hi


def _in_place(study: Study, present: Present, *, carry: bool) -> tuple[Present, Array, Array]:
    """Give the present typical drive in the study's place.

    Returns
    -------
    tuple
        The golfer, with an interval that has what the move to another air isn't sure of, and unless the goal is carry
        the doubt of the run; what the place, and roll unless the goal is carry, add to carry at each speed of the
        benchmarks, shape (1, m), and at today's, shape (1,), yd.
    """
    place = study.place
    drives = present.drive.at(np.append(study.curve.speeds_mph, present.club_speed_mph))
    ball = drives.club_speed_mph * study.model.ratio(drives)
    delivery = np.broadcast_arrays(drives.launch_deg, drives.spin_rpm, ball)[:2]
    change, landing = place.change_and_landing(ball, *delivery)
    unsure = Z90 * study.curve.frontier.moved_share * change[-1:]
    lo, hi = (
        present.carry_yd + side * np.hypot(edge - present.carry_yd, unsure)
        for side, edge in ((-1, present.lo90_yd), (1, present.hi90_yd))
    )
    there = replace(present, lo90_yd=lo, hi90_yd=hi)
    if carry:
        return there, change[None, :-1], change[-1:]
    run, run_lo, run_hi = place.run_interval_yd(landing)
    below, above = (run - run_lo)[-1:], (run_hi - run)[-1:]
    added = change + run
    return replace(there, run_below_yd=below, run_above_yd=above), added[None, :-1], added[-1:]
