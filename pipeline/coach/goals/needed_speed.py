"""What a distance takes: the club speed that it needs, and how much of the way to it is delivery and how much speed.

Two speeds answer a goal. With an efficient delivery it is where the curve of efficient carry reaches the goal. With
the present delivery it is where the golfer's own curve does: the model's carry at the golfer's ratio, launch and spin,
less the golfer's shortfall (how far the mean of the drives is from the model's carry of the typical one), which is
taken to grow as club speed does, for a mishit costs a share of ball speed.

The gap is shared out delivery first: at today's speed delivery can give what lies between the present distance and the
efficient one, and no more than the gap; speed has to give the rest. A share averaged over both orders (Shapley's)
was weighed and left: it would credit speed with yards even where delivery alone reaches the goal at today's speed.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.landing import EfficientLandings
from pipeline.fit.model import CarryModel, Delivery
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90

# What `Present.of` takes of the table `Golfers`.
PRESENT_COLUMNS = (
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "carry_yd",
    "lost_yd",
    "lost_lo90_yd",
    "lost_hi90_yd",
    "own_difference_yd",
)


@dataclass(frozen=True)
class DistanceCurve:
    """Efficient yards over the frontier's m club speeds: of carry, or of carry and roll together.

    Attributes
    ----------
    frontier : Frontier
    yards, lo90_yd, hi90_yd : ndarray, shape (m,)
        With the edges of the 90 % interval.
    """

    frontier: Frontier
    yards: Array
    lo90_yd: Array
    hi90_yd: Array

    @classmethod
    def of_carry(cls, frontier: Frontier) -> "DistanceCurve":
        """Give the curve of efficient carry."""
        return cls(frontier, frontier.carry_yd, frontier.lo90_yd, frontier.hi90_yd)

    @classmethod
    def of_total(cls, frontier: Frontier, landings: EfficientLandings) -> "DistanceCurve":
        """Give the curve of efficient carry and roll together, with the doubt of both."""
        return cls(frontier, frontier.total_yd, landings.best_total_lo90_yd, landings.best_total_hi90_yd)

    @property
    def speeds_mph(self) -> Array:
        """The grid, shape (m,)."""
        return self.frontier.speed_mph

    def at(self, values: Array, speed_mph: Array) -> Array:
        """Interpolate values over the grid at club speeds, shape (n,); NaN where the benchmarks don't reach."""
        return self.frontier.at(values, speed_mph)

    def speed_for(self, yards: Array, goal_yd: Array) -> Array:
        """Give the least club speed at which curves over the grid reach goals.

        Parameters
        ----------
        yards : ndarray, shape (m,) or (n, m)
            Over the grid of speeds.
        goal_yd : ndarray, shape (n,)

        Returns
        -------
        ndarray, shape (n,)
            mph; NaN where the curve doesn't reach the goal within the data, or is beyond it from the slowest speed on.
        """
        if len(self.speeds_mph) == 0:
            return np.full(goal_yd.shape, np.nan)
        curves = np.broadcast_to(yards, (len(goal_yd), len(self.speeds_mph)))
        meets = curves >= goal_yd[:, None]
        after = np.argmax(meets, axis=1)
        before = (after - 1).clip(0)
        rows = np.arange(len(goal_yd))
        low, high = curves[rows, before], curves[rows, after]
        share = np.divide(goal_yd - low, high - low, out=np.zeros_like(low), where=high > low)
        speed = self.speeds_mph[before] + share * (self.speeds_mph[after] - self.speeds_mph[before])
        found = meets.any(axis=1) & ((after > 0) | (curves[:, 0] <= goal_yd))
        speed = np.where(found, speed, np.nan)
        return np.where(np.isnan(self.at(self.yards, speed)), np.nan, speed)


