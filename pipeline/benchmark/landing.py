"""How efficient drives land and run in a place, and what the delivery with most total gives and costs."""

from dataclasses import dataclass

import numpy as np

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.run_and_conditions import Place, total_interval_yd
from pipeline.fit.model import CarryModel, Delivery
from pipeline.statistics.arrays import Array

DECLARED = (
    "descent_deg", "run_yd", "run_lo90_yd", "run_hi90_yd", "total_yd", "total_lo90_yd", "total_hi90_yd",
    "best_launch_deg", "best_spin_rpm", "best_descent_deg", "best_carry_yd",
    "best_total_yd", "best_total_lo90_yd", "best_total_hi90_yd", "carry_cost_yd", "total_gain_yd",
)  # fmt: skip


@dataclass(frozen=True)
class EfficientLandings:
    """Landings at a frontier's n club speeds, in its place; all of shape (n,).

    Attributes
    ----------
    descent_deg, run_yd, total_yd : ndarray
        Of the efficient drive, the one with most carry. Run and total have the edges of their 90 % intervals.
    best_launch_deg, best_spin_rpm, best_descent_deg, best_carry_yd, best_total_yd : ndarray
        Of the drive with most total over the same deliveries, struck alike. The total is the frontier's.
    carry_cost_yd, total_gain_yd : ndarray
        What that drive gives up in carry and brings in total, 0 or more.

    Notes
    -----
    A figure between club speeds is interpolated, as all of the frontier are (`Frontier.at`). Carry's part of the
    intervals of both totals is that of efficient carry: the two deliveries lie within one crowd.
    """

    descent_deg: Array
    run_yd: Array
    run_lo90_yd: Array
    run_hi90_yd: Array
    total_yd: Array
    total_lo90_yd: Array
    total_hi90_yd: Array
    best_launch_deg: Array
    best_spin_rpm: Array
    best_descent_deg: Array
    best_carry_yd: Array
    best_total_yd: Array
    best_total_lo90_yd: Array
    best_total_hi90_yd: Array
    carry_cost_yd: Array
    total_gain_yd: Array

    @classmethod
    def of(cls, frontier: Frontier, model: CarryModel, place: Place) -> "EfficientLandings":
        """Fly the best deliveries of a place's frontier, see `frontier_in`, and let them run."""
        count = len(frontier.speed_mph)
        if count == 0:
            return cls(*(np.zeros(0) for _ in DECLARED))
        launch = np.concatenate([frontier.launch_deg, frontier.total_launch_deg])
        spin = np.concatenate([frontier.spin_rpm, frontier.total_spin_rpm])
        drives = Delivery(np.tile(frontier.speed_mph, 2), np.full(2 * count, np.nan), launch, spin)
        change, landing = place.change_and_landing(drives.club_speed_mph * model.ratio(drives, "better"), launch, spin)
        carry = (model.expected(drives, "better") + change)[count:]
        runs = place.run_interval_yd(landing)
        run, best_run = (tuple(part[half] for part in runs) for half in (slice(count), slice(count, None)))
        of_carry = frontier.carry_yd, frontier.lo90_yd, frontier.hi90_yd
        total = frontier.carry_yd + run[0]
        return cls(
            landing.descent_deg[:count],
            *run,
            total,
            *total_interval_yd(total, of_carry, run),
            frontier.total_launch_deg,
            frontier.total_spin_rpm,
            landing.descent_deg[count:],
            np.minimum(carry, frontier.carry_yd),
            frontier.total_yd,
            *total_interval_yd(frontier.total_yd, of_carry, best_run),
            np.maximum(frontier.carry_yd - carry, 0.0),
            # The frontier's flights are looked up in a table, where a bounce more or less may leave them short.
            np.maximum(frontier.total_yd - total, 0.0),
        )
