"""What a new fit changes: the terms of a kept model on new drives, and where expected carry moves."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives, inputs
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, Delivery, Strike
from pipeline.fit.survey import centered, with_flown_scaled
from pipeline.flight.calibrate import Calibration
from pipeline.flight.offsets import Offsets, count_levels
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
    here = {(str(c), str(v)) for c, v in rows.gathered(_levels_of).unique().iter_rows()}
    there = Offsets({}, tuple(level for level in old.model.offsets.levels if level in here))
    further = old.model.regressors.only(centered(rows, old.model.regressors.names).names)

    def parts() -> Iterator[tuple[Array, Array, npt.NDArray[np.int64]]]:
        for piece in rows.pieces():
            x = inputs(piece.drives, surface.speed)
            base, design = surface.base_and_design(*x)
            X = np.hstack([design, there.terms(piece.drives), further.terms(piece.drives)])
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


def _levels_of(drives: pl.DataFrame) -> pl.DataFrame:
    pairs = count_levels(drives).select("device", "ball")
    return pairs.unpivot(variable_name="column", value_name="level").unique()


def _interval_table(labels: Sequence[str], fit: Fit) -> pl.DataFrame:
    lo, hi = fit.edges90
    return pl.DataFrame({"term": labels, "new": fit.coefficients, "new_lo90": lo, "new_hi90": hi})


def scale_change(old: CarryModel, new: CarryModel) -> tuple[float, tuple[str, ...]]:
    """Give what brings the old model's carry to the new reference device and ball, a factor, and what isn't known."""
    share, unknown = 0.0, []
    for column, level in new.offsets.reference.items():
        if old.offsets.reference.get(column) == level:
            continue
        if (column, level) in old.offsets.levels:
            share += float(old.offset_share[old.offsets.levels.index((column, level))])
        else:
            unknown.append(f"{column} {plain(level)}")
    return 1 + share, tuple(unknown)


def typical_moves(old: CarryModel, new: CarryModel, typical: pl.DataFrame) -> Array:
    """Give by how much expected carry of golfers' typical drives moved, new less old, yd, shape (golfers,)."""
    drive = new.with_usual(Delivery.of(typical))
    if new.usual.speed_ratio is not None:
        drive = drive.struck(new.ratio(drive))
    factor, _ = scale_change(old, new)
    return np.asarray(new.expected(drive) - old.expected(drive) * factor)


def speed_moves(old: ComparedFit, new: CarryModel, efficient: Delivery) -> pl.DataFrame:
    """Compare expected carry at each club speed of the benchmarks, for the usual and for the efficient drive.

    Parameters
    ----------
    old : ComparedFit
    new : CarryModel
    efficient : Delivery
        The efficient drive at each club speed of the new benchmarks, shape (n,).

    Returns
    -------
    DataFrame
        speed_mph, drive (usual or efficient), launch_deg, spin_rpm, old_yd, new_yd, moved_yd, reached (whether golfers
        of the old fit have such speeds). The usual drive is the new model's; the efficient one is struck as each
        model's better quarter do. Old carry is on the new reference device and ball.
    """
    club = efficient.club_speed_mph
    factor, _ = scale_change(old.model, new)
    speeds = old.typical.get_column("club_speed_mph").to_numpy()
    reached = (club >= speeds.min()) & (club <= speeds.max())

    def part(name: str, drive: Delivery, strike: Strike) -> pl.DataFrame:
        before, after = old.model.expected(drive, strike) * factor, new.expected(drive, strike)
        return pl.DataFrame(
            {
                "speed_mph": club,
                "drive": [name] * len(club),
                "launch_deg": drive.launch_deg,
                "spin_rpm": drive.spin_rpm,
                "old_yd": before,
                "new_yd": after,
                "moved_yd": after - before,
                "reached": reached,
            }
        )

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
