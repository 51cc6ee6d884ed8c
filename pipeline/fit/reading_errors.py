"""Errors in variables: how far errors of readings pull expected carry, by simulation and extrapolation (SIMEX).

A fit takes speed, launch and spin as they are read. Errors of readings flatten a surface where it bends. SIMEX adds
more error of the same kind to the readings, refits, sees how carry moves with it, and extrapolates back to none.

References
----------
Cook and Stefanski, J. Am. Stat. Assoc. 89 (1994) 1314, doi 10.1080/01621459.1994.10476871; the quadratic
extrapolation and the amounts of added error, Carroll, Ruppert, Stefanski and Crainiceanu, Measurement Error in
Nonlinear Models, 2nd ed. (2006), chapter 5. Both from memory.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.drives import Speed, inputs
from pipeline.fit.model import CarryModel, Delivery, Strike
from pipeline.statistics.arrays import Array
from pipeline.statistics.least_squares import Factor, solve

# Standard deviations of a reading's error from drive to drive, ASSUMED: common practice among people who measure
# drives, without a source. In the demo they move efficient carry by 0.3 yd at most. Spin read to 2 % makes it 0.2 yd
# and to 8 % 0.8 yd; launch read to 0.6 deg, or ball speed to 1 %, 0.5 yd.
BALL_SHARE, CLUB_SHARE, LAUNCH_ERROR_DEG, SPIN_SHARE = 0.005, 0.01, 0.3, 0.04

ADDED = (0.5, 1.0, 1.5, 2.0)  # variance of error added, in multiples of the readings' own
DRAWS = 20  # of added errors, for each amount: in the demo they leave 0.02 yd of luck in a move
MOST_DRIVES = 20_000  # that are refitted


@dataclass(frozen=True)
class ReadingErrors:
    """Standard deviations of the readings' errors from drive to drive: shares, and deg for launch."""

    speed_share: float
    launch_deg: float
    spin_share: float

    @classmethod
    def assumed(cls, speed: Speed) -> "ReadingErrors":
        """Give the assumed errors for a surface over ball or club speed."""
        return cls(BALL_SHARE if speed == "ball" else CLUB_SHARE, LAUNCH_ERROR_DEG, SPIN_SHARE)


@dataclass(frozen=True)
class Extrapolated:
    """Expected carry of some deliveries, by how much error was added; see `extrapolate_errors`.

    Attributes
    ----------
    added : ndarray, shape (m,)
        Variance of added error in multiples of the readings' own; the first is 0.
    carry_yd : ndarray, shape (m, n)
        Carry fitted at each.
    without_yd : ndarray, shape (n,)
        Carry extrapolated to readings without error.
    luck_yd : ndarray, shape (n,)
        Standard error of it by the draws of added errors.
    drives : int
        That were refitted.
    """

    added: Array
    carry_yd: Array
    without_yd: Array
    luck_yd: Array
    drives: int

    @property
    def move_yd(self) -> Array:
        """What readings without error would change, yd, shape (n,)."""
        return np.asarray(self.without_yd - self.carry_yd[0])


@dataclass(frozen=True)
class ErrorRefits:
    """A surface fitted anew to readings with more and more error; see `refit_with_errors`.

    Attributes
    ----------
    coefficients : ndarray, shape (draws, m, terms)
        Of the surface, by draw of added errors and by how much was added, from none on.
    drives : int
        That were refitted.
    """

    coefficients: Array
    drives: int


def refit_with_errors(
    model: CarryModel, drives: pl.DataFrame, errors: ReadingErrors, seed: int, draws: int = DRAWS
) -> ErrorRefits:
    """Add errors to readings and fit again.

    Parameters
    ----------
    model : CarryModel
        Its surface and devices' and balls' terms are fitted again and again.
    drives : DataFrame
        Of the fit, with the columns of `FIT_COLUMNS`; every so many are taken where they are more than `MOST_DRIVES`.
    errors : ReadingErrors
        Independent from drive to drive.
    seed : int
    draws : int
        Of added errors, for each amount.

    Raises
    ------
    UserError
        From `solve`.
    """
    taken = drives.gather_every(-(-drives.height // MOST_DRIVES))
    x = inputs(taken, model.surface.speed)
    terms, carry = model.offsets.terms(taken), taken.get_column("carry_standard_yd").to_numpy()

    def fitted(readings: tuple[Array, Array, Array]) -> Array:
        flown, columns = model.surface.base_and_design(*readings)
        found = solve(Factor.of(np.hstack([columns, terms]), carry - flown))
        return np.asarray(found.coefficients[: columns.shape[1]])

    rng = np.random.default_rng([seed, 7])
    plain = fitted(x)
    refits = np.empty((draws, len(ADDED) + 1, len(plain)))
    refits[:, 0] = plain
    for refit in refits:
        drawn = rng.standard_normal((3, taken.height))
        for place, amount in enumerate(ADDED, start=1):
            refit[place] = fitted(with_errors(x, np.sqrt(amount) * drawn, errors))
    return ErrorRefits(refits, taken.height)


def extrapolate_errors(model: CarryModel, refits: ErrorRefits, at: Delivery, strike: Strike) -> Extrapolated:
    """Work out expected carry as readings without error would give it.

    Parameters
    ----------
    model : CarryModel
    refits : ErrorRefits
        Of this model.
    at : Delivery
        The n deliveries whose carry is asked.
    strike : {"own", "usual", "better"}
        As for `CarryModel.expected`.
    """
    asked = [part.ravel() for part in model.inputs(at.broadcast(), strike)]
    base, design = model.surface.base_and_design(*asked)
    more = 1 + model.better_share if strike == "better" else 1.0
    curves = np.array([[(base + design @ one) * more for one in draw] for draw in refits.coefficients])
    without = np.einsum("a,dan->dn", _to_none(), curves)
    luck = without.std(axis=0, ddof=1) / np.sqrt(len(curves))
    return Extrapolated(np.array([0.0, *ADDED]), curves.mean(axis=0), without.mean(axis=0), luck, refits.drives)


def with_errors(x: tuple[Array, Array, Array], drawn: Array, errors: ReadingErrors) -> tuple[Array, Array, Array]:
    """Add errors to speed, launch and spin; `drawn` has standard normal ones, shape (3, n)."""
    speed, launch, spin = x
    return (
        speed * (1 + errors.speed_share * drawn[0]),
        launch + errors.launch_deg * drawn[1],
        spin * (1 + errors.spin_share * drawn[2]),
    )


def _to_none() -> Array:
    """Give the weights by which a parabola through the points goes on to a variance of -1, shape (m,)."""
    powers = np.vander([0.0, *ADDED], 3, increasing=True)
    return np.asarray(np.array([1.0, -1.0, 1.0]) @ np.linalg.pinv(powers))
