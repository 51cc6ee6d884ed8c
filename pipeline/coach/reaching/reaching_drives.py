"""How often golfers' drives of the next quarter reach a distance, from their own drives and those of the others."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.benchmark.disclosure import percentile
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.coach.reaching.centers import Centers, centers_of
from pipeline.coach.reaching.kernels import (
    MIN_OWN,
    MOSTLY_OWN,
    PRIOR_DRIVES,
    Scatter,
    others_shape,
    quantiles_of,
    quantiles_of_all,
    shows_scatter,
)
from pipeline.drives import KEYS, Drives, typical_of_all, with_spin_unguessed
from pipeline.fit.model import CarryModel, Delivery
from pipeline.golfers.lasting import lasting_share
from pipeline.statistics.arrays import Array
from pipeline.statistics.drive_spread import DriveSpread, UsualDrives
from pipeline.statistics.intervals import Z90

CARRY, TOTAL = "reach_carry_yd", "reach_total_yd"


@dataclass(frozen=True)
class Standing:
    """What ties golfers' drives to the model, for the usual golfer.

    Attributes
    ----------
    expected : callable
        Gives the distance that is expected of typical drives (see `typical_drives`), yd.
    known_share : float
        How far golfers with the same readings differ for good: standard deviation as a share of carry.
    typical : DataFrame
        Those typical drives of the newest quarter, by golfer.
    """

    expected: Callable[[pl.DataFrame], Array]
    known_share: float
    typical: pl.DataFrame


@dataclass(frozen=True)
class GolfersDrives:
    """The drives of the newest quarter's golfers.

    Attributes
    ----------
    golfer : list of str
        Their pseudonyms; the rows of the rest.
    club_speed_mph : ndarray
        Mean of the quarter's drives.
    source : list of str
        Words of `pipeline.tables.goals.SHARE_SOURCES`: what a golfer's share rests on. own: the golfer's drives for
        four fifths or more. shrunk: those and the others'. others: the others' alone, about the golfer's center.
    spread : DriveSpread
    usual : UsualDrives or None
        Of the usual golfer.
    """

    golfer: list[str]
    club_speed_mph: Array
    source: list[str]
    spread: DriveSpread
    usual: UsualDrives | None


def with_reach(drives: pl.DataFrame, model: CarryModel, roller: Roller) -> pl.DataFrame:
    """Add how far each drive goes, on the reference device and ball: `CARRY` and, with the model's run, `TOTAL`, yd.

    What isn't known of a drive's launch, spin or ball speed is taken as usual for its run.
    """
    delivery = model.with_usual(Delivery.of(with_spin_unguessed(drives)))
    ball = delivery.club_speed_mph * model.ratio(delivery)
    carry = model.reference_carry(drives)
    run = roller.run_yd(ball, delivery.launch_deg, delivery.spin_rpm)
    return drives.with_columns(pl.Series(CARRY, carry, pl.Float64), pl.Series(TOTAL, carry + run, pl.Float64))


def golfers_drives(drives: pl.DataFrame | Drives, name: str, standing: Standing | None = None) -> GolfersDrives:
    """Find how the newest quarter's golfers scatter.

    Parameters
    ----------
    drives : DataFrame or Drives
        golfer, quarter, struck_on, club_speed_mph and the distance; for the usual golfer all of `FIT_COLUMNS`.
    name : str
        The distance's column, such as `CARRY`.
    standing : Standing, optional
        Without it the usual golfer isn't described.
    """
    every = Drives.of(drives)
    centers = centers_of(every, name)
    scatter = _scatter(every, name, centers)
    others = others_shape(scatter)
    quantiles = quantiles_of_all(scatter, centers.spread_yd, others, centers.more_yd)
    counts = [len(one.off_yd) for one in scatter]
    spread = DriveSpread(
        centers.center_yd[:, None] + quantiles,
        centers.center_yd,
        centers.doubt_yd,
        np.array([PRIOR_DRIVES + (count if count >= MIN_OWN else 0) for count in counts]),
    )
    golfer = centers.table.get_column("golfer").cast(pl.String).to_list()
    golfers = sum(shows_scatter(one) for one in scatter)
    usual = _usual(centers, others, golfers, standing if max(counts, default=0) >= MIN_OWN else None)
    speed = centers.table.get_column("club_speed_mph").to_numpy()
    return GolfersDrives(golfer, speed, [_source(count) for count in counts], spread, usual)


def carry_and_total(
    drives: Drives, model: CarryModel, roller: Roller, lasting: float | None = None
) -> tuple[GolfersDrives, GolfersDrives]:
    """Find how the newest quarter's golfers scatter, by carry and by carry and roll.

    Parameters
    ----------
    drives : Drives
        The columns of `FIT_COLUMNS` and struck_on.
    model : CarryModel
    roller : Roller
    lasting : float, optional
        From `lasting_share`; found here unless given.
    """
    # Drives are read some dozen times below.
    every = drives.with_once(lambda frame: with_reach(frame, model, roller).select(CARRY, TOTAL))

    def carry(typical: pl.DataFrame) -> Array:
        return model.expected(model.with_usual(Delivery.of(typical)))

    def total(typical: pl.DataFrame) -> Array:
        drive = model.with_usual(Delivery.of(typical))
        ball = drive.club_speed_mph * model.ratio(drive)
        return model.expected(drive) + roller.run_yd(ball, drive.launch_deg, drive.spin_rpm)

    if lasting is None:
        lasting = lasting_share(every, model)
    if lasting is None:  # too few golfers show it: the model's interval of one drive is wider, to be on the safe side
        lasting = max(((hi - lo) / (2 * Z90) for lo, hi in model.interval.values()), default=0.0)
    newest = every.gathered(lambda frame: frame.select(pl.col("quarter").cast(pl.String).max())).max().item()
    of_newest = every.mapped(lambda frame: frame.filter(pl.col("quarter").cast(pl.String) == pl.lit(newest, pl.String)))
    typical = typical_of_all(of_newest, KEYS)
    found = ((CARRY, carry), (TOTAL, total))
    of_carry, of_total = (golfers_drives(every, name, Standing(expected, lasting, typical)) for name, expected in found)
    return of_carry, of_total


def reaching_arrays(carry: GolfersDrives, total: GolfersDrives) -> dict[str, np.ndarray[Any, Any]]:
    """Give the arrays of golfers/reaching.npz.

    They are golfer, club_speed_mph (that of the quarter's drives), and the fields of `DriveSpread` with `carry_` and
    `total_` before them.
    """
    fields = {
        f"{kind}_{name}": values
        for kind, found in (("carry", carry), ("total", total))
        for name, values in vars(found.spread).items()
    }
    return {"golfer": np.array(carry.golfer, dtype=str), "club_speed_mph": carry.club_speed_mph, **fields}


def _source(drives: int) -> str:
    return "own" if drives >= MOSTLY_OWN else "shrunk" if drives >= MIN_OWN else "others"


def _scatter(drives: Drives, name: str, centers: Centers) -> list[Scatter]:
    """Gather each golfer's drives of the newest quarter about their own center, in the golfers' order."""
    table = centers.table.select("golfer", "center_yd", "spread_yd")
    newest = centers.table.get_column("quarter").cast(pl.String).max()
    off = drives.gathered(
        lambda frame: (
            frame.filter(pl.col("quarter").cast(pl.String) == pl.lit(newest, pl.String))
            .select("golfer", pl.col(name).cast(pl.Float64))
            .drop_nulls()
            .join(table, on="golfer")
            .group_by("golfer")
            .agg((pl.col(name) - pl.col("center_yd")).sort(), pl.col("spread_yd").first().fill_nan(None))
        )
    ).sort("golfer")
    ends = off.get_column(name).list.len().to_numpy().cumsum()
    each = np.split(off.get_column(name).explode().to_numpy(), ends[:-1])
    spreads = off.get_column("spread_yd").fill_null(0.0).to_list()
    return [Scatter(values, spread) for values, spread in zip(each, spreads, strict=True)] if spreads else []


def _usual(centers: Centers, others: Array, golfers: int, standing: "Standing | None") -> UsualDrives | None:
    """Describe the usual golfer; None where no golfers show it."""
    if standing is None or centers.table.is_empty():
        return None
    quantiles = quantiles_of(Scatter(np.array([]), 1.0), 1.0, others, 0.0)
    shares = centers.spread_yd / centers.center_yd
    # The mean of the middle half and not one golfer's, for the coach's page has it: `pipeline.report.lookup.reaching`.
    spread = percentile(shares, np.ones(len(shares)), 50, max(len(shares) / 2, 1))
    typical = standing.typical.with_columns(pl.col("quarter").cast(pl.String))
    newest = typical.filter(pl.col("quarter") == pl.col("quarter").max())
    own = centers.table.select("golfer", own_yd=pl.col("center_yd"))
    rows = newest.join(own, on="golfer").sort("golfer")
    plain = rows.with_columns(
        pl.lit(None, pl.Float64).alias(name) for name in ("speed_ratio", "launch_deg", "spin_rpm")
    )
    yards = rows.get_column("own_yd").to_numpy()
    known, unknown = (float(np.mean(yards / standing.expected(one) - 1)) for one in (rows, plain))
    differ = standing.known_share, max(centers.between_share, standing.known_share)
    return UsualDrives(quantiles, spread, PRIOR_DRIVES, (known, unknown), differ, golfers)
