"""What is true at a club speed of a world: the deliveries that golfers produce, efficient carry and window.

By the contract's definitions on a large population: golfers of that speed are drawn as the world draws its own, and
what they produce is counted. Nothing here is the pipeline's code. Where the population is simple the same comes from
formulas (`analytic_truth`; tested).
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt
import people
from scipy.ndimage import gaussian_filter
from true_flight import Array, carry_yd
from worlds import PLAIN, World

Mask = npt.NDArray[np.bool_]

GOLFERS = 200_000  # in each cell at the edge of the region some fifty
HELD_SHARE = 0.80  # the deliveries that golfers really produce: the smallest region that holds four fifths of them
BETTER = 0.75
LAUNCH_STEP_DEG, SPIN_STEP_RPM = 0.125, 25.0
LAUNCH_GRID = np.arange(5.0, 22.01, LAUNCH_STEP_DEG)
SPIN_GRID = np.arange(1300.0, 6000.1, SPIN_STEP_RPM)
# Cells are ranked by counts smoothed by so many cells, a seventh of a plain world's standard deviation, so that luck
# moves a cell's rank by some per cent of the edge's density. The plain world's truth moves by less than 0.3 yd with 12.
SMOOTH_CELLS = 1.5
# What shapes a population of one speed; of worlds that share these the truth is the same.
SHAPES = (
    "curved", "correlation", "schools", "spread_falls", "form_yd", "device_b", "site_b_ratio", "site_b_spread",
    "mishits", "faulty", "faults", "faulty_mishits",
)  # fmt: skip


@dataclass(frozen=True)
class Efficient:
    """The truth at one club speed, carry at sea level on the scale `1 + share`."""

    speed_mph: float
    carry_yd: float
    launch_deg: float
    spin_rpm: float
    ball_speed_mph: float
    carry_map_yd: Array
    inside: Mask


@dataclass(frozen=True)
class Population:
    """What golfers of one speed do in the long run: usual ratio, launch and spin, each shape (golfers,)."""

    ratio: Array
    launch_deg: Array
    spin_rpm: Array


def populate(world: World, speed_mph: float, golfers: int = GOLFERS, seed: int = 0) -> Population:
    """Draw golfers of one speed as the world draws its own, and give each golfer's usual drive, over days and drives.

    Launch and spin vary evenly about a golfer's own, so these are usual; so is the center of sound strikes, as a mishit
    is no usual strike.
    """
    rng = np.random.default_rng([seed, round(1000 * speed_mph)])
    on_b = rng.uniform(size=golfers) < world.device_b
    own = people.draw_own(world, np.full(golfers, speed_mph), on_b, rng).faulty
    return Population(own["speed_ratio"], np.clip(own["launch_deg"], 2.5, 33), np.clip(own["spin_rpm"], 600, 9500))


def produced_by(population: Population) -> Mask:
    """Mark the cells of the smallest region that holds four fifths of the golfers' usual deliveries."""
    shape = (len(LAUNCH_GRID), len(SPIN_GRID))
    at = [
        np.rint((values - grid[0]) / step).astype(int)
        for values, grid, step in (
            (population.launch_deg, LAUNCH_GRID, LAUNCH_STEP_DEG),
            (population.spin_rpm, SPIN_GRID, SPIN_STEP_RPM),
        )
    ]
    seen = np.all([(one >= 0) & (one < n) for one, n in zip(at, shape, strict=True)], axis=0)
    cells = np.ravel_multi_index([one[seen] for one in at], shape)
    count = np.bincount(cells, minlength=shape[0] * shape[1]).reshape(shape)
    ranked = np.argsort(-gaussian_filter(count.astype(float), SMOOTH_CELLS, mode="constant"), axis=None, kind="stable")
    held = np.cumsum(count.ravel()[ranked])
    inside = np.zeros(count.size, bool)
    inside[ranked[: np.searchsorted(held, HELD_SHARE * len(population.ratio)) + 1]] = True
    return inside.reshape(count.shape)


@cache
def _of_people(world: World, speed_mph: float) -> tuple[Mask, float]:
    population = populate(world, speed_mph)
    return produced_by(population), float(np.quantile(population.ratio, BETTER))


def people_of(world: World) -> World:
    """Strip a world of all that doesn't shape golfers of one speed."""
    return replace(PLAIN, **{name: getattr(world, name) for name in SHAPES})


def produced(world: World, speed_mph: float) -> Mask:
    """Mark the deliveries that the world's golfers produce at a speed, shape (launch, spin) of the grids."""
    return _of_people(people_of(world), float(speed_mph))[0]


def better_ratio(world: World, speed_mph: float) -> float:
    """Give the usual speed ratio that a quarter of all golfers of a speed reach."""
    return _of_people(people_of(world), float(speed_mph))[1]


def efficient(world: World, ball: str, speed_mph: float, share: float) -> Efficient:
    """Give true efficient carry, its delivery and the map that the true window lies in."""
    return most_within(produced(world, speed_mph), ball, speed_mph, better_ratio(world, speed_mph), share)


def most_within(inside: Mask, ball: str, speed_mph: float, ratio: float, share: float) -> Efficient:
    """Give the largest true carry within a region of deliveries that are struck with a ratio."""
    struck = speed_mph * ratio
    carry = carry_yd(ball, struck, LAUNCH_GRID[:, None], SPIN_GRID[None, :]) * (1 + share)
    best = np.unravel_index(np.argmax(np.where(inside, carry, -np.inf)), carry.shape)
    most = float(carry[best])
    return Efficient(speed_mph, most, float(LAUNCH_GRID[best[0]]), float(SPIN_GRID[best[1]]), struck, carry, inside)
