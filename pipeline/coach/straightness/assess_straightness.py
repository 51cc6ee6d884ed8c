"""Step: say how straight every golfer drives, quarter by quarter, and how straight the bands' golfers do.

In: drives.parquet, calibration.json. Out: straightness.csv (one row per golfer and quarter) and
straightness_bands.csv (one row per quarter and band, as it may be published). Both have no rows where no log says
where drives came down.
"""

from pathlib import Path
from typing import Any

import polars as pl

from pipeline.bands import SpeedBands
from pipeline.coach.straightness.band_spreads import band_spreads
from pipeline.coach.straightness.offline import COLUMNS, SideFlight
from pipeline.coach.straightness.other_flights import with_others
from pipeline.coach.straightness.straightness import landed, straightness_of
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.flight.calibrate import StudyFlight
from pipeline.tables.straightness import ASSESSED, Straightness, StraightnessBands


def run(
    drives: str,
    calibration: str,
    straightness: str,
    straightness_bands: str,
    air: dict[str, Any],
    bands: dict[str, Any],
    corridor_yd: float,
    min_shots: int,
    min_golfers: int,
) -> None:
    """Run the step; see the module's docstring."""
    flight = SideFlight.of(read_artefact(calibration, StudyFlight), air)
    every = open_drives(Path(drives), COLUMNS)
    landings, counts = landed(every, with_others(flight, every))
    table = Straightness.validate(straightness_of(landings, counts, min_shots, corridor_yd))
    speed_bands = SpeedBands.of(bands["centres"], bands["half_width_mph"])
    published = StraightnessBands.validate(band_spreads(table, counts, speed_bands, min_golfers, corridor_yd))
    write_csv(Path(straightness), table)
    write_csv(Path(straightness_bands), published)
    if table.is_empty():
        print("No log says where drives came down, so nothing is said about straightness.")
        return
    newest = table.filter(pl.col("quarter") == pl.col("quarter").max())
    assessed = newest.filter(pl.col("status") == ASSESSED).height
    print(f"Newest quarter: straightness of {assessed} golfers assessed.")
