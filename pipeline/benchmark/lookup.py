"""The coach's question: how far at this club speed, and perhaps this delivery, and how far could it be."""

from typing import Any

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.landing import EfficientLandings
from pipeline.benchmark.run_and_conditions import Place, total_interval_yd
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.statistics.intervals import Z90
from pipeline.texts.catalogue import told

UNANSWERED: dict[str, Any] = {
    "expected_carry_yd": None,
    "expected_lo90_yd": None,
    "expected_hi90_yd": None,
    "expected_total_yd": None,
    "expected_total_lo90_yd": None,
    "expected_total_hi90_yd": None,
    "expected_descent_deg": None,
    "efficient_carry_yd": None,
    "efficient_lo90_yd": None,
    "efficient_hi90_yd": None,
    "efficient_total_yd": None,
    "efficient_total_lo90_yd": None,
    "efficient_total_hi90_yd": None,
    "efficient_descent_deg": None,
    "efficient_launch_deg": None,
    "efficient_spin_rpm": None,
    "efficient_ball_speed_mph": None,
    "best_total_launch_deg": None,
    "best_total_spin_rpm": None,
    "best_total_descent_deg": None,
    "best_total_carry_cost_yd": None,
    "best_total_gain_yd": None,
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
        of that speed really produce the delivery, so that no usual strike of it carries beyond efficient carry. Totals
        have the interval of their carry, and in it what the turf leaves open of the run. Efficient total is the most
        over all reachable deliveries; `best_total_` is the delivery that gives it, what carry it gives up, and how much
        farther in total it goes than the efficient one. Outside the data's reach `supported` is false, every figure is
        null and `note` says why.
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
    efficient = _efficient(model, frontier, place, club_speed_mph)
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
    """Give expected carry and total with their intervals, and the descent, at the place's conditions."""
    at_standard = float(model.expected(drive))
    ball = np.atleast_1d(drive.club_speed_mph * model.ratio(drive))
    added, landing = place.change_and_landing(ball, np.atleast_1d(drive.launch_deg), np.atleast_1d(drive.spin_rpm))
    change, descent = float(added[0]), float(landing.descent_deg[0])
    carry, unsure = at_standard + change, Z90 * moved_share * change
    lo, hi = (at_standard * edge for edge in model.interval[known])
    interval = carry, carry - float(np.hypot(lo, unsure)), carry + float(np.hypot(hi, unsure))
    run = place.run_interval_yd(landing)
    total = carry + run[0]
    total_lo, total_hi = total_interval_yd(total, interval, run)
    return {
        **dict(zip(("expected_carry_yd", "expected_lo90_yd", "expected_hi90_yd"), interval, strict=True)),
        "expected_total_yd": float(total[0]),
        "expected_total_lo90_yd": float(total_lo[0]),
        "expected_total_hi90_yd": float(total_hi[0]),
        "expected_descent_deg": descent,
    }


def _efficient(model: CarryModel, frontier: Frontier, place: Place, club_speed_mph: float) -> dict[str, float]:
    """Give efficient carry and total with their intervals, the deliveries that give them, and the strike."""
    names = ("carry_yd", "lo90_yd", "hi90_yd", "total_yd")
    found = {f"efficient_{name}": float(frontier.at(name, club_speed_mph)) for name in names}
    landings = EfficientLandings.of(frontier, model, place)
    found |= {key: float(frontier.at(getattr(landings, name), club_speed_mph)) for key, name in _LANDING.items()}
    best = frontier.best_delivery(club_speed_mph, np.nan)
    ball = float(best.club_speed_mph * model.ratio(best, "better"))
    return found | {
        "efficient_launch_deg": float(best.launch_deg),
        "efficient_spin_rpm": float(best.spin_rpm),
        "efficient_ball_speed_mph": ball,
    }


_LANDING = {
    "efficient_total_lo90_yd": "best_total_lo90_yd",
    "efficient_total_hi90_yd": "best_total_hi90_yd",
    "efficient_descent_deg": "descent_deg",
    "best_total_launch_deg": "best_launch_deg",
    "best_total_spin_rpm": "best_spin_rpm",
    "best_total_descent_deg": "best_descent_deg",
    "best_total_carry_cost_yd": "carry_cost_yd",
    "best_total_gain_yd": "total_gain_yd",
}
