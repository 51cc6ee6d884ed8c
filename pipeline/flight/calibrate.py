"""Fitting the drag and lift multipliers of a coefficient set to a study's own drives."""

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import with_own_texts
from pipeline.errors import UserError
from pipeline.flight.curve import Sideways
from pipeline.flight.offsets import Offsets, count_levels, offsets_from
from pipeline.physics.air import Air
from pipeline.physics.air_of_drives import air_of_drives
from pipeline.physics.ball import SETS, Ball
from pipeline.physics.overall_distance import LIMIT_YD, overall_distance_yd, sets_within_the_limit
from pipeline.physics.trajectory import Launch, Wind, fly_by_each
from pipeline.statistics.arrays import Array
from pipeline.threads import in_order
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# Measured below: on academies of the proving ground, how far what 1400 m and 22 deg C do to a drive of 130 mph of ball
# speed (5 yd) moves. The form of a set alone leaves an error of up to 2.5 yd there.

# Each drive costs six flights a round, of which a set takes three or four. Fitted to 2000 of 4500 drives that figure is
# 0.11 yd from the fit to all, to 1000 drives 0.16 yd, to 500 drives 0.18 yd (r.m.s. over five draws).
MOST_DRIVES = 2000
# With 8 golfers and 200 drives the figure is 1.1 to 3.2 yd from the fit to all (r.m.s. over four draws, three
# academies; the worst where two draws chose the other set), with 16 and 400 0.3 to 1.6 yd, with the default set as
# published 9 to 12 yd from the truth. So even fewer would do better than none; but standard errors are clustered by
# golfer, and with fewer clusters they are too small.
LEAST_DRIVES, LEAST_GOLFERS = 200, 8
# Wide of anything that balls do: over four academies the candidates came to 0.67 to 1.11, on draws of 100 or 200 drives
# to 0.68 to 1.20. Bounds of 0.6 to 1.4 or 0.25 to 3 give the same fit to six digits. They keep the search from balls
# that don't come down.
BOUNDS = (0.5, 1.6)
# About a standard deviation of the residuals (5.5 yd), so that sound drives count almost fully and mishits less and
# less (soft L1 loss). From 2.5 to 10 yd the figure moves by 0.1 to 0.25 yd.
SOFT_YD = 5.0
STEP = 1e-3  # of a multiplier, up and down, for its slope and its curvature

# A step this short ends the search: carry's series of second order then stands for flights. In the demo steps of 0.22,
# 0.07 and 0.001 left errors of 0.005, 0.0002 and 1e-8.
NEAR = 1e-4


@dataclass(frozen=True)
class Calibration:
    """A coefficient set fitted to a study.

    Attributes
    ----------
    coefficients : str
        Name of the set.
    drag, lift : float
        Multipliers; 1 where there were too few drives to fit them.
    drag_std_error, lift_std_error : float or None
        Clustered by golfer; None where nothing was fitted.
    offsets : list of (str, str, float, float)
        Column, level, share of carry and its standard error of each device and ball against the commonest.
    drives, golfers : int
        That were used.
    residual_sd_yd : float or None
    loss : float or None
        Sum of the soft L1 loss, yd^2, by which sets are compared.
    note : str
    """

    coefficients: str
    drag: float
    lift: float
    drag_std_error: float | None
    lift_std_error: float | None
    offsets: list[tuple[str, str, float, float]]
    drives: int
    golfers: int
    residual_sd_yd: float | None
    loss: float | None
    note: str

    @property
    def ball(self) -> Ball:
        """The calibrated ball."""
        return Ball(self.coefficients, self.drag, self.lift)


@dataclass(frozen=True)
class StudyFlight:
    """calibration.json: the coefficient set that a study's flight uses, and how its drives are struck.

    Attributes
    ----------
    calibration : Calibration
    speed_ratio : float or None
        Median ball over club speed of the drives with both; None without any. It stands in where ball speed is unknown.
    """

    calibration: Calibration
    speed_ratio: float | None


BEST = "best"


