"""Counts that add up: each golfer's state in a quarter against the quarter before.

`changes.csv` compares a golfer with the last quarter in which that golfer was assessed, however long ago. A count of
the quarter can't: the golfers of the quarter before and of this one would not add up. Here everybody is compared with
the study's quarter before, and a golfer without a result in it has a state of its own. Where both compare the same two
quarters, they say the same.
"""

from collections.abc import Sequence
from typing import Any

import polars as pl

from pipeline.drives import KEYS

# new, still, no_longer and clear: assessed in both quarters, and flagged now, in both, then, in neither.
# not_assessed: drives now, but no result. first_seen: a result now, none in the quarter before, which may have been the
# golfer's first, missed, or too short. not_seen: drives in the quarter before, none now.
COMPARED = ("new", "still", "no_longer", "clear")
STATES = (*COMPARED, "first_seen", "not_assessed", "not_seen")


def quarters_of(golfers: pl.DataFrame) -> list[str]:
    """Give the quarters in which anybody hit a drive, oldest first."""
    return golfers.get_column("quarter").unique().sort().to_list()


def states_of(golfers: pl.DataFrame) -> pl.DataFrame:
    """Give each golfer's state in each quarter against the study's quarter before.

    Parameters
    ----------
    golfers : DataFrame
        The table `Golfers`, or golfer, quarter, status and flagged of it.

    Returns
    -------
    DataFrame
        golfer, quarter, before (the quarter before, null in the first), state (one of `STATES`), flagged, flagged_then
        (false where not known), seen_then. One row per golfer and quarter with drives in the quarter or in the one
        before it, sorted.
    """
    quarters = quarters_of(golfers)
    figures = golfers.select(
        *(pl.col(key).cast(pl.String) for key in KEYS), pl.col("status").cast(pl.String), pl.col("flagged")
    )
    order = pl.DataFrame(
        {"quarter": quarters, "before": [None, *quarters[:-1]][: len(quarters)]},
        schema={"quarter": pl.String, "before": pl.String},
    )
    then = figures.rename({"quarter": "before", "status": "status_then", "flagged": "flagged_then"})
    gone = then.join(order.drop_nulls(), on="before").select("golfer", "quarter")
    every = pl.concat([figures.select(KEYS), gone]).unique()
    joined = (
        every.join(order, on="quarter")
        .join(figures, on=KEYS, how="left")
        .join(then, on=["golfer", "before"], how="left")
        .with_columns(pl.col("flagged", "flagged_then").fill_null(False))
    )
    return joined.select(
        *KEYS,
        "before",
        _state().alias("state"),
        "flagged",
        "flagged_then",
        pl.col("status_then").is_not_null().alias("seen_then"),
    ).sort("quarter", "golfer")


def _state() -> pl.Expr:
    now, then = pl.col("flagged"), pl.col("flagged_then")
    words = {word: pl.lit(word) for word in STATES}
    return (
        pl.when(pl.col("status").is_null())
        .then(words["not_seen"])
        .when(pl.col("status") == "not_assessed")
        .then(words["not_assessed"])
        .when(pl.col("status_then").is_null() | (pl.col("status_then") == "not_assessed"))
        .then(words["first_seen"])
        .when(now & ~then)
        .then(words["new"])
        .when(now & then)
        .then(words["still"])
        .when(then)
        .then(words["no_longer"])
        .otherwise(words["clear"])
    )


def counts_of(states: pl.DataFrame, quarter: str) -> dict[str, Any]:
    """Count a quarter's states, with the sums that they make.

    Parameters
    ----------
    states : DataFrame
        From `states_of`.
    quarter : str

    Returns
    -------
    dict
        A number for each of `STATES`; `now` and `before`, the golfers with drives in the quarter and in the one before;
        `only_now`, those with drives now and none then; `flagged_now` and `flagged_before`, each with its `total` and
        the states that make it up. These hold, always::

            now = new + still + no_longer + clear + first_seen + not_assessed
            before = now - only_now + not_seen
            flagged_now.total = still + new + flagged_now.first_seen
            flagged_before.total = still + no_longer + flagged_before.not_assessed + flagged_before.not_seen
    """
    here = states.filter(pl.col("quarter") == quarter)
    counts: dict[str, Any] = {state: here.filter(pl.col("state") == state).height for state in STATES}
    seen = here.filter(pl.col("state") != "not_seen")
    counts["now"] = seen.height
    counts["before"] = here.filter("seen_then").height
    counts["only_now"] = seen.filter(~pl.col("seen_then")).height
    counts["flagged_now"] = _sum_of(here.filter("flagged"), ("still", "new", "first_seen"))
    counts["flagged_before"] = _sum_of(here.filter("flagged_then"), ("still", "no_longer", "not_assessed", "not_seen"))
    return counts


def _sum_of(some: pl.DataFrame, states: Sequence[str]) -> dict[str, int]:
    parts = {state: some.filter(pl.col("state") == state).height for state in states}
    return {"total": some.height, **parts}
