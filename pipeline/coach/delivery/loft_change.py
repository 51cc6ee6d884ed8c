"""What a golfer's carry might be after a change of loft at the present attack, and what more attack adds on top.

A delivery is moved along the line that loft takes it: by the golfers' own slopes where enough of them vary their loft,
else by rigid impact. Attack moves it along the golfers' own slopes from swing to swing. Nothing is told beyond the
drives that the study has near that club speed.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.coach.delivery.impact_slopes import LOFT_DOUBT, change_by_loft
from pipeline.coach.delivery.slopes import DeliveryModel
from pipeline.coach.delivery.sums import ATTACK, RESPONSE_PLACES, Sums
from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.usual_delivery import MEDIAN_VARIANCE
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach

# Changes of loft that are looked at. ASSUMED: a driver's loft can be had that much lower or higher.
LOFT_STEPS_DEG = np.arange(-4.0, 4.01, 0.5)
# The change of attack that is looked at. ASSUMED: a change that golfers do make (an upward strike goes up to about
# +7 deg: common practice, no source).
ATTACK_CHANGE_DEG = 3.0
# A smaller gain isn't worth another club.
LEAST_GAIN_YD = 1.0
# What a carry model's form may be wrong by where a delivery moves 1 deg of launch or 250 rpm: refits on other golfers
# don't show it. From the proving ground's balls, where intervals without it held too few truths.
FORM_YD = 0.1
FORM_STEPS = np.array([1.0, 250.0])
CHUNK = 20_000  # golfers at a time, so that memory doesn't grow with them
_STEPS = np.array([0.1, 20.0, 0.002])  # of launch, spin and ratio, for slopes of carry


@dataclass(frozen=True)
class PresentDelivery:
    """Golfers' present deliveries.

    Attributes
    ----------
    speed_mph, attack_deg : ndarray, shape (n,)
        Attack is NaN where it isn't read.
    delivery : ndarray, shape (n, 3)
        Launch, deg, spin, rpm, and speed ratio (NaN where unknown) of the typical drive.
    covariance : ndarray, shape (n, 3, 3)
        Of its errors.
    """

    speed_mph: Array
    attack_deg: Array
    delivery: Array
    covariance: Array

    def moved(self, move: Array) -> Delivery:
        """Give the deliveries after moves of launch, deg, spin, rpm, and ratio, shape (n, ..., 3); shape (n, ...)."""
        more = (1,) * (move.ndim - 2)
        launch, spin, ratio = (self.delivery[:, k].reshape(-1, *more) + move[..., k] for k in range(3))
        club = np.broadcast_to(self.speed_mph.reshape(-1, *more), launch.shape)
        return Delivery(club, ratio, launch, spin)

    def part(self, rows: slice) -> "PresentDelivery":
        """Give some of the golfers."""
        return PresentDelivery(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class MovedCarry:
    """Expected carry of deliveries with its doubt: the model, the covariance of its terms, where drives are."""

    model: CarryModel
    covariance: Array
    frontier: Frontier

    @classmethod
    def of(cls, model: CarryModel, refits: Array, frontier: Frontier) -> "MovedCarry":
        """Take the covariance of the terms from refits on resampled golfers, shape (replicates, terms)."""
        return cls(model, np.cov(refits, rowvar=False), frontier)

    def _inputs(self, present: PresentDelivery, move: Array) -> tuple[Array, Array, Array]:
        """Give the surface's inputs of moved deliveries, each of shape (n, ...), from moves of shape (n, ..., 3)."""
        drive = present.moved(move)
        ratio = self.model.ratio(present.moved(np.zeros_like(move)))
        struck = ratio + move[..., 2]
        # Where carry goes by club speed, a better strike counts as that much more of it.
        speed = drive.club_speed_mph * (struck if self.model.by_ball_speed else struck / ratio)
        return speed, drive.launch_deg, drive.spin_rpm

    def yards(self, present: PresentDelivery, move: Array) -> Array:
        """Give expected carry of moved deliveries, yd, shape (n, ...)."""
        given = self._inputs(present, move)
        return self.model.carry(*(x.ravel() for x in given)).reshape(move.shape[:-1])

    def terms(self, present: PresentDelivery, move: Array) -> Array:
        """Give the model's terms there, shape (n, terms), for moves of shape (n, 3)."""
        return self.model.surface.design(*self._inputs(present, move))

    def slopes(self, present: PresentDelivery, move: Array) -> Array:
        """Give how carry goes with launch, spin and ratio there, yd per unit, shape (n, 3)."""
        sides = [self.yards(present, move[:, None, :] + sign * np.diag(_STEPS)) for sign in (1, -1)]
        return np.asarray((sides[0] - sides[1]) / (2 * _STEPS))

    def holds(self, present: PresentDelivery, move: Array) -> npt.NDArray[np.bool_]:
        """Say where a study's drives reach, shape (n, ...)."""
        return self.frontier.holds(present.moved(move))


