"""The picture of a band: which launch and spin carry how far there, and where its golfers are.

It is zoomed to where drives are, and its shades cover the last yards below the best, so that what matters fills the
picture. It is drawn for light and for dark paper; its words are large enough for a phone's width.
"""

from dataclasses import dataclass
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl
from contourpy import contour_generator
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator, StrMethodFormatter
from matplotlib.transforms import Bbox

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import BandMap, Chart
from pipeline.report.figures.golfer_dots import draw_golfers, say, without_suppressed
from pipeline.report.figures.look import ON_REACH, house_style, new_figure
from pipeline.report.palette import LIGHT, MAP_REACH, Palette, map_shades
from pipeline.shown import IMPERIAL, Units, angle_text, shown_edges, spin_text
from pipeline.statistics.arrays import Array, Flags
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers

# A phone's 360 CSS pixels show these inches at 1:1, so that the words keep their size there.
WIDTH_IN, HEIGHT_IN = 4.9, 5.1
LINES = (5, 10, 15)  # yards or meters below the best: contours, each with its label
UNIT_WORDS = {"yd": "Yards", "m": "Meters"}
MARGIN = 0.07  # of the frame, about what is drawn: a golfer's mark is not cut
# Narrower than this a frame would show a difference nobody can practice as a distance: deg, rpm.
LEAST_FRAME = (6.0, 1200.0)


@dataclass(frozen=True)
class Frame:
    """What part of launch (deg) and spin (rpm) a picture shows."""

    launch_deg: tuple[float, float]
    spin_rpm: tuple[float, float]


def plot_band_map(
    golfers: dy.DataFrame[Golfers],
    bands: dy.DataFrame[BandTable],
    chart: Chart,
    speed_bands: SpeedBands,
    *,
    band_mph: float,
    min_golfers: int,
    scheme: Palette = LIGHT,
    units: Units = IMPERIAL,
) -> Figure:
    """Map how far expected carry falls short of the efficient one over launch and spin at a band's center.

    Parameters
    ----------
    golfers, bands : DataFrame
        All quarters; the chart's quarter is shown.
    chart : Chart
    speed_bands : SpeedBands
    band_mph : float
        Center of the band, mph.
    min_golfers : int
        Fewest golfers behind a published figure; the marks of a band with fewer are left out.
    scheme : Palette
        Light or dark paper.
    units : Units
        In which distances and speeds are written.

    Returns
    -------
    matplotlib.figure.Figure
        4.9 by 5.1 inches.
    """
    here = bands.filter(pl.col("quarter") == chart.quarter)
    of_quarter = golfers.filter(pl.col("quarter") == chart.quarter)
    near = of_quarter.filter(pl.Series(speed_bands.holds(band_mph, of_quarter["club_speed_mph"].to_numpy())))
    shown = without_suppressed(near, here, speed_bands).drop_nulls(["spin_rpm", "launch_deg"])
    found = chart.map_of(band_mph)
    with house_style(scheme):
        figure = new_figure(WIDTH_IN, HEIGHT_IN)
        axes = figure.subplots()
        has_map = found is not None and _has_map(found)
        frame = frame_of(found if has_map else None, shown)
        if found is not None and has_map and frame is not None:
            _draw_map(figure, axes, found, frame, scheme, units)
        draw_golfers(axes, shown, "spin_rpm", "launch_deg", scheme)
        if found is not None and has_map:
            _draw_window(axes, found, scheme)
            _draw_best(axes, found, scheme)
        if found is not None and has_map and frame is not None:
            _label_lines(axes, found, frame, shown, scheme, units)
        _set_axes(axes, frame)
        half = speed_bands.half_width_mph
        ends = f"{units.speed_figure(band_mph - half)} to {units.speed_text(band_mph + half)}"
        spaced = str(chart.quarter).replace("Q", " Q")
        finding = f"{units.speed_text(band_mph)}: {_finding(found if has_map else None)}"
        _add_titles(figure, axes, finding, f"Golfers of {ends}, {chart.study}, {spaced}", scheme)
        if axes.get_legend_handles_labels()[0]:
            figure.legend(loc="outside lower left", ncols=3, frameon=False, handletextpad=0.4, columnspacing=1.2)
        say(axes, _remarks(has_map, found, near.height - shown.height, min_golfers), scheme)
    return figure


