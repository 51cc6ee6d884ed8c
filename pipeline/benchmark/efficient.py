"""Efficient carry at every club speed: its delivery, its interval by resampled golfers, and its window."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.crowd import Shape, log_distance, shape_of, spread_slopes
from pipeline.benchmark.reach import DOUBT_DECIMALS, NODE_EVERY, between_nodes
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.benchmark.support import effective_number, kernel_weights, support_mask, support_masks
from pipeline.benchmark.window import Window, largest_window
from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.resampled import ResampledFits
from pipeline.fit.trend import Line
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.statistics.arrays import Array, Flags
from pipeline.statistics.intervals import MANY, t_reach
from pipeline.threads import apart

REPORTED_EVERY = 50  # draws of golfers, in the lines that show progress
_MANY_SPEEDS = 20  # about fewer, golfers are drawn in less time than a process takes to start
LAUNCH_STEP_DEG = 0.25
SPIN_STEP_RPM = 50.0
# The grids reach this many steps beyond the deliveries: the tails of their density, and their move along the trend.
LAUNCH_ROOM, SPIN_ROOM = 12, 14
LEAST_LAUNCH_DEG, LEAST_SPIN_RPM = 1.0, 500.0
# Where deliveries lie follows the trend and how widely they spread follows the speed, so their shape is taken over this
# many times the half-width. Sensitivity with 70 golfers: at 1.0 the support holds 73 in 100 of others instead of 77 and
# efficient carry scatters a tenth more; at 3.0 it is 0.3 yd lower at 75 mph where spread falls 2.5-fold.
SHAPE_WIDTHS = 2.0
# A window holds only deliveries that fall short by less than the tolerance with this one-sided confidence: 80 %.
WINDOW_Z = 0.8416212335729143
COARSER = 2  # replicates look at every second grid point: the maximum is flat, and they cost 200 times as much
# What the deliveries' support learns from the golfers about a speed: place, spread and slope of launch and of spin.
# Resampling a few golfers shows too little of their doubt: it is widened as a standard deviation's is, by n / (n - 6).
# Sensitivity: with 0, and the normal quantile for Student's, intervals of 70 golfers cover 4 in 100 less, of 30 golfers
# 9 in 100 less.
LEARNT = 6


@dataclass(frozen=True)
class Population:
    """Golfers with enough drives to show what deliveries exist, one entry each.

    Attributes
    ----------
    place : ndarray of int, shape (golfers,)
        Their columns in `ResampledFits.counts`.
    speed_mph, launch_deg, spin_rpm : ndarray, shape (golfers,)
    deliveries : float
        By definition, the share of deliveries about a club speed that golfers "really produce": those that efficient
        carry may be taken over. Golfers with a fault stand alone, far from the others; a region that held each of them
        would also reach out from the crowd to where nobody is.
    """

    place: npt.NDArray[np.int64]
    speed_mph: Array
    launch_deg: Array
    spin_rpm: Array
    # As `pipeline.configuration.study.Efficient` has it. At 0.75 and 0.85 a normal crowd's region ends 7 % nearer and
    # 9 % farther from its middle (closed form: the radius is sqrt(-2 ln(1 - share))).
    deliveries: float = 0.80

    @classmethod
    def from_typical(cls, typical: pl.DataFrame, min_shots: int, deliveries: float = deliveries) -> "Population":
        """Take the golfers with at least `min_shots` drives and measured spin from the table of typical drives."""
        enough = (pl.col("shots") >= min_shots) & pl.col("spin_rpm").is_not_null()
        rows = typical.with_row_index("place").filter(enough)
        names = ("club_speed_mph", "launch_deg", "spin_rpm")
        speed, launch, spin = (rows.get_column(name).to_numpy().astype(float) for name in names)
        return cls(rows.get_column("place").to_numpy().astype(np.int64), speed, launch, spin, deliveries)

    def grids(self) -> tuple[Array, Array]:
        """Give launch (deg) and spin (rpm) grids that hold every delivery with room to spare."""
        launch = _steps(self.launch_deg, LAUNCH_STEP_DEG, LAUNCH_ROOM, LEAST_LAUNCH_DEG)
        return launch, _steps(self.spin_rpm, SPIN_STEP_RPM, SPIN_ROOM, LEAST_SPIN_RPM)

    def shape_weights(self, speed_mph: float, half_width_mph: float) -> Array:
        """Weigh golfers for the spread of deliveries about the trend at one club speed, shape (golfers,)."""
        return kernel_weights(self.speed_mph, speed_mph, SHAPE_WIDTHS * half_width_mph)

    def departures(self, usual: UsualDelivery) -> tuple[Array, Array]:
        """Give how far launch (deg) and spin (rpm) lie from what is usual at golfers' speeds, shapes (golfers,)."""
        return self.launch_deg - usual.launch(self.speed_mph), self.spin_rpm - usual.spin(self.speed_mph)

    def spreading(self, usual: UsualDelivery, counts: npt.NDArray[np.integer[Any]] | None = None) -> "Spreading":
        """Find how golfers spread about what is usual, with all of them once or as often as each draw holds them."""
        departures = self.departures(usual)
        held, place = (
            (np.ones((1, len(self.place))), np.arange(len(self.place))) if counts is None else (counts, self.place)
        )
        return Spreading(*departures, spread_slopes(self.speed_mph, log_distance(*departures), held, place))

    def moved_to(
        self, speed_mph: float, usual: UsualDelivery, spreading: "Spreading | None" = None
    ) -> tuple[Array, Array]:
        """Move golfers' launch (deg) and spin (rpm) to one club speed, shapes (golfers,).

        They follow the usual trend, and keep their departure from it in spreads at their speed. Unless given,
        `spreading` is found.
        """
        known = self.spreading(usual) if spreading is None else spreading
        wider = np.exp(known.slopes[0] * (speed_mph - self.speed_mph))
        return usual.launch(speed_mph) + wider * known.launch_deg, usual.spin(speed_mph) + wider * known.spin_rpm