@dataclass(frozen=True)
class DeliveryMoves:
    """How deliveries move with loft and attack, with the doubt of both."""

    slopes: DeliveryModel

    @cached_property
    def _attack(self) -> tuple[Array, Array]:
        """Give the slopes on attack, shape (3,), and the covariance of one golfer's own about them, shape (3, 3).

        Without ball speed the ratio goes with spin, as in rigid impact: both follow the difference of loft and attack.
        """
        fitted, by_loft = self.slopes.attack, self.slopes.impact["loft_deg"]
        known = np.eye(3)
        if np.isnan(fitted.slope[2]):
            known[2] = [0.0, by_loft[2] / by_loft[1], 0.0]
        covariance = np.nan_to_num(fitted.covariance) + fitted.golfer_covariance
        return known @ np.nan_to_num(fitted.slope), known @ covariance @ known.T

    def _own(self, present: PresentDelivery) -> Array:
        """Scale slopes of spin to each golfer's club speed, shape (n, 3)."""
        scale = np.ones((len(present.speed_mph), 3))
        scale[:, 1] = present.speed_mph / self.slopes.speed_mph
        return scale

    def by_loft(self, present: PresentDelivery, change_deg: Array) -> Array:
        """Give the moves by changes of loft, shape (n, steps, 3), for changes of shape (steps,) or (n, steps)."""
        change = np.broadcast_to(change_deg, (len(present.speed_mph), np.shape(change_deg)[-1]))
        speed, attack, launch = (x[:, None] for x in (present.speed_mph, present.attack_deg, present.delivery[:, 0]))
        moved = change_by_loft(speed, attack, launch, change)
        if self.slopes.loft_measured:
            # The bend is impact's, the slope is the golfers'; without ball speed there is none for the ratio.
            beside = np.nan_to_num(self.slopes.loft.slope - self.slopes.impact["loft_deg"])
            moved = moved + beside * self._own(present)[:, None, :] * change[..., None]
        return np.asarray(moved)

    def by_attack(self, present: PresentDelivery, change_deg: float) -> Array:
        """Give the moves by a change of attack, shape (n, 3)."""
        return np.asarray(self._attack[0] * self._own(present) * change_deg)

    def loft_variance(self, present: PresentDelivery, weight: Array) -> Array:
        """Give the variance of carry from the doubt of loft's slopes, yd^2, shape (n,).

        `weight`, shape (n, 3), is carry's slope with a move times the change of loft.
        """
        whose = self.slopes.impact["loft_deg"]
        weight = weight * self._own(present)
        if self.slopes.loft_measured:
            return _quadratic(weight, np.nan_to_num(self.slopes.loft.covariance))
        # Rigid impact is off by one factor for all three: how much of a loft arrives, and how far a ball is rigid.
        return np.asarray((LOFT_DOUBT * (weight @ whose)) ** 2)

    def attack_variance(self, present: PresentDelivery, weight: Array) -> Array:
        """Give the same for attack, how golfers' own slopes differ among it."""
        return _quadratic(weight * self._own(present), self._attack[1])


