"""Figures of the page of sensitivity; each function takes the table and returns a matplotlib figure."""

import numpy as np
import polars as pl
from matplotlib.figure import Figure

from pipeline.report.diagnostics.diagnostics_plots import plain_label
from pipeline.report.figures.look import CURVE_COLOUR, FLAG_COLOUR, PLAIN_COLOUR, house_style, new_figure
from pipeline.report.palette import LIGHT

LONGEST_NAME = 44
ROW_IN = 0.28  # height of a scenario's row, in


@house_style()
def plot_moves(rows: pl.DataFrame, reach_yd: dict[float, float], *, shaded: bool) -> Figure:
    """Plot the moves of efficient carry by scenario, a panel a band.

    Parameters
    ----------
    rows : DataFrame
        Rows of `Sensitivity` of bands, of the scenarios to show.
    reach_yd : dict of float to float
        Of the interval of each band to be shown.
    shaded : bool
        Whether the interval is drawn, and moves beyond it stand out.
    """
    names = rows.get_column("scenario").unique(maintain_order=True).to_list()
    figure = new_figure(12, 1.3 + ROW_IN * max(len(names), 2))
    panels = np.ravel(figure.subplots(1, len(reach_yd), sharex=True, sharey=True, squeeze=False))
    for axes, (band, reach) in zip(panels, reach_yd.items(), strict=True):
        here = rows.filter(pl.col("band_mph") == band).drop_nulls("move_yd")
        place = [names.index(name) for name in here.get_column("scenario")]
        move = here.get_column("move_yd").to_numpy()
        if shaded:
            axes.axvspan(-reach, reach, color=LIGHT.good_pale, linewidth=0)
        beyond = (np.abs(move) > reach) if shaded else np.zeros(len(move), dtype=bool)
        axes.axvline(0, color=CURVE_COLOUR, linewidth=1)
        axes.hlines(place, 0, move, colors="black", linewidth=1)
        # Beyond the interval a dot is of another shape too: nothing is told by color alone.
        for marks, color, marker in ((~beyond, PLAIN_COLOUR, "o"), (beyond, FLAG_COLOUR, "D")):
            axes.scatter(
                move[marks], np.array(place)[marks], c=[color], marker=marker, edgecolor="black", s=48, zorder=3
            )
        axes.set(xlabel=f"At {band:g} mph,\nyd")
        axes.grid(False, axis="y")
    panels[0].margins(x=0.08)
    panels[0].set_yticks(range(len(names)), [plain_label(name, LONGEST_NAME) for name in names])
    panels[0].set_ylim(len(names) - 0.4, -0.6)
    return figure


@house_style()
def plot_flags(whole: pl.DataFrame, flagged: int) -> Figure:
    """Plot the flags by scenario: those that stay, join, leave, and those of golfers who aren't assessed there.

    Parameters
    ----------
    whole : DataFrame
        Rows of `Sensitivity` of all golfers.
    flagged : int
        As it is.
    """
    rows = whole.drop_nulls("flagged")
    figure = new_figure(12, 1.6 + ROW_IN * max(rows.height, 2))
    axes = figure.subplots()
    place = np.arange(rows.height)
    stay = (rows.get_column("flagged") - rows.get_column("joined")).to_numpy()
    parts = (
        ("stay", stay, PLAIN_COLOUR, None),
        ("leave", rows.get_column("left").to_numpy(), LIGHT.paper, "////"),
        ("not assessed there", rows.get_column("gone").to_numpy(), LIGHT.paper, ".."),
        ("join", rows.get_column("joined").to_numpy(), FLAG_COLOUR, None),
    )
    begun = np.zeros(rows.height)
    for label, count, color, hatch in parts:
        axes.barh(place, count, left=begun, color=color, hatch=hatch, edgecolor="black", linewidth=0.8, label=label)
        begun = begun + count
    axes.axvline(flagged, color=CURVE_COLOUR, linewidth=1.6, linestyle="--", zorder=4)
    axes.set_yticks(place, [plain_label(name, LONGEST_NAME) for name in rows.get_column("scenario")])
    axes.set(ylim=(rows.height - 0.4, -0.6), xlabel="Golfers flagged in the newest quarter")
    axes.grid(False, axis="y")
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=4, frameon=False)
    return figure
