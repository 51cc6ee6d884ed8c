"""Draw the figures of all bands of a study's newest quarter, each as png and svg.

In: golfers.csv (Golfers), bands.csv (BandTable), chart.json (curves of the benchmark step).
Out: carry_by_speed and losses.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_bytes
from pipeline.edge.tables_file import read_table
from pipeline.report.figures.drawn import Drawn
from pipeline.report.figures.look import figure_bytes
from pipeline.report.figures.naming import CARRY, FORMATS, LOSSES, match_paths
from pipeline.report.figures.plots import plot_carry_by_speed, plot_losses
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers


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


def read_drawn(golfers: str, bands: str, chart: str, settings: Mapping[str, Any]) -> Drawn:
    """Read what pictures show.

    Parameters
    ----------
    golfers, bands, chart : str
        Paths of golfers.csv, bands.csv and chart.json.
    settings : mapping
        Keys `study`, as pages print it, and `bands` (`centres`, `half_width_mph`).

    Raises
    ------
    UserError
        If an input can't be read.
    """
    return Drawn(
        read_table(golfers, Golfers),
        read_table(bands, BandTable),
        replace(read_artefact(chart, Chart), study=settings["study"]),
        SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"]),
    )


def write_drawn(figures: Mapping[str, Figure], paths: Sequence[str]) -> None:
    """Write figures in each format.

    Parameters
    ----------
    figures : mapping
        By name.
    paths : sequence of str
        Of all files, as the workflow names them.

    Raises
    ------
    UserError
        If the workflow doesn't name a figure's file, or a file can't be written.
    """
    for name, by_kind in match_paths(paths, list(figures), FORMATS).items():
        for kind, path in by_kind.items():
            write_bytes(Path(path), figure_bytes(figures[name], kind))


def draw_figures(shown: Drawn, min_golfers: int) -> dict[str, Figure]:
    """Draw the figures of all bands, by name; bands of fewer golfers show none of them."""
    return {
        CARRY: plot_carry_by_speed(shown.golfers, shown.bands, shown.chart, shown.speed_bands, min_golfers=min_golfers),
        LOSSES: plot_losses(shown.golfers, shown.chart),
    }