@dataclass(frozen=True)
class Point:
    """Moves, shape (n, 3), with carry's slopes on launch, spin and ratio, (n, 3), and the model's terms, (n, terms)."""

    move: Array
    slopes: Array
    terms: Array

    @classmethod
    def at(cls, present: PresentDelivery, carry: MovedCarry, move: Array) -> "Point":
        """Work them out."""
        return cls(move, carry.slopes(present, move), carry.terms(present, move))

    def variance_to(self, other: "Point", present: PresentDelivery, carry: MovedCarry) -> Array:
        """Give the variance of the carry between two points that isn't the moves' own, yd^2, shape (n,)."""
        step = np.hypot(*((other.move - self.move)[:, :2] / FORM_STEPS).T)
        # A ratio that isn't known has no error of its own: what hangs on it is the same before and after.
        own = np.nan_to_num(present.covariance)
        off = other.slopes - self.slopes
        drives = np.einsum("ni,nij,nj->n", off, own, off)
        return np.asarray(drives + _quadratic(other.terms - self.terms, carry.covariance) + (FORM_YD * step) ** 2)


def _quadratic(weight: Array, covariance: Array) -> Array:
    return np.asarray(np.einsum("ni,...ij,nj->n", weight, covariance, weight, optimize=True))


def reachable(
    present: PresentDelivery, carry: MovedCarry, moves: DeliveryMoves, attack_deg: float = ATTACK_CHANGE_DEG
) -> pl.DataFrame:
    """Work out the best delivery by loft alone, and what more attack would add on top.

    Parameters
    ----------
    present : PresentDelivery
        n golfers.
    carry : MovedCarry
    moves : DeliveryMoves
    attack_deg : float
        The change of attack.

    Returns
    -------
    DataFrame
        One row per golfer, in their order: carry_now_yd, loft_least_deg, loft_most_deg, loft_change_deg, the best
        delivery, best_carry_yd, gain_yd with its 90 % interval, and the same for attack; null where not known.

    Notes
    -----
    Intervals hold the doubt of the slopes, of the golfer's typical drive and of the carry model and its form. The
    change of loft is the one that this fit finds best: another study's best may differ.
    """
    parts = [_some(present.part(rows), carry, moves, attack_deg) for rows in _slices(len(present.speed_mph))]
    return pl.concat(parts)


def _slices(many: int) -> Iterator[slice]:
    yield from (slice(first, first + CHUNK) for first in range(0, max(many, 1), CHUNK))


def _some(present: PresentDelivery, carry: MovedCarry, moves: DeliveryMoves, attack_deg: float) -> pl.DataFrame:
    nowhere = np.zeros((len(present.speed_mph), 3))
    by_loft = moves.by_loft(present, LOFT_STEPS_DEG)
    upwards = moves.by_attack(present, attack_deg)
    inside, now = _reached(present, carry, by_loft), carry.yards(present, nowhere)
    best, place = _best(present, carry, by_loft, inside)
    best = np.maximum(best, now)  # the step of no change, worked out beside others, differs in the last digit
    # Loft is chosen anew: more attack may want less of it.
    higher = by_loft + upwards[:, None, :]
    top, top_place = _best(present, carry, higher, carry.holds(present, higher) & ~np.isnan(by_loft).any(axis=-1))
    rows = np.arange(len(now))
    move, top_move = by_loft[rows, place], higher[rows, top_place]
    loft, top_loft = LOFT_STEPS_DEG[place], LOFT_STEPS_DEG[top_place]
    held, told = inside.any(axis=1), np.isfinite(top) & inside.any(axis=1)
    first, middle, last = (Point.at(present, carry, np.nan_to_num(part)) for part in (nowhere, move, top_move))
    variance = first.variance_to(middle, present, carry) + moves.loft_variance(present, middle.slopes * loft[:, None])
    more = middle.variance_to(last, present, carry)
    more += moves.loft_variance(present, last.slopes * top_loft[:, None] - middle.slopes * loft[:, None])
    more += moves.attack_variance(present, last.slopes * attack_deg)
    t = float(t_reach(max(moves.slopes.attack.golfers - 1, 1)))
    after = present.delivery + move
    least, most = (np.where(held, LOFT_STEPS_DEG[pick], np.nan) for pick in (inside.argmax(axis=1), _last(inside)))
    columns = {
        "carry_now_yd": now,
        "loft_least_deg": least,
        "loft_most_deg": most,
        "loft_change_deg": loft,
        **{f"best_{name}": after[:, k] for k, name in enumerate(("launch_deg", "spin_rpm", "speed_ratio"))},
        "best_carry_yd": best,
        **_interval("gain", best - now, t * np.sqrt(variance)),
    }
    columns = {name: np.where(held, values, np.nan) for name, values in columns.items()}
    beside = {"attack_loft_change_deg": top_loft} | _interval("attack_gain", top - best, t * np.sqrt(more))
    columns |= {name: np.where(told, values, np.nan) for name, values in beside.items()}
    return pl.DataFrame(columns).fill_nan(None)