@dataclass(frozen=True)
class Spreading:
    """How golfers spread about what is usual; it is the same for every speed that they are moved to.

    Attributes
    ----------
    launch_deg, spin_rpm : ndarray, shape (golfers,)
        From `Population.departures`.
    slopes : ndarray, shape (draws,)
        From `spread_slopes`.
    """

    launch_deg: Array
    spin_rpm: Array
    slopes: Array


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
        The same for carry and roll together: the largest expected total over the same deliveries.
    freedom : float
        Degrees of freedom of the interval's Student's t.
    errors_yd : ndarray, shape (replicates,)
        Draws of efficient carry's error: mean zero, and `std_error_yd` is their standard deviation. The same place of
        two speeds belongs to one draw.
    reachable : Reachable or None
        None where somebody made these figures by hand.
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
    freedom: float = MANY
    errors_yd: Array = field(default_factory=lambda: np.zeros(0), compare=False)
    reachable: "Reachable | None" = field(default=None, compare=False)


@dataclass(frozen=True)
class Reachable:
    """The reachable deliveries of one club speed, on the population's grid.

    Attributes
    ----------
    launch_deg, spin_rpm : ndarray, shapes (m,) and (n,)
    mask : ndarray of bool, shape (m, n)
    doubt_yd : ndarray, shape (nodes of launch, nodes of spin)
        See `pipeline.benchmark.reach.Reach`.
    """

    launch_deg: Array
    spin_rpm: Array
    mask: Flags
    doubt_yd: Array


@dataclass(frozen=True)
class Map:
    """Expected carry over launch and spin at one club speed when struck as the better quarter do."""

    launch_deg: Array
    spin_rpm: Array
    carry_yd: Array
    supported: npt.NDArray[np.bool_]

    def deliveries(self, club_speed_mph: float) -> Delivery:
        """Give the grid's deliveries at the map's club speed, broadcasting to shape (m, n); their ratio isn't known."""
        club = np.full((1, 1), club_speed_mph)
        return Delivery(club, np.full((1, 1), np.nan), self.launch_deg[:, None], self.spin_rpm[None, :])


def supported_speeds(population: Population, half_width_mph: float, min_golfers: int, speeds_mph: Array) -> Array:
    """Keep the speeds that lie between golfers' speeds and have golfers of weight `min_golfers` about them."""
    if len(population.speed_mph) == 0:
        return np.array([])
    near = (kernel_weights(population.speed_mph, float(v), half_width_mph).sum() for v in speeds_mph)
    weights = np.fromiter(near, dtype=float, count=len(speeds_mph))
    lo, hi = population.speed_mph.min() - 1, population.speed_mph.max() + 1
    kept: Array = speeds_mph[(weights >= min_golfers) & (speeds_mph >= lo) & (speeds_mph <= hi)]
    return kept


