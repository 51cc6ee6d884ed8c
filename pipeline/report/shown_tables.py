"""Which columns of the study's tables people see, and in which order; more pages than one show them."""

from collections.abc import Iterable

import dataframely as dy
import polars as pl

from pipeline.report.display import Item, ShownTable, show
from pipeline.tables.columns import PERCENTILES
from pipeline.tables.figures import BandTable, Scores


def _bands(with_interval: Iterable[int]) -> tuple[Item, ...]:
    """List the columns of the band table; percentiles of carry `with_interval` show it in their cells."""
    intervals = {p: (f"carry_p{p}_yd", f"carry_p{p}_lo90_yd", f"carry_p{p}_hi90_yd") for p in with_interval}
    return (
        "quarter",
        "band_mph",
        "golfers",
        "shots",
        *(intervals.get(p, f"carry_p{p}_yd") for p in PERCENTILES),
        "efficient_carry_yd",
        ("efficient_lo90_yd", "efficient_hi90_yd"),
        "efficient_total_yd",
        ("launch_lo_deg", "launch_hi_deg"),
        ("spin_lo_rpm", "spin_hi_rpm"),
        "speed_ratio_p50",
        "in_window_share",
        "note",
    )


TOTALS: tuple[Item, ...] = (
    "quarter",
    "band_mph",
    *(f"total_p{p}_yd" for p in PERCENTILES),
    ("total_launch_lo_deg", "total_launch_hi_deg"),
    ("total_spin_lo_rpm", "total_spin_hi_rpm"),
    "note",
)


def show_bands(bands: dy.DataFrame[BandTable], *, min_golfers: int, every_interval: bool = False) -> ShownTable:
    """Show the band table, the newest quarter first, bands by rising speed.

    Percentiles of carry and roll together, and the window for them, are in `show_totals`.

    Parameters
    ----------
    bands : DataFrame
        The band table.
    min_golfers : int
        Golfers that a published figure rests on at least; named in suppressed rows.
    every_interval : bool
        Whether each percentile of carry shows its interval. On a page, where there is less room, the 50th alone does.
    """
    items = _bands(PERCENTILES if every_interval else (50,))
    return show(_newest_first(bands, min_golfers, pl.col("note")), BandTable, items)


def show_totals(bands: dy.DataFrame[BandTable], *, min_golfers: int) -> ShownTable:
    """Show carry and roll together, in the order of `show_bands`."""
    return show(_newest_first(bands, min_golfers, pl.lit(None, pl.String)), BandTable, TOTALS)


def _newest_first(bands: dy.DataFrame[BandTable], min_golfers: int, note: pl.Expr) -> pl.DataFrame:
    """Sort the bands and let a suppressed row say so and nothing else, whatever its other cells hold."""
    hidden = pl.lit(f"suppressed (fewer than {min_golfers} golfers)")
    return bands.sort("quarter", "band_mph", descending=[True, False]).with_columns(
        pl.when(~pl.col("suppressed")).then(pl.exclude("quarter", "band_mph", "suppressed", "note")).name.keep(),
        pl.when("suppressed").then(hidden).otherwise(note).alias("note"),
    )


def show_scores(scores: dy.DataFrame[Scores]) -> ShownTable:
    """Show the scores of the candidate models, in their own order."""
    return show(scores.with_columns(_marked("chosen")), Scores, Scores.column_names())


def _marked(flag: str) -> pl.Expr:
    # Of a choice only the chosen row says so.
    return pl.when(flag).then(pl.lit("yes")).otherwise(pl.lit("")).alias(flag)
