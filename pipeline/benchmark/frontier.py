"""Efficient carry at every club speed: its delivery, its interval by resampled golfers, and its window."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.support import kernel_weights, make_support
from pipeline.benchmark.totals import Roller, better_ball_speed
from pipeline.benchmark.window import Window, largest_window
from pipeline.fit.model import CarryModel
from pipeline.fit.replicates import Replicates
from pipeline.fit.surface import Array

LAUNCH_STEP_DEG = 0.25
SPIN_STEP_RPM = 50.0
COARSER = 2  # replicates look at every second grid point: the maximum is flat, and they cost 200 times as much
Z90 = 1.6448536269514722  # standard normal, 95 % point


@dataclass(frozen=True)
class Population:
    """Golfers with enough drives to show what deliveries exist, one entry each.

    Attributes
    ----------
    place : ndarray of int, shape (golfers,)
        Their columns in `Replicates.counts`.
    speed_mph, launch_deg, spin_rpm : ndarray, shape (golfers,)
    """

    place: npt.NDArray[np.int64]
    speed_mph: Array
    launch_deg: Array
    spin_rpm: Array

    @classmethod
    def from_typical(cls, typical: pl.DataFrame, min_shots: int) -> "Population":
        """Take the golfers with at least `min_shots` drives from the table of typical drives."""
        rows = typical.with_row_index("place").filter(pl.col("shots") >= min_shots)
        columns = (rows.get_column(c).to_numpy().astype(float) for c in ("club_speed_mph", "launch_deg", "spin_rpm"))
        return cls(rows.get_column("place").to_numpy().astype(np.int64), *columns)

    def grids(self) -> tuple[Array, Array]:
        """Give launch (deg) and spin (rpm) grids that hold every delivery with room to spare."""
        launch = _steps(self.launch_deg, LAUNCH_STEP_DEG, 4)
        return launch, _steps(self.spin_rpm, SPIN_STEP_RPM, 4)


@dataclass(frozen=True)
class Efficient:
    """What is efficient at one club speed.

    Attributes
    ----------
    carry_yd, lo90_yd, hi90_yd, std_error_yd : float
        Efficient carry with its 90 % interval and standard error over resampled golfers.
    launch_deg, spin_rpm : float
        The delivery that gives it.
    window : Window or None
    golfers : float
        Weight of the golfers behind it: 1 for each at this very speed, less for others.
    total_yd, total_launch_deg, total_spin_rpm, total_window
        The same for carry and run together: the largest expected total over the same deliveries.
    """

    speed_mph: float
    carry_yd: float
    lo90_yd: float
    hi90_yd: float
    std_error_yd: float
    launch_deg: float
    spin_rpm: float
    window: Window | None
    golfers: float
    total_yd: float
    total_launch_deg: float
    total_spin_rpm: float
    total_window: Window | None

    def to_dict(self) -> dict[str, Any]:
        """Give plain values for JSON."""
        return asdict(self)


@dataclass(frozen=True)
class Map:
    """Expected carry over launch and spin at one club speed when struck as the better quarter do."""

    launch_deg: Array
    spin_rpm: Array
    carry_yd: Array
    supported: npt.NDArray[np.bool_]


def supported_speeds(population: Population, half_width_mph: float, min_golfers: int, speeds_mph: Array) -> Array:
    """Keep the speeds that lie between golfers' speeds and have golfers of weight `min_golfers` about them."""
    if len(population.speed_mph) == 0:
        return np.array([])
    weights = kernel_weights(population.speed_mph[:, None], speeds_mph, half_width_mph).sum(axis=0)  # type: ignore[arg-type]
    lo, hi = population.speed_mph.min() - 1, population.speed_mph.max() + 1
    kept: Array = speeds_mph[(weights >= min_golfers) & (speeds_mph >= lo) & (speeds_mph <= hi)]
    return kept


def map_at(model: CarryModel, population: Population, speed_mph: float, half_width_mph: float) -> Map:
    """Work out expected carry and support over launch and spin at one club speed."""
    launch, spin = population.grids()
    weights = kernel_weights(population.speed_mph, speed_mph, half_width_mph)
    support = make_support(population.launch_deg, population.spin_rpm, weights, launch, spin)
    return Map(launch, spin, model.better_on_grid(speed_mph, launch, spin), support.mask(weights))


def efficient_at(
    model: CarryModel,
    replicates: Replicates,
    population: Population,
    speed_mph: float,
    half_width_mph: float,
    tolerance_yd: float,
    roller: Roller,
) -> Efficient:
    """Work out efficient carry and window at one club speed.

    Parameters
    ----------
    model : CarryModel
    replicates : Replicates
    population : Population
    speed_mph : float
        A supported speed.
    half_width_mph : float
        Standard deviation of the kernel over speed.
    tolerance_yd : float
        How far below efficient carry the window reaches.
    roller : Roller

    Returns
    -------
    Efficient
    """
    at = map_at(model, population, speed_mph, half_width_mph)
    carry, launch, spin, window = _best_of(at, at.carry_yd, tolerance_yd)
    run = roller.run_yd(better_ball_speed(model, speed_mph), at.launch_deg[:, None], at.spin_rpm[None, :])
    total, total_launch, total_spin, total_window = _best_of(at, at.carry_yd + run, tolerance_yd)
    weights = kernel_weights(population.speed_mph, speed_mph, half_width_mph)
    std_error = float(np.nanstd(_replicate_carries(model, replicates, population, weights, speed_mph)))
    return Efficient(
        speed_mph,
        carry,
        carry - Z90 * std_error,
        carry + Z90 * std_error,
        std_error,
        launch,
        spin,
        window,
        float(weights.sum()),
        total,
        total_launch,
        total_spin,
        total_window,
    )


def _best_of(at: Map, yards: Array, tolerance_yd: float) -> tuple[float, float, float, Window | None]:
    """Give the largest supported value of a map, its launch and spin, and the window around it."""
    best = np.unravel_index(np.argmax(np.where(at.supported, yards, -np.inf)), yards.shape)
    most = float(yards[best])
    inside = at.supported & (yards >= most - tolerance_yd)
    window = largest_window(inside, at.launch_deg, at.spin_rpm)
    return most, float(at.launch_deg[best[0]]), float(at.spin_rpm[best[1]]), window


def _replicate_carries(
    model: CarryModel, replicates: Replicates, population: Population, weights: Array, speed_mph: float
) -> Array:
    """Efficient carry in each replicate, yd, shape (replicates,); NaN where a draw has nobody near."""
    launch, spin = (grid[::COARSER] for grid in population.grids())
    support = make_support(population.launch_deg, population.spin_rpm, weights, launch, spin)
    drawn = weights * replicates.counts[:, population.place]
    speed = replicates.better_speed(model, speed_mph)
    carry = model.surface.on_grid(replicates.coefficients, speed, launch, spin)
    carry *= (1 + replicates.better_share)[:, None, None]
    best = np.where(support.mask(drawn), carry, -np.inf).max(axis=(1, 2))
    return np.where((drawn.sum(axis=1) > 1) & np.isfinite(best), best, np.nan)


def _steps(values: Array, step: float, room: int) -> Array:
    first = np.floor(values.min() / step) - room
    last = np.ceil(values.max() / step) + room
    return np.asarray(np.arange(first, last + 1) * step, dtype=float)
