"""What changed for each golfer from one quarter to a later one, and whether that is more than chance.

Each quarter is held against the last earlier one in which the golfer was assessed. A golfer picked out for being
short was so in part by bad luck, which does not come twice: some gain is to be expected where nothing changed.
"""

import numpy as np
import polars as pl

from pipeline.golfers.flags import FlagRules
from pipeline.statistics.arrays import Array
from pipeline.statistics.false_discovery import adjusted
from pipeline.statistics.intervals import Estimate, welch_error
from pipeline.tables.golfers import Changes

# Speeds this far apart are taken to share nothing of efficient carry's error.
APART_MPH = 4.0

# A gain expected by chance is told from this many yards on.
TOLD_FROM_YD = 0.05


def changes_of(lost: pl.DataFrame, golfers: pl.DataFrame, rules: FlagRules) -> pl.DataFrame:
    """Compare each golfer's assessed quarters.

    Parameters
    ----------
    lost : DataFrame
        From `losses`: one row per golfer and quarter, with own_variance and efficient_std_error_yd.
    golfers : DataFrame
        The table `Golfers` of the same rows.
    rules : FlagRules

    Returns
    -------
    DataFrame
        The table `Changes`, sorted by golfer and quarter; empty where nobody has two assessed quarters.

    Notes
    -----
    The drives are taken as independent: what a whole day's form, a device moved or another ball adds to all drives
    of a quarter is not in the interval.
    """
    both = _paired(lost, golfers)
    tested = both.with_columns(
        (pl.col(name) - pl.col(f"{name}_before")).alias(alias)
        for name, alias in (
            ("club_speed_mph", "club_speed_change_mph"),
            ("carry_yd", "carry_change_yd"),
            ("lost_yd", "lost_change_yd"),
        )
    )
    tested = tested.with_columns(_test(tested))
    tested = tested.with_columns(
        adjusted(tested.get_column("p_value"), tested.get_column("quarter")),
        (pl.col("ranked_lost_yd_before") - pl.col("lost_yd_before")).alias("chance_change_yd"),
    )
    more = (pl.col("q_value") <= rules.false_discovery_rate).fill_null(False)
    tested = tested.with_columns(more.alias("more_than_chance"), _movement().alias("movement"))
    return tested.with_columns(_note().alias("note")).select(Changes.column_names())


def _paired(lost: pl.DataFrame, golfers: pl.DataFrame) -> pl.DataFrame:
    """Put each assessed quarter beside the golfer's last assessed one before it (columns `*_before`)."""
    keys = ["golfer", "quarter"]
    errors = lost.select(*keys, "own_variance", "efficient_std_error_yd")
    assessed = golfers.filter(pl.col("status") != "not_assessed").join(errors, on=keys, validate="1:1").sort(keys)
    carried = ["shots", "club_speed_mph", "carry_yd", "lost_yd", "ranked_lost_yd", "flagged"]
    carried += ["own_variance", "efficient_std_error_yd"]
    before = [pl.col(name).shift(1).over("golfer").alias(f"{name}_before") for name in carried]
    since = pl.col("quarter").shift(1).over("golfer").alias("since")
    return assessed.with_columns(since, *before).filter(pl.col("since").is_not_null())


def _test(both: pl.DataFrame) -> list[pl.Series]:
    """Interval and two-sided p-value of the change in yards lost by Welch's t; null where there is no error."""
    own, own_then = (both.get_column(f"own_variance{end}").cast(pl.Float64).to_numpy() for end in ("", "_before"))
    shots, shots_then = (both.get_column(f"shots{end}").to_numpy() for end in ("", "_before"))
    shared, shared_then = (both.get_column(f"efficient_std_error_yd{end}").to_numpy() for end in ("", "_before"))
    faster = both.get_column("club_speed_change_mph").to_numpy()
    # What efficient carry adds is known better than any golfer's own spread: it has no degrees of freedom to lose.
    efficient = (efficient_variance(shared, shared_then, faster), np.inf)
    error = welch_error((own, shots - 1), (own_then, shots_then - 1), efficient)
    change = Estimate(both.get_column("lost_change_yd").to_numpy(), *error)
    lo, hi = change.edges90
    columns = {"lost_change_lo90_yd": lo, "lost_change_hi90_yd": hi, "p_value": change.p_value}
    return [pl.Series(name, values).fill_nan(None) for name, values in columns.items()]


def efficient_variance(now_yd: Array, then_yd: Array, speed_change_mph: Array) -> Array:
    """Bound the variance of efficient carry at the new speed less that at the old one, yd^2.

    One model stands behind both quarters, so at one speed the error cancels; at speeds far apart it can be no more
    than that of two independent figures, as errors that move together are the rule. Between, the variance is let
    rise in proportion to the distance. Refits of the demo lie below that bound by 5 % or more of the standard
    error at every distance.

    Parameters
    ----------
    now_yd, then_yd : ndarray, shape (n,)
        Standard errors of efficient carry at the two speeds.
    speed_change_mph : ndarray, shape (n,)
    """
    apart = np.abs(speed_change_mph) / APART_MPH
    return np.asarray(np.minimum(apart, 1.0) * (now_yd**2 + then_yd**2))


def _movement() -> pl.Expr:
    now, then = pl.col("flagged"), pl.col("flagged_before")
    new, persisting, resolved, none = (pl.lit(word) for word in ("new", "persisting", "resolved", "none"))
    word = pl.when(now & ~then).then(new).when(now & then).then(persisting).when(then).then(resolved).otherwise(none)
    return word.cast(Changes.movement.dtype)


def _note() -> pl.Expr:
    """Warn of gains by chance alone: after a flag, and of a flag that went without a change that can be told."""
    gain = -pl.col("chance_change_yd")
    amount = pl.when(gain >= TOLD_FROM_YD).then(pl.format("about {} yd", gain.round(1)))
    warning = pl.format(
        "picked out in {} for being short: a gain of {} is expected by chance alone",
        "since",
        amount.otherwise(pl.lit("less than 0.1 yd")),
    )
    lucky = pl.lit("no longer flagged, but the change is no more than chance can give")
    notes = [
        pl.when(pl.col("flagged_before") & (gain >= 0)).then(warning),
        pl.when((pl.col("movement") == "resolved") & ~pl.col("more_than_chance")).then(lucky),
    ]
    joined = pl.concat_str(notes, separator="; ", ignore_nulls=True)
    return pl.when(joined != "").then(joined)
