"""Where one golfer's drives come down, drawn on the scale of the hole: target line up, corridor, mean and ellipse."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse

from pipeline.report.figures.look import house_style, new_figure
from pipeline.report.palette import LIGHT, Palette
from pipeline.shown import IMPERIAL, Units, percent_text
from pipeline.statistics.arrays import Array

# Of normal drives the ellipse holds this share: its axes are the root of chi-square on two degrees of freedom.
HELD_SHARE = 0.90
REACH = float(np.sqrt(-2 * np.log(1 - HELD_SHARE)))

ROOM = 1.15  # of what is drawn, so that nothing touches the frame
WIDTH_IN, BESIDE_IN, BELOW_IN = 5.0, 0.9, 2.2  # a figure's width, and what labels take of it
LEAST_TALL = 0.5  # of the width, so that a flat ellipse still lies on a hole


@dataclass(frozen=True)
class _Shape:
    """The ellipse in shown units; vectors are (across, along).

    Attributes
    ----------
    center : ndarray, shape (2,)
    arms : ndarray, shape (2, 2)
        From the center to the ends of the long and of the short axis.
    tilt_deg : float
    """

    center: Array
    arms: Array
    tilt_deg: float

    @classmethod
    def of(cls, row: Mapping[str, Any], units: Units) -> "_Shape":
        tilt_deg = row["axis_tilt_deg"] or 0.0
        turned = np.radians(tilt_deg)
        ways = np.array([[np.sin(turned), np.cos(turned)], [np.cos(turned), -np.sin(turned)]])
        lengths = REACH * np.array([row["long_axis_yd"], row["short_axis_yd"]]) / units.yd_each
        center = np.array([row["offline_mean_yd"], row["carry_yd"]]) / units.yd_each
        return cls(center, ways * lengths[:, None], tilt_deg)


def plot_landing(row: Mapping[str, Any], scheme: Palette = LIGHT, units: Units = IMPERIAL) -> Figure:
    """Draw a golfer's landing ellipse.

    Parameters
    ----------
    row : mapping
        An assessed row of the table `Straightness`.
    scheme : Palette
    units : Units

    Returns
    -------
    matplotlib.figure.Figure
        5 inches wide, as high as it takes; one yard is as long across as along.

    Raises
    ------
    ValueError
        If the row has no ellipse.
    """
    if row["offline_mean_yd"] is None or row["long_axis_yd"] is None:
        raise ValueError("the golfer's quarter has no landing ellipse")
    shape = _Shape.of(row, units)
    wide, tall = _reach(shape, row["corridor_yd"] / 2 / units.yd_each)
    with house_style(scheme):
        figure = new_figure(WIDTH_IN, (WIDTH_IN - BESIDE_IN) * tall / wide + BELOW_IN)
        axes = figure.subplots()
        _draw_hole(axes, row, scheme, units)
        _draw_ellipse(axes, shape, scheme)
        _draw_mean(axes, row, shape, scheme, units)
        _frame(axes, shape, wide, tall, units)
        figure.legend(loc="outside lower left", frameon=False)
    return figure


def _draw_hole(axes: Axes, row: Mapping[str, Any], scheme: Palette, units: Units) -> None:
    half = row["corridor_yd"] / 2 / units.yd_each
    share = f"{percent_text(row['in_corridor_share'])} of drives in {units.typed_distance_text(row['corridor_yd'])}"
    axes.axvspan(-half, half, color=scheme.good_pale, alpha=0.6, linewidth=0, zorder=0, label=share)
    axes.axvline(0, color=scheme.line, linestyle=(0, (6, 4)), linewidth=1.2, zorder=1, label="target line")


def _draw_ellipse(axes: Axes, shape: _Shape, scheme: Palette) -> None:
    long, short = 2 * np.linalg.norm(shape.arms, axis=1)
    # matplotlib turns from right to left, the tilt goes from the target line to the right.
    drawn = Ellipse((shape.center[0], shape.center[1]), long, short, angle=90 - shape.tilt_deg)
    drawn.set(facecolor="none", edgecolor=scheme.good_mark, linewidth=2, zorder=3, label="about 9 in 10 drives")
    axes.add_patch(drawn)
    for arm, name in zip(shape.arms, ("_long axis", "_short axis"), strict=True):
        ends = np.array([shape.center - arm, shape.center + arm])
        axes.plot(ends[:, 0], ends[:, 1], color=scheme.good_mark, linewidth=1, zorder=3, label=name)


def _draw_mean(axes: Axes, row: Mapping[str, Any], shape: _Shape, scheme: Palette, units: Units) -> None:
    across, along = shape.center
    label = f"mean: {_side(row['offline_mean_yd'], units)}"
    if row["offline_mean_lo90_yd"] is not None:
        ends = [row[f"offline_mean_{end}90_yd"] / units.yd_each for end in ("lo", "hi")]
        axes.plot(ends, [along, along], color=scheme.ink, linewidth=5, alpha=0.35, zorder=2, label="_interval")
        label += ", with 90 % interval"
    [cross] = axes.plot([across], [along], color=scheme.ink, zorder=4, label=label, linestyle="none")
    cross.set(marker="+", markersize=13, markeredgewidth=2.2)


def _side(offline_yd: float, units: Units) -> str:
    """Say how far right or left of the target line."""
    if not units.distance_whole(abs(offline_yd)):
        return "on the line"
    return f"{units.distance_text(abs(offline_yd))} {'right' if offline_yd > 0 else 'left'}"


def _reach(shape: _Shape, half_corridor: float) -> tuple[float, float]:
    """Give how far the picture goes to either side of the target line and of the mean carry."""
    across, along = np.linalg.norm(shape.arms, axis=0)
    wide = ROOM * max(float(across) + abs(float(shape.center[0])), half_corridor)
    tall = max(ROOM * float(along), LEAST_TALL * wide)
    return max(wide, tall), tall  # no higher than wide, to fit on a sheet


def _frame(axes: Axes, shape: _Shape, wide: float, tall: float, units: Units) -> None:
    axes.set(xlim=(-wide, wide), ylim=(shape.center[1] - tall, shape.center[1] + tall), aspect="equal")
    unit = units.distance_unit
    axes.set(xlabel=f"left and right of the target, {unit}", ylabel=f"carry, {unit}")
    axes.set_title("Where the drives come down")