def _reached(present: PresentDelivery, carry: MovedCarry, by_loft: Array) -> npt.NDArray[np.bool_]:
    """Mark the changes of loft that keep the delivery where drives are, if the present one is there too."""
    found = carry.holds(present, by_loft) & ~np.isnan(by_loft).any(axis=-1)
    return np.asarray(found & found[:, [len(LOFT_STEPS_DEG) // 2]])


def _best(
    present: PresentDelivery, carry: MovedCarry, moved: Array, inside: npt.NDArray[np.bool_]
) -> tuple[Array, npt.NDArray[np.int64]]:
    """Give the largest carry among the steps inside, NaN where there is none, and its step; small changes first."""
    yards = np.where(inside, carry.yards(present, np.nan_to_num(moved)), -np.inf)
    order = np.argsort(np.abs(LOFT_STEPS_DEG), kind="stable")
    place = order[yards[:, order].argmax(axis=1)]
    most = yards[np.arange(len(yards)), place]
    return np.where(inside.any(axis=1), most, np.nan), place


def _last(inside: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    return np.asarray(inside.shape[1] - 1 - inside[:, ::-1].argmax(axis=1))


def _interval(name: str, value: Array, half: Array) -> dict[str, Array]:
    return {f"{name}_yd": value, f"{name}_lo90_yd": value - half, f"{name}_hi90_yd": value + half}


def present_of(golfers: pl.DataFrame, sums: Sums) -> tuple[PresentDelivery, pl.DataFrame]:
    """Gather golfers' present deliveries.

    Parameters
    ----------
    golfers : DataFrame
        Rows of the table `Golfers` of one quarter.
    sums : Sums
        Of that quarter alone.

    Returns
    -------
    tuple
        The deliveries in the order of `golfers`; attack_deg and loft_deg beside them, null where not known.
    """
    n = sums.by_golfer(sums.n)
    place = golfers.select(
        pl.col("golfer").replace_strict(
            dict(zip(sums.names, range(len(sums.names)), strict=True)), default=None, return_dtype=pl.Int64
        )
    ).to_series()
    there, at = place.is_not_null().to_numpy(), place.fill_null(0).to_numpy()
    attack, covariance = np.full(len(at), np.nan), np.zeros((len(at), 3, 3))
    loft = np.full(len(at), np.nan)
    if sums.golfers:
        attack = np.where(there, (sums.by_golfer(sums.total)[:, ATTACK] / n)[at], np.nan)
        scatter = sums.by_golfer(sums.within_cells())[:, RESPONSE_PLACES][:, :, RESPONSE_PLACES]
        covariance = np.where(
            there[:, None, None], (MEDIAN_VARIANCE * scatter / np.maximum(n, 2.0)[:, None, None] ** 2)[at], 0.0
        )
        loft = np.where(there, _usual_loft(sums)[at], np.nan)
    ratio = (
        golfers.get_column("ball_speed_mph").cast(pl.Float64).to_numpy()
        / golfers.get_column("club_speed_mph").to_numpy()
    )
    delivery = np.column_stack([golfers.select("launch_deg", "spin_rpm").to_numpy(), ratio])
    beside = pl.DataFrame({"attack_deg": attack, "loft_deg": loft}).fill_nan(None)
    return PresentDelivery(golfers.get_column("club_speed_mph").to_numpy(), attack, delivery, covariance), beside


def _usual_loft(sums: Sums) -> Array:
    """Give the stated loft of most of each golfer's drives, deg; NaN where none is stated."""
    order = np.lexsort((sums.n, ~np.isnan(sums.loft_deg), sums.golfer))
    last = np.flatnonzero(np.append(np.diff(sums.golfer[order]) > 0, True))
    return np.asarray(sums.loft_deg[order][last])