def calibrate_best(
    drives: "pl.DataFrame | Sample",
    coefficients: str,
    standard_temp_c: float,
    standard_pressure_hpa: float,
    seed: int,
    among: Collection[str] = tuple(SETS),
) -> tuple[Calibration, list[Calibration]]:
    """Calibrate the named set, or every candidate, and keep the one whose flights are nearest to the study's drives.

    Parameters
    ----------
    drives, standard_temp_c, standard_pressure_hpa, seed
        As for `calibrate`.
    coefficients : str
        A set's name, or "best".
    among : collection of str
        The sets that "best" chooses from.

    Returns
    -------
    tuple of Calibration and list of Calibration
        The kept one, and one for each set by name: those left out of "best" are not fitted, and their note says why.
        Where nothing can be fitted, "best" falls back on the default set, or the first it may choose.

    Raises
    ------
    UserError
        If "best" may choose none.

    Notes
    -----
    Candidates of "best" are the sets that pass the rules' test of overall distance as published
    (`pipeline.physics.overall_distance`). Multipliers are calibrated anyway, so what counts is the published set.
    How carry answers to thin air differs by 1 to 3 % of carry between sets that were all fitted to the same drives
    at 0 and 1500 m, so the set matters, and only the study's drives can decide.
    """
    candidates = _chosen_from(among) if coefficients == BEST else [coefficients]
    left_out = sorted(set(SETS) - set(candidates)) if coefficients == BEST else []

    def fitted_to(name: str) -> Calibration:
        return calibrate(drives, name, standard_temp_c, standard_pressure_hpa, seed)

    tried = list(in_order(fitted_to, candidates))
    told = sorted(
        [*tried, *(_left_out(name, named=name in among) for name in left_out)], key=lambda one: one.coefficients
    )
    fitted = [one for one in tried if one.loss is not None]
    if fitted:
        return min(fitted, key=lambda one: (one.loss, one.coefficients)), told
    fallback = [one for one in tried if one.coefficients == Ball().coefficients]
    return (fallback or tried)[0], told


def _chosen_from(among: Collection[str]) -> list[str]:
    """Name the sets that "best" considers of those that a study names."""
    passing = sets_within_the_limit()
    found = [name for name in passing if name in among]
    if not found:
        raise UserError(
            f"flight.sets in study.yaml: best can't choose {' or '.join(among)}, whose ball as published goes too far "
            "in the rules' test of overall distance; name the set under flight.coefficients, or add "
            f"{' or '.join(passing)} to flight.sets."
        )
    return found


def _left_out(name: str, *, named: bool) -> Calibration:
    """Say of a set why "best" doesn't consider it."""
    if not named:
        return _unfitted(name, "left out: flight.sets of study.yaml doesn't name it")
    note = (
        f"left out: as published its ball goes {overall_distance_yd(Ball(name)):.0f} yd in the rules' test of overall "
        f"distance, where {LIMIT_YD:.0f} yd are allowed; name it in study.yaml to use it"
    )
    return _unfitted(name, note)


def _unfitted(name: str, note: str, drives: int = 0, golfers: int = 0) -> Calibration:
    return Calibration(name, 1.0, 1.0, None, None, [], drives, golfers, None, None, note)


