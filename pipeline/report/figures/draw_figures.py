"""Draw the figures of a study's newest quarter, each as png and svg.

In: golfers.csv (Golfers), bands.csv (BandTable), chart.json (curves and maps of the benchmark step).
Out: carry_by_speed, losses and, for every band, delivery_<band> and delivery_<band>_dark.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import dataframely as dy
from matplotlib.figure import Figure

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_bytes
from pipeline.edge.tables_file import read_table
from pipeline.report.figures.band_map import plot_band_map
from pipeline.report.figures.look import figure_bytes, lay_out_alike
from pipeline.report.figures.naming import CARRY, FORMATS, LOSSES, delivery_name, figure_names, match_paths
from pipeline.report.figures.plots import plot_carry_by_speed, plot_losses
from pipeline.report.palette import THEMES
from pipeline.shown import Units
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers


def run(golfers: str, bands: str, chart: str, figures: Sequence[str], settings: dict[str, Any]) -> None:
    """Read the tables and write every figure.

    Parameters
    ----------
    golfers, bands, chart : str
        Paths of golfers.csv, bands.csv and chart.json.
    figures : sequence of str
        Paths of the figures to be made.
    settings : dict
        Keys `study`, as pages print it, `bands` (`centres`, `half_width_mph`), `privacy` (`min_golfers`) and `units`.

    Raises
    ------
    UserError
        If an input can't be read or the figures don't follow from the bands' centres.
    """
    paths = match_paths(figures, figure_names(settings["bands"]["centres"]), FORMATS)
    named = replace(read_artefact(chart, Chart), study=settings["study"])
    drawn = draw_all(read_table(golfers, Golfers), read_table(bands, BandTable), named, settings)
    for name, by_kind in paths.items():
        for kind, path in by_kind.items():
            write_bytes(Path(path), figure_bytes(drawn[name], kind))


def draw_all(
    golfers: dy.DataFrame[Golfers], bands: dy.DataFrame[BandTable], chart: Chart, settings: dict[str, Any]
) -> dict[str, Figure]:
    """Draw every figure of a study.

    Parameters
    ----------
    golfers, bands : DataFrame
        All quarters.
    chart : Chart
    settings : dict
        As for `run`.

    Returns
    -------
    dict
        Figures by name.
    """
    speed_bands = SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"])
    min_golfers: int = settings["privacy"]["min_golfers"]
    drawn = {
        CARRY: plot_carry_by_speed(golfers, bands, chart, speed_bands, min_golfers=min_golfers),
        LOSSES: plot_losses(golfers, chart),
    }
    units = Units(settings["units"], "km/h" if settings["units"] == "metres" else "mph")
    for centre in speed_bands.centres_mph:
        drawn |= _band_maps(
            (golfers, bands, chart, speed_bands), {"band_mph": centre, "min_golfers": min_golfers, "units": units}
        )
    return drawn


def _band_maps(what: tuple[Any, ...], choices: dict[str, Any]) -> dict[str, Figure]:
    """Draw a band's map for each theme by name; they differ by their colors alone, and so are laid out once."""
    maps = {theme: plot_band_map(*what, scheme=scheme, **choices) for theme, scheme in THEMES.items()}
    first, *others = maps.values()
    for other in others:
        lay_out_alike(other, first)
    return {delivery_name(choices["band_mph"], theme): figure for theme, figure in maps.items()}
