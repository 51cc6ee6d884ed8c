"""The figures: carry against club speed, a launch and spin map per band, and the parts of the yards lost.

Each function takes frames and the chart's curves and returns a matplotlib figure; none touches a file or pyplot.
"""

from typing import Any

import dataframely as dy
import numpy as np
import polars as pl
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.ticker import StrMethodFormatter
from numpy.lib.stride_tricks import sliding_window_view

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import BandMap, Chart
from pipeline.benchmark.window import Window
from pipeline.golfers.order import flagged_of
from pipeline.report.figures.look import (
    CURVE_COLOUR,
    FLAG_COLOUR,
    ON_REACH,
    PART_LOOKS,
    PLAIN_COLOUR,
    band_colours,
    house_style,
    new_figure,
)
from pipeline.shown import angle_text, number_text, rounded, shown_edges, spin_text, window_text
from pipeline.statistics.arrays import Array
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import PARTS, Golfers

MOST_POINTS = 2000  # golfers in one figure; more are one blot
MOST_BARS = 25  # more bars than this can't be read on one printed page
MOST_LEVELS = 10  # contours of a map; more would crowd the labels
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
    shown = _without_suppressed(golfers.filter(pl.col("quarter") == chart.quarter), here, speed_bands)
    figure = new_figure(10, 7)
    axes = figure.subplots()
    _draw_efficient_curve(axes, chart)
    _draw_percentiles(axes, here, band_colours(speed_bands.centres_mph))
    _draw_golfers(axes, shown, "club_speed_mph", "carry_yd", PLAIN_COLOUR)
    axes.set(xlabel="Club speed, mph", ylabel="Carry at standard conditions, yd")
    axes.set_title(f"How far drives carry at each club speed: {chart.study}, {chart.quarter}", parse_math=False)
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, frameon=False)
    if here["suppressed"].any():
        _say(axes, f"Golfers of bands with fewer than {min_golfers} golfers are not drawn.")
    return figure


@house_style()
def plot_delivery(
    golfers: dy.DataFrame[Golfers],
    bands: dy.DataFrame[BandTable],
    chart: Chart,
    speed_bands: SpeedBands,
    *,
    band_mph: float,
    tolerance_yd: float,
    min_golfers: int,
) -> Figure:
    """Map expected carry over launch and spin at a band's centre, with golfers' deliveries and the window.

    Parameters
    ----------
    golfers, bands : DataFrame
        All quarters; the chart's quarter is shown.
    chart : Chart
    band_mph : float
        Centre of the band, mph.
    speed_bands : SpeedBands
        The study's; they settle the colours.
    tolerance_yd : float
        How far below the efficient carry the window reaches, yd.
    min_golfers : int
        Golfers that a published figure rests on at least; the points of a band with fewer are left out.

    Returns
    -------
    matplotlib.figure.Figure
        8 by 7 inches.
    """
    here = bands.filter(pl.col("quarter") == chart.quarter)
    of_quarter = golfers.filter(pl.col("quarter") == chart.quarter)
    near = of_quarter.filter(pl.Series(speed_bands.holds(band_mph, of_quarter["club_speed_mph"].to_numpy())))
    shown = _without_suppressed(near, here, speed_bands)
    found = chart.map_of(band_mph)
    colour = band_colours(speed_bands.centres_mph)[band_mph]
    figure = new_figure(8, 7)
    axes = figure.subplots()
    has_map = found is not None and _draw_map(figure, axes, found)
    _draw_golfers(axes, shown, "spin_rpm", "launch_deg", colour)
    window = found.window if found else None
    if window is not None:
        _draw_window(axes, window, colour, tolerance_yd)
    if found is not None and has_map:
        _draw_best(axes, found)
    axes.set(xlabel="Backspin, rpm", ylabel="Launch angle, deg")
    axes.xaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
    axes.set_title(_delivery_title(band_mph, speed_bands.half_width_mph, chart, found), parse_math=False)
    if not axes.has_data():
        axes.set(xticks=[], yticks=[])  # empty axes would run from 0 to 1 and mean nothing
    if axes.get_legend_handles_labels()[0]:
        # The map's edge would stick to the frame, and the frame cut points that lie on it.
        axes.use_sticky_edges = False
        axes.margins(0.05)
        figure.legend(loc="outside lower center", ncols=2, frameon=False)
    _say(axes, _delivery_remarks(has_map, window, near.height - shown.height, min_golfers))
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


def _without_suppressed(golfers: pl.DataFrame, bands: pl.DataFrame, speed_bands: SpeedBands) -> pl.DataFrame:
    speed, hidden = golfers["club_speed_mph"].to_numpy(), np.zeros(golfers.height, dtype=bool)
    for centre in bands.filter("suppressed")["band_mph"]:
        hidden |= speed_bands.holds(centre, speed)
    return golfers.filter(pl.Series(~hidden))


