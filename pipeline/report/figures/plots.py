"""The figures of all bands: carry against club speed, and the parts of the yards lost.

Each function takes frames and the chart's curves and returns a matplotlib figure; none touches a file or pyplot.
"""

import dataframely as dy
import numpy as np
import polars as pl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
from pipeline.golfers.order import flagged_of
from pipeline.report.figures.golfer_dots import draw_golfers, say, without_suppressed
from pipeline.report.figures.look import CURVE_COLOUR, PART_LOOKS, band_colours, house_style, new_figure
from pipeline.report.palette import LIGHT
from pipeline.shown import rounded
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import PARTS, Golfers

MOST_BARS = 25  # more bars than this can't be read on one printed page
SHORT_NAME = 6  # characters of a pseudonym shown beside a bar; the page's table has it whole


@house_style()
def plot_carry_by_speed(
    golfers: dy.DataFrame[Golfers],
    bands: dy.DataFrame[BandTable],
    chart: Chart,
    speed_bands: SpeedBands,
    *,
    min_golfers: int,
) -> Figure:
    """Plot golfers' mean carry against club speed with the bands' percentiles and the efficient curve.

    Golfers of suppressed bands are left out: a point each would tell what the suppressed row must not.

    Parameters
    ----------
    golfers, bands : DataFrame
        All quarters; the chart's quarter is shown.
    chart : Chart
    speed_bands : SpeedBands
        The study's; they settle the colours.
    min_golfers : int
        Fewest golfers behind a published figure.

    Returns
    -------
    matplotlib.figure.Figure
        10 by 7 inches.
    """
    here = bands.filter(pl.col("quarter") == chart.quarter)
    shown = without_suppressed(golfers.filter(pl.col("quarter") == chart.quarter), here, speed_bands)
    figure = new_figure(10, 7)
    axes = figure.subplots()
    _draw_efficient_curve(axes, chart)
    _draw_percentiles(axes, here, band_colours(speed_bands.centres_mph))
    draw_golfers(axes, shown, "club_speed_mph", "carry_yd")
    axes.set(xlabel="Club speed, mph", ylabel="Carry at standard conditions, yd")
    axes.set_title(f"How far drives carry at each club speed: {chart.study}, {chart.quarter}", parse_math=False)
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, frameon=False)
    if here["suppressed"].any():
        say(axes, f"Golfers of bands with fewer than {min_golfers} golfers are not drawn.")
    return figure


@house_style()
def plot_losses(golfers: dy.DataFrame[Golfers], chart: Chart) -> Figure:
    """Plot the parts of the yards lost of the flagged golfers, the worst first.

    Parameters
    ----------
    golfers : DataFrame
        All quarters; the flagged of the chart's quarter are shown, at most 25.
    chart : Chart
        Its study and quarter are named.

    Returns
    -------
    matplotlib.figure.Figure
        10 inches wide; its height follows the number of golfers.
    """
    flagged = flagged_of(golfers, str(chart.quarter))
    shown = flagged.head(MOST_BARS)
    figure = new_figure(10, 2.4 + 0.32 * max(shown.height, 3))
    axes = figure.subplots()
    count = (
        f"the worst {shown.height} of {flagged.height}" if flagged.height > shown.height else f"{shown.height} in all"
    )
    axes.set_title(
        f"Where flagged golfers lose their yards ({count}): {chart.study}, {chart.quarter}", parse_math=False
    )
    if shown.is_empty():
        axes.set_axis_off()
        axes.text(0.5, 0.5, "No golfer is flagged in this quarter.", ha="center", va="center", transform=axes.transAxes)
        return figure
    _draw_parts(axes, shown)
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=6, frameon=False)
    unknown = [
        remark
        for name, remark in (
            ("lost_contact_yd", "* ball speed not\nknown: contact can't be separated"),
            ("lost_spin_yd", "+ spin guessed:\nit can't be separated"),
        )
        if shown[name].null_count()
    ]
    axes.set_ylabel(f"Golfer, club speed ({'; '.join(unknown)})" if unknown else "Golfer, club speed")
    return figure


