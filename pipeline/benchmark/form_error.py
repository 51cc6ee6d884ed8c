"""How far the form of the carry surface, and the choice of a flight coefficient set, may mislead efficient carry.

No surface has the very form of the ball's flight, and drives hit in other air are moved by one coefficient set of
several. What that costs is tried out: the ball flies by each of the sets in turn, calibrated to the study; its
drives are moved and fitted as the study's own were; the fit is compared with that ball's true flight at the efficient
delivery.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.efficient import Efficient
from pipeline.benchmark.widened import widened
from pipeline.drives import Drives, straightened
from pipeline.fit.model import CarryModel, Delivery
from pipeline.flight.curve import Sideways
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.trajectory import Launch, Wind, fly_by_each
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# Sensitivity: with 500 drives in place of 1000 the form error moves by at most 0.05 yd, of 0.1 to 0.7 (two academies).
SAMPLED = 1000
ROUNDS = 4  # of Gauss and Newton, from multipliers of 1: 8 rounds give the same to 0.0001 yd (two academies)
STEP = 1e-3  # of a multiplier, for its slope
BOUNDS = (0.4, 2.0)  # of a multiplier: no study's are near
LEAST_MISS_YD2 = 1e-6  # of a set whose form is the fit's own, so that it can be divided by


@dataclass(frozen=True)
class FormError:
    """What the coefficient sets say of the chosen fit.

    Attributes
    ----------
    carry_yd : ndarray, shape (sets, n)
        Fit minus truth at the efficient delivery of n club speeds, were the ball's flight that of each set.
    weights : ndarray, shape (sets,)
        Their sum is 1. A set that misses the study's drives twice as far as another counts a quarter of it.
    moved_share : float
        Error of a drive's move to standard conditions, as a share of the move: root mean square over drives and sets;
        0 where no drive is moved.

    Notes
    -----
    Three balls that are none of the sets, at 1400 m: the kept set errs by 2.2 yd of a change of 8 yd (root mean square
    over balls), and weighted like this the sets say 3.1 yd; all weighted alike they would say 4.2 yd.
    """

    carry_yd: Array
    weights: Array
    moved_share: float


def sample_of(drives: Drives, fitted_on: int) -> pl.DataFrame:
    """Take about `SAMPLED` drives, every so many-th of each piece; `fitted_on` is about the number of drives."""
    return drives.gathered(lambda frame: frame.gather_every(max(fitted_on // SAMPLED, 1)))


def form_error(model: CarryModel, sample: pl.DataFrame, at: Delivery, standard: dict[str, float]) -> FormError:
    """Try the fit on balls of the coefficient sets.

    Parameters
    ----------
    model : CarryModel
    sample : DataFrame
        Drives of the fit, with `FIT_COLUMNS`, `AIR_COLUMNS` and carry_measured_yd; `SIDE_COLUMNS` where they are known.
        They bend as hit, and a fit is to the straight drive: curve_yd is what that adds.
    at : Delivery
        The efficient ones, shape (n,), with their speed ratio.
    standard : dict
        temp_c, pressure_hpa and humidity of the study's standard air.

    Returns
    -------
    FormError
        Free of the luck of drives: the balls' carries have no scatter.

    Notes
    -----
    Offsets of devices take up their share of an error that the drives of one site have in common, as they do in the
    fit.
    """
    drives = Delivery.of(sample)
    inputs = model.inputs(drives)
    moved = (sample.get_column("carry_standard_yd") - sample.get_column("carry_measured_yd")).to_numpy()
    curve = straightened(sample).get_column("carry_standard_yd").to_numpy() - sample["carry_standard_yd"].to_numpy()
    around = air_of_drives(sample, standard["temp_c"], standard["pressure_hpa"])
    bent = Sideways.of(sample).flown
    as_hit = _Flights.of(model, drives, *around, bent)
    here = Air.of(standard["temp_c"], standard["pressure_hpa"] * 100, standard["humidity"])
    calm = _Flights.of(model, drives, here, 0.0, bent._replace(cross_mps=np.zeros_like(bent.cross_mps)))
    best = _Flights.of(model, at, here)
    base, design = model.surface.base_and_design(*inputs)
    X = np.hstack([design, model.offsets.design(sample)])
    base_at, design_at = model.surface.base_and_design(*model.inputs(at))
    errors, moves, missed = [], [], []
    for name in sorted(SETS):
        other = same_carry(Ball(name), as_hit.carries_yd, model.carry(*inputs) - curve - moved)
        carry = as_hit.carry_yd(other)
        missed.append(np.mean((model.carry(*inputs) - curve - moved - carry) ** 2))
        found = np.linalg.lstsq(X, carry + moved + curve - base, rcond=None)[0][: design.shape[1]]
        errors.append(base_at + design_at @ found - best.carry_yd(other))
        moves.append(calm.carry_yd(other) - carry - moved)
    weights = 1 / np.maximum(missed, LEAST_MISS_YD2)
    weights /= weights.sum()
    size = float(np.mean(moved**2))
    share = np.sqrt(weights @ np.mean(np.square(moves), axis=1) / size) if size > 0 else 0.0
    return FormError(np.array(errors), weights, float(share))


def with_form_error(efficient: dict[float, Efficient], said: FormError) -> dict[float, Efficient]:
    """Widen the intervals of efficient carry by its form error.

    Parameters
    ----------
    efficient : dict of float to Efficient
        By club speed.
    said : FormError
        Of these, by rising speed.

    Returns
    -------
    dict of float to Efficient
        The variance of the form is the weighted mean square over sets. Its degrees of freedom are Kish's number of
        sets. It is added to that of resampled golfers (see `widened`). Draws of the error get what each set says, times
        waves that are one from another independent, so speeds go together as the form does.
    """
    found = {}
    sets = 1 / float(np.sum(said.weights**2)) if len(said.weights) else 1.0
    for place, speed in enumerate(sorted(efficient)):
        form = np.sqrt(said.weights) * said.carry_yd[:, place]
        found[speed] = widened(efficient[speed], form, sets)
    return found


def best_deliveries(model: CarryModel, efficient: dict[float, Efficient]) -> Delivery:
    """Give the deliveries of efficient carry by rising speed, with the ratio that they are struck with."""
    found = [efficient[speed] for speed in sorted(efficient)]
    columns = ([getattr(one, name) for one in found] for name in ("speed_mph", "launch_deg", "spin_rpm"))
    speed, launch, spin = (np.array(column, dtype=float) for column in columns)
    at = Delivery(speed, np.full_like(speed, np.nan), launch, spin)
    # A surface over club speed knows no better strike than the usual one.
    return at.struck(model.ratio(at, "better" if model.by_ball_speed else "usual"))


@dataclass(frozen=True)
class _Flights:
    """Drives to be flown by any ball."""

    launch: Launch
    air: Air
    wind: Wind

    @classmethod
    def of(
        cls,
        model: CarryModel,
        drives: Delivery,
        air: Air,
        along_mps: npt.ArrayLike = 0.0,
        bent: Sideways | None = None,
    ) -> "_Flights":
        speed = drives.club_speed_mph * model.ratio(drives) * MPS_PER_MPH
        side, axis, cross = (0.0, 0.0, 0.0) if bent is None else bent
        return cls(Launch.of(speed, drives.launch_deg, drives.spin_rpm, side, axis), air, Wind(along_mps, cross))

    def carries_yd(self, balls: Sequence[Ball]) -> list[Array]:
        landed = fly_by_each(self.launch, balls, self.air, self.wind)
        return [one.carry_m / METRES_PER_YARD for one in landed]

    def carry_yd(self, ball: Ball) -> Array:
        return self.carries_yd([ball])[0]


def same_carry(ball: Ball, flown_yd: Callable[[Sequence[Ball]], list[Array]], carry_yd: Array) -> Ball:
    """Fit a ball's multipliers by least squares, so that drives carry as given.

    Parameters
    ----------
    ball : Ball
    flown_yd : callable
        Gives the drives' carry with each of several balls, which differ in their multipliers alone: yd, shapes (n,).
    carry_yd : ndarray, shape (n,)
    """
    x = np.array([ball.drag, ball.lift])
    for _ in range(ROUNDS):
        flown, *moved = flown_yd([ball.scaled(*(x + step)) for step in ((0.0, 0.0), (STEP, 0.0), (0.0, STEP))])
        slopes = [(one - flown) / STEP for one in moved]
        x = np.clip(x + np.linalg.lstsq(np.stack(slopes, axis=1), carry_yd - flown, rcond=None)[0], *BOUNDS)
    return ball.scaled(*(float(one) for one in x))