def calibrate(
    drives: "pl.DataFrame | Sample", coefficients: str, standard_temp_c: float, standard_pressure_hpa: float, seed: int
) -> Calibration:
    """Fit drag and lift multipliers, with device and ball offsets, by nonlinear least squares with a soft L1 loss.

    Parameters
    ----------
    drives : DataFrame or Sample
        golfer, device, ball, ball_speed_mph, launch_deg, spin_rpm, spin_measured, carry_measured_yd and `AIR_COLUMNS`;
        `SIDE_COLUMNS` where they are known.
    coefficients : str
        Name of a set in `pipeline.physics.ball.SETS`.
    standard_temp_c, standard_pressure_hpa : float
        As for `air_of_drives`.
    seed : int
        Decides which drives are used where there are more than `MOST_DRIVES`.

    Returns
    -------
    Calibration
        Multipliers of 1, and a note, where there are fewer than 200 drives or 8 golfers with ball speed.

    Notes
    -----
    A drive is flown as it bends, by the set that is being fitted, so that what a curve and a cross wind cost isn't
    taken for drag or lift. One that isn't known to bend is flown straight. A reference device that reads long or short
    is taken up by the multipliers: carry is calibrated to that device.
    Standard errors are those of a robust M-estimate with scores summed by golfer (sandwich).
    """
    sample = drives if isinstance(drives, Sample) else Sample.of(lambda: iter((drives,)), seed)
    if sample.known < LEAST_DRIVES or sample.golfers < LEAST_GOLFERS:
        note = f"not calibrated: {sample.known} drives of {sample.golfers} golfers have ball speed and measured spin"
        return _unfitted(coefficients, note, sample.known, sample.golfers)
    used, offsets = sample.drives, sample.offsets
    around = air_of_drives(used, standard_temp_c, standard_pressure_hpa)
    problem = _Problem.of(used, offsets, coefficients, around)
    found, flown = problem.solve()
    errors = np.sqrt(np.diag(problem.covariance(found, flown)))
    shifts = [
        (column, level, float(share), float(error))
        for (column, level), share, error in zip(offsets.levels, found[2:], errors[2:], strict=True)
    ]
    return Calibration(
        coefficients,
        float(found[0]),
        float(found[1]),
        float(errors[0]),
        float(errors[1]),
        shifts,
        used.height,
        used.get_column("golfer").n_unique(),
        float(np.std(problem.residuals(found, flown))),
        problem.loss(found, flown),
        "fitted to the study's own drives",
    )


def median_ratio(pieces: Iterable[pl.DataFrame]) -> float | None:
    """Give the median of ball speed over club speed; None where no drive has both."""
    ratios = [piece.select(pl.col("ball_speed_mph") / pl.col("club_speed_mph")).to_series() for piece in pieces]
    middle = pl.concat(ratios).median() if ratios else None
    return None if middle is None else float(cast(float, middle))


KNOWN = pl.col("ball_speed_mph").is_not_null() & pl.col("spin_measured").fill_null(True)


@dataclass(frozen=True)
class Sample:
    """The drives that a study's flight is fitted to.

    Attributes
    ----------
    drives : DataFrame
        At most `MOST_DRIVES`, as evenly over golfers as can be, at random within each; `golfer` is a number.
    offsets : Offsets
        By all drives with ball speed and measured spin: which of them are sampled must not decide the reference.
    known, golfers : int
        Number of those drives, and of their golfers.
    """

    drives: pl.DataFrame
    offsets: Offsets
    known: int
    golfers: int

    @classmethod
    def of(cls, read: Callable[[], Iterator[pl.DataFrame]], seed: int) -> "Sample":
        """Read a study's drives piece by piece, twice: for their golfers, then for those chosen."""
        # Numbered as they come: another key must not choose other drives, nor sum them in another order.
        number: dict[str, int] = {}
        pieces = [_counted(frame.filter(KNOWN), number) for frame in read()]
        if not pieces:
            return cls(pl.DataFrame(), Offsets({}, ()), 0, 0)
        golfer = np.concatenate([numbers for numbers, _ in pieces])
        counts = pl.concat(counted for _, counted in pieces)
        del pieces
        rows = choose_rows(golfer, seed)
        place = np.argsort(rows, kind="stable")  # the chosen rows in the order of the drives
        wanted, first, found = rows[place], 0, []
        for frame in read():
            known = frame.filter(KNOWN)
            lo, hi = np.searchsorted(wanted, [first, first + known.height])
            found.append(with_own_texts(known.drop("golfer")[wanted[lo:hi] - first]))
            first += known.height
        drives = pl.concat(found)[np.argsort(place, kind="stable")].with_columns(golfer=pl.Series(golfer[rows]))
        return cls(drives, offsets_from(counts), len(golfer), len(number))


