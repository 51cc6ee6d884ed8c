"""What pictures show."""

from dataclasses import dataclass

import dataframely as dy

from pipeline.bands import SpeedBands
from pipeline.benchmark.chart import Chart
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
