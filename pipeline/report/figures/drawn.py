"""What both steps that draw pictures read, and how they write them (an edge module)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import dataframely as dy
from matplotlib.figure import Figure

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_bytes
from pipeline.edge.tables_file import read_table
from pipeline.report.figures.look import figure_bytes
from pipeline.report.figures.naming import FORMATS, match_paths
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers


@dataclass(frozen=True)
class Drawn:
    """What pictures show."""

    golfers: dy.DataFrame[Golfers]
    """Of all quarters."""
    bands: dy.DataFrame[BandTable]
    """Of all quarters."""
    chart: Chart
    """Curves and maps of the newest quarter, with the study's name as pages print it."""
    speed_bands: SpeedBands


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
