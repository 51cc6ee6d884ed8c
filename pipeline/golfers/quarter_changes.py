"""What changed for each golfer from one quarter to a later one, and whether that is more than chance.

Each quarter is compared with the last earlier one in which the golfer was assessed. A golfer picked out for being
short was so in part by bad luck, which does not come twice: some gain is to be expected where nothing changed. This is
the one test of a change in yards lost; progress.csv takes its verdict from here.
"""

import numpy as np
import polars as pl

from pipeline.drives import KEYS
from pipeline.golfers.doubt import OWN, Doubt, of_change
from pipeline.golfers.flags import FlagRules
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.statistics.false_discovery import adjusted
from pipeline.statistics.intervals import Estimate
from pipeline.tables.golfers import Changes

# A gain expected by chance is told from this many yards on: less would be rounded to zero.
TOLD_FROM_YD = 0.5

# The part of the false discovery rate that changes of yards lost have. The other half is for club speed, speed ratio,
# launch, spin and carry (`coach/progress`). With a rate for each of the six, 18 of 100 invented academies in which
# nothing had changed named a change in carry or yards lost (198 academies of the proving ground), and 43 of them one in
# any measure; of yards lost alone 10 did at the whole rate and 6 at half of it.
PART_OF_RATE = 0.5

BEFORE = "_before"


def changes_of(lost: pl.DataFrame, golfers: pl.DataFrame, shared: SharedErrors, rules: FlagRules) -> pl.DataFrame:
    """Compare each golfer's quarters.

    Parameters
    ----------
    lost : DataFrame
        From `known_losses`: one row per golfer and quarter.
    golfers : DataFrame
        The table `Golfers` of the same rows.
    shared : SharedErrors
    rules : FlagRules

    Returns
    -------
    DataFrame
        The table `Changes`, sorted by golfer and quarter: golfers of a quarter who have an earlier one, and those who
        were assessed in the study's quarter before and have no drive in this one.
    """
    table = _paired(lost, golfers, shared.carried)
    table = table.with_columns(
        pl.when("compared").then(pl.col(name) - pl.col(f"{name}{BEFORE}")).alias(alias)
        for name, alias in (
            ("club_speed_mph", "club_speed_change_mph"),
            ("carry_yd", "carry_change_yd"),
            ("lost_yd", "lost_change_yd"),
        )
    )
    table = table.with_columns(_test(table, shared))
    shrunk = pl.col(f"ranked_lost_yd{BEFORE}") - pl.col(f"lost_yd{BEFORE}")
    table = table.with_columns(
        adjusted(table.get_column("p_value"), table.get_column("quarter"), PART_OF_RATE),
        pl.when("compared").then(shrunk).alias("chance_change_yd"),
    )
    more = pl.col("q_value") <= rules.false_discovery_rate
    table = table.with_columns(more.alias("more_than_chance"), _movement().alias("movement"))
    return table.with_columns(_note().alias("note")).select(Changes.column_names())


def _paired(lost: pl.DataFrame, golfers: pl.DataFrame, offsets: list[str]) -> pl.DataFrame:
    """Put each quarter beside the golfer's earlier one (columns `*_before`), and say which two can be compared."""
    carried = ["shots", "club_speed_mph", "carry_yd", "lost_yd", "ranked_lost_yd", "flagged"]
    assessed = (pl.col("status") != "not_assessed").alias("assessed")
    figures = golfers.select(*KEYS, *carried, assessed)
    figures = figures.join(lost.select(*KEYS, *OWN, *offsets), on=KEYS, validate="1:1").sort(KEYS)
    last_assessed = pl.when("assessed").then("quarter").forward_fill().shift(1).over("golfer")
    since = pl.coalesce(last_assessed, pl.col("quarter").shift(1).over("golfer"))
    seen = figures.with_columns(since.alias("since")).filter(pl.col("since").is_not_null())
    before = figures.rename(lambda name: name if name == "golfer" else "since" if name == "quarter" else name + BEFORE)
    every = pl.concat([seen, _not_seen(figures)], how="diagonal")
    compared = (pl.col("assessed") & pl.col(f"assessed{BEFORE}")).fill_null(False).alias("compared")
    return every.join(before, on=["golfer", "since"], how="left").with_columns(compared).sort(KEYS)


