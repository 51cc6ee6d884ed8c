"""Who would be flagged in a scenario, and how many of the golfers of a band that are."""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.golfers.flags import FlagRules, assess
from pipeline.research.sensitivity.worked_out import JUDGED


@dataclass(frozen=True)
class Counted:
    """What a scenario changes among some golfers; see the table `Sensitivity`."""

    assessed: int
    flagged: int
    joined: int
    left: int
    gone: int
    lost_move_yd: float | None


def judge(doubt: pl.DataFrame, lost: pl.DataFrame, rules: FlagRules, min_shots: int | None = None) -> pl.DataFrame:
    """Flag the golfers of the newest quarter by a scenario's yards lost and the study's doubt of them.

    Parameters
    ----------
    doubt : DataFrame
        From `known_losses`, of all quarters: the skewness of drives is pooled over them.
    lost : DataFrame
        A scenario's: golfer and the columns of `JUDGED`.
    rules : FlagRules
    min_shots : int, optional
        In place of that of the rules.

    Returns
    -------
    DataFrame
        A row per golfer of the newest quarter, in the order of `doubt`: golfer, club_speed_mph, lost_yd, status. Who
        has no drives left in the scenario isn't assessed.
    """
    newest = pl.col("quarter") == pl.col("quarter").max()
    now = doubt.filter(newest)
    here = lost.rename({"shots": "shots_here"})
    others = now.drop(JUDGED[1:]).join(here, on="golfer", how="left", maintain_order="left", validate="1:1")
    others = others.with_columns(pl.coalesce("shots_here", "shots").alias("shots"))
    whole = pl.concat([doubt.filter(~newest), others.select(doubt.columns)])
    used = rules if min_shots is None else replace(rules, min_shots=min_shots)
    return assess(whole, used).filter(newest).select("golfer", "club_speed_mph", "lost_yd", "status")


def count(base: pl.DataFrame, other: pl.DataFrame, among: np.ndarray | None = None) -> Counted:
    """Compare a scenario's flags with those of the base.

    Parameters
    ----------
    base, other : DataFrame, n rows
        From `judge`, the same golfers in the same order.
    among : ndarray of bool, shape (n,), optional
        Whose flags are counted; all if not given.
    """
    both = base.select("golfer", pl.col("status", "lost_yd").name.prefix("base_")).hstack(other.drop("golfer"))
    both = both if among is None else both.filter(pl.Series(among))
    assessed = pl.col("status") != "not_assessed"
    before, now = pl.col("base_status") == "flagged", pl.col("status") == "flagged"
    in_both = assessed & (pl.col("base_status") != "not_assessed")
    found = both.select(
        assessed=assessed.sum(),
        flagged=now.sum(),
        joined=(now & ~before).sum(),
        left=(before & assessed & ~now).sum(),
        gone=(before & ~assessed).sum(),
        lost_move_yd=(pl.col("lost_yd") - pl.col("base_lost_yd")).filter(in_both).median(),
    )
    return Counted(**found.row(0, named=True))
