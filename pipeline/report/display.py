"""Tables as people read them: units in the headers, figures rounded, empty cells a dash.

Files of the pipeline hold full floats; rounding happens here and for display alone.
"""

from collections.abc import Callable, Mapping

import dataframely as dy
import great_tables as gt
import numpy as np
import polars as pl
from markupsafe import escape

from pipeline.golfers.order import flagged_of
from pipeline.report.page.academy_words import VALUE_WORDS, reject_words
from pipeline.tables.figures import BandTable, Calibrations, Scores
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Rejects, Sources

PERCENTILES = (25, 50, 75, 90)
PART_NAMES = ("contact", "launch", "spin", "consistency", "other")
EMPTY = "\N{EN DASH}"
# Carry is known to about a yard, launch to a tenth of a degree, spin to tens of rpm: more digits would only seem exact.
DECIMALS = {"yd": 0, "deg": 1, "rpm": -1, "mph": 1}


def show_bands(bands: dy.DataFrame[BandTable], *, min_golfers: int) -> pl.DataFrame:
    """Turn the band table into text for display, the newest quarter first, bands by rising speed.

    Percentiles of carry and run together, and the window for them, are in `show_totals`.

    Parameters
    ----------
    bands : DataFrame
        The band table.
    min_golfers : int
        Golfers that a published figure rests on at least; named in suppressed rows.

    Returns
    -------
    polars.DataFrame
        Text columns, one row per row of `bands`.
    """
    table = _newest_first(bands)
    shown = table.select(
        pl.col("quarter").alias("Quarter"),
        as_number(table, "band_mph", 1, trim=True).alias("Band centre, mph"),
        as_number(table, "golfers", 0).alias("Golfers"),
        as_number(table, "shots", 0).alias("Drives"),
        *(
            as_number(table, f"carry_p{p}_yd", DECIMALS["yd"]).alias(f"Carry, {p}th percentile, yd")
            for p in PERCENTILES
        ),
        as_number(table, "efficient_carry_yd", DECIMALS["yd"]).alias("Efficient carry, yd"),
        as_interval(table, "efficient_lo90_yd", "efficient_hi90_yd", "yd").alias("its 90 % interval, yd"),
        as_number(table, "efficient_total_yd", DECIMALS["yd"]).alias("Efficient total, yd"),
        as_interval(table, "launch_lo_deg", "launch_hi_deg", "deg").alias("Launch window, deg"),
        as_interval(table, "spin_lo_rpm", "spin_hi_rpm", "rpm").alias("Spin window, rpm"),
        as_number(table, "speed_ratio_p50", 2).alias("Speed ratio, 50th percentile"),
        as_number(table.with_columns(share=100 * pl.col("in_window_share")), "share", 0).alias("Golfers in window, %"),
        pl.col("note").fill_null("").alias("Note"),
    )
    return _without_suppressed(shown, table["suppressed"], min_golfers)


def show_totals(bands: dy.DataFrame[BandTable], *, min_golfers: int) -> pl.DataFrame:
    """Turn carry and run together into text for display, in the order of `show_bands`.

    Parameters
    ----------
    bands : DataFrame
        The band table.
    min_golfers : int
        Golfers that a published figure rests on at least; named in suppressed rows.

    Returns
    -------
    polars.DataFrame
        Text columns, one row per row of `bands`.
    """
    table = _newest_first(bands)
    shown = table.select(
        pl.col("quarter").alias("Quarter"),
        as_number(table, "band_mph", 1, trim=True).alias("Band centre, mph"),
        *(
            as_number(table, f"total_p{p}_yd", DECIMALS["yd"]).alias(f"Total, {p}th percentile, yd")
            for p in PERCENTILES
        ),
        as_interval(table, "total_launch_lo_deg", "total_launch_hi_deg", "deg").alias("Launch window for total, deg"),
        as_interval(table, "total_spin_lo_rpm", "total_spin_hi_rpm", "rpm").alias("Spin window for total, rpm"),
        pl.lit("").alias("Note"),
    )
    return _without_suppressed(shown, table["suppressed"], min_golfers)


