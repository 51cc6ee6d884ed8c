"""What a new fit changes: the terms of a kept model on new drives, and where expected carry moves."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives, inputs
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, Delivery, Strike
from pipeline.fit.references import SAME, References
from pipeline.fit.survey import centered, with_flown_scaled
from pipeline.flight.calibrate import Calibration
from pipeline.flight.offsets import Offsets, count_levels
from pipeline.physics.flight_table import FlightTable
from pipeline.statistics.arrays import Array
from pipeline.statistics.least_squares import Factor, Fit, clustered_fit, solve

MOVED_YD = 2.0  # a move of expected carry beyond this is told


@dataclass(frozen=True)
class ComparedFit:
    """A fit to be held against another.

    Attributes
    ----------
    id : str
    model : CarryModel
    terms : DataFrame
        The rows of `Coefficients` of the model.
    typical : DataFrame
        One row per golfer of the fit's study, from `typical_drives`.
    quarters : tuple of str
    golfers : int
        In the fit.
    drives : int
    air : StandardAir
        Standard conditions of its carry.
    calibration : Calibration
        Of the flight that moved carry there.
    speed_ratio : float or None
        Ball over club speed of a drive without ball speed.
    readings : str or None
        The device that readings were compared with; None where it isn't known.
    grids : dict
        Grids of its flight by their keys, as far as they have been flown; `carry_by` adds those that it flies.
    """

    id: str
    model: CarryModel
    terms: pl.DataFrame
    typical: pl.DataFrame
    quarters: tuple[str, ...]
    golfers: int
    drives: int
    air: StandardAir
    calibration: Calibration
    speed_ratio: float | None
    readings: str | None = None
    grids: dict[str, FlightTable] = field(default_factory=dict, repr=False, compare=False)


def refitted_terms(old: ComparedFit, drives: pl.DataFrame | Drives) -> pl.DataFrame | None:
    """Fit the old model's own terms to the new drives, so that both sets of coefficients mean the same.

    Parameters
    ----------
    old : ComparedFit
    drives : DataFrame or Drives
        The new drives, carry as for the old fit; those without the old surface's speed are left out.

    Returns
    -------
    DataFrame or None
        term, old and new estimates with the edges of their 90 % intervals, apart (whether the intervals don't meet).
        A device, ball or regressor that the new drives lack has nulls. None where the terms can't be fitted.
    """
    surface = old.model.surface
    rows = with_flown_scaled(Drives.of(drives).usable(surface.speed))
    there = _levels_there(old.model, rows)
    further = old.model.regressors.only(centered(rows, old.model.regressors.names).names)

    def parts() -> Iterator[tuple[Array, Array, npt.NDArray[np.int64]]]:
        for piece in rows.pieces():
            base, X = _base_and_design(old.model, there, piece.drives)
            X = np.hstack([X, further.terms(piece.drives)])
            yield X, piece.drives.get_column("carry_standard_yd").to_numpy() - base, piece.golfer

    factors = [Factor.of(X, y) for X, y, _ in parts()]
    try:
        fit = clustered_fit(solve(Factor.joined(factors)), parts()) if factors else None
    except UserError:
        fit = None
    if fit is None:
        return None
    again = _interval_table([*surface.labels, *there.labels, *further.labels], fit)
    names = {"estimate": "old", "lo90": "old_lo90", "hi90": "old_hi90"}
    return (
        old.terms.select("term", *names)
        .rename(names)
        .join(again, on="term", how="left", maintain_order="left")
        .with_columns(
            ((pl.col("new_lo90") > pl.col("old_hi90")) | (pl.col("new_hi90") < pl.col("old_lo90"))).alias("apart")
        )
    )


def _levels_there(model: CarryModel, rows: Drives) -> Offsets:
    """Give the model's terms of devices and balls that some of the drives have."""
    here = {(str(c), str(v)) for c, v in rows.gathered(_levels_of).unique().iter_rows()}
    return Offsets({}, tuple(level for level in model.offsets.levels if level in here))


def _base_and_design(model: CarryModel, levels: Offsets, drives: pl.DataFrame) -> tuple[Array, Array]:
    """Give what isn't fitted, yd, shape (n,), and the design of surface and levels, shape (n, terms)."""
    base, design = model.surface.base_and_design(*inputs(drives, model.surface.speed))
    return base, np.hstack([design, levels.terms(drives)])


def _levels_of(drives: pl.DataFrame) -> pl.DataFrame:
    pairs = count_levels(drives).select("device", "ball")
    return pairs.unpivot(variable_name="column", value_name="level").unique()


def _interval_table(labels: Sequence[str], fit: Fit) -> pl.DataFrame:
    lo, hi = fit.edges90
    return pl.DataFrame({"term": labels, "new": fit.coefficients, "new_lo90": lo, "new_hi90": hi})


def conditions_terms(old: ComparedFit, drives: pl.DataFrame | Drives) -> Array | None:
    """Say what other standard conditions, and another flight to them, add to carry, in the old model's terms.

    Parameters
    ----------
    old : ComparedFit
    drives : DataFrame or Drives
        The new drives: carry_standard_yd as for the old fit, carry_now_yd as for the new one.

    Returns
    -------
    ndarray or None
        Coefficients of the old surface, shape (terms,): the difference of two fits of it to the same drives, one to
        each carry. None where it can't be fitted.
    """
    surface = old.model.surface
    rows = with_flown_scaled(Drives.of(drives).usable(surface.speed))
    there = _levels_there(old.model, rows)
    factors = []
    for piece in rows.pieces():
        _, X = _base_and_design(old.model, there, piece.drives)
        now, then = (piece.drives.get_column(name).to_numpy() for name in ("carry_now_yd", "carry_standard_yd"))
        factors.append(Factor.of(X, now - then))
    try:
        return solve(Factor.joined(factors)).coefficients[: surface.size] if factors else None
    except UserError:
        return None


def under_conditions(old: CarryModel, terms: Array | None) -> CarryModel | None:
    """Give the old model with what `conditions_terms` add to its carry; None where they are None."""
    return None if terms is None else replace(old, coefficients=old.coefficients + terms)


def typical_moves(old: CarryModel, new: CarryModel, typical: pl.DataFrame, references: References = SAME) -> Array:
    """Give by how much expected carry of golfers' typical drives moved, new less old, yd, shape (golfers,).

    Old carry is on the new reference device and ball; NaN where their change isn't known.
    """
    drive = new.with_usual(Delivery.of(typical))
    if new.usual.speed_ratio is not None:
        drive = drive.struck(new.ratio(drive))
    return np.asarray(new.expected(drive) - references.old_carry(old, drive))


def speed_moves(old: ComparedFit, new: CarryModel, efficient: Delivery, references: References = SAME) -> pl.DataFrame:
    """Compare expected carry at each club speed of the benchmarks, for the usual and for the efficient drive.

    Parameters
    ----------
    old : ComparedFit
    new : CarryModel
    efficient : Delivery
        The efficient drive at each club speed of the new benchmarks, shape (n,).
    references : References
        What changed of them.

    Returns
    -------
    DataFrame
        speed_mph, drive (usual or efficient), launch_deg, spin_rpm, old_own_yd (on the old fit's own references),
        old_yd (on those of the new fit), new_yd, moved_yd (new_yd - old_yd), reached (whether golfers of the old fit
        have such speeds). The usual drive is the new model's; the efficient one is struck as each model's better
        quarter do. What needs a change of references that isn't known is null.
    """
    club = efficient.club_speed_mph
    speeds = old.typical.get_column("club_speed_mph").to_numpy()
    old_speed = references.old_speed(club)
    reached = (old_speed >= speeds.min()) & (old_speed <= speeds.max())

    def part(name: str, drive: Delivery, strike: Strike) -> pl.DataFrame:
        before, after = references.old_carry(old.model, drive, strike), new.expected(drive, strike)
        columns = {
            "speed_mph": club,
            "drive": [name] * len(club),
            "launch_deg": drive.launch_deg,
            "spin_rpm": drive.spin_rpm,
            "old_own_yd": old.model.expected(drive, strike),
            "old_yd": before,
            "new_yd": after,
            "moved_yd": after - before,
            "reached": reached,
        }
        return pl.DataFrame(columns).with_columns(pl.col("old_yd", "moved_yd").fill_nan(None))

    return pl.concat([part("usual", new.usual_at(club), "own"), part("efficient", efficient, "better")])


def levels_without_term(model: CarryModel, drives: pl.DataFrame | Drives) -> list[tuple[str, str, int]]:
    """List the devices and balls of drives that a model has no term for, with their drives.

    Parameters
    ----------
    model : CarryModel
    drives : DataFrame or Drives
        Needs `device` and `ball`.

    Returns
    -------
    list of (str, str, int)
        Column, level, drives. The model takes them for its reference device or ball.
    """
    counts = Drives.of(drives).gathered(count_levels)
    found: list[tuple[str, str, int]] = []
    for column in ("device", "ball"):
        by_level = counts.group_by(column).agg(pl.col("drives").sum()).sort(column)
        there = (*model.offsets.levels, *model.offsets.absorbed)
        known = {model.offsets.reference.get(column), *(level for name, level in there if name == column)}
        found += [(column, level, count) for level, count in by_level.iter_rows() if level not in known]
    return found


def plain(level: str) -> str:
    """Give a device's or ball's name without line ends and pipes, which would break a table."""
    return " ".join(level.split()).replace("|", "/")
