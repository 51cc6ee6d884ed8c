"""Figures of the researcher's diagnostics; each function takes frames and returns a matplotlib figure."""

import re
from collections.abc import Mapping, Sequence

import dataframely as dy
import matplotlib as mpl
import numpy as np
import numpy.typing as npt
import polars as pl
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.report.diagnostics.diagnostics import KNOWN
from pipeline.report.figures.look import CURVE_COLOUR, FLAG_COLOUR, PLAIN_COLOUR, band_colours, house_style, new_figure
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import Z90
from pipeline.tables.figures import Scores

LONGEST_LABEL = 22
AXIS_NAMES = {
    "club_speed_mph": "Club speed, mph",
    "ball_speed_mph": "Ball speed, mph",
    "launch_deg": "Launch, deg",
    "spin_rpm": "Backspin, rpm",
}


def plain_label(text: str, longest: int = LONGEST_LABEL) -> str:
    """Make text from a log fit to stand in a figure: short, plain letters, never markup."""
    plain = re.sub(r"[^A-Za-z0-9 ._+/()%'-]", "?", text)
    return plain if len(plain) <= longest else f"{plain[: longest - 2]}.."


@house_style()
def plot_residuals(residuals: pl.DataFrame, along: Mapping[str, pl.DataFrame]) -> Figure:
    """Plot residuals against each input: density of drives, bin means, and where 9 in 10 drives lie.

    Parameters
    ----------
    residuals : DataFrame
        From `pipeline.report.diagnostics.diagnostics.held_out_residuals`.
    along : mapping of str to DataFrame
        From `residuals_along`, by input.

    Returns
    -------
    matplotlib.figure.Figure
        Axes reach over the middle 99 % of the residuals and the middle 99.8 % of the input.
    """
    rows = (len(along) + 1) // 2
    figure = new_figure(10, 3.6 * rows)
    panels = np.ravel(figure.subplots(rows, 2, sharey=True, squeeze=False))
    low, high = np.quantile(residuals["residual_yd"].to_numpy(), [0.005, 0.995])
    shown = residuals.filter(pl.col("residual_yd").is_between(low, high))
    for axes, (name, bins) in zip(panels, along.items(), strict=False):
        known = shown.filter(pl.col(name).is_not_null())
        ends = np.quantile(known[name].to_numpy(), [0.001, 0.999])
        known = known.filter(pl.col(name).is_between(*ends))
        x, y = known[name].to_numpy(), known["residual_yd"].to_numpy()
        sns.histplot(x=x, y=y, bins=50, cmap="Greys", vmin=0, ax=axes)
        axes.grid(False)
        mean, middle = bins["mean"].to_numpy(), bins["middle"].to_numpy()
        reach = Z90 * bins["std_error"].fill_null(0.0).to_numpy()
        axes.axhline(0, color=CURVE_COLOUR, linewidth=1)
        axes.plot(middle, bins["lo"].to_numpy(), color=CURVE_COLOUR, linestyle=":", linewidth=1.4)
        axes.plot(middle, bins["hi"].to_numpy(), color=CURVE_COLOUR, linestyle=":", linewidth=1.4,
                  label="9 in 10 drives")  # fmt: skip
        axes.fill_between(middle, mean - reach, mean + reach, color=FLAG_COLOUR, alpha=0.3, linewidth=0)
        axes.plot(middle, mean, color=FLAG_COLOUR, linewidth=2, label="mean, 90 % interval")
        axes.set(xlabel=AXIS_NAMES[name], ylabel="Residual, yd", ylim=(low, high))
    for spare in panels[len(along) :]:
        spare.set_visible(False)
    _legend_below(figure, panels[0])
    return figure


@house_style()
def plot_levels(tables: Mapping[str, pl.DataFrame]) -> Figure:
    """Plot the mean residual of each level of device, ball and quarter with its 90 % interval.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        From `residuals_by_level`, by the name of the column.
    """
    most = max([table.height for table in tables.values()], default=1)
    figure = new_figure(10, 1.6 + 0.34 * max(most, 2))
    panels = np.ravel(figure.subplots(1, len(tables), sharex=True, squeeze=False))
    for axes, (name, table) in zip(panels, tables.items(), strict=True):
        rows = np.arange(table.height)
        _dots(axes, table["mean"].to_numpy(), table["std_error"].to_numpy(), rows)
        axes.set_yticks(rows, [plain_label(level) for level in table["level"]])
        axes.set(ylim=(most - 0.4, -0.6), xlabel="Mean residual, yd", ylabel=name.capitalize())
        axes.axvline(0, color=CURVE_COLOUR, linewidth=1)
        axes.grid(False, axis="y")
    return figure


@house_style()
def plot_calibration(table: pl.DataFrame) -> Figure:
    """Plot the share of drives inside the interval against its level, less the level, in percentage points.

    Parameters
    ----------
    table : DataFrame
        From `pipeline.report.diagnostics.diagnostics.calibration`.
    """
    figure = new_figure(10, 4)
    axes = figure.subplots()
    looks = zip(KNOWN.values(), (FLAG_COLOUR, PLAIN_COLOUR), ("o", "s"), (-0.4, 0.4), strict=True)
    for known, colour, marker, aside in looks:
        rows = table.filter(pl.col("known") == known)
        gap = 100 * (rows["inside"] - rows["level"]).to_numpy()
        reach = 100 * Z90 * rows["std_error"].fill_null(0.0).to_numpy()
        axes.errorbar(100 * rows["level"].to_numpy() + aside, gap, yerr=reach, color=colour, marker=marker,
                      capsize=3, linewidth=1.4, label=known)  # fmt: skip
    axes.axhline(0, color=CURVE_COLOUR, linewidth=1)
    axes.set(xlabel="Level of the interval, %", ylabel="Drives inside, less the level,\npercentage points")
    axes.set_xticks([100 * level for level in sorted(set(table["level"]))])
    axes.tick_params(axis="x", labelrotation=45)
    _legend_below(figure, axes)
    return figure


