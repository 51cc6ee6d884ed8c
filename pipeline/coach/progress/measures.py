"""What is known of each golfer's quarter and of each drive in it, to hold quarters against each other."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.drives import KEYS, MEASURED, with_spin_unguessed
from pipeline.fit.model import CarryModel, Delivery
from pipeline.statistics.arrays import Array
from pipeline.statistics.shapley import exchange


@dataclass(frozen=True)
class Measure:
    """A figure of a golfer's quarter.

    Attributes
    ----------
    name, unit : str
        The unit as it stands in names of columns, such as "_mph".
    median : bool
        Whether it is the median of the drives; else their mean.
    better : int
        1 where more is better, -1 where less is, 0 where it depends on the efficient delivery.
    size : float
        Readings are taken to have a step of a tenth of it.
    """

    name: str
    unit: str
    median: bool
    better: int
    size: float = 1.0

    @property
    def column(self) -> str:
        """Name with unit, as in the table `Golfers`."""
        return self.name + self.unit

    def change(self, edge: str = "") -> str:
        """Name the column of the change, or of an edge of its interval ("lo90", "hi90")."""
        return f"{self.name}_change{'_' if edge else ''}{edge}{self.unit}"


MEASURES = (
    Measure("club_speed", "_mph", median=False, better=1),
    Measure("speed_ratio", "", median=True, better=1, size=0.01),
    Measure("launch", "_deg", median=True, better=0),
    Measure("spin", "_rpm", median=True, better=0),
    Measure("carry", "_yd", median=False, better=1),
    Measure("lost", "_yd", median=False, better=-1),
)
# Changes of yards lost are tested in the golfers' stage, all others here.
*TESTED, LOST = MEASURES
# Tested by the step of straightness; in studies whose logs say where drives came down.
STRAIGHT = (
    Measure("offline_mean", "_yd", median=False, better=0),
    Measure("offline_sd", "_yd", median=False, better=-1),
)
# Means of the drives whose errors the part of delivery has, with ball speed and without.
DELIVERIES = (Measure("delivery", "_yd", median=False, better=1), Measure("steady", "_yd", median=False, better=1))


@dataclass(frozen=True)
class Yardstick:
    """What quarters are measured with: the model and the frontier."""

    model: CarryModel
    frontier: Frontier

    def outside(self, measure: Measure, value: Array, club_speed_mph: Array) -> Array:
        """Give how far launch or spin lies outside the efficient window, or, without one, off the efficient delivery.

        Of the mean offline it is the distance from the target line. NaN where the benchmarks don't reach the speed.
        Shape (n,).
        """
        if measure in STRAIGHT:
            return np.abs(value)
        best = getattr(self.frontier, measure.column)
        edges = [getattr(self.frontier, f"{measure.name}_{end}{measure.unit}") for end in ("lo", "hi")]
        lo, hi = (self.frontier.at(np.where(np.isnan(edge), best, edge), club_speed_mph) for edge in edges)
        return np.maximum(np.maximum(lo - value, value - hi), 0.0)


def drive_values(drives: pl.DataFrame, yardstick: Yardstick, names: Sequence[str] | None = None) -> pl.DataFrame:
    """Give what each drive adds to the figures: golfer, quarter, struck_on, device, ball and the columns of `TESTED`.

    Parameters
    ----------
    drives : DataFrame
        As for `progress_of`, with `slope`: what one more mph of club speed adds to the golfer's carry, yd.
    yardstick : Yardstick
    names : sequence of str, optional
        The columns that are wanted; all if none are named.

    Returns
    -------
    DataFrame
        delivery_yd is expected carry less what the drive's club speed adds, steady_yd the same at the usual ratio;
        expected_yd and usual_yd are expected carry.
    """
    plain = {
        "club_speed_mph": pl.col("club_speed_mph"),
        "launch_deg": pl.col("launch_deg"),
        "carry_yd": pl.col("carry_reference_yd"),
        "speed_ratio": pl.col("ball_speed_mph").cast(pl.Float64) / pl.col("club_speed_mph"),
        "spin_rpm": pl.when(MEASURED).then(pl.col("spin_rpm")),
    }
    made = _Expected(drives, yardstick)
    wanted = [*plain, *MADE] if names is None else names
    return drives.select(
        *KEYS,
        "struck_on",
        "device",
        "ball",
        *(plain[name].alias(name) for name in wanted if name in plain),
        *(pl.lit(pl.Series(name, getattr(made, name))).alias(name) for name in wanted if name in MADE),
    )


MADE = ("expected_yd", "usual_yd", "delivery_yd", "steady_yd")


@dataclass(frozen=True)
class _Expected:
    """Expected carry of drives, each kind worked out once and only if it is asked for; see `drive_values`."""

    drives: pl.DataFrame
    yardstick: Yardstick

    @cached_property
    def _known(self) -> Delivery:
        """Drives' deliveries, in place of guessed spins the golfer's typical one or what is usual."""
        return self.yardstick.model.with_usual(Delivery.of(with_spin_unguessed(self.drives)))

    @cached_property
    def _by_speed(self) -> Array:
        """What a drive's club speed adds to its carry, yd, by the golfer's slope."""
        names = ("slope", "club_speed_mph")
        slope, club = (self.drives.get_column(name).cast(pl.Float64).to_numpy() for name in names)
        return np.asarray(slope * club)

    @cached_property
    def expected_yd(self) -> Array:
        return self.yardstick.model.expected(self._known)

    @cached_property
    def usual_yd(self) -> Array:
        return self.yardstick.model.expected(self._known, "usual")

    @property
    def delivery_yd(self) -> Array:
        return self.expected_yd - self._by_speed

    @property
    def steady_yd(self) -> Array:
        return self.usual_yd - self._by_speed


def of_quarters(own: pl.DataFrame) -> pl.DataFrame:
    """Give mean expected carry, and the device and ball of most drives, of each golfer and quarter.

    Parameters
    ----------
    own : DataFrame
        From `drive_values`.
    """
    commonest = (pl.col(name).drop_nulls().mode().sort().first().alias(name) for name in ("device", "ball"))
    return own.group_by(KEYS).agg(pl.col("expected_yd", "usual_yd").mean(), *commonest)


def typical_of(table: pl.DataFrame, known: npt.NDArray[np.bool_], end: str = "") -> Delivery:
    """Give golfers' typical deliveries.

    Parameters
    ----------
    table : DataFrame
        club_speed_mph, speed_ratio, launch_deg, spin_rpm, each with `end` after its name.
    known : ndarray of bool, shape (n,)
        Whose ratio to use; for the others the usual one stands in.
    end : str
    """
    delivery = Delivery.of(table, end)
    return replace(delivery, speed_ratio=np.where(known, delivery.speed_ratio, np.nan))


def share_out(model: CarryModel, now: Delivery, then: Delivery) -> list[Array]:
    """Share a change of expected carry out among club speed, speed ratio, launch and spin, yd, each of shape (n,)."""

    def carry(*inputs: Array) -> Array:
        return model.expected(Delivery(*inputs))

    # `exchange` gives what is taken away on the way from its start to its end: started from now, that is the gain.
    return exchange(carry, list(vars(now).values()), list(vars(then).values()))


def halfway(now: Delivery, then: Delivery) -> Delivery:
    """Give the delivery in the middle between two."""
    return Delivery(*((a + b) / 2 for a, b in zip(vars(now).values(), vars(then).values(), strict=True)))