@dataclass(frozen=True)
class Present:
    """What golfers do now, one entry each, all of shape (n,).

    Attributes
    ----------
    drive : Delivery
        The typical drive; where its ratio isn't known the usual one stands in.
    carry_yd, lo90_yd, hi90_yd : ndarray
        Mean carry at that club speed with its 90 % interval.
    shared_yd : ndarray
        Half the width that the interval would have by the error of efficient carry alone, which is in it.
    lasting_yd : ndarray
        Standard deviation of what golfers with the same readings differ by for good: so much the golfer's carry with
        another delivery is unsure beside efficient carry's error.
    run_below_yd, run_above_yd : ndarray
        What the turf leaves open of the run of those drives, to either side; 0 where distances are carry.
    """

    drive: Delivery
    carry_yd: Array
    lo90_yd: Array
    hi90_yd: Array
    shared_yd: Array
    lasting_yd: Array = field(default_factory=lambda: np.zeros(1))
    run_below_yd: Array = field(default_factory=lambda: np.zeros(1))
    run_above_yd: Array = field(default_factory=lambda: np.zeros(1))

    @classmethod
    def of(cls, golfers: pl.DataFrame, frontier: Frontier, model: CarryModel) -> "Present":
        """Take it from rows of the table `Golfers` that are assessed; usual spin stands in for a guessed one.

        Mean carry gets the interval of yards lost: the luck of the drives, and with it the error of efficient carry,
        which the gap's part of delivery needs.
        """
        drive = model.with_usual(Delivery.of(golfers))
        carry, lost, lo, hi, own = (
            golfers.get_column(name).cast(pl.Float64).to_numpy() for name in PRESENT_COLUMNS[4:]
        )
        shared = Z90 * frontier.at("std_error_yd", drive.club_speed_mph)
        return cls(drive, carry, carry - (hi - lost), carry + (lost - lo), shared, np.nan_to_num(own))

    @property
    def club_speed_mph(self) -> Array:
        """Today's club speed."""
        return self.drive.club_speed_mph

    def carry_at(self, model: CarryModel, speed_mph: Array) -> Array:
        """Give mean carry at club speeds with the present delivery and shortfall, yd, shape (n,)."""
        shortfall = model.expected(self.drive) - self.carry_yd
        return model.expected(self.drive.at(speed_mph)) - shortfall * speed_mph / self.club_speed_mph

    def carry_over(self, model: CarryModel, speeds_mph: Array) -> Array:
        """Give `carry_at` for each golfer at each of m speeds, shape (n, m)."""
        columns = (values[:, None] for values in vars(self.drive).values())
        each = replace(self, drive=Delivery(*columns), carry_yd=self.carry_yd[:, None])
        return each.carry_at(model, np.broadcast_to(speeds_mph, (len(self.carry_yd), len(speeds_mph))))

    def slope_error_yd(self, model: CarryModel, coefficients: Array, speed_mph: Array) -> Array:
        """Give the standard error, by refits, of what the model adds from the present speed to another, yd.

        Parameters
        ----------
        model : CarryModel
        coefficients : ndarray, shape (replicates, terms)
            Of the surface, refitted on resampled golfers.
        speed_mph : ndarray, shape (n,)
        """
        there = model.surface.design(*model.inputs(self.drive.at(speed_mph)))
        here = model.surface.design(*model.inputs(self.drive))
        moved = there - here * (speed_mph / self.club_speed_mph)[:, None]
        return np.asarray(np.std(moved @ coefficients.T, axis=1))


def needed_efficient(
    curve: DistanceCurve, goal_yd: Array, lasting_yd: Array | float = 0.0
) -> tuple[Array, Array, Array]:
    """Give the club speeds, mph, that goals need with an efficient delivery, and the edges of their 90 % intervals.

    Parameters
    ----------
    curve : DistanceCurve
    goal_yd : ndarray, shape (n,)
    lasting_yd : ndarray, shape (n,), or float
        See `Present`.

    Notes
    -----
    The edges are where the curves of the interval's own edges reach the goal: such an interval holds the true speed
    exactly when the one of efficient carry holds the truth there (Fieller's argument).
    """
    own = Z90 * np.broadcast_to(lasting_yd, goal_yd.shape)[:, None]
    return (
        curve.speed_for(curve.yards, goal_yd),
        curve.speed_for(curve.yards + np.hypot(curve.hi90_yd - curve.yards, own), goal_yd),
        curve.speed_for(curve.yards - np.hypot(curve.yards - curve.lo90_yd, own), goal_yd),
    )


def needed_present(
    model: CarryModel,
    coefficients: Array,
    curve: DistanceCurve,
    present: Present,
    goal_yd: Array,
    added_yd: Array | float = 0.0,
) -> tuple[Array, Array, Array]:
    """Give the club speeds, mph, that goals need if the delivery stays, and the edges of their 90 % intervals.

    Parameters
    ----------
    model : CarryModel
    coefficients : ndarray, shape (replicates, terms)
        See `Present.slope_error_yd`.
    curve : DistanceCurve
    present : Present
        Of n golfers.
    goal_yd : ndarray, shape (n,)
    added_yd : ndarray, shape (n, m), or float
        What roll and the place's air and wind add to carry at each speed of the benchmarks.

    Returns
    -------
    tuple of three ndarrays, each of shape (n,)
        NaN where the data don't reach: neither at such a speed, nor at the delivery there. The interval has what the
        present carry and the model's slope leave open.

    Notes
    -----
    The doubt of efficient carry, which is in the interval of `Present`, is taken out again: no efficient drive is in
    question here. On invented academies other than the proving ground's 94 in 100 intervals held the true speed with it
    and 89 without. What the turf leaves open of the run is taken to grow as club speed does.
    """
    own = present.carry_over(model, curve.speeds_mph)
    own = own + added_yd
    speed = curve.speed_for(own, goal_yd)
    inside = curve.frontier.holds(present.drive.at(speed))
    at = np.where(np.isnan(speed), present.club_speed_mph, speed)
    slope = Z90 * present.slope_error_yd(model, coefficients, at)
    grown = at / present.club_speed_mph
    below, above = (
        np.hypot(np.sqrt(np.maximum(reach**2 - present.shared_yd**2, 0) + run**2) * grown, slope)
        for reach, run in (
            (present.carry_yd - present.lo90_yd, present.run_below_yd),
            (present.hi90_yd - present.carry_yd, present.run_above_yd),
        )
    )
    found = speed, curve.speed_for(own, goal_yd - above), curve.speed_for(own, goal_yd + below)
    return tuple(np.where(inside, values, np.nan) for values in found)  # type: ignore[return-value]


