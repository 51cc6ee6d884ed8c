"""Figures of the evidence on a fit: golfers' means beside luck, and residuals along further columns."""

from collections.abc import Mapping

import numpy as np
import polars as pl
from matplotlib.figure import Figure

from pipeline.report.diagnostics.luck import GolferSpread
from pipeline.report.diagnostics.slopes import ALONG
from pipeline.report.figures.look import CURVE_COLOUR, FLAG_COLOUR, PLAIN_COLOUR, house_style, new_figure
from pipeline.statistics.intervals import Z90


@house_style()
def plot_golfers(spread: GolferSpread) -> Figure:
    """Plot golfers' mean residuals in their order, and where luck alone would put them."""
    figure = new_figure(10, 4)
    axes = figure.subplots()
    rank = np.arange(1, len(spread.mean_yd) + 1)
    axes.fill_between(rank, spread.low_yd, spread.high_yd, color=PLAIN_COLOUR, alpha=0.35, linewidth=0,
                      label="luck alone, 9 in 10")  # fmt: skip
    axes.plot(rank, spread.middle_yd, color=CURVE_COLOUR, linestyle=":", linewidth=1.4, label="luck alone, middle")
    axes.scatter(rank, spread.mean_yd, color=FLAG_COLOUR, edgecolor="black", linewidth=0.4, s=22, zorder=3,
                 label="golfers")  # fmt: skip
    axes.axhline(0, color=CURVE_COLOUR, linewidth=1)
    axes.set(xlabel="Golfers, by their mean residual", ylabel="Mean residual, yd")
    figure.legend(loc="outside lower center", ncols=3, frameon=False)
    return figure


@house_style()
def plot_along(along: Mapping[str, pl.DataFrame]) -> Figure:
    """Plot bin means of residuals along further columns.

    Parameters
    ----------
    along : mapping of str to DataFrame
        From `pipeline.report.diagnostics.diagnostics.residuals_along`, by the keys of `ALONG`; each has a bin or more.
    """
    rows = (len(along) + 1) // 2
    figure = new_figure(10, 3.2 * rows)
    panels = np.ravel(figure.subplots(rows, 2, sharey=True, squeeze=False))
    for axes, (name, bins) in zip(panels, along.items(), strict=False):
        middle, mean = bins["middle"].to_numpy(), bins["mean"].to_numpy()
        reach = Z90 * bins["std_error"].fill_null(0.0).to_numpy()
        axes.axhline(0, color=CURVE_COLOUR, linewidth=1)
        axes.errorbar(middle, mean, yerr=reach, color=FLAG_COLOUR, marker="o", markersize=4, linewidth=1.2,
                      capsize=2)  # fmt: skip
        axes.set(xlabel=ALONG[name].axis, ylabel="Mean residual, yd")
    for spare in panels[len(along) :]:
        spare.set_visible(False)
    return figure