def _draw_efficient_curve(axes: Axes, chart: Chart) -> None:
    speed, carry = chart.speeds_mph, chart.efficient_carry_yd
    lo, hi = chart.efficient_lo90_yd, chart.efficient_hi90_yd
    if np.isfinite(lo + hi).any():
        axes.fill_between(speed, lo, hi, color="0.8", linewidth=0, label="efficient carry, 90 % interval", zorder=1)
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
    axes.scatter(centre, p90, marker="^", s=70, c=hues, edgecolors="white", linewidths=0.8, zorder=6)
    grey = "0.4"
    axes.plot(
        [], [], color=grey, linewidth=11, alpha=0.45, solid_capstyle="butt", label="band's 25th to 75th percentile"
    )
    axes.plot([], [], color=grey, linewidth=3.5, solid_capstyle="butt", label="band's 50th percentile")
    if np.isfinite(p90).any():  # bands of few golfers have none
        axes.plot([], [], color=grey, marker="^", markersize=8, linewidth=2.5, label="band's 90th percentile")


def _draw_golfers(axes: Axes, golfers: pl.DataFrame, x: str, y: str, colour: tuple[float, float, float]) -> None:
    """Draw golfers as points: dots for the clear, rings for those not assessed, diamonds for the flagged."""
    looks: tuple[tuple[str, str, dict[str, Any]], ...] = (
        ("not_assessed", "golfer, not assessed", {"marker": "o", "facecolor": "white", "edgecolor": colour, "s": 40}),
        ("clear", "golfer, not flagged", {"marker": "o", "facecolor": colour, "edgecolor": "white", "s": 46}),
        ("flagged", "golfer, flagged", {"marker": "D", "facecolor": FLAG_COLOUR, "edgecolor": "black", "s": 56}),
    )
    # Golfers stand in the order of a digest, so that every so many are drawn at random.
    golfers = golfers.drop_nulls([x, y])  # a guessed spin has no place
    drawn = golfers.gather_every(max(-(-golfers.height // MOST_POINTS), 1))
    for status, label, look in looks:
        some = drawn.filter(pl.col("status") == status)
        if some.height:
            sns.scatterplot(
                x=some[x].to_numpy(), y=some[y].to_numpy(), ax=axes, label=label, legend=False, zorder=5, **look
            )


def _draw_map(figure: Figure, axes: Axes, band: BandMap) -> bool:
    """Draw contours of expected carry where the lookup answers; tell whether there was anything to draw."""
    launch, spin, carry = band.launch_deg, band.spin_rpm, band.expected_carry_yd
    outlines = [Path(one[:, ::-1], closed=False) for one in map(_ring, band.answered)]
    edge = PathPatch(Path.make_compound_path(*outlines), facecolor="none", edgecolor="none")
    inside = edge.get_path().contains_points(np.stack(np.meshgrid(spin, launch), axis=-1).reshape(-1, 2))
    known = np.where(inside.reshape(carry.shape), carry, np.nan)
    # Contours need two steps of the grid each way.
    if not (np.isfinite(known).any(axis=1).sum() > 1 and np.isfinite(known).any(axis=0).sum() > 1):
        return False
    axes.add_patch(edge)
    low, high = float(np.nanmin(known)), float(np.nanmax(known))
    step = next((yards for yards in (1, 2, 5, 10) if high - low <= MOST_LEVELS * yards), 20)
    # Carry goes on a little from the last points inside to the edge, no farther than to the points next to them.
    least, most = float(np.nanmin(_reaching(known, carry))), float(np.nanmax(_reaching(known, carry)))
    levels = step * np.arange(np.floor(least / step), np.ceil(most / step) + 1.5)
    # Greys from white to middle grey: the points and the window keep their contrast on every level.
    greys = sns.light_palette("0.62", as_cmap=True)
    filled = axes.contourf(spin, launch, carry, levels=levels, cmap=greys, zorder=1)
    filled.set_clip_path(edge)
    inner = levels[(levels > low) & (levels < high)]
    if inner.size:
        lines = axes.contour(spin, launch, carry, levels=inner, colors="0.3", linewidths=0.8, zorder=2)
        lines.set_clip_path(edge)
        for text in axes.clabel(lines, fmt=number_text, fontsize=9):
            text.set_visible(bool(edge.get_path().contains_point(text.get_position())))
    _draw_reach(axes, band)
    figure.colorbar(filled, ax=axes, label="Expected carry at standard conditions, yd", pad=0.02)
    return True


def _ring(outline: Array) -> Array:
    return np.concatenate([outline, outline[:1]])


def _reaching(known: Array, carry: Array) -> Array:
    """Give carry at the points of a grid that are known or next to such a point, NaN at others."""
    near = np.pad(np.isfinite(known), 1)
    held = sliding_window_view(near, (3, 3)).any(axis=(2, 3))
    return np.where(held, carry, np.nan)


def _draw_reach(axes: Axes, band: BandMap) -> None:
    """Outline the deliveries that golfers of the speed reach."""
    if band.reachable.any() and not band.reachable.all():
        share = band.reachable.astype(float)
        look: dict[str, Any] = {"colors": "0.15", "linestyles": "--", "linewidths": 1.4, "zorder": 3}
        axes.contour(band.reach_spin_rpm, band.reach_launch_deg, share, levels=[ON_REACH], **look)
        axes.plot([], [], color="0.15", linestyle="--", linewidth=1.4, label="deliveries within golfers' reach")


def _draw_best(axes: Axes, band: BandMap) -> None:
    """Mark the delivery that gives efficient carry."""
    label = f"best: {angle_text(band.best_launch_deg)}, {spin_text(band.best_spin_rpm)}"
    look: dict[str, Any] = {"marker": "P", "s": 110, "facecolor": "black", "edgecolor": "white", "zorder": 7}
    axes.scatter([band.best_spin_rpm], [band.best_launch_deg], label=label, **look)


def _draw_window(axes: Axes, window: Window, colour: tuple[float, float, float], tolerance_yd: float) -> None:
    edges = shown_edges(window)
    if edges is None:
        return
    launch, spin = edges
    width, height, corner = spin[1] - spin[0], launch[1] - launch[0], (spin[0], launch[0])
    label = f"window (within {tolerance_yd:g} yd): {window_text(window)}"
    axes.add_patch(Rectangle(corner, width, height, fill=False, edgecolor=colour, linewidth=3, zorder=4, label=label))


def _delivery_title(band_mph: float, half_width_mph: float, chart: Chart, band: BandMap | None) -> str:
    first = f"Launch and spin at {band_mph:g} mph (golfers of {band_mph - half_width_mph:g} to "
    first += f"{band_mph + half_width_mph:g} mph)"
    carry = band.efficient_carry_yd if band else None
    end = "" if carry is None else f"; efficient carry {number_text(carry)} yd"
    return f"{first}\n{chart.study}, {chart.quarter}{end}"


def _delivery_remarks(has_map: bool, window: Window | None, hidden: int, min_golfers: int) -> str:
    remarks = []
    if not has_map:
        remarks.append("Too few deliveries at this speed for a map of expected carry.")
    elif window is None:
        remarks.append("Window: none at this speed.")
    if hidden:
        remarks.append(f"Golfers are not drawn: a band here has fewer than {min_golfers}.")
    return "\n".join(remarks)


def _draw_parts(axes: Axes, shown: pl.DataFrame) -> None:
    parts = shown.select(pl.col(*PARTS).fill_null(0.0)).to_numpy()
    # Losses stack to the right of zero, gains to the left; each bar starts where those before it end.
    right, left = np.clip(parts, 0, None), np.clip(parts, None, 0)
    start = np.where(parts >= 0, np.cumsum(right, axis=1) - right, np.cumsum(left, axis=1) - left)
    rows = np.arange(shown.height)
    for column, (label, colour, hatch) in enumerate(PART_LOOKS[name] for name in PARTS):
        axes.barh(
            rows, parts[:, column], left=start[:, column], height=0.72, color=colour, hatch=hatch,
            edgecolor="0.25", linewidth=0.5, label=label, zorder=2,
        )  # fmt: skip
    lost, lo, hi = (shown[name].cast(pl.Float64).to_numpy() for name in ("lost_yd", "lost_lo90_yd", "lost_hi90_yd"))
    axes.hlines(rows, lo, hi, colors="black", linewidth=1.6, zorder=3)
    axes.plot(lost, rows, "o", color="black", markeredgecolor="white", markersize=7, zorder=4, label="yards lost, 90 %")
    axes.axvline(0, color="black", linewidth=1)
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


def _say(axes: Axes, remark: str) -> None:
    """Write a remark into the upper left corner of the axes, on white so that it can be read over anything."""
    if remark:
        box = {"facecolor": "white", "edgecolor": "0.6", "alpha": 0.9, "boxstyle": "round"}
        axes.text(0.02, 0.98, remark, transform=axes.transAxes, ha="left", va="top", fontsize=9.5, bbox=box, zorder=8)