def shares(
    curve: DistanceCurve,
    speed_mph: Array,
    present_yd: Array,
    lo90_yd: Array,
    hi90_yd: Array,
    goal_yd: Array,
    speed_error_mph: Array | float = 0.0,
    lasting_yd: Array | float = 0.0,
    run_yd: tuple[Array | float, Array | float] = (0.0, 0.0),
) -> dict[str, Array]:
    """Share out the gap between present and goal: delivery at today's speed first, speed the rest.

    Parameters
    ----------
    curve : DistanceCurve
    speed_mph, present_yd, lo90_yd, hi90_yd, goal_yd : ndarray, each of shape (n,)
    speed_error_mph : ndarray, shape (n,), or float
        Standard error of today's speed by the luck of the drives. What delivery can give has it in its interval
        already; what speed has to give rests on today's speed alone. On invented academies 75 in 100 intervals of
        the latter held the truth without it.
    lasting_yd : ndarray, shape (n,), or float
        See `Present`.
    run_yd : tuple of two ndarrays, shape (n,), or floats
        What the turf leaves open of today's run, below and above. It widens the gap. Of what delivery can give it is no
        part: an efficient drive runs on the same turf.

    Returns
    -------
    dict of ndarray, each of shape (n,)
        gap_yd, delivery_yd and speed_yd, each with `_lo90_yd` and `_hi90_yd`. The two parts add up to the gap
        exactly; they are NaN where the goal is reached, and where the benchmarks don't reach the speed.
    """
    efficient, least, most = (curve.at(values, speed_mph) for values in (curve.yards, curve.lo90_yd, curve.hi90_yd))
    own = Z90 * lasting_yd
    luck = np.hypot(Z90 * speed_error_mph * curve.frontier.slope_at(curve.yards, speed_mph), own)
    lowest = efficient - np.hypot(efficient - least, luck)
    highest = efficient + np.hypot(most - efficient, luck)
    gap = goal_yd - present_yd
    gap_lo, gap_hi = gap - np.hypot(hi90_yd - present_yd, run_yd[1]), gap + np.hypot(present_yd - lo90_yd, run_yd[0])
    # The interval of what is now has the error of efficient carry in it already, see `Present.of`.
    lost = efficient - present_yd
    lost_lo, lost_hi = lost - np.hypot(hi90_yd - present_yd, own), lost + np.hypot(present_yd - lo90_yd, own)
    # Both parts rise with each of what they are made of, so their edges are made of the edges.
    delivery, delivery_lo, delivery_hi = (
        np.clip(np.minimum(a, b), 0, None) for a, b in ((gap, lost), (gap_lo, lost_lo), (gap_hi, lost_hi))
    )
    speed_lo, speed_hi = (
        np.clip(np.minimum(a, goal_yd - b), 0, None) for a, b in ((gap_lo, highest), (gap_hi, lowest))
    )  # fmt: skip
    speed = gap - delivery
    parts = {
        "delivery_yd": delivery,
        "delivery_lo90_yd": np.minimum(delivery_lo, delivery),
        "delivery_hi90_yd": np.maximum(delivery_hi, delivery),
        "speed_yd": speed,
        "speed_lo90_yd": np.minimum(speed_lo, speed),
        "speed_hi90_yd": np.maximum(speed_hi, speed),
    }
    known = (gap > 0) & np.isfinite(efficient)
    parts = {name: np.where(known, values, np.nan) for name, values in parts.items()}
    return {"gap_yd": gap, "gap_lo90_yd": gap_lo, "gap_hi90_yd": gap_hi, **parts}


def reach_words(
    goal_yd: Array, gap_yd: Array, delivery_yd: Array, speed_yd: Array, efficient_speed_mph: Array
) -> npt.NDArray[np.str_]:
    """Say what each goal takes, by the words of `pipeline.tables.goals.REACHES`; all of shape (n,)."""
    return np.select(
        [
            np.isnan(goal_yd),
            gap_yd <= 0,
            speed_yd <= 0,
            np.isnan(efficient_speed_mph) | np.isnan(speed_yd),
            delivery_yd <= 0,
        ],
        ["no_goal", "reached", "delivery", "beyond_data", "speed"],
        "both",
    )