def _newest_first(bands: dy.DataFrame[BandTable]) -> pl.DataFrame:
    return bands.sort("quarter", "band_mph", descending=[True, False])


def _without_suppressed(shown: pl.DataFrame, suppressed: pl.Series, min_golfers: int) -> pl.DataFrame:
    """Let a suppressed row say so and nothing else, whatever its other cells hold."""
    hidden = pl.when(suppressed)
    return shown.with_columns(
        hidden.then(pl.lit(EMPTY)).otherwise(pl.exclude("Quarter", "Band centre, mph", "Note")).name.keep(),
        hidden.then(pl.lit(f"suppressed (fewer than {min_golfers} golfers)")).otherwise(pl.col("Note")).alias("Note"),
    )


def bands_markdown(bands: dy.DataFrame[BandTable], *, min_golfers: int) -> str:
    """Write the band table as a markdown document.

    Parameters
    ----------
    bands : DataFrame
        The band table, all quarters.
    min_golfers : int
        Golfers that a published figure rests on at least.

    Returns
    -------
    str
        A heading, the table and how to read it, then the same for carry and run together.
    """
    text = ("Quarter", "Note")
    carry = markdown_table(show_bands(bands, min_golfers=min_golfers), text=text)
    total = markdown_table(show_totals(bands, min_golfers=min_golfers), text=text)
    return f"# Speed bands\n\n{carry}\n{HOW_TO_READ_BANDS}\n## Carry and run together\n\n{total}\n{HOW_TO_READ_TOTALS}"


HOW_TO_READ_BANDS = """\
A band is named by the centre of its range of club speed. Percentiles run over golfers, each one's typical drive moved
to the band's centre; each is a mean of the golfers nearest in rank, in whole yards, and empty where there are too few.
Carry is at standard conditions: each drive's measured carry is changed by the difference between
ball flight there and ball flight in the air and wind in which it was hit. Efficient carry is the largest carry to be
expected at the centre over deliveries that golfers of that speed produce; every drive inside both windows is expected
to come close to it. A 90 % interval tells how well the figure is known, not how drives scatter. Speed ratio is ball
speed over club speed.
"""

HOW_TO_READ_TOTALS = """\
Total is carry and run. The run is worked out, not measured: flight gives the landing at standard conditions, and the
turf is an assumed fairway of the firmness that the key flight.turf of study.yaml names. So totals are less sure than
carry. Efficient total is the largest total to be expected over the same deliveries; it may need another delivery than
the efficient carry, so the windows for total are its own.
"""


def markdown_table(table: pl.DataFrame, *, text: tuple[str, ...]) -> str:
    """Write a table of text columns in markdown.

    Parameters
    ----------
    table : polars.DataFrame
        Text columns.
    text : tuple of str
        Columns set to the left; the others hold figures and are set to the right.

    Returns
    -------
    str
        Lines, each ended.
    """
    # A bar would end the cell, a line break the row, and an angle bracket could start markup.
    clean = table.select(
        pl.all().str.replace_all("\\", "\\\\", literal=True).str.replace_all("|", "\\|", literal=True)
        .str.replace_all(r"\s+", " ").str.replace_all("<", "&lt;", literal=True)
    )  # fmt: skip
    header = f"| {' | '.join(table.columns)} |"
    rule = f"| {' | '.join('---' if name in text else '---:' for name in table.columns)} |"
    rows = clean.select(pl.format("| {} |", pl.concat_str(pl.all(), separator=" | "))).to_series()
    return "\n".join([header, rule, *rows]) + "\n"