@house_style()
def plot_coverage(table: pl.DataFrame, centres_mph: Sequence[float]) -> Figure:
    """Plot the share of drives inside the 90 % interval by band.

    Parameters
    ----------
    table : DataFrame
        From `pipeline.report.diagnostics.diagnostics.coverage_by_band`.
    centres_mph : sequence of float
        Centres of all bands, mph: they settle the colours.
    """
    figure = new_figure(10, 1.6 + 0.36 * max(table.height, 2))
    axes = figure.subplots()
    rows = np.arange(table.height)
    colours = band_colours(centres_mph)
    reach = 100 * Z90 * table["std_error"].fill_null(0.0).to_numpy()
    share = 100 * table["mean"].to_numpy()
    axes.hlines(rows, share - reach, share + reach, colors="black", linewidth=1.6)
    axes.scatter(share, rows, c=[colours[band] for band in table["band_mph"]], edgecolor="black", s=60, zorder=3)
    axes.axvline(90, color=CURVE_COLOUR, linewidth=1, linestyle="--")
    axes.set_yticks(rows, [f"{band:g} mph" for band in table["band_mph"]])
    axes.set(ylim=(table.height - 0.4, -0.6), xlabel="Drives inside the 90 % interval, %", ylabel="Band")
    axes.grid(False, axis="y")
    return figure


@house_style()
def plot_influence(moves: pl.DataFrame, centres_mph: Sequence[float]) -> Figure:
    """Plot how far expected carry at each band's efficient delivery moves without each golfer in turn.

    Parameters
    ----------
    moves : DataFrame
        From `pipeline.report.diagnostics.diagnostics.influence`.
    centres_mph : sequence of float
        Centres of all bands, mph: they settle the colours.
    """
    bands = sorted(set(moves["band_mph"]))
    figure = new_figure(10, 1.6 + 0.5 * max(len(bands), 2))
    axes = figure.subplots()
    colours = band_colours(centres_mph)
    boxes = axes.boxplot(
        [moves.filter(pl.col("band_mph") == band)["move_yd"].to_numpy() for band in bands],
        positions=range(len(bands)),
        orientation="horizontal",
        whis=(5, 95),
        widths=0.6,
        patch_artist=True,
        medianprops={"color": "black"},
        flierprops={"marker": "o", "markersize": 3.5, "markerfacecolor": "0.4", "markeredgewidth": 0},
    )
    for box, band in zip(boxes["boxes"], bands, strict=True):
        box.set_facecolor(colours[band])
    axes.set_yticks(range(len(bands)), [f"{band:g} mph" for band in bands])
    axes.axvline(0, color=CURVE_COLOUR, linewidth=1)
    axes.set(ylim=(len(bands) - 0.4, -0.6), xlabel="Move of expected carry without one golfer, yd", ylabel="Band")
    axes.grid(False, axis="y")
    return figure


@house_style()
def plot_contest(scores: dy.DataFrame[Scores]) -> Figure:
    """Plot the candidates' error on golfers held out with its standard error, and the limit of the choice.

    Parameters
    ----------
    scores : DataFrame
        The candidates' scores; the limit is one standard error above the best.
    """
    figure = new_figure(10, 1.6 + 0.4 * max(scores.height, 2))
    axes = figure.subplots()
    rows = np.arange(scores.height)
    error, spread = scores["rmse_yd"].to_numpy(), scores["rmse_std_error_yd"].to_numpy()
    best = int(np.argmin(error))
    axes.hlines(rows, error - spread, error + spread, colors="black", linewidth=1.6)
    colours = [FLAG_COLOUR if chosen else PLAIN_COLOUR for chosen in scores["chosen"]]
    axes.scatter(error, rows, c=colours, s=60, zorder=3, edgecolor="black")
    axes.axvline(error[best] + spread[best], color=CURVE_COLOUR, linewidth=1, linestyle="--")
    names = [
        f"{plain_label(name)}{' (chosen)' if chosen else ''}"
        for name, chosen in zip(scores["model"], scores["chosen"], strict=True)
    ]
    axes.set_yticks(rows, names)
    # On a logarithmic axis the close candidates stay apart beside a far one.
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(mpl.ticker.LogLocator(subs=(1, 2, 3, 5)))
    axes.xaxis.set_major_formatter(mpl.ticker.FormatStrFormatter("%g"))
    axes.xaxis.set_minor_formatter(mpl.ticker.NullFormatter())
    axes.set(ylim=(scores.height - 0.4, -0.6), xlabel="RMS error of a drive, golfers held out, yd")
    axes.grid(False, axis="y")
    return figure


def _dots(axes: Axes, mean: Array, std_error: Array, rows: npt.NDArray[np.int64]) -> None:
    reach = Z90 * np.nan_to_num(std_error.astype(float))
    axes.hlines(rows, mean - reach, mean + reach, colors="black", linewidth=1.6)
    axes.scatter(mean, rows, color=FLAG_COLOUR, edgecolor="black", s=50, zorder=3)


def _legend_below(figure: Figure, axes: Axes) -> None:
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=2, frameon=False)