def map_at(model: CarryModel, population: Population, speed_mph: float, half_width_mph: float) -> Map:
    """Work out expected carry and support over launch and spin at one club speed."""
    return _map_of(model, population, speed_mph, _Crowd.at(model.usual, population, speed_mph, half_width_mph))


@dataclass(frozen=True)
class _Crowd:
    """The golfers as they are about a club speed: their deliveries moved to it, their weights and the crowd's shape."""

    launch_deg: Array
    spin_rpm: Array
    weights: Array
    shape: Shape

    @classmethod
    def at(
        cls,
        usual: UsualDelivery,
        population: Population,
        speed_mph: float,
        half_width_mph: float,
        spreading: Spreading | None = None,
        shape: Shape | None = None,
    ) -> "_Crowd":
        weights = population.shape_weights(speed_mph, half_width_mph)
        moved = population.moved_to(speed_mph, usual, spreading)
        return cls(*moved, weights, shape or shape_of(*moved, weights))


def _map_of(model: CarryModel, population: Population, speed_mph: float, crowd: _Crowd) -> Map:
    launch, spin = population.grids()
    golfers = crowd.launch_deg, crowd.spin_rpm, crowd.weights
    supported = support_mask(*golfers, crowd.shape, launch, spin, population.deliveries)
    return Map(launch, spin, model.better_on_grid(speed_mph, launch, spin), supported)


