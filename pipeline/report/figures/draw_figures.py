"""Draw the figures of all bands of a study's newest quarter, each as png and svg.

In: golfers.csv (Golfers), bands.csv (BandTable), chart.json (curves of the benchmark step).
Out: carry_by_speed and losses.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.figure import Figure

from pipeline.report.figures.drawn import Drawn, read_drawn, write_drawn
from pipeline.report.figures.naming import CARRY, LOSSES
from pipeline.report.figures.plots import plot_carry_by_speed, plot_losses


def run(golfers: str, bands: str, chart: str, figures: Sequence[str], settings: Mapping[str, Any]) -> None:
    """Read the tables and write both figures.

    Parameters
    ----------
    golfers, bands, chart : str
        Paths of golfers.csv, bands.csv and chart.json.
    figures : sequence of str
        Paths of the figures to be made.
    settings : mapping
        Keys `study`, as pages print it, `bands` (`centres`, `half_width_mph`) and `privacy` (`min_golfers`).

    Raises
    ------
    UserError
        If an input can't be read or the workflow doesn't name a figure.
    """
    shown = read_drawn(golfers, bands, chart, settings)
    write_drawn(draw_figures(shown, settings["privacy"]["min_golfers"]), figures)


def draw_figures(shown: Drawn, min_golfers: int) -> dict[str, Figure]:
    """Draw the figures of all bands, by name; bands of fewer golfers show none of them."""
    return {
        CARRY: plot_carry_by_speed(shown.golfers, shown.bands, shown.chart, shown.speed_bands, min_golfers=min_golfers),
        LOSSES: plot_losses(shown.golfers, shown.chart),
    }