def _counted(known: pl.DataFrame, number: dict[str, int]) -> tuple[npt.NDArray[np.int32], pl.DataFrame]:
    """Give each of some drives its golfer's number, new golfers the next ones, and drives by device and ball."""
    golfer = known.get_column("golfer")
    names = golfer.unique(maintain_order=True)
    numbers = np.array([number.setdefault(name, len(number) + 1) for name in names.to_list()], dtype=np.int32)
    return numbers[golfer.cast(pl.Enum(names)).to_physical().to_numpy()], with_own_texts(count_levels(known))


def choose_rows(golfer: npt.NDArray[np.int32], seed: int) -> npt.NDArray[np.int64]:
    """Choose at most `MOST_DRIVES` rows, as evenly over golfers as can be, at random within each.

    Parameters
    ----------
    golfer : ndarray of int, shape (n,)
        Numbers from 1.
    seed : int

    Returns
    -------
    ndarray of int
        All rows in their order where there are few; else first every golfer's first one, and so on, golfers in an order
        that is drawn too: their numbers may go by site.
    """
    if len(golfer) <= MOST_DRIVES:
        return np.arange(len(golfer))
    rng = np.random.default_rng([seed, 2])
    order = rng.permutation(np.arange(len(golfer), dtype=np.int32))  # half of what rows usually take, for millions
    drawn = rng.permutation(int(golfer.max()) + 1)
    shuffled = golfer[order]
    drives_each = np.bincount(golfer)
    starts = (np.cumsum(drives_each) - drives_each).astype(np.int32)
    turn = np.empty(len(golfer), dtype=np.int32)
    by_golfer = np.argsort(shuffled, kind="stable")
    turn[by_golfer] = np.arange(len(golfer), dtype=np.int32) - np.repeat(starts, drives_each)
    del by_golfer
    enough = np.searchsorted(np.cumsum(np.bincount(turn)), MOST_DRIVES)
    early = np.flatnonzero(turn <= enough)
    chosen = early[np.lexsort((drawn[shuffled[early]], turn[early]))][:MOST_DRIVES]
    return np.asarray(order[chosen], dtype=np.int64)


@dataclass(frozen=True)
class Flown:
    """Drives flown at a pair of multipliers and about it: the series of second order of each one's carry.

    Attributes
    ----------
    about : ndarray, shape (2,)
        The multipliers, of drag and of lift.
    carry_yd : ndarray, shape (n,)
    slopes_yd : ndarray, shape (n, 2)
    curvatures_yd : ndarray, shape (n, 2, 2)
    """

    about: Array
    carry_yd: Array
    slopes_yd: Array
    curvatures_yd: Array

    def at(self, multipliers: Array) -> tuple[Array, Array]:
        """Give carry, yd, shape (n,), at multipliers near by, and its slopes in them, shape (n, 2)."""
        step = multipliers - self.about
        bend = self.curvatures_yd @ step
        return self.carry_yd + (self.slopes_yd + bend / 2) @ step, self.slopes_yd + bend


