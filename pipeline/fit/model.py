"""A fitted carry model: drives in, expected carry with an interval out (numpy alone, quick to import)."""

from dataclasses import dataclass, field, fields, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.fit.form import Form
from pipeline.fit.usual_delivery import UsualDelivery
from pipeline.flight.offsets import Offsets
from pipeline.flight.regressors import Regressors
from pipeline.physics.impact import ASSUMED_RATIO
from pipeline.statistics.arrays import Array

KNOWABLE = ("ball_speed", "launch", "spin")

# How a drive is struck: with its own speed ratio, where that is known; with the usual one at its club speed; or with
# the one that the better quarter of golfers reach. Where the own ratio isn't known, the usual one stands in.
Strike = Literal["own", "usual", "better"]

HALF_STEP_MPH = 0.5  # about a club speed, for the yards that one mph more brings


def known_key(ball_speed: bool, launch: bool, spin: bool) -> str:
    """Name what is known of a drive beside its club speed, such as `launch+spin`, or `nothing`."""
    known = zip(KNOWABLE, (ball_speed, launch, spin), strict=True)
    return "+".join(name for name, is_known in known if is_known) or "nothing"


@dataclass(frozen=True)
class Delivery:
    """Drives as the model takes them; four arrays that broadcast.

    Attributes
    ----------
    club_speed_mph : ndarray
    speed_ratio : ndarray
        Ball over club speed; NaN where ball speed isn't known.
    launch_deg, spin_rpm : ndarray
    """

    club_speed_mph: Array
    speed_ratio: Array
    launch_deg: Array
    spin_rpm: Array

    @classmethod
    def of(cls, table: pl.DataFrame, end: str = "") -> "Delivery":
        """Take drives or typical drives from a table, one entry a row.

        Parameters
        ----------
        table : DataFrame
            club_speed_mph, launch_deg, spin_rpm, and speed_ratio or else ball_speed_mph; null is not known.
        end : str
            What ends the names of the columns, such as `_before`.
        """
        ratio = f"speed_ratio{end}"
        names = ("club_speed_mph", ratio if ratio in table.columns else "ball_speed_mph", "launch_deg", "spin_rpm")
        columns = [name if name == ratio else f"{name}{end}" for name in names]
        club, struck, launch, spin = (table.get_column(name).cast(pl.Float64).to_numpy() for name in columns)
        return cls(club, struck if ratio in table.columns else struck / club, launch, spin)

    def at(self, club_speed_mph: npt.ArrayLike) -> "Delivery":
        """Give the same delivery at other club speeds, mph: ratio, launch and spin stay."""
        return replace(self, club_speed_mph=np.asarray(club_speed_mph, dtype=float))

    def struck(self, speed_ratio: npt.ArrayLike) -> "Delivery":
        """Give the same delivery with other speed ratios."""
        return replace(self, speed_ratio=np.asarray(speed_ratio, dtype=float))

    def one(self, place: int) -> "Delivery":
        """Give a single drive of several, as arrays without an axis."""
        return Delivery(*(np.asarray(getattr(self, part.name)[place]) for part in fields(self)))

    def broadcast(self) -> "Delivery":
        """Give the four arrays in one shape."""
        return Delivery(*np.broadcast_arrays(*(getattr(self, one.name) for one in fields(self))))


