"""What changed for golfers together: all of a quarter, and each group."""

import numpy as np
import polars as pl

from pipeline.coach.progress.measures import MEASURES
from pipeline.drives import KEYS, Drives
from pipeline.statistics.intervals import Z90
from pipeline.tables.progress import Cohorts
from pipeline.tables.types import types_of

ROWS = ["quarter", "group"]


def groups_of(drives: pl.DataFrame | Drives) -> pl.DataFrame:
    """Give the group of most drives of each golfer and quarter; of groups with as many, the first in order.

    Parameters
    ----------
    drives : DataFrame or Drives
        golfer, quarter, group.

    Returns
    -------
    DataFrame
        golfer, quarter, group; null where no drive has one.
    """
    commonest = pl.col("group").drop_nulls().mode().sort().first()
    return Drives.of(drives).gathered(lambda frame: frame.group_by(KEYS).agg(commonest)).sort(KEYS)


def cohorts_of(progress: pl.DataFrame, groups: pl.DataFrame, min_golfers: int) -> pl.DataFrame:
    """Sum up the progress of golfers, all of each quarter and by group.

    Parameters
    ----------
    progress : DataFrame
        From `progress_of`, standard errors included.
    groups : DataFrame
        From `groups_of`; a golfer's group is that of the later quarter.
    min_golfers : int
        A row of fewer golfers is suppressed.

    Returns
    -------
    DataFrame
        The table `Cohorts`: by quarter, all golfers first. Empty where nobody was compared.

    Notes
    -----
    The interval is that of the mean change of these very golfers: it holds the luck of their drives, not what another
    set of golfers would have done, nor a device that moved for all of them.

    All golfers less the groups told are golfers who can be worked out too: those of suppressed groups and of no group.
    Where these are fewer than `min_golfers`, the smallest other group is suppressed as well (complementary suppression:
    Handbook on Statistical Disclosure Control, Hundepool and others, second edition 2024, from memory). Numbers of
    better and worse are given as they are, 0 and all among them: the academy, for which the table is, has each golfer's
    verdict beside it.
    """
    return cohorts_by_group(progress.join(groups, on=KEYS, how="left", maintain_order="left"), min_golfers)


def cohorts_by_group(with_group: pl.DataFrame, min_golfers: int) -> pl.DataFrame:
    """Do the same with the golfers' group beside their progress, of which `summed_columns` are enough."""
    everybody = with_group.with_columns(pl.lit(None, dtype=with_group.schema["group"]).alias("group"))
    rows = pl.concat([_summed(everybody), _summed(with_group.filter(pl.col("group").is_not_null()))])
    told = rows.with_columns(pl.Series("few", _few(rows, min_golfers), dtype=pl.String))
    hidden = pl.col("few").is_not_null()
    kept = [name for name in rows.columns if name not in ROWS]
    table = told.with_columns(pl.when(~hidden).then(pl.col(name)).alias(name) for name in kept)
    table = table.with_columns(hidden.alias("suppressed"), pl.col("few").alias("note"))
    return table.select(pl.col(name).cast(kind) for name, kind in types_of(Cohorts).items()).sort(ROWS)


def summed_columns() -> list[str]:
    """Name the columns of progress that are summed up."""
    told = [column for one in MEASURES for column in (one.change(), f"{one.name}_std_error", f"{one.name}_verdict")]
    parts = [f"{part}_{end}" for part in ("carry_from_speed", "carry_from_delivery") for end in ("yd", "std_error")]
    return [*ROWS, "device_changed", "ball_changed", *told, "lost_shared_variance", *parts, "carry_from_other_yd"]


def _summed(progress: pl.DataFrame) -> pl.DataFrame:
    """One row per quarter and group, suppressing nothing."""
    found = progress.group_by(ROWS).agg(
        pl.len().alias("golfers"), pl.col("device_changed", "ball_changed").sum(), *_of_measures(), *_of_parts()
    )
    return found.sort(ROWS)


def _of_measures() -> list[pl.Expr]:
    columns = []
    for measure in MEASURES:
        change, error = pl.col(measure.change()), pl.col(f"{measure.name}_std_error")
        # Golfers of a speed share the error of efficient carry: in a mean it stays as large as it is for each.
        shared = pl.col("lost_shared_variance") if measure.name == "lost" else pl.lit(0.0)
        reach = Z90 * (_mean_variance(error**2 - shared, change) + shared.clip(0).sqrt().mean() ** 2).sqrt()
        columns += [
            change.mean(),
            (change.mean() - reach).alias(measure.change("lo90")),
            (change.mean() + reach).alias(measure.change("hi90")),
            *(
                (pl.col(f"{measure.name}_verdict") == word).sum().alias(f"{measure.name}_{word}")
                for word in ("better", "worse")
            ),
        ]
    return columns


def _mean_variance(variance: pl.Expr, value: pl.Expr) -> pl.Expr:
    """Variance of a mean of independent figures; null where one of those that are there has no variance."""
    sure = variance.is_not_null().sum() == value.is_not_null().sum()
    return pl.when(sure & (value.is_not_null().sum() > 0)).then(variance.sum() / value.is_not_null().sum() ** 2)


def _of_parts() -> list[pl.Expr]:
    columns = [pl.col("carry_from_other_yd").mean()]
    for part in ("carry_from_speed", "carry_from_delivery"):
        value, error = pl.col(f"{part}_yd"), pl.col(f"{part}_std_error")
        reach = Z90 * _mean_variance(error**2, value).sqrt()
        columns += [
            value.mean(),
            (value.mean() - reach).alias(f"{part}_lo90_yd"),
            (value.mean() + reach).alias(f"{part}_hi90_yd"),
        ]
    return columns


def _few(rows: pl.DataFrame, min_golfers: int) -> list[str | None]:
    """Say of each row why it is suppressed; None where it isn't. `rows` are few: quarters times groups."""
    few = f"fewer than {min_golfers} golfers: their figures are suppressed"
    beside = f"suppressed so that the fewer than {min_golfers} golfers of other groups, or of none, can't be deduced"
    golfers, quarter = rows.get_column("golfers").to_numpy(), rows.get_column("quarter").to_numpy()
    whole = rows.get_column("group").is_null().to_numpy()
    reasons: list[str | None] = [few if count < min_golfers else None for count in golfers]
    for one in np.unique(quarter):
        here = quarter == one
        total = golfers[here & whole].sum()
        groups = sorted(np.flatnonzero(here & ~whole), key=lambda row: golfers[row])
        left = total - sum(golfers[row] for row in groups if reasons[row] is None)
        for row in groups:
            if 0 < left < min_golfers and reasons[row] is None:
                reasons[row] = beside
                left += golfers[row]
    return reasons