@dataclass(frozen=True)
class _Problem:
    """Least squares over drag, lift and the offsets, which are shares of the carry flown."""

    launch: Launch
    ball: Ball
    air: Air
    wind: Wind
    carry_yd: Array
    offset_columns: Array
    golfer: npt.NDArray[np.int64]

    @classmethod
    def of(cls, sample: pl.DataFrame, offsets: Offsets, coefficients: str, around: tuple[Air, Array]) -> "_Problem":
        air, wind = around
        side, axis, cross = Sideways.of(sample).flown
        launch = Launch.of(
            sample.get_column("ball_speed_mph").to_numpy() * MPS_PER_MPH,
            sample.get_column("launch_deg").to_numpy(),
            sample.get_column("spin_rpm").to_numpy(),
            side,
            axis,
        )
        golfer = sample.get_column("golfer").rank("dense").to_numpy().astype(np.int64) - 1
        carry = sample.get_column("carry_measured_yd").to_numpy().astype(float)
        return cls(launch, Ball(coefficients), air, Wind(wind, cross), carry, offsets.design(sample), golfer)

    def flown(self, x: Array) -> Flown:
        """Fly the drives by the multipliers of x and by those about them, all at once."""
        drag, lift = about = x[:2]
        more, higher = drag + STEP, lift + STEP
        pairs = ((drag, lift), (more, lift), (drag - STEP, lift), (drag, higher), (drag, lift - STEP), (more, higher))
        balls = [self.ball.scaled(float(one), float(other)) for one, other in pairs]
        landed = fly_by_each(self.launch, balls, self.air, self.wind)
        here, by_drag, back, by_lift, down, both = (one.carry_m / METRES_PER_YARD for one in landed)
        twice = both - by_drag - by_lift + here
        slopes = np.stack([by_drag - back, by_lift - down], axis=-1) / (2 * STEP)
        bends = np.stack([by_drag + back - 2 * here, twice, twice, by_lift + down - 2 * here], axis=-1) / STEP**2
        return Flown(about, here, slopes, bends.reshape(-1, 2, 2))

    def residuals(self, x: Array, flown: Flown) -> Array:
        return np.asarray(self.carry_yd - self.read(x) * flown.at(x[:2])[0])

    def read(self, x: Array) -> Array:
        """Give what each drive's device and ball make of a carry of 1, shape (n,)."""
        return np.asarray(1 + self.offset_columns @ x[2:])

    def loss(self, x: Array, flown: Flown) -> float:
        return float(np.sum(SOFT_YD**2 * 2 * (np.sqrt(1 + (self.residuals(x, flown) / SOFT_YD) ** 2) - 1)))

    def jacobian(self, x: Array, flown: Flown) -> Array:
        carry, slopes = flown.at(x[:2])
        return -np.hstack([self.read(x)[:, None] * slopes, carry[:, None] * self.offset_columns])

    def solve(self) -> tuple[Array, Flown]:
        """Fly, take the best by carry's series, fly there, until that is hardly a step; give the last flights too."""
        x = np.concatenate([[1.0, 1.0], np.zeros(self.offset_columns.shape[1])])
        flown, reach = self.flown(x), BOUNDS[1] - BOUNDS[0]
        while True:
            found = self._best_by_series(x, flown, reach)
            if np.max(np.abs(found[:2] - x[:2])) < NEAR:
                return found, flown
            there = self.flown(found)
            if self.loss(found, there) < self.loss(x, flown):
                x, flown = found, there
            else:  # the series reaches less far
                reach /= 4

    def _best_by_series(self, x: Array, flown: Flown, reach: float) -> Array:
        """Give the best whose multipliers are within reach of those of x."""
        from scipy import optimize

        offsets = np.full(len(x) - 2, np.inf)
        lower = np.concatenate([np.maximum(x[:2] - reach, BOUNDS[0]), -offsets])
        upper = np.concatenate([np.minimum(x[:2] + reach, BOUNDS[1]), offsets])
        found = optimize.least_squares(  # type: ignore[operator, unused-ignore]
            self.residuals,
            x,
            self.jacobian,
            bounds=(lower, upper),
            loss="soft_l1",
            f_scale=SOFT_YD,
            x_scale="jac",
            xtol=1e-8,
            args=(flown,),
        )
        return np.asarray(found.x)

    def covariance(self, x: Array, flown: Flown) -> Array:
        residual, jacobian = self.residuals(x, flown), self.jacobian(x, flown)
        weight = 1 / np.sqrt(1 + (residual / SOFT_YD) ** 2)  # slope of the soft L1 loss over the residual
        bread = np.linalg.pinv(jacobian.T @ (weight[:, None] * jacobian))
        scores = np.zeros((int(self.golfer.max()) + 1, jacobian.shape[1]))
        np.add.at(scores, self.golfer, (weight * residual)[:, None] * jacobian)
        clusters = len(scores)
        return np.asarray(bread @ (scores.T @ scores) @ bread * clusters / max(clusters - 1, 1))