def _not_seen(figures: pl.DataFrame) -> pl.DataFrame:
    """Give golfer, quarter and since of golfers assessed in the study's quarter before who have no drive in this."""
    quarters = figures.select(pl.col("quarter").unique().sort())
    following = quarters.with_columns(pl.col("quarter").alias("since"), pl.col("quarter").shift(-1)).drop_nulls()
    was = figures.filter("assessed").select("golfer", pl.col("quarter").alias("since"))
    return was.join(following, on="since").join(figures.select(KEYS), on=KEYS, how="anti")


def _test(table: pl.DataFrame, shared: SharedErrors) -> list[pl.Series]:
    """Interval, two-sided p-value and error of the change in yards lost; null where there is nothing to be told."""
    there = np.flatnonzero(table.get_column("compared").to_numpy())
    pairs = table[there]
    common = shared.of_change(shared.quarters(pairs), shared.quarters(pairs, BEFORE))
    error, freedom = of_change(Doubt.of(pairs), Doubt.of(pairs, end=BEFORE), common)
    change = Estimate(pairs.get_column("lost_change_yd").cast(pl.Float64).to_numpy(), error, freedom)
    lo, hi = change.edges90
    found = {
        "lost_change_lo90_yd": lo,
        "lost_change_hi90_yd": hi,
        "lost_change_std_error_yd": error,
        "lost_change_shared_error_yd": np.sqrt(common[0]),
        "p_value": change.p_value,
    }
    columns = {name: np.full(table.height, np.nan) for name in found}
    for name, values in found.items():
        columns[name][there] = values
    return [pl.Series(name, values).fill_nan(None) for name, values in columns.items()]


def _movement() -> pl.Expr:
    now, then = pl.col("flagged"), pl.col(f"flagged{BEFORE}")
    words = ("new", "still", "no_longer", "clear", "not_assessed", "not_seen")
    new, still, no_longer, clear, not_assessed, not_seen = (pl.lit(word) for word in words)
    compared = pl.when(now & ~then).then(new).when(now & then).then(still).when(then).then(no_longer).otherwise(clear)
    word = pl.when(pl.col("shots").is_null()).then(not_seen).when(~pl.col("compared")).then(not_assessed)
    return word.otherwise(compared).cast(Changes.movement.dtype)


def _note() -> pl.Expr:
    """Say why two quarters aren't compared; warn of gains by chance alone, and of flags that went by chance."""

    def unassessed(quarter: str) -> pl.Expr:
        return pl.format("not assessed in {}", quarter)

    gain = -pl.col("chance_change_yd")
    amount = pl.when(gain >= TOLD_FROM_YD).then(pl.format("about {} yd", (gain + 0.5).floor().cast(pl.Int64)))
    warning = pl.format(
        "picked out in {} for being short: a gain of {} is expected by chance alone",
        "since",
        amount.otherwise(pl.lit("less than 1 yd")),
    )
    lucky = pl.lit("no longer flagged, but the change is no more than chance can give")
    notes = [
        pl.when(pl.col("movement") == "not_seen").then(pl.format("no drives in {}", "quarter")),
        pl.when((pl.col("movement") == "not_assessed") & ~pl.col("assessed")).then(unassessed("quarter")),
        pl.when(~pl.col(f"assessed{BEFORE}")).then(unassessed("since")),
        pl.when(pl.col("flagged_before") & (gain >= 0)).then(warning),
        pl.when((pl.col("movement") == "no_longer") & ~pl.col("more_than_chance")).then(lucky),
    ]
    joined = pl.concat_str(notes, separator="; ", ignore_nulls=True)
    return pl.when(joined != "").then(joined)