def frame_of(band: BandMap | None, golfers: pl.DataFrame) -> Frame | None:
    """Give the smallest frame that holds what golfers reach, the window, the best point and every golfer shown.

    Parameters
    ----------
    band : BandMap or None
    golfers : DataFrame
        Columns `launch_deg` and `spin_rpm`.

    Returns
    -------
    Frame or None
        With a margin; None where there is nothing to hold.
    """
    launch, spin = golfers["launch_deg"].to_list(), golfers["spin_rpm"].to_list()
    if band is not None:
        launch += [band.best_launch_deg, *band.reach_launch_deg[band.reachable.any(axis=1)].tolist()]
        spin += [band.best_spin_rpm, *band.reach_spin_rpm[band.reachable.any(axis=0)].tolist()]
        edges = shown_edges(band.window)
        if edges:
            launch, spin = [*launch, *edges[0]], [*spin, *edges[1]]
    if not launch:
        return None
    return Frame(*(_widened(values, least) for values, least in zip((launch, spin), LEAST_FRAME, strict=True)))


def _widened(values: list[float], least: float) -> tuple[float, float]:
    middle, width = (min(values) + max(values)) / 2, max(max(values) - min(values), least)
    return middle - (0.5 + MARGIN) * width, middle + (0.5 + MARGIN) * width


def _has_map(band: BandMap) -> bool:
    """Tell whether the lookup answers on so much of the grid that contours can be drawn: two steps each way."""
    known = _known(band)
    return bool(known.any(axis=1).sum() > 1 and known.any(axis=0).sum() > 1)


def _known(band: BandMap) -> Flags:
    """Tell where on the grid the lookup answers."""
    places = np.stack(np.meshgrid(band.spin_rpm, band.launch_deg), axis=-1)
    return _outline(band).contains_points(places.reshape(-1, 2)).reshape(band.expected_carry_yd.shape)


def _draw_map(figure: Figure, axes: Axes, band: BandMap, frame: Frame, scheme: Palette, units: Units) -> None:
    """Shade how much less than the best a delivery gives, where the lookup answers."""
    launch, spin = band.launch_deg, band.spin_rpm
    less, known = _less_than_best(band, units), _known(band)
    # A clip path takes the place of the axes' own, so it must end at the frame itself (svg knows one alone).
    edge = PathPatch(_within(band, frame), facecolor="none", edgecolor="none")
    axes.add_patch(edge)
    levels = np.arange(MAP_REACH + 1.0)
    shades = LinearSegmentedColormap.from_list("yards", map_shades(scheme, MAP_REACH)[::-1], N=MAP_REACH)
    # Outside golfers' reach carry may exceed the best of it; such places have the best shade.
    filled = axes.contourf(spin, launch, np.maximum(less, 0.0), levels=levels, cmap=shades, extend="max", zorder=1)
    filled.set_clip_path(edge)
    inner = [line for line in LINES if less[known].min() < line < less[known].max()]
    if inner:
        lines = axes.contour(spin, launch, less, levels=inner, colors=scheme.soft, linewidths=0.9, zorder=2)
        lines.set_clip_path(edge)
    bar = figure.colorbar(filled, ax=axes, location="bottom", aspect=32, pad=0.02, ticks=[0, *LINES])
    best = units.distance_text(band.efficient_carry_yd)
    bar.set_label(f"{UNIT_WORDS[units.distance_unit]} less than the best, {best}", fontsize=10)
    bar.ax.invert_xaxis()
    _draw_reach(axes, band, scheme)


def _less_than_best(band: BandMap, units: Units) -> Array:
    return (band.efficient_carry_yd - band.expected_carry_yd) / units.yd_each


def _label_lines(axes: Axes, band: BandMap, frame: Frame, golfers: pl.DataFrame, scheme: Palette, units: Units) -> None:
    """Write on each contour how much less it stands for, where most room is on it."""
    size = np.array([frame.spin_rpm[1] - frame.spin_rpm[0], frame.launch_deg[1] - frame.launch_deg[0]])
    start = np.array([frame.spin_rpm[0], frame.launch_deg[0]])
    taken = [(band.best_spin_rpm, band.best_launch_deg), *golfers.select("spin_rpm", "launch_deg").iter_rows()]
    edges = shown_edges(band.window)
    taken += [(spin, launch) for spin in edges[1] for launch in edges[0]] if edges else []
    lines = contour_generator(band.spin_rpm, band.launch_deg, _less_than_best(band, units))
    answered = _outline(band)
    for line in LINES:
        points = np.concatenate([np.empty((0, 2)), *lines.lines(line)])
        place = (points - start) / size
        # A label's middle this far inside the frame keeps the label inside.
        kept = (np.abs(place - 0.5) < (0.5 - 0.13, 0.5 - 0.05)).all(axis=1) & answered.contains_points(points)
        if not kept.any():
            continue
        apart = np.linalg.norm(place[kept][:, None] - (np.array(taken) - start) / size, axis=2).min(axis=1)
        at = points[kept][apart.argmax()]
        taken.append(tuple(at))
        look: dict[str, Any] = {"fontsize": 9.5, "ha": "center", "va": "center", "zorder": 3}
        rim = [withStroke(linewidth=4, foreground=scheme.paper)]
        axes.text(at[0], at[1], f"{line} {units.distance_unit} less", path_effects=rim, **look)


