"""What is efficient in the air, wind and on the turf that somebody asks about: the same reachable deliveries there.

A ball that is best in calm air isn't best in wind: with a head wind less spin and a lower launch lose less. So nothing
of the standard optimum is kept but who can reach what.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipeline.benchmark.efficient import best_on_grid
from pipeline.benchmark.flown_grid import FlownGrid
from pipeline.benchmark.frontier import WINDOW_EDGES, Frontier
from pipeline.benchmark.run_and_conditions import Place
from pipeline.benchmark.window import Window, largest_window
from pipeline.fit.model import CarryModel, Delivery
from pipeline.statistics.arrays import Array, Flags
from pipeline.statistics.intervals import Z90

# What the looked-up flights may be off by, which a window's promise has to allow for; see `FlownGrid`.
LOOKED_UP_YD = 0.1


@dataclass(frozen=True)
class _Found:
    """Of one club speed: the best delivery's launch, deg, spin, rpm, and its window, for carry or for total."""

    launch_deg: float
    spin_rpm: float
    window: Window | None


def frontier_in(frontier: Frontier, model: CarryModel, place: Place) -> Frontier:
    """Give the frontier of a place: every column that its air, wind and turf change is worked out there.

    Parameters
    ----------
    frontier : Frontier
        At standard conditions.
    model : CarryModel
    place : Place

    Returns
    -------
    Frontier
        The same one if the place has standard conditions. The best deliveries are flown one by one, so that efficient
        carry is what `look_up` expects of them when struck as the better quarter strike. Intervals widen by what the
        move to that air isn't sure of.
    """
    if place.is_standard or len(frontier.speed_mph) == 0:
        return frontier
    reach, better = frontier.reach, model.usual_at(frontier.speed_mph)
    ball = frontier.speed_mph * model.ratio(better, "better")
    flown = FlownGrid.of(place, ball, reach.launch_deg, reach.spin_rpm)
    carries, totals = _best_deliveries(frontier, model, flown, ball)
    return _with(frontier, model, place, ball, carries, totals)


def _best_deliveries(
    frontier: Frontier, model: CarryModel, flown: FlownGrid, ball_speed_mph: Array
) -> tuple[list[_Found], list[_Found]]:
    """Look for the largest carry and the largest total at each club speed."""
    reach = frontier.reach
    carry, landings = [], []
    for speed, ball, mask in zip(frontier.speed_mph, ball_speed_mph, reach.masks, strict=True):
        change, landing = flown.on_grid(float(ball), reach.launch_deg, reach.spin_rpm)
        carry.append(model.better_on_grid(float(speed), reach.launch_deg, reach.spin_rpm) + change)
        landings.append(landing[:, mask])
    # Roll is the costly part: it is worked out for reachable deliveries alone, and for all speeds at once.
    run = np.zeros(reach.masks.shape)
    run[reach.masks] = flown.run_yd(np.concatenate(landings, axis=1))
    carries, totals = [], []
    for index, yards in enumerate(carry):
        slack = frontier.tolerance_yd - LOOKED_UP_YD - reach.doubt_at(index)
        carries.append(_best(frontier, index, yards, slack))
        totals.append(_best(frontier, index, yards + run[index], slack))
    return carries, totals


def _best(frontier: Frontier, index: int, yards: Array, slack_yd: Array) -> _Found:
    reach: Flags = frontier.reach.masks[index]
    launch, spin = best_on_grid(reach, yards)
    inside = reach & (yards >= yards[launch, spin] - slack_yd)
    grid = frontier.reach.launch_deg, frontier.reach.spin_rpm
    return _Found(float(grid[0][launch]), float(grid[1][spin]), largest_window(inside, *grid))


def _with(
    frontier: Frontier, model: CarryModel, place: Place, ball: Array, carries: list[_Found], totals: list[_Found]
) -> Frontier:
    carry, carry_run, change = _flown(frontier, model, place, ball, carries)
    farthest, run, _ = _flown(frontier, model, place, ball, totals)
    # Where roll is alike everywhere the flown best of carry may go farther than the looked-up best of total.
    total_by_carry = carry + carry_run >= farthest + run
    pairs = zip(total_by_carry, carries, totals, strict=True)
    for_total = [of_carry if same else of_total for same, of_carry, of_total in pairs]
    moved = frontier.moved_share * np.abs(change)
    edges = (frontier.carry_yd - frontier.lo90_yd, frontier.hi90_yd - frontier.carry_yd)
    below, above = (np.hypot(edge, Z90 * moved) for edge in edges)
    return replace(
        frontier,
        carry_yd=carry,
        lo90_yd=carry - below,
        hi90_yd=carry + above,
        std_error_yd=np.hypot(frontier.std_error_yd, moved),
        launch_deg=np.array([one.launch_deg for one in carries]),
        spin_rpm=np.array([one.spin_rpm for one in carries]),
        total_yd=np.maximum(carry + carry_run, farthest + run),
        total_launch_deg=np.array([one.launch_deg for one in for_total]),
        total_spin_rpm=np.array([one.spin_rpm for one in for_total]),
        **_edges("", carries),
        **_edges("total_", totals),
    )


def _flown(
    frontier: Frontier, model: CarryModel, place: Place, ball: Array, found: list[_Found]
) -> tuple[Array, Array, Array]:
    """Fly best deliveries: carry with a better strike and run, yd, and what the place adds to carry."""
    launch, spin = (np.array([getattr(one, name) for one in found]) for name in ("launch_deg", "spin_rpm"))
    change, run = place.change_and_run_yd(ball, launch, spin)
    drives = Delivery(frontier.speed_mph, np.full_like(ball, np.nan), launch, spin)
    return model.expected(drives, "better") + change, run, change


def _edges(kind: str, found: list[_Found]) -> dict[str, Any]:
    return {
        f"{kind}{name}": np.array([np.nan if one.window is None else getattr(one.window, name) for one in found])
        for name in WINDOW_EDGES
    }
