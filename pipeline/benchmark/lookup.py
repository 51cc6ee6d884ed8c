"""The coach's question: how far at this club speed, and perhaps this delivery, and how far could it be."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.run_and_conditions import Conditions
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.physics.ball import Ball


@dataclass(frozen=True)
class Place:
    """Where the answer is asked for: the calibrated ball, the study's standard conditions and those of the place."""

    ball: Ball
    standard: Conditions
    here: Conditions

    def change_and_run_yd(
        self, ball_speed_mph: float, launch_deg: float, spin_rpm: float
    ) -> tuple[float, float, float]:
        """Give what the place adds to carry, the run there, and the run at standard conditions, yd."""
        carry, run = self.standard.carry_and_run_yd(self.ball, ball_speed_mph, launch_deg, spin_rpm)
        if self.here is self.standard:
            return 0.0, run, run
        carry_here, run_here = self.here.carry_and_run_yd(self.ball, ball_speed_mph, launch_deg, spin_rpm)
        return carry_here - carry, run_here, run


UNANSWERED: dict[str, Any] = {
    "expected_carry_yd": None,
    "expected_lo90_yd": None,
    "expected_hi90_yd": None,
    "expected_total_yd": None,
    "efficient_carry_yd": None,
    "efficient_lo90_yd": None,
    "efficient_hi90_yd": None,
    "efficient_total_yd": None,
    "yards_available_yd": None,
    "launch_window_deg": None,
    "spin_window_rpm": None,
    "supported": False,
    "note": None,
}


def look_up(
    model: CarryModel,
    frontier: Frontier,
    place: Place,
    club_speed_mph: float,
    launch_deg: float | None = None,
    spin_rpm: float | None = None,
    ball_speed_mph: float | None = None,
) -> dict[str, Any]:
    """Answer a lookup.

    Parameters
    ----------
    model : CarryModel
    frontier : Frontier
    place : Place
    club_speed_mph : float
    launch_deg, spin_rpm, ball_speed_mph : float, optional
        What is not given is taken as usual for golfers of that club speed.

    Returns
    -------
    dict
        The keys of the contract: expected carry with the 90 % interval of one drive, efficient carry with its own,
        window, yards available. Outside the data's reach `supported` is false, every number is null and `note`
        says why.
    """
    answer: dict[str, Any] = {"club_speed_mph": club_speed_mph, **UNANSWERED}
    given = (ball_speed_mph, launch_deg, spin_rpm)
    ball, launch, spin = (np.array(np.nan if value is None else value) for value in given)
    drive = model.with_usual(Delivery(np.array(club_speed_mph), ball / club_speed_mph, launch, spin))
    refusal = frontier.refusal(drive)
    if refusal is not None:
        return answer | {"note": refusal}

    used = model.by_ball_speed and ball_speed_mph is not None
    lo, hi = model.interval[known_key(used, launch_deg is not None, spin_rpm is not None)]
    at_standard = float(model.expected(drive))
    change, run, _ = _in_place(place, drive, float(model.ratio(drive)))
    expected = at_standard + change
    efficient = _efficient(model, frontier, place, club_speed_mph)
    window = frontier.window_at(club_speed_mph)
    notes = ["expected is one drive; 9 in 10 fall inside its interval"]
    if ball_speed_mph is not None and not used:
        notes.append("ball speed was not used: the model is over club speed")
    if window is None:
        notes.append("no efficient window at this speed")
    if place.here is not place.standard:
        notes.append("carry and roll are for the conditions you gave; the window is for standard conditions")
    return answer | {
        "expected_carry_yd": expected,
        "expected_lo90_yd": expected + at_standard * lo,
        "expected_hi90_yd": expected + at_standard * hi,
        "expected_total_yd": expected + run,
        **efficient,
        "yards_available_yd": efficient["efficient_carry_yd"] - expected,
        "launch_window_deg": None if window is None else [window.launch_lo_deg, window.launch_hi_deg],
        "spin_window_rpm": None if window is None else [window.spin_lo_rpm, window.spin_hi_rpm],
        "supported": True,
        "note": "; ".join(notes),
    }


def _in_place(place: Place, drive: Delivery, speed_ratio: float) -> tuple[float, float, float]:
    """Give what the place adds to the carry of one drive, its run there, and its run at standard conditions, yd."""
    ball = float(drive.club_speed_mph) * speed_ratio
    return place.change_and_run_yd(ball, float(drive.launch_deg), float(drive.spin_rpm))


def _efficient(model: CarryModel, frontier: Frontier, place: Place, club_speed_mph: float) -> dict[str, float]:
    """Give efficient carry with its interval, and efficient total, at the place's conditions."""
    best = frontier.best_delivery(club_speed_mph, np.nan)
    ratio = float(model.ratio(best, "better"))
    change, _, _ = _in_place(place, best, ratio)
    launch, spin = (frontier.at(name, club_speed_mph) for name in ("total_launch_deg", "total_spin_rpm"))
    for_total = Delivery(best.club_speed_mph, best.speed_ratio, launch, spin)
    total_change, run, standard_run = _in_place(place, for_total, ratio)
    edges = {"carry": "carry_yd", "lo90": "lo90_yd", "hi90": "hi90_yd"}
    found = {
        f"efficient_{name}_yd": float(frontier.at(column, club_speed_mph)) + change for name, column in edges.items()
    }
    total = float(frontier.at("total_yd", club_speed_mph)) + total_change + run - standard_run
    return found | {"efficient_total_yd": total}