@dataclass(frozen=True)
class CarryModel:
    """Carry over speed, launch and spin at the reference device and ball.

    Attributes
    ----------
    surface : Form
    coefficients : ndarray, shape (terms of the surface,)
    offsets : Offsets
    offset_share : ndarray, shape (terms of the offsets,)
        What each device or ball adds to carry, as a share of carry on the reference.
    usual : UsualDelivery
        What golfers of a club speed usually do.
    interval : dict
        For what is known (see `known_key`): lower and upper edge of the 90 % interval for one drive of a golfer
        who was not in the fit, as shares of the prediction, such as (-0.06, 0.05).
    better_share : float
        For a surface over club speed: how much farther than expected the better quarter of golfers carry, as a
        share of carry. It stands for their better strike, which ball speed would have shown; else 0.
    offset_std_error, offset_golfers : ndarray, shape (terms of the offsets,)
        Of each share its standard error, which is that of the golfers behind it, and their number (see
        `pipeline.fit.shares`). Empty before they are worked out.
    regressors : Regressors
        What else carry depends on. Expected carry is that at their centers unless `own_regressors` of drives are taken
        in. Carry on the reference device and ball keeps what they add: it is the golfer's.
    """

    surface: Form
    coefficients: Array
    offsets: Offsets
    offset_share: Array
    usual: UsualDelivery
    interval: dict[str, tuple[float, float]]
    better_share: float = 0.0
    offset_std_error: Array = field(default_factory=lambda: np.zeros(0))
    offset_golfers: Array = field(default_factory=lambda: np.zeros(0))
    regressors: Regressors = field(default_factory=Regressors)

    @property
    def by_ball_speed(self) -> bool:
        """Whether carry goes by ball speed; else by club speed."""
        return self.surface.speed == "ball"

    def expected(self, delivery: Delivery, strike: Strike = "own") -> Array:
        """Give expected carry of drives, yd, on the reference device and ball.

        Parameters
        ----------
        delivery : Delivery
        strike : {"own", "usual", "better"}
            Whose speed ratio they are struck with. A surface over club speed looks at none; better strikes then carry
            farther by `better_share`.

        Returns
        -------
        ndarray
            In the broadcast shape of the delivery.
        """
        drives = delivery.broadcast()
        inputs = self.inputs(drives, strike)
        carry = self.carry(*(part.ravel() for part in inputs)).reshape(drives.club_speed_mph.shape)
        return carry * (1 + self.better_share) if strike == "better" else carry

    def inputs(self, delivery: Delivery, strike: Strike = "own") -> tuple[Array, Array, Array]:
        """Give the surface's inputs of drives: the speed that it takes, mph, launch, deg, and spin, rpm."""
        return self.speed(delivery, strike), delivery.launch_deg, delivery.spin_rpm

    def speed(self, delivery: Delivery, strike: Strike = "own") -> Array:
        """Give the speed that the surface takes, mph: ball speed of such a strike, or club speed."""
        club = delivery.club_speed_mph
        return np.asarray(club * self.ratio(delivery, strike)) if self.by_ball_speed else club

    def ratio(self, delivery: Delivery, strike: Strike = "own") -> Array:
        """Give the speed ratio of a strike, in the delivery's shape; an assumed one where the study has none at all."""
        club = delivery.club_speed_mph
        if strike == "better" and self.usual.better_ratio is not None:
            better = self.usual.better_ratio(club)
            # The two lines are fitted apart and may cross where golfers are few: the better strike is never the worse.
            return better if self.usual.speed_ratio is None else np.maximum(better, self.usual.speed_ratio(club))
        usual = np.full_like(club, ASSUMED_RATIO) if self.usual.speed_ratio is None else self.usual.speed_ratio(club)
        own = delivery.speed_ratio if strike == "own" else np.full_like(club, np.nan)
        return np.where(np.isnan(own), usual, own)

    def carry(self, speed_mph: npt.ArrayLike, launch_deg: npt.ArrayLike, spin_rpm: npt.ArrayLike) -> Array:
        """Give carry for the surface's own inputs, yd; all of shape (n,)."""
        return self.surface.carry_by(self.coefficients, speed_mph, launch_deg, spin_rpm)

    def usual_at(self, club_speed_mph: npt.ArrayLike) -> Delivery:
        """Give the usual drive at club speeds, mph; its ratio isn't known where the study has no ball speeds."""
        club = np.asarray(club_speed_mph, dtype=float)
        ratio = self.usual.speed_ratio
        known = np.full_like(club, np.nan) if ratio is None else ratio(club)
        return Delivery(club, known, self.usual.launch(club), self.usual.spin(club))

    def with_usual(self, delivery: Delivery) -> Delivery:
        """Fill what isn't known of launch and spin (NaN) with what is usual at the club speed."""
        if not (np.isnan(delivery.launch_deg).any() or np.isnan(delivery.spin_rpm).any()):
            return delivery
        usual = self.usual_at(delivery.club_speed_mph)
        launch = np.where(np.isnan(delivery.launch_deg), usual.launch_deg, delivery.launch_deg)
        spin = np.where(np.isnan(delivery.spin_rpm), usual.spin_rpm, delivery.spin_rpm)
        return replace(delivery, launch_deg=launch, spin_rpm=spin)

    def per_mph(self, delivery: Delivery) -> Array:
        """Give what one mph more of club speed adds to expected carry, yd per mph, the delivery as it is."""
        club = delivery.club_speed_mph
        ahead, behind = (self.expected(delivery.at(club + step)) for step in (HALF_STEP_MPH, -HALF_STEP_MPH))
        return np.asarray((ahead - behind) / (2 * HALF_STEP_MPH))

    def added_share(self, drives: pl.DataFrame) -> Array:
        """Give what device and ball add to carry, as a share of it, shape (n,), from the columns of these names."""
        return np.asarray(self.offsets.design(drives) @ self.offset_share)

    def own_regressors(self, drives: pl.DataFrame) -> Array:
        """Give what the drives' own regressors make of expected carry on the reference, a factor, shape (n,).

        Parameters
        ----------
        drives : DataFrame
            device, ball and the columns of the regressors. A column that lacks, or null, counts as the center.
        """
        if not self.regressors.names:
            return np.ones(drives.height)
        # All shares add up on the golfer's own device and ball, whose part the reference is without.
        return np.asarray(1 + self.regressors.added_share(drives) / (1 + self.added_share(drives)))

    def reference_carry(self, drives: pl.DataFrame) -> Array:
        """Give standard carry moved to the reference device and ball, yd, shape (n,).

        Parameters
        ----------
        drives : DataFrame
            carry_standard_yd, device, ball. A device or ball without a term counts as the reference.
        """
        return np.asarray(drives.get_column("carry_standard_yd").to_numpy() / (1 + self.added_share(drives)))

    def with_reference(self, drives: pl.DataFrame) -> pl.DataFrame:
        """Add `carry_reference_yd` to drives; see `reference_carry`."""
        return drives.with_columns(pl.Series("carry_reference_yd", self.reference_carry(drives), dtype=pl.Float64))

    def departure(self, drives: pl.DataFrame) -> Array:
        """Give each drive's reference carry over its expected carry, less 1, shape (n,)."""
        expected = self.expected(Delivery.of(drives))
        return np.asarray(self.reference_carry(drives) / np.maximum(expected, 1.0) - 1.0)

    def better_speed(self, club_speed_mph: npt.ArrayLike) -> Array:
        """Give the speed that the surface takes, mph, for drives struck as the better quarter of golfers do."""
        return self.speed(self.usual_at(club_speed_mph), "better")

    def with_interval(self, interval: dict[str, tuple[float, float]]) -> "CarryModel":
        """Give the same model with the edges of its interval."""
        return replace(self, interval=interval)

    def better_on_grid(self, club_speed_mph: float, launch_deg: Array, spin_rpm: Array) -> Array:
        """Give expected carry over a launch and spin grid, yd, shape (m, n), struck as the better quarter do."""
        speed = float(self.better_speed(club_speed_mph))
        return self.surface.on_grid(self.coefficients, speed, launch_deg, spin_rpm) * (1 + self.better_share)


@dataclass(frozen=True)
class FittedOn:
    """What a model rests on: its drives, golfers and quarters."""

    drives: int
    golfers: int
    quarters: tuple[str, ...]


@dataclass(frozen=True)
class FittedModel:
    """model.json: a study's carry model and what it was fitted on."""

    study: str
    model: CarryModel
    fitted_on: FittedOn