def show_flagged(golfers: dy.DataFrame[Golfers], quarter: str) -> pl.DataFrame:
    """Turn a quarter's flagged golfers into text for display, the worst first.

    Parameters
    ----------
    golfers : DataFrame
        Golfers of all quarters.
    quarter : str
        Such as 2026Q3.

    Returns
    -------
    polars.DataFrame
        Text columns, one row per flagged golfer; parts to a tenth of a yard, so that they add up but for rounding.
        The q value is told as wrong flags in 100, rounded to the unsure side.
    """
    table = flagged_of(golfers, quarter)
    wrong = 100 * pl.col("q_value")
    # Rounded before the ceiling, so that the 3.0000000001 of a computed 0.03 isn't 4.
    whole = wrong.round(9).ceil().cast(pl.Int64).cast(pl.String)
    return table.select(
        pl.col("golfer").alias("Golfer"),
        as_number(table, "shots", 0).alias("Drives"),
        as_number(table, "club_speed_mph", DECIMALS["mph"]).alias("Club speed, mph"),
        as_number(table, "carry_yd", 1).alias("Carry, yd"),
        as_number(table, "efficient_yd", 1).alias("Efficient carry, yd"),
        as_number(table, "lost_yd", 1).alias("Yards lost, yd"),
        as_interval(table, "lost_lo90_yd", "lost_hi90_yd", "yd").alias("its 90 % interval, yd"),
        as_number(table, "ranked_lost_yd", 1).alias("Luck taken out, yd"),
        *(as_number(table, f"lost_{part}_yd", 1).alias(f"{part.capitalize()}, yd") for part in PART_NAMES),
        pl.col("main_cause").cast(pl.String).alias("Main cause"),
        pl.when(wrong < 0.1).then(pl.lit("<0.1")).when(wrong < 1).then(pl.lit("<1")).otherwise(whole)
        .alias("Wrong flags in 100"),
        pl.col("note").fill_null("").alias("Note"),
    )  # fmt: skip


def show_scores(scores: dy.DataFrame[Scores]) -> pl.DataFrame:
    """Turn the scores of the candidate models into text for display, in their own order."""
    return scores.select(
        pl.col("model").alias("Model"),
        as_number(scores, "terms", 0).alias("Terms"),
        as_number(scores, "golfers", 0).alias("Golfers"),
        as_number(scores, "shots", 0).alias("Drives"),
        as_number(scores, "rmse_yd", 2).alias("RMS error, yd"),
        as_number(scores, "rmse_std_error_yd", 2).alias("its standard error, yd"),
        as_number(scores, "mae_yd", 2).alias("Mean absolute error, yd"),
        as_number(scores, "bias_yd", 2).alias("Bias, yd"),
        as_number(scores.with_columns(covered=100 * pl.col("coverage90")), "covered", 1).alias(
            "Drives inside the 90 % interval, %"
        ),
        pl.when("chosen").then(pl.lit("yes")).otherwise(pl.lit("")).alias("Chosen"),
        pl.col("note").fill_null("").alias("Note"),
    )


def show_calibrations(calibrations: dy.DataFrame[Calibrations]) -> pl.DataFrame:
    """Turn the coefficient sets of ball flight into text for display, the kept one first, then by name."""
    table = calibrations.sort("kept", "coefficients", descending=[True, False])
    return table.select(
        pl.col("coefficients").alias("Coefficient set"),
        as_number(table, "drag", 3).alias("Drag multiplier"),
        as_number(table, "drag_std_error", 3).alias("Drag, standard error"),
        as_number(table, "lift", 3).alias("Lift multiplier"),
        as_number(table, "lift_std_error", 3).alias("Lift, standard error"),
        as_number(table, "residual_sd_yd", 1).alias("Scatter of drives about flight, yd"),
        as_number(table, "drives", 0).alias("Drives"),
        as_number(table, "golfers", 0).alias("Golfers"),
        pl.when("kept").then(pl.lit("yes")).otherwise(pl.lit("")).alias("Kept"),
        pl.col("note").alias("Note"),
    )


