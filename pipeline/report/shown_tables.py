"""Which columns of the study's tables people see, and in which order; more pages than one show them."""

from collections.abc import Iterable

import dataframely as dy
import polars as pl

from pipeline.golfers.order import flagged_of
from pipeline.report.display import EMPTY, Item, ShownTable, as_number, show
from pipeline.report.page.academy_words import reject_words, value_words
from pipeline.report.shown_sums import with_shown_losses
from pipeline.tables.columns import PERCENTILES, facts_of, heading_of
from pipeline.tables.devices import Devices
from pipeline.tables.figures import BandTable, Calibrations, Scores
from pipeline.tables.golfers import PARTS, Golfers
from pipeline.tables.logs import Rejects, Sources


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


def show_flagged(golfers: dy.DataFrame[Golfers], quarter: str) -> ShownTable:
    """Show a quarter's flagged golfers, the worst first.

    Parts are shown in yards that add up to the yards lost, and these to the difference of efficient and mean carry; the
    q value as wrong flags in 100, rounded to the unsure side.

    Parameters
    ----------
    golfers : DataFrame
        Golfers of all quarters.
    quarter : str
        Such as 2026Q3.
    """
    wrong = 100 * pl.col("q_value")
    # Rounded before the ceiling, so that the 3.0000000001 of a computed 0.03 isn't 4.
    whole = wrong.round(9).ceil().cast(pl.Int64).cast(pl.String)
    wrong_flags = pl.when(wrong < 0.1).then(pl.lit("<0.1")).when(wrong < 1).then(pl.lit("<1")).otherwise(whole)
    items: tuple[Item, ...] = (
        "golfer",
        "shots",
        "club_speed_mph",
        "carry_yd",
        "efficient_yd",
        "lost_yd",
        ("lost_lo90_yd", "lost_hi90_yd"),
        "ranked_lost_yd",
        *PARTS,
        "main_cause",
        wrong_flags.alias("Wrong flags in 100"),
        "note",
    )
    return show(with_shown_losses(flagged_of(golfers, quarter)), Golfers, items)


def show_scores(scores: dy.DataFrame[Scores]) -> ShownTable:
    """Show the scores of the candidate models, in their own order."""
    return show(scores.with_columns(_marked("chosen")), Scores, Scores.column_names())


def show_calibrations(calibrations: dy.DataFrame[Calibrations]) -> ShownTable:
    """Show the coefficient sets of ball flight, the kept one first, then by name."""
    table = calibrations.sort("kept", "coefficients", descending=[True, False])
    return show(table.with_columns(_marked("kept")), Calibrations, Calibrations.column_names())


def _marked(flag: str) -> pl.Expr:
    # Of a choice only the chosen row says so.
    return pl.when(flag).then(pl.lit("yes")).otherwise(pl.lit("")).alias(flag)


def show_sources(sources: dy.DataFrame[Sources]) -> ShownTable:
    """Show the list of logs: refused logs first, then by name."""
    names = [name for name in Sources.column_names() if name != "sha256"]
    return show(sources.sort(pl.col("status") == "used", "source"), Sources, names)


def show_devices(devices: dy.DataFrame[Devices]) -> ShownTable:
    """Show how devices' readings differ from the reference device's; each device's note stands beside its first row.

    Readings of which nothing is known are left out, but for the first row of a device that has no others. So is carry
    over flight: it is by the flight before calibration, a hint to which speed is misread and not what the device adds.
    """
    kept = devices.filter(pl.col("reading") != "carry_over_flight").filter(
        pl.col("difference").is_not_null()
        | (pl.col("difference").is_null().all() & (pl.int_range(pl.len()) == 0)).over("device")
    )
    first = pl.int_range(pl.len()).over("device") == 0
    table = kept.with_columns(
        pl.when(first).then("note").otherwise(pl.lit("")).alias("note"),
        *(pl.col(name).cast(pl.String).str.replace_all("_", " ") for name in ("reading", "compared_by")),
    )
    degrees = table.get_column("reading") == "launch"
    figures = {
        name: pl.select(
            pl.when(degrees)
            .then(as_number(table[name], 1) + " deg")
            .otherwise(as_number(100 * table[name], 1) + " %")
            .alias(name)
        ).to_series()
        for name in ("difference", "lo90", "hi90")
    }
    ends = figures["lo90"].str.strip_suffix(" deg").str.strip_suffix(" %") + " to " + figures["hi90"]
    known = table["difference"].is_not_null()
    told = {"Difference": figures["difference"], facts_of(Devices)["lo90"].display.interval: ends}
    shown: list[Item] = [
        "device",
        "reading",
        "reference",
        *(pl.when(pl.lit(known)).then(pl.lit(one)).otherwise(pl.lit(EMPTY)).alias(name) for name, one in told.items()),
        "golfers",
        "compared_by",
        "corrected",
        "note",
    ]
    return show(table, Devices, shown)


def show_rejects(rejects: dy.DataFrame[Rejects]) -> ShownTable:
    """Count rejected rows by the rule they broke and its column, the commonest first."""
    counted = (
        rejects.group_by("rule", "column").len("rows").sort("rows", "rule", "column", descending=[True, False, False])
    )
    wrong, value = "What was wrong", "Value"
    table = counted.select(
        pl.Series(wrong, reject_words(counted["rule"]), dtype=pl.String),
        pl.Series(value, value_words(counted["column"]), dtype=pl.String),
        as_number(counted["rows"], 0).alias(heading_of(Sources, "rows")),
    )
    return ShownTable(table, (wrong, value))
