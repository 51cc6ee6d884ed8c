"""The evidence on a fit, section by section: each with a heading that says what was found."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl
from matplotlib.figure import Figure

from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, Delivery
from pipeline.fit.reading_errors import ReadingErrors, extrapolate_errors, refit_with_errors
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.report.diagnostics import evidence_text as say
from pipeline.report.diagnostics.curved import curved_drives
from pipeline.report.diagnostics.diagnostics import residuals_along
from pipeline.report.diagnostics.evidence_plots import plot_along, plot_golfers
from pipeline.report.diagnostics.luck import day_spread, golfer_days, golfer_spread
from pipeline.report.diagnostics.mixed import golfer_intercepts, spread_by_carry
from pipeline.report.diagnostics.slopes import (
    ALONG,
    of_device_alone,
    slopes,
    why_not,
    with_columns_along,
)
from pipeline.report.display import ShownTable
from pipeline.statistics.arrays import Array


@dataclass(frozen=True)
class Section:
    """A section of the page.

    Attributes
    ----------
    key : str
    heading : str
        The finding.
    lines : tuple of str
    picture : tuple of Figure and str, optional
        With its text.
    table : ShownTable, optional
    """

    key: str
    heading: str
    lines: tuple[str, ...]
    picture: tuple[Figure, str] | None = None
    table: ShownTable | None = None


@dataclass(frozen=True)
class Evidence:
    """What the sections are made from.

    Attributes
    ----------
    residuals : DataFrame
        From `held_out_residuals`, with such of the logs' further columns as there are.
    model : CarryModel
    efficient : Delivery
        The efficient drive at each band's center that the benchmarks reach, n of them.
    half_width_yd : ndarray, shape (n,)
        Half of the 90 % interval of efficient carry.
    ball : Ball
        As calibrated.
    air : Air
        The standard one.
    min_golfers : int
    seed : int
    """

    residuals: pl.DataFrame
    model: CarryModel
    efficient: Delivery
    half_width_yd: Array
    ball: Ball
    air: Air
    min_golfers: int
    seed: int


def gather_evidence(on: Evidence) -> list[Section]:
    """Make all sections, in the page's order."""
    parts: Sequence[Callable[[Evidence], Section]] = (_golfers, _columns, _days, _spread, _readings, _mixed, _curved)
    return [part(on) for part in parts]


def _golfers(on: Evidence) -> Section:
    found = golfer_spread(golfer_days(on.residuals), on.seed)
    if found is None:
        return Section("golfers", "Too few golfers to compare with luck", ())
    text = (
        "Mean residual of each golfer, sorted. Gray: where 9 in 10 would be if golfers didn't differ and only their "
        "days and drives did."
    )
    return Section("golfers", say.golfers_heading(found), say.golfers_lines(found), (plot_golfers(found), text))


def _columns(on: Evidence) -> Section:
    residuals = with_columns_along(on.residuals)
    missing = {name: why_not(residuals, name) for name in ALONG}
    there = [name for name, why in missing.items() if why is None]
    found = slopes(residuals, there)
    lines = [why for why in missing.values() if why is not None]
    alone = [ALONG[name].name for name in there if of_device_alone(residuals, name)]
    lines += [say.device_line(alone)] if alone else []
    bins = {name: residuals_along(residuals, name, on.min_golfers) for name in there}
    drawn = {name: table for name, table in bins.items() if table.height}
    text = "Mean residual in bins of about as many drives, with its 90 % interval."
    picture = (plot_along(drawn), text) if drawn else None
    return Section("columns", say.columns_heading(found), tuple(lines), picture, say.show_slopes(found))


def _days(on: Evidence) -> Section:
    least = max(on.min_golfers, 2)
    if "struck_on" not in on.residuals.columns:
        return Section("days", "Days can't be compared", ("Days aren't in the drives.",))
    found = day_spread(golfer_days(on.residuals), least, on.seed)
    return Section("days", say.days_heading(found), say.days_lines(found, least))


def _spread(on: Evidence) -> Section:
    found = spread_by_carry(on.model, on.residuals)
    if isinstance(found, str):
        return Section("spread", "How drives spread couldn't be fitted", (found,))
    return Section("spread", say.spread_heading(found), say.spread_lines(found))


def _readings(on: Evidence) -> Section:
    errors = ReadingErrors.assumed(on.model.surface.speed)
    about = say.readings_lines(errors, on.model.surface.speed)
    centres = on.efficient.club_speed_mph
    if not len(centres):
        return Section("readings", "No efficient carry for errors of readings to move", about)
    asked: dict[str, tuple[Delivery, Any]] = {
        "efficient": (on.efficient, "better"),
        "usual": (on.model.usual_at(centres), "usual"),
    }
    try:
        refits = refit_with_errors(on.model, on.residuals, errors, on.seed)
    except UserError as error:
        return Section("readings", "Errors of readings couldn't be tried", (str(error),))
    found = {name: extrapolate_errors(on.model, refits, at, strike) for name, (at, strike) in asked.items()}
    return Section(
        "readings",
        say.readings_heading(found["efficient"], on.half_width_yd),
        about,
        table=say.show_readings(centres, found, on.half_width_yd),
    )


def _mixed(on: Evidence) -> Section:
    found = golfer_intercepts(on.model, on.residuals, on.efficient)
    if isinstance(found, str):
        return Section("mixed", "No mixed model", (found,))
    return Section("mixed", say.mixed_heading(found), say.mixed_lines(found))


def _curved(on: Evidence) -> Section:
    found = curved_drives(on.residuals, on.ball, on.air)
    return Section("curved", say.curved_heading(found), say.curved_lines(found))


def sections_shown(sections: Sequence[Section]) -> tuple[dict[str, Figure], dict[str, ShownTable]]:
    """Give the sections' pictures and tables by their keys."""
    figures = {one.key: one.picture[0] for one in sections if one.picture is not None}
    tables = {one.key: one.table for one in sections if one.table is not None}
    return figures, tables