def _draw_efficient_curve(axes: Axes, chart: Chart) -> None:
    speed, carry = chart.speeds_mph, chart.efficient_carry_yd
    lo, hi = chart.efficient_lo90_yd, chart.efficient_hi90_yd
    if np.isfinite(lo + hi).any():
        axes.fill_between(
            speed, lo, hi, color=LIGHT.faint, linewidth=0, label="efficient carry, 90 % interval", zorder=1
        )
    if np.isfinite(carry).any():
        axes.plot(speed, carry, color=CURVE_COLOUR, linewidth=2, label="efficient carry", zorder=2)


def _draw_percentiles(axes: Axes, bands: pl.DataFrame, colours: dict[float, tuple[float, float, float]]) -> None:
    shown = bands.drop_nulls("carry_p50_yd")
    if shown.is_empty():
        return
    names = ("band_mph", "carry_p25_yd", "carry_p50_yd", "carry_p75_yd", "carry_p90_yd")
    centre, p25, p50, p75, p90 = (shown[name].cast(pl.Float64).to_numpy() for name in names)
    hues = [colours[mph] for mph in centre]
    # Colour stands for the band; the legend shows the shapes in grey.
    axes.vlines(centre, p25, p75, colors=hues, linewidth=13, alpha=0.45, zorder=3)
    axes.vlines(centre, p75, p90, colors=hues, linewidth=2.5, zorder=3)
    axes.scatter(centre, p50, marker="_", s=420, linewidths=3.5, c=hues, zorder=6)
    axes.scatter(centre, p90, marker="^", s=70, c=hues, edgecolors=LIGHT.paper, linewidths=0.8, zorder=6)
    grey = LIGHT.line
    axes.plot(
        [], [], color=grey, linewidth=11, alpha=0.45, solid_capstyle="butt", label="band's 25th to 75th percentile"
    )
    axes.plot([], [], color=grey, linewidth=3.5, solid_capstyle="butt", label="band's 50th percentile")
    if np.isfinite(p90).any():  # bands of few golfers have none
        axes.plot([], [], color=grey, marker="^", markersize=8, linewidth=2.5, label="band's 90th percentile")


def _draw_parts(axes: Axes, shown: pl.DataFrame) -> None:
    # Where no log has the spin axis there is no curve to explain.
    told = [name for name in PARTS if name != "lost_curve_yd" or shown[name].is_not_null().any()]
    parts = shown.select(pl.col(told).fill_null(0.0)).to_numpy()
    # Losses stack to the right of zero, gains to the left; each bar starts where those before it end.
    right, left = np.clip(parts, 0, None), np.clip(parts, None, 0)
    start = np.where(parts >= 0, np.cumsum(right, axis=1) - right, np.cumsum(left, axis=1) - left)
    rows = np.arange(shown.height)
    for column, (label, colour, hatch) in enumerate(PART_LOOKS[name] for name in told):
        axes.barh(
            rows, parts[:, column], left=start[:, column], height=0.72, color=colour, hatch=hatch,
            edgecolor=LIGHT.soft, linewidth=0.5, label=label, zorder=2,
        )  # fmt: skip
    lost, lo, hi = (shown[name].cast(pl.Float64).to_numpy() for name in ("lost_yd", "lost_lo90_yd", "lost_hi90_yd"))
    axes.hlines(rows, lo, hi, colors=CURVE_COLOUR, linewidth=1.6, zorder=3)
    axes.plot(
        lost, rows, "o", color=CURVE_COLOUR, markeredgecolor="white", markersize=7, zorder=4, label="yards lost, 90 %"
    )
    axes.axvline(0, color=CURVE_COLOUR, linewidth=1)
    names = shown.select(
        pl.format(
            "{}{}{}  {} mph",
            pl.col("golfer").str.head(SHORT_NAME),
            pl.when(pl.col("lost_contact_yd").is_null()).then(pl.lit("*")).otherwise(pl.lit("")),
            pl.when(pl.col("lost_spin_yd").is_null()).then(pl.lit("+")).otherwise(pl.lit("")),
            pl.Series(rounded(shown["club_speed_mph"].to_numpy())).cast(pl.Int64),
        )
    ).to_series()
    axes.set_yticks(rows, names.to_list())
    axes.set_ylim(shown.height - 0.4, -0.6)
    axes.grid(False, axis="y")
    axes.set_xlabel("Yards lost, compared with efficient carry at the golfer's own club speed, yd (left of 0: a gain)")
