"""The coach's question: how far at this club speed, and perhaps this delivery, and how far could it be."""

from typing import Any

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.run_and_conditions import Place
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.statistics.intervals import Z90
from pipeline.texts.catalogue import told

UNANSWERED: dict[str, Any] = {
    "expected_carry_yd": None,
    "expected_lo90_yd": None,
    "expected_hi90_yd": None,
    "expected_total_yd": None,
    "efficient_carry_yd": None,
    "efficient_lo90_yd": None,
    "efficient_hi90_yd": None,
    "efficient_total_yd": None,
    "efficient_launch_deg": None,
    "efficient_spin_rpm": None,
    "efficient_ball_speed_mph": None,
    "yards_available_yd": None,
    "launch_window_deg": None,
    "spin_window_rpm": None,
    "in_reach": None,
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
        Of the place, see `frontier_in`.
    place : Place
    club_speed_mph : float
    launch_deg, spin_rpm, ball_speed_mph : float, optional
        What is not given is taken as usual for golfers of that club speed.

    Returns
    -------
    dict
        The keys of the contract: expected carry with the 90 % interval of one drive, efficient carry with its own,
        window, yards available; the best delivery and the ball speed of a better strike; `in_reach`: whether golfers
        of that speed really produce the delivery, so that no usual strike of it carries beyond efficient carry. Outside
        the data's reach `supported` is false, every figure is null and `note` says why.
    """
    answer: dict[str, Any] = {"club_speed_mph": club_speed_mph, **UNANSWERED}
    given = (ball_speed_mph, launch_deg, spin_rpm)
    ball, launch, spin = (np.array(np.nan if value is None else value) for value in given)
    asked = Delivery(np.array(club_speed_mph), ball / club_speed_mph, launch, spin)
    drive = model.with_usual(asked)
    refusal = frontier.refusal(drive, model.usual_at(drive.club_speed_mph))
    if refusal is not None:
        return answer | {"note": refusal.sentence()}

    used = model.by_ball_speed and ball_speed_mph is not None
    known = known_key(used, launch_deg is not None, spin_rpm is not None)
    efficient = _efficient(model, frontier, club_speed_mph)
    expected = _expected(model, place, drive, known, frontier.moved_share)
    window = frontier.window_at(club_speed_mph)
    notes = {
        "one_drive": True,
        "ball_unused": ball_speed_mph is not None and not used,
        "no_window": window is None,
        "conditions": not place.is_standard,
    }
    return answer | {
        **expected,
        **efficient,
        "yards_available_yd": efficient["efficient_carry_yd"] - expected["expected_carry_yd"],
        "launch_window_deg": None if window is None else [window.launch_lo_deg, window.launch_hi_deg],
        "spin_window_rpm": None if window is None else [window.spin_lo_rpm, window.spin_hi_rpm],
        "in_reach": bool(frontier.reachable(drive)),
        "supported": True,
        "note": " ".join(told("notes", key) for key, holds in notes.items() if holds),
    }


def _expected(model: CarryModel, place: Place, drive: Delivery, known: str, moved_share: float) -> dict[str, float]:
    """Give expected carry with its interval, and expected total, at the place's conditions."""
    at_standard = float(model.expected(drive))
    ball = np.atleast_1d(drive.club_speed_mph * model.ratio(drive))
    found = place.change_and_run_yd(ball, np.atleast_1d(drive.launch_deg), np.atleast_1d(drive.spin_rpm))
    change, run = (float(part[0]) for part in found)
    carry, unsure = at_standard + change, Z90 * moved_share * change
    lo, hi = (at_standard * edge for edge in model.interval[known])
    return {
        "expected_carry_yd": carry,
        "expected_lo90_yd": carry - float(np.hypot(lo, unsure)),
        "expected_hi90_yd": carry + float(np.hypot(hi, unsure)),
        "expected_total_yd": carry + run,
    }


def _efficient(model: CarryModel, frontier: Frontier, club_speed_mph: float) -> dict[str, float]:
    """Give efficient carry with its interval, efficient total, and the delivery and strike that give the carry."""
    names = ("carry_yd", "lo90_yd", "hi90_yd", "total_yd")
    found = {f"efficient_{name}": float(frontier.at(name, club_speed_mph)) for name in names}
    best = frontier.best_delivery(club_speed_mph, np.nan)
    ball = float(best.club_speed_mph * model.ratio(best, "better"))
    return found | {
        "efficient_launch_deg": float(best.launch_deg),
        "efficient_spin_rpm": float(best.spin_rpm),
        "efficient_ball_speed_mph": ball,
    }