def show_sources(sources: dy.DataFrame[Sources]) -> pl.DataFrame:
    """Turn the list of logs into text for display: refused logs first, then by name."""
    table = sources.sort(pl.col("status") == "used", "source")
    return table.select(
        pl.col("source").alias("Log"),
        pl.col("status").cast(pl.String).alias("Status"),
        as_number(table, "rows", 0).alias("Rows"),
        as_number(table, "accepted", 0).alias("Accepted"),
        as_number(table, "rejected", 0).alias("Rejected"),
        as_number(table, "duplicates", 0).alias("Duplicates"),
        pl.col("reason").fill_null("").alias("Remark"),
    )


def show_rejects(rejects: dy.DataFrame[Rejects]) -> pl.DataFrame:
    """Count rejected rows by the rule they broke and its column, the commonest first, as text for display."""
    counted = (
        rejects.group_by("rule", "column").len("rows").sort("rows", "rule", "column", descending=[True, False, False])
    )
    return counted.select(
        pl.Series("What was wrong", reject_words(counted["rule"]), dtype=pl.String),
        pl.col("column").replace(VALUE_WORDS).alias("Value"),
        as_number(counted, "rows", 0).alias("Rows"),
    )


def html_table(
    table: pl.DataFrame,
    *,
    table_id: str,
    text: tuple[str, ...],
    spanners: Mapping[str, Mapping[str, str]] | None = None,
    cells: Mapping[str, Callable[[str], str]] | None = None,
) -> str:
    """Write a table of text columns as HTML; every cell is escaped.

    Parameters
    ----------
    table : polars.DataFrame
        Text columns.
    table_id : str
        Id of the table in the page; a given one keeps the page the same on every run.
    text : tuple of str
        Columns set to the left; the others hold figures and are set to the right.
    spanners : mapping, optional
        Headings over several columns: for each, its columns with what is left of their own headers.
    cells : mapping, optional
        For a column, what makes the HTML of a cell from its text, already escaped.

    Returns
    -------
    str
        HTML with its style, without scripts.
    """
    figures = [name for name in table.columns if name not in text]
    made = (
        gt.GT(table, id=table_id)
        .cols_align("left", [name for name in table.columns if name in text])
        .cols_align("right", figures)
        .tab_options(
            table_font_size="13px",
            column_labels_font_weight="600",
            data_row_padding="3px",
            data_row_padding_horizontal="9px",
            column_labels_padding_horizontal="9px",
            table_margin_left="0",
        )
    )
    for heading, labels in (spanners or {}).items():
        made = made.tab_spanner(heading, list(labels)).cols_label(dict(labels))
    for name, write in (cells or {}).items():
        made = made.fmt(_on_escaped(write), columns=name)
    return str(made.as_raw_html())


def _on_escaped(write: Callable[[str], str]) -> Callable[[str], str]:
    # The library doesn't escape a cell that has a writer of its own.
    return lambda value: write(str(escape(value)))


def as_number(table: pl.DataFrame, name: str, decimals: int, *, trim: bool = False) -> pl.Series:
    """Write a column of numbers as text, rounded to `decimals`; -1 means tens, `trim` drops trailing zeros."""
    values = table[name].cast(pl.Float64).to_numpy()
    # Adding 0 turns the -0 of a rounded small negative into 0.
    rounded = np.round(values, decimals) + 0.0
    written = np.char.mod("%g" if trim else f"%.{max(decimals, 0)}f", rounded)
    return pl.Series(name, np.where(np.isnan(values), EMPTY, written).astype(object), dtype=pl.String)


def as_interval(table: pl.DataFrame, low: str, high: str, unit: str) -> pl.Expr:
    """Write two columns as `low to high`, a dash where either is null."""
    ends = as_number(table, low, DECIMALS[unit]), as_number(table, high, DECIMALS[unit])
    known = table.select(pl.col(low).is_not_null() & pl.col(high).is_not_null()).to_series()
    return pl.when(known).then(pl.format("{} to {}", *(pl.lit(end) for end in ends))).otherwise(pl.lit(EMPTY))
