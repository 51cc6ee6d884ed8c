"""The researcher's diagnostics as one HTML page, made from the drives of the fit and their held-out predictions."""

import base64
from collections.abc import Mapping
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl
from markupsafe import Markup
from matplotlib.figure import Figure

from pipeline.bands import SpeedBands
from pipeline.drives import Drives
from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.scores import choose
from pipeline.report.diagnostics.diagnostics import (
    calibration,
    coverage_by_band,
    held_out_residuals,
    influence,
    most_influential,
    residuals_along,
    residuals_by_level,
)
from pipeline.report.diagnostics.diagnostics_plots import (
    plot_calibration,
    plot_contest,
    plot_coverage,
    plot_influence,
    plot_levels,
    plot_residuals,
)
from pipeline.report.display import EMPTY, ShownTable, as_number, tables_markup
from pipeline.report.figures.look import figure_bytes
from pipeline.report.palette import palette_css
from pipeline.report.shown_tables import show_scores
from pipeline.report.templating import templates_of
from pipeline.statistics.intervals import Z90
from pipeline.tables.columns import heading_of
from pipeline.tables.figures import Scores
from pipeline.texts.better import better_golfers

INPUTS = ("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm")
LEVEL_COLUMNS = ("device", "ball", "quarter")
MOST_NAMED = 10  # golfers listed by their influence


def build_diagnostics(
    *,
    drives: pl.DataFrame,
    held_out: pl.DataFrame,
    scores: dy.DataFrame[Scores],
    model: CarryModel,
    efficient: Delivery,
    settings: Mapping[str, Any],
    whole: Drives | None = None,
) -> str:
    """Build the page.

    Parameters
    ----------
    drives : DataFrame, n rows
        The drives that are shown, in the order of `held_out`, with the columns of `FIT_COLUMNS`.
    held_out : DataFrame, n rows
        measured_yd, predicted_yd, predicted_by_club_speed_yd and fold.
    scores : DataFrame
        The candidates' scores.
    model : CarryModel
        The chosen model.
    efficient : Delivery
        The efficient drive at each band's centre that the benchmarks reach.
    settings : mapping
        Keys `study`, `bands` (`centres`, `half_width_mph`) and `privacy` (`min_golfers`).
    whole : Drives, optional
        All drives of the fit, if more than are shown.

    Returns
    -------
    str
        A whole HTML document that needs no other file and no network.
    """
    centres, min_golfers = settings["bands"]["centres"], settings["privacy"]["min_golfers"]
    residuals = held_out_residuals(drives, held_out, SpeedBands.of(centres, settings["bands"]["half_width_mph"]))
    names = [name for name in INPUTS if residuals[name].null_count() < residuals.height]
    levels = {column: residuals_by_level(residuals, column, min_golfers) for column in LEVEL_COLUMNS}
    calibrated = calibration(held_out, drives["golfer"])
    covered = coverage_by_band(residuals, min_golfers)
    moves = influence(model, drives, efficient, whole) if len(efficient.club_speed_mph) else None
    along = {name: residuals_along(residuals, name, min_golfers) for name in names}
    figures = {
        "residuals": plot_residuals(residuals, along),
        "levels": plot_levels(levels),
        "calibration": plot_calibration(calibrated),
        "coverage": plot_coverage(covered, centres),
        "contest": plot_contest(scores),
    }
    tables = {
        **{column: ShownTable(show_levels(table, column), (column.capitalize(),)) for column, table in levels.items()},
        "calibration": ShownTable(show_calibration(calibrated)),
        "coverage": ShownTable(show_coverage(covered)),
        "contest": show_scores(scores).without(heading_of(Scores, "note")),
    }
    if moves is not None:
        figures["influence"] = plot_influence(moves, centres)
        tables["influence"] = ShownTable(show_influence(most_influential(moves, MOST_NAMED)), ("Golfer",))
        tables["moves"] = ShownTable(show_moves(moves))
    better = better_golfers(model.usual.strike)
    return _render(drives, residuals, scores, figures, tables, {**settings, "better": better})