def efficient_at(
    model: CarryModel,
    refits: ResampledFits,
    population: Population,
    speed_mph: float,
    half_width_mph: float,
    tolerance_yd: float,
    roller: Roller,
    drawn: "Drawn | None" = None,
) -> Efficient:
    """Work out efficient carry and window at one club speed.

    Parameters
    ----------
    model : CarryModel
    refits : ResampledFits
    population : Population
    speed_mph : float
        A supported speed.
    half_width_mph : float
        Standard deviation of the kernel over speed.
    tolerance_yd : float
        How far below efficient carry the window reaches, less what is not sure.
    roller : Roller
    drawn : Drawn, optional
        From `draw_crowds` for this speed; found here unless given.

    Returns
    -------
    Efficient
    """
    if drawn is None:
        drawn = draw_crowds(model.usual, refits, population, [speed_mph], half_width_mph)[speed_mph]
    crowd = _Crowd.at(model.usual, population, speed_mph, half_width_mph, drawn.spreading, drawn.shape)
    at = _map_of(model, population, speed_mph, crowd)
    bests, gap_error = _replicated(model, refits, population, speed_mph, drawn.inside)
    doubt = np.round(WINDOW_Z * gap_error[:: NODE_EVERY // COARSER, :: NODE_EVERY // COARSER], DOUBT_DECIMALS)
    surely = between_nodes(doubt, at.carry_yd.shape)
    carry, launch, spin, window = best_of(at, at.carry_yd, tolerance_yd - surely)
    run = _run_where_supported(model, at, speed_mph, roller)
    total, total_launch, total_spin, total_window = best_of(at, at.carry_yd + run, tolerance_yd - surely)
    weights = kernel_weights(population.speed_mph, speed_mph, half_width_mph)
    golfers = effective_number(crowd.weights)
    freedom = max(golfers - LEARNT, 2.0)
    std_error = _root_mean_square(bests, at) * float(np.sqrt(max(golfers / freedom, 1.0)))
    reach = float(t_reach(freedom)) * std_error
    return Efficient(
        speed_mph,
        carry,
        carry - reach,
        carry + reach,
        std_error,
        launch,
        spin,
        window,
        float(weights.sum()),
        total,
        total_launch,
        total_spin,
        total_window,
        freedom,
        scaled_to(bests, std_error),
        Reachable(at.launch_deg, at.spin_rpm, at.supported, doubt),
    )


def _run_where_supported(model: CarryModel, at: Map, speed_mph: float, roller: Roller) -> Array:
    """Give the run after landing, yd, at the supported points of a map; 0 elsewhere, where nobody asks for it.

    Most of the grid is elsewhere, and its outermost flights are in no table: each would be flown.
    """
    struck = at.deliveries(speed_mph)
    given = (speed_mph * model.ratio(struck, "better"), struck.launch_deg, struck.spin_rpm)
    run = np.zeros(at.carry_yd.shape)
    run[at.supported] = roller.run_yd(*(np.broadcast_to(part, run.shape)[at.supported] for part in given))
    return run


def _root_mean_square(bests: Array, at: Map) -> float:
    """Give how far replicates lie from the estimate on their own grid: their spread and their bias, yd."""
    coarse = np.where(at.supported, at.carry_yd, -np.inf)[::COARSER, ::COARSER].max()
    return float(np.sqrt(np.nanmean((bests - coarse) ** 2)))


def scaled_to(bests: Array, std_error: float) -> Array:
    """Give replicates' deviations from their mean, scaled to a standard deviation; 0 for one that is NaN."""
    away = np.nan_to_num(bests - np.nanmean(bests))
    spread = float(np.std(away))
    return away * (std_error / spread) if spread > 0 else away


def best_of(at: Map, yards: Array, tolerance_yd: Array) -> tuple[float, float, float, Window | None]:
    """Give the largest supported value of a map, its launch and spin, and the window around it.

    `tolerance_yd` is a map of its own: smaller where less is known.
    """
    launch, spin = best_on_grid(at.supported, yards)
    most = float(yards[launch, spin])
    inside = at.supported & (yards >= most - tolerance_yd)
    window = largest_window(inside, at.launch_deg, at.spin_rpm)
    return most, float(at.launch_deg[launch]), float(at.spin_rpm[spin]), window


def best_on_grid(supported: Flags, yards: Array) -> tuple[int, int]:
    """Give the places of launch and spin of the largest supported value; the first of several."""
    launch, spin = np.unravel_index(np.argmax(np.where(supported, yards, -np.inf)), yards.shape)
    return int(launch), int(spin)


def _replicated(
    model: CarryModel, refits: ResampledFits, population: Population, speed_mph: float, inside: Flags
) -> tuple[Array, Array]:
    """Refit efficient carry over the deliveries that each replicate's golfers reach, on the coarser grid.

    Returns
    -------
    bests : ndarray, shape (replicates,)
        Efficient carry in each replicate, yd; NaN where a draw has nobody near.
    gap_error : ndarray, shape (m, n)
        Standard error of how far a delivery falls short of efficient carry, yd, on the coarser grid.
    """
    speed = refits.better_speed(model, speed_mph)
    carry = model.surface.on_grid(refits.coefficients, speed, *_coarser(population))
    carry *= (1 + refits.better_share)[:, None, None]
    best = np.where(inside, carry, -np.inf).max(axis=(1, 2))
    sound = np.isfinite(best)
    gap = best[sound, None, None] - carry[sound]
    return np.where(sound, best, np.nan), np.std(gap, axis=0)


def _coarser(population: Population) -> tuple[Array, Array]:
    launch, spin = population.grids()
    return launch[::COARSER], spin[::COARSER]


@dataclass(frozen=True)
class Drawn:
    """What is known of the crowd about one club speed before any carry is: its own shape, and where its draws lie.

    Attributes
    ----------
    spreading : Spreading
        Of all golfers once.
    shape : Shape
    inside : ndarray of bool, shape (replicates, m, n)
        The support of each replicate, on the coarser grid.
    """

    spreading: Spreading
    shape: Shape
    inside: Flags


def draw_crowds(
    usual: UsualDelivery,
    refits: ResampledFits,
    population: Population,
    speeds_mph: Sequence[float],
    half_width_mph: float,
    *,
    quiet: bool = True,
) -> dict[float, Drawn]:
    """Find the crowds about club speeds, by speed; each replicate is drawn once for all of them.

    Lines show progress, unless `quiet`.
    """
    once, each = population.spreading(usual), population.spreading(usual, refits.counts)
    shapes = tuple(_Crowd.at(usual, population, speed, half_width_mph, once).shape for speed in speeds_mph)
    supports = _Supports(usual, refits, population, each, half_width_mph, tuple(speeds_mph), shapes)
    draws = range(len(refits.counts) if speeds_mph else 0)

    def tell(done: int) -> None:
        if not quiet and done % REPORTED_EVERY == 0:
            print(f"Drew golfers {done} of {len(draws)} times.", flush=True)

    found = apart(supports.of, draws, tell) if len(speeds_mph) >= _MANY_SPEEDS else list(map(supports.of, draws))
    return {
        speed: Drawn(once, shape, np.stack([inside[place] for inside in found]))
        for place, (speed, shape) in enumerate(zip(speeds_mph, shapes, strict=True))
    }


@dataclass(frozen=True)
class _Supports:
    """What the supports of replicates' golfers about club speeds are found from."""

    usual: UsualDelivery
    refits: ResampledFits
    population: Population
    spreading: Spreading
    half_width_mph: float
    speeds_mph: tuple[float, ...]
    shapes: tuple[Shape, ...]

    def of(self, replicate: int) -> Flags:
        """Find a replicate's supports, shape (speeds, m, n)."""
        draw = _Draw.of(self.usual, self.refits, self.population, self.spreading, replicate)
        crowds = (
            (*draw.at(speed, self.half_width_mph), shape)
            for speed, shape in zip(self.speeds_mph, self.shapes, strict=True)
        )
        return support_masks(crowds, *_coarser(self.population), self.population.deliveries)


@dataclass(frozen=True)
class _Draw:
    """The golfers of one replicate, ready to be moved to any club speed.

    They go along the replicate's own trend, and are spread by how its own spread changes with speed. A moved delivery
    is so the sum of what stays, the trend at the speed, and the golfer's departure as large as it is there.

    Attributes
    ----------
    lines : tuple
        The usual trends, of launch and of spin, each with the replicate's own terms.
    speed_mph, times : ndarray, shape (golfers,)
        Golfers' own speed, and how often each was drawn.
    stays, departs : tuple of two ndarrays, each of shape (golfers,)
        Of launch, deg, and spin, rpm. Departures are as large as they are at `centre_mph`.
    wider, centre_mph : float
        How much wider golfers spread by mph, as a share; 0 leaves the departures in what stays.
    """

    lines: tuple[tuple[Line, Array], tuple[Line, Array]]
    speed_mph: Array
    times: Array
    stays: tuple[Array, ...]
    departs: tuple[Array, ...]
    wider: float
    centre_mph: float

    @classmethod
    def of(
        cls, usual: UsualDelivery, refits: ResampledFits, population: Population, spreading: Spreading, replicate: int
    ) -> "_Draw":
        """Take those who were drawn."""
        here = refits.counts[replicate].take(population.place)
        drawn = np.flatnonzero(here > 0)
        wider, centre = float(spreading.slopes[replicate]), float(population.speed_mph.mean())
        speed = population.speed_mph[drawn]
        lines = (usual.launch, refits.launch[replicate]), (usual.spin, refits.spin[replicate])
        stays, departs = [], []
        for (line, terms), own, beside in zip(
            lines,
            (population.launch_deg, population.spin_rpm),
            (spreading.launch_deg, spreading.spin_rpm),
            strict=True,
        ):
            departure = beside[drawn] if wider else np.zeros(len(drawn))
            stays.append(own[drawn] - line.of_draws(terms, speed) - departure)
            departs.append(departure * np.exp(wider * (centre - speed)))
        return cls(lines, speed, here[drawn].astype(float), tuple(stays), tuple(departs), wider, centre)

    def at(self, speed_mph: float, half_width_mph: float) -> tuple[Array, Array, Array]:
        """Give launch, spin and weights at one club speed."""
        weights = kernel_weights(self.speed_mph, speed_mph, SHAPE_WIDTHS * half_width_mph)
        weights *= self.times
        moved = []
        for (line, terms), stays, departs in zip(self.lines, self.stays, self.departs, strict=True):
            there = stays + line.of_draws(terms, speed_mph)
            if self.wider:
                there += departs * np.exp(self.wider * (speed_mph - self.centre_mph))
            moved.append(there)
        return moved[0], moved[1], weights


def _steps(values: Array, step: float, room: int, least: float) -> Array:
    first = max(np.floor(values.min() / step) - room, np.ceil(least / step))
    last = np.ceil(values.max() / step) + room
    last += -(last - first) % NODE_EVERY  # the grid ends at a node
    return np.asarray(np.arange(first, last + 1) * step, dtype=float)
