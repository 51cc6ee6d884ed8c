"""What a new fit changes: the terms of a kept model on new drives, and where expected carry moves."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.configuration.study import StandardAir
from pipeline.drives import Drives, inputs
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel
from pipeline.flight.calibrate import Calibration
from pipeline.flight.offsets import Offsets, count_levels
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90
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
        A device or ball that the new drives lack has nulls. None where the terms can't be fitted.
    """
    surface = old.model.surface
    rows = Drives.of(drives).usable(surface.speed)
    here = {(str(c), str(v)) for c, v in rows.gathered(_levels_of).unique().iter_rows()}
    there = Offsets({}, tuple(level for level in old.model.offsets.levels if level in here))

    def parts() -> Iterator[tuple[Array, Array, npt.NDArray[np.int64]]]:
        for piece in rows.pieces():
            x = inputs(piece.drives, surface.speed)
            base, design = surface.base_and_design(*x)
            X = np.hstack([design, there.design(piece.drives)])
            yield X, piece.drives.get_column("carry_yd").to_numpy() - base, piece.golfer

    factors = [Factor.of(X, y) for X, y, _ in parts()]
    try:
        fit = clustered_fit(solve(Factor.joined(factors)), parts()) if factors else None
    except UserError:
        fit = None
    if fit is None:
        return None
    again = _interval_table([*surface.labels, *there.labels], fit)
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
    half = Z90 * fit.std_errors
    return pl.DataFrame(
        {
            "term": labels,
            "new": fit.coefficients,
            "new_lo90": fit.coefficients - half,
            "new_hi90": fit.coefficients + half,
        }
    )


def expected_yd(model: CarryModel, club_mph: Array, ratio: Array, launch_deg: Array, spin_rpm: Array) -> Array:
    """Give expected carry of drives, yd, shape (n,); where the ratio is NaN the model's usual one stands in."""
    usual = model.trends.speed_ratio
    known = ratio if usual is None else np.where(np.isnan(ratio), usual(club_mph), ratio)
    return model.carry(model.speed(club_mph, known), launch_deg, spin_rpm)


def scale_shift_yd(old: CarryModel, new: CarryModel) -> tuple[float, tuple[str, ...]]:
    """Give what brings the old model's carry to the new reference device and ball, yd, and what it doesn't know."""
    shift, unknown = 0.0, []
    for column, level in new.offsets.reference.items():
        if old.offsets.reference.get(column) == level:
            continue
        if (column, level) in old.offsets.levels:
            shift += float(old.offset_yd[old.offsets.levels.index((column, level))])
        else:
            unknown.append(f"{column} {plain(level)}")
    return shift, tuple(unknown)


def typical_moves(old: CarryModel, new: CarryModel, typical: pl.DataFrame) -> Array:
    """Give by how much expected carry of golfers' typical drives moved, new less old, yd, shape (golfers,)."""
    names = ("club_speed_mph", "speed_ratio", "launch_deg", "spin_rpm")
    drive = [typical.get_column(name).cast(pl.Float64).to_numpy() for name in names]
    club, ratio, launch, spin = drive
    if new.trends.speed_ratio is not None:
        ratio = np.where(np.isnan(ratio), new.trends.speed_ratio(club), ratio)
    shift, _ = scale_shift_yd(old, new)
    return np.asarray(expected_yd(new, club, ratio, launch, spin) - expected_yd(old, club, ratio, launch, spin) - shift)


def speed_moves(old: ComparedFit, new: CarryModel, guide: Sequence[Mapping[str, Any]]) -> pl.DataFrame:
    """Compare expected carry at each club speed of the benchmarks, for the usual and for the efficient drive.

    Parameters
    ----------
    old : ComparedFit
    new : CarryModel
    guide : sequence of mapping
        One per club speed inside the support: speed_mph, and launch_deg and spin_rpm of the efficient drive.

    Returns
    -------
    DataFrame
        speed_mph, drive (usual or efficient), launch_deg, spin_rpm, old_yd, new_yd, moved_yd, reached (whether golfers
        of the old fit have such speeds). The usual drive is the new model's; the efficient one is struck as each
        model's better quarter do. Old carry is on the new reference device and ball.
    """
    schema = {"speed_mph": pl.Float64, "launch_deg": pl.Float64, "spin_rpm": pl.Float64}
    rows = pl.DataFrame([{name: row[name] for name in schema} for row in guide], schema=schema)
    club, launch, spin = (rows.get_column(name).to_numpy() for name in schema)
    usual_launch, usual_spin = new.trends.launch(club), new.trends.spin(club)
    usual = np.full_like(club, np.nan) if new.trends.speed_ratio is None else new.trends.speed_ratio(club)
    shift, _ = scale_shift_yd(old.model, new)
    speeds = old.typical.get_column("club_speed_mph").to_numpy()
    reached = (club >= speeds.min()) & (club <= speeds.max())

    def part(drive: str, delivery: tuple[Array, Array], before: Array, after: Array) -> pl.DataFrame:
        return pl.DataFrame(
            {
                "speed_mph": club,
                "drive": [drive] * len(club),
                "launch_deg": delivery[0],
                "spin_rpm": delivery[1],
                "old_yd": before + shift,
                "new_yd": after,
                "moved_yd": after - before - shift,
                "reached": reached,
            }
        )

    typical = [expected_yd(model, club, usual, usual_launch, usual_spin) for model in (old.model, new)]
    better = [m.carry(m.better_speed(club), launch, spin) * (1 + m.better_share) for m in (old.model, new)]
    return pl.concat(
        [
            part("usual", (usual_launch, usual_spin), typical[0], typical[1]),
            part("efficient", (launch, spin), better[0], better[1]),
        ]
    )


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
        known = {model.offsets.reference.get(column), *(v for c, v in model.offsets.levels if c == column)}
        found += [(column, level, count) for level, count in by_level.iter_rows() if level not in known]
    return found


def plain(level: str) -> str:
    """Give a device's or ball's name without line ends and pipes, which would break a table."""
    return " ".join(level.split()).replace("|", "/")