def _render(
    drives: pl.DataFrame,
    residuals: pl.DataFrame,
    scores: dy.DataFrame[Scores],
    figures: Mapping[str, Figure],
    tables: Mapping[str, ShownTable],
    settings: Mapping[str, Any],
) -> str:
    environment = templates_of("diagnostics")
    return environment.get_template("diagnostics.html.j2").render(
        palette=Markup(palette_css()),  # our own text
        settings=settings,
        drives=drives.height,
        golfers=drives["golfer"].n_unique(),
        folds=residuals["fold"].n_unique(),
        chosen=scores.filter("chosen").row(0, named=True),
        contest=scores["model"][choose(scores.rows(named=True))],
        pictures={
            name: base64.b64encode(figure_bytes(drawn, "png")).decode("ascii") for name, drawn in figures.items()
        },
        tables=tables_markup(tables),
    )


def show_levels(table: pl.DataFrame, column: str) -> pl.DataFrame:
    """Turn residuals by level into text for display."""
    return pl.DataFrame(
        {
            column.capitalize(): table["level"],
            "Golfers": as_number(table["golfers"], 0),
            "Drives": as_number(table["drives"], 0),
            "Mean residual, yd": as_number(table["mean"], 2),
            "its 90 % interval, yd": _interval(table["mean"], table["std_error"], 2),
            "RMS residual, yd": as_number(table["rmse_yd"], 2),
            "Drives inside the 90 % interval, %": as_number(100 * table["inside"], 1),
        }
    )


def show_calibration(table: pl.DataFrame) -> pl.DataFrame:
    """Turn the calibration of the interval into text for display, one row per level."""
    wide = table.pivot("known", index="level", values="inside", maintain_order=True)
    inside = {f"Inside, {name}, %": as_number(100 * wide[name], 1) for name in wide.columns if name != "level"}
    return pl.DataFrame({"Level, %": as_number(100 * wide["level"], 0), **inside})


def show_coverage(table: pl.DataFrame) -> pl.DataFrame:
    """Turn coverage by band into text for display."""
    return pl.DataFrame(
        {
            "Band center, mph": _plain(table["band_mph"]),
            "Golfers": as_number(table["golfers"], 0),
            "Drives": as_number(table["drives"], 0),
            "Drives inside the 90 % interval, %": as_number(100 * table["mean"], 1),
            "90 % interval of this share, %": _interval(100 * table["mean"], 100 * table["std_error"], 1),
        }
    )


def show_influence(table: pl.DataFrame) -> pl.DataFrame:
    """Turn the most influential golfers into text for display."""
    return pl.DataFrame(
        {
            "Golfer": table["golfer"],
            "Drives": as_number(table["shots"], 0),
            "Club speed, mph": as_number(table["club_speed_mph"], 1),
            "Largest move, yd": as_number(table["move_yd"], 2),
            "at the band, mph": _plain(table["band_mph"]),
        }
    )


def show_moves(moves: pl.DataFrame) -> pl.DataFrame:
    """Turn the spread of moves by band into text for display."""
    size = pl.col("move_yd").abs()
    by_band = moves.group_by("band_mph").agg(
        size.median().alias("half"), size.quantile(0.95, "linear").alias("most"), size.max().alias("largest")
    )
    table = by_band.sort("band_mph")
    return pl.DataFrame(
        {
            "Band center, mph": _plain(table["band_mph"]),
            "Half of the golfers move it by less than, yd": as_number(table["half"], 2),
            "95 % of the golfers by less than, yd": as_number(table["most"], 2),
            "Largest move, yd": as_number(table["largest"], 2),
        }
    )


def _plain(values: pl.Series) -> pl.Series:
    return pl.Series(np.char.mod("%g", values.to_numpy()).tolist(), dtype=pl.String)


def _interval(mean: pl.Series, std_error: pl.Series, decimals: int) -> pl.Series:
    low, high = (as_number(mean + sign * Z90 * std_error, decimals) for sign in (-1, 1))
    both = pl.DataFrame({"low": low, "high": high}).select(pl.format("{} to {}", "low", "high")).to_series()
    return pl.select(pl.when(std_error.is_null()).then(pl.lit(EMPTY)).otherwise(both)).to_series()
