"""Flights of a place over a grid of ball speed, launch and spin, looked up between by local cubics.

An efficient figure in another air needs the flight of every reachable delivery at every club speed: far too many to fly
each, on a phone above all. Flights bend little over a degree, so a coarser grid is flown and four nodes in each
direction give what lies between (Lagrange's cubic).
"""

from dataclasses import dataclass

import numpy as np

from pipeline.benchmark.run_and_conditions import Place, run_yd
from pipeline.physics.turf import Turf
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD

# Steps of the grid. With them carry's change was off by 0.04 yd at most over the demo's reachable deliveries in winds up
# to 55 mph, and by 0.26 yd with spins twice as far apart; tests/benchmark/test_flown_grid.py holds it under 0.1 yd.
BALL_SPEED_STEP_MPH = 8.0
LAUNCH_STEP_DEG = 1.0
SPIN_STEP_RPM = 150.0
LEAST_SPIN_RPM = 50.0  # for the node below the grid, which flight needs above zero


@dataclass(frozen=True)
class FlownGrid:
    """What a place adds to carry, and how balls land there.

    Attributes
    ----------
    ball_speed_mph, launch_deg, spin_rpm : ndarray, shapes (a,), (b,) and (c,)
        Evenly spaced, with a node to spare at both ends.
    values : ndarray, shape (4, a, b, c)
        Yards to add to carry at standard conditions; landing speed, m/s, descent, deg, and spin, rpm.
    turf : Turf
    """

    ball_speed_mph: Array
    launch_deg: Array
    spin_rpm: Array
    values: Array
    turf: Turf

    @classmethod
    def of(cls, place: Place, ball_speed_mph: Array, launch_deg: Array, spin_rpm: Array) -> "FlownGrid":
        """Fly a grid about all given ball speeds, launch angles and spins, each of any number."""
        axes = (
            nodes(ball_speed_mph, BALL_SPEED_STEP_MPH, BALL_SPEED_STEP_MPH),
            nodes(launch_deg, LAUNCH_STEP_DEG, -90.0),
            nodes(spin_rpm, SPIN_STEP_RPM, LEAST_SPIN_RPM),
        )
        drives = [part.ravel() for part in np.meshgrid(*axes, indexing="ij")]
        landing = place.here.landing(place.ball, *drives)
        change = (landing.carry_m - place.standard.landing(place.ball, *drives).carry_m) / METRES_PER_YARD
        values = np.stack([change, landing.speed_mps, landing.descent_deg, landing.spin_rpm])
        return cls(*axes, values.reshape(4, *map(len, axes)), place.here.turf)

    def on_grid(self, ball_speed_mph: float, launch_deg: Array, spin_rpm: Array) -> tuple[Array, Array]:
        """Give carry's change, yd, shape (m, k), and the landing, shape (3, m, k), over launch and spin."""
        speed = cubic_weights(self.ball_speed_mph, np.array([ball_speed_mph]))[0]
        at_speed = np.tensordot(speed, self.values, axes=(0, 1))
        by_launch, by_spin = cubic_weights(self.launch_deg, launch_deg), cubic_weights(self.spin_rpm, spin_rpm)
        found = by_launch @ at_speed @ by_spin.T
        return found[0], found[1:]

    def run_yd(self, landing: Array) -> Array:
        """Give the run after landings as `on_grid` gives them, yd, shape (3, ...) to (...)."""
        # A cubic may overshoot a little where a ball comes down straight.
        return run_yd(landing[0], np.clip(landing[1], 0.0, 90.0), np.maximum(landing[2], 0.0), self.turf)


def nodes(values: Array, step: float, least: float) -> Array:
    """Give nodes `step` apart, at its multiples, about values with one to spare at both ends; none below `least`."""
    first, last = np.floor(np.min(values) / step) - 1, np.ceil(np.max(values) / step) + 1
    if first * step < least:
        first = np.ceil(least / step)
    return np.asarray(np.arange(first, max(last, first + 3) + 1) * step, dtype=float)


def cubic_weights(grid: Array, values: Array) -> Array:
    """Give each node's weight at values, shape (values, nodes): Lagrange's cubic through the four nodes about each.

    Parameters
    ----------
    grid : ndarray, shape (nodes,)
        Evenly spaced; four or more.
    values : ndarray, shape (values,)
        Beyond the second and the last but one node the outermost four go on.
    """
    place = (values - grid[0]) / (grid[1] - grid[0])
    left = np.clip(np.floor(place), 1, len(grid) - 3).astype(np.int64)
    t = place - left
    weights, rows = np.zeros((len(values), len(grid))), np.arange(len(values))
    weights[rows, left - 1] = -t * (t - 1) * (t - 2) / 6
    weights[rows, left] = (t + 1) * (t - 1) * (t - 2) / 2
    weights[rows, left + 1] = -(t + 1) * t * (t - 2) / 2
    weights[rows, left + 2] = (t + 1) * t * (t - 1) / 6
    return weights