def _outline(band: BandMap) -> Path:
    """Outline where the lookup answers."""
    return Path.make_compound_path(*_rings(band))


def _rings(band: BandMap) -> list[Path]:
    return [Path(np.concatenate([one, one[:1]])[:, ::-1], closed=False) for one in band.answered]


def _within(band: BandMap, frame: Frame) -> Path:
    """Outline where the lookup answers inside the frame, ring by ring: matplotlib cuts several at a time wrong."""
    (left, right), (low, high) = frame.spin_rpm, frame.launch_deg
    box = Bbox.from_extents(left, low, right, high)
    return Path.make_compound_path(*(ring.clip_to_bbox(box) for ring in _rings(band)))


def _draw_reach(axes: Axes, band: BandMap, scheme: Palette) -> None:
    """Outline the deliveries that golfers of the speed reach."""
    if band.reachable.any() and not band.reachable.all():
        # Without points beyond the grid a reach that ends with it would stay open.
        share = np.pad(band.reachable.astype(float), 1)
        launch, spin = (_one_beyond(grid) for grid in (band.reach_launch_deg, band.reach_spin_rpm))
        look: dict[str, Any] = {"colors": scheme.ink, "linestyles": "--", "linewidths": 1.1, "zorder": 3}
        axes.contour(spin, launch, share, levels=[ON_REACH], **look)
        axes.plot([], [], color=scheme.ink, linestyle="--", linewidth=1.1, label="golfers' reach")


def _one_beyond(grid: Array) -> Array:
    return np.concatenate([[2 * grid[0] - grid[1]], grid, [2 * grid[-1] - grid[-2]]])


def _draw_window(axes: Axes, band: BandMap, scheme: Palette) -> None:
    edges = shown_edges(band.window)
    if edges is None:
        return
    launch, spin = edges
    width, height, corner = spin[1] - spin[0], launch[1] - launch[0], (spin[0], launch[0])
    look: dict[str, Any] = {"edgecolor": scheme.ink, "linewidth": 2.2, "zorder": 4}
    axes.add_patch(Rectangle(corner, width, height, fill=False, label="window", **look))


def _draw_best(axes: Axes, band: BandMap, scheme: Palette) -> None:
    """Mark the delivery that gives efficient carry, and name it beside the mark."""
    look: dict[str, Any] = {"marker": "P", "s": 130, "facecolor": scheme.ink, "edgecolor": scheme.paper, "zorder": 7}
    axes.scatter([band.best_spin_rpm], [band.best_launch_deg], **look)
    axes.annotate(
        "best", (band.best_spin_rpm, band.best_launch_deg), xytext=(9, 0), textcoords="offset points", va="center",
        fontweight="bold", fontsize=11, zorder=8, path_effects=[withStroke(linewidth=3, foreground=scheme.paper)],
    )  # fmt: skip


def _set_axes(axes: Axes, frame: Frame | None) -> None:
    axes.set(xlabel="Backspin, rpm", ylabel="Launch angle, deg")
    axes.grid(False)
    if frame is None:
        axes.set(xticks=[], yticks=[])  # empty axes would run from 0 to 1 and mean nothing
        return
    axes.set(xlim=frame.spin_rpm, ylim=frame.launch_deg)
    axes.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
    axes.yaxis.set_major_formatter(StrMethodFormatter("{x:g}"))


def _finding(band: BandMap | None) -> str:
    if band is None:
        return "too few drives to map"
    return f"farthest at {angle_text(band.best_launch_deg)}, {spin_text(band.best_spin_rpm)}"


def _add_titles(figure: Figure, axes: Axes, finding: str, topic: str, scheme: Palette) -> None:
    figure.suptitle(finding, x=0.01, ha="left", fontsize=12, fontweight="bold", parse_math=False)
    axes.set_title(topic, fontsize=9.5, color=scheme.soft, parse_math=False)


def _remarks(has_map: bool, band: BandMap | None, hidden: int, min_golfers: int) -> str:
    remarks = []
    if not has_map:
        remarks.append("Too few drives at this speed for a map.")
    elif band is None or shown_edges(band.window) is None:
        remarks.append("No window at this speed.")
    if hidden:
        remarks.append(f"Golfers not drawn: fewer than {min_golfers}, or spin unknown.")
    return "\n".join(remarks)
