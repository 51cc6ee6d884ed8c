"""What formulas say of the deliveries that golfers of a speed produce and of their better ratio, where they can."""

import numpy as np
import numpy.typing as npt
import people as a
from scipy.stats import norm
from true_flight import Array
from truth import BETTER, HELD_SHARE, LAUNCH_GRID, SPIN_GRID, Efficient, most_within
from worlds import World


def density(world: World, speed_mph: float) -> Array:
    """Give the density of golfers' usual deliveries at a speed over the grids, 1/(deg rpm)."""
    middle = (a.LAUNCH_DEG + a.LAUNCH_SLOPE * (speed_mph - 90), a.SPIN_RPM + a.SPIN_SLOPE * (speed_mph - 90))
    each = world.faulty / len(world.faults)
    low_sd, extra_sd = np.hypot(a.LAUNCH_SD, a.LOW_LAUNCH_SD), np.hypot(a.SPIN_SD, a.EXTRA_SPIN_SD)
    parts = (
        (1 - 2 * each, 0.0, a.LAUNCH_SD, 0.0, a.SPIN_SD),
        (each, a.LOW_LAUNCH_DEG, low_sd, 0.0, a.SPIN_SD),
        (each, 0.0, a.LAUNCH_SD, a.EXTRA_SPIN_RPM, extra_sd),
    )
    return np.sum(
        [
            w * np.outer(norm.pdf(LAUNCH_GRID, middle[0] + dl, sl), norm.pdf(SPIN_GRID, middle[1] + ds, ss))
            for w, dl, sl, ds, ss in parts
        ],
        axis=0,
    )


def produced(world: World, speed_mph: float) -> npt.NDArray[np.bool_]:
    """Mark the smallest region that holds four fifths of the golfers' usual deliveries."""
    at = density(world, speed_mph)
    ranked = np.sort(at, axis=None)[::-1]
    held = np.cumsum(ranked) * 0.125 * 25.0
    return np.asarray(at >= ranked[np.searchsorted(held, HELD_SHARE)])


def better_ratio(world: World, speed_mph: float) -> float:
    """Give the usual speed ratio that a quarter of all golfers of a speed reach with their sound strikes."""
    each = world.faulty / len(world.faults)
    middle = a.RATIO + a.RATIO_SLOPE * (speed_mph - 90)
    at = np.linspace(middle - 0.06, middle + 0.06, 601)
    below = (1 - each) * norm.cdf((at - middle) / a.RATIO_SD)
    below += each * norm.cdf((at - middle - a.CONTACT) / np.hypot(a.RATIO_SD, a.CONTACT_SD))
    return float(np.interp(BETTER, below, at))


def efficient(world: World, ball: str, speed_mph: float, share: float) -> Efficient:
    """Work out true efficient carry, its delivery and the map that the true window lies in."""
    return most_within(produced(world, speed_mph), ball, speed_mph, better_ratio(world, speed_mph), share)
