"""What is known of each golfer's quarter and of each drive in it, to hold quarters against each other."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.fit.model import CarryModel
from pipeline.golfers.losses import KEYS, Frontier
from pipeline.statistics.arrays import Array

# Half the step over which the carry of one more mph is read off the model.
STEP_MPH = 0.5


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
# Means of the drives whose errors the part of delivery has, with ball speed and without.
DELIVERIES = (Measure("delivery", "_yd", median=False, better=1), Measure("steady", "_yd", median=False, better=1))


@dataclass(frozen=True)
class Yardstick:
    """What quarters are held against.

    Attributes
    ----------
    model : CarryModel
    frontier : Frontier
    window : dict of str to ndarray, shape (n,)
        launch_lo_deg, launch_hi_deg, spin_lo_rpm, spin_hi_rpm at the frontier's speeds; NaN where there is no window.
    """

    model: CarryModel
    frontier: Frontier
    window: dict[str, Array]

    def outside(self, measure: Measure, value: Array, club_speed_mph: Array) -> Array:
        """Give how far launch or spin lies outside the efficient window, or, without one, off the efficient delivery.

        NaN where the benchmarks don't reach the speed. Shape (n,).
        """
        best = getattr(self.frontier, measure.column)
        edges = [self.window[f"{measure.name}_{end}{measure.unit}"] for end in ("lo", "hi")]
        lo, hi = (self.frontier.at(np.where(np.isnan(edge), best, edge), club_speed_mph) for edge in edges)
        return np.maximum(np.maximum(lo - value, value - hi), 0.0)


def drive_values(drives: pl.DataFrame, yardstick: Yardstick, names: Sequence[str] | None = None) -> pl.DataFrame:
    """Give what each drive adds to the figures: golfer, quarter, struck_on, device, ball and the measures' columns.

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
        lost_yd is that of the drive, against efficient carry at its own speed; delivery_yd is expected carry less what
        the drive's club speed adds, steady_yd the same at the usual ratio; expected_yd and usual_yd are expected carry.
    """
    # As in `typical_drives`: a guessed spin is used only where there is no measured one at all.
    measured = pl.col("spin_measured").fill_null(True)
    plain = {
        "club_speed_mph": pl.col("club_speed_mph"),
        "launch_deg": pl.col("launch_deg"),
        "carry_yd": pl.col("carry_yd"),
        "speed_ratio": pl.col("ball_speed_mph").cast(pl.Float64) / pl.col("club_speed_mph"),
        "spin_rpm": pl.when(measured | ~measured.any().over(KEYS)).then(pl.col("spin_rpm")),
    }
    made = {"lost_yd": _lost, "expected_yd": _expected, "usual_yd": _usual, "delivery_yd": _delivery}
    made |= {"steady_yd": _steady}
    wanted = [*plain, *made] if names is None else names
    return drives.select(
        *KEYS,
        "struck_on",
        "device",
        "ball",
        *(plain[name].alias(name) for name in wanted if name in plain),
        *(pl.lit(pl.Series(name, made[name](drives, yardstick))).alias(name) for name in wanted if name in made),
    )


def _columns(drives: pl.DataFrame, *names: str) -> list[Array]:
    return [drives.get_column(name).cast(pl.Float64).to_numpy() for name in names]


def _expected(drives: pl.DataFrame, yardstick: Yardstick) -> Array:
    model = yardstick.model
    club, ball, launch, spin = _columns(drives, "club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm")
    usual = model.speed(club)
    return model.carry(np.where(np.isnan(ball), usual, ball) if model.surface.speed == "ball" else usual, launch, spin)


def _usual(drives: pl.DataFrame, yardstick: Yardstick) -> Array:
    club, launch, spin = _columns(drives, "club_speed_mph", "launch_deg", "spin_rpm")
    return yardstick.model.carry(yardstick.model.speed(club), launch, spin)


def _delivery(drives: pl.DataFrame, yardstick: Yardstick) -> Array:
    club, slope = _columns(drives, "club_speed_mph", "slope")
    return _expected(drives, yardstick) - slope * club


def _steady(drives: pl.DataFrame, yardstick: Yardstick) -> Array:
    club, slope = _columns(drives, "club_speed_mph", "slope")
    return _usual(drives, yardstick) - slope * club


def _lost(drives: pl.DataFrame, yardstick: Yardstick) -> Array:
    frontier = yardstick.frontier
    club, carry = _columns(drives, "club_speed_mph", "carry_yd")
    efficient = np.interp(club, frontier.speed_mph, frontier.carry_yd) if len(frontier.speed_mph) else 0.0
    return efficient - carry


def of_quarters(own: pl.DataFrame) -> pl.DataFrame:
    """Give mean expected carry, and the device and ball of most drives, of each golfer and quarter.

    Parameters
    ----------
    own : DataFrame
        From `drive_values`.
    """
    commonest = (pl.col(name).drop_nulls().mode().sort().first().alias(name) for name in ("device", "ball"))
    return own.group_by(KEYS).agg(pl.col("expected_yd", "usual_yd").mean(), *commonest)


def strike(
    table: pl.DataFrame, model: CarryModel, known: npt.NDArray[np.bool_], end: str = ""
) -> tuple[Callable[..., Array], list[Array]]:
    """Give carry as a function of club speed, speed ratio, launch and spin, and golfers' typical values of these.

    Parameters
    ----------
    table : DataFrame
        club_speed_mph, speed_ratio, launch_deg, spin_rpm, each with `end` after its name.
    model : CarryModel
    known : ndarray of bool, shape (n,)
        Whose ratio to use; for the others the usual one stands in and the ratio is no input at all.
    end : str
    """
    club, ratio, launch, spin = (
        table.get_column(f"{name}{end}").cast(pl.Float64).to_numpy()
        for name in ("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm")
    )

    def carry(v: Array, r: Array, l: Array, s: Array) -> Array:
        return model.carry(np.where(known, model.speed(v, r), model.speed(v)), l, s)

    return carry, [club, np.where(known, ratio, 1.0), launch, spin]


def per_mph(carry: Callable[..., Array], at: list[Array]) -> Array:
    """Give what one more mph of club speed adds to carry, yd, for a function and values from `strike`."""
    club, *others = at
    return np.asarray((carry(club + STEP_MPH, *others) - carry(club - STEP_MPH, *others)) / (2 * STEP_MPH))
