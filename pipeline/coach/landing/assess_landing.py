"""Step: say how drives land and run on soft, normal and firm turf, and which delivery is best for total.

In: bands.csv (BandTable), golfers.csv (Golfers), frontier.json, model.json, calibration.json. Out: landing_bands.csv
(LandingBands: one row per band and turf, which may be published) and landing.csv (Landings: one row per golfer
assessed in the newest quarter and turf). Air is the study's standard one, calm.
"""

from pathlib import Path

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.lookup_command import Asked, place_of
from pipeline.coach.landing.landing_tables import OnTurf, landing_bands, landings_of
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.flight.calibrate import StudyFlight
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.landing import TURFS, LandingBands, Landings


def run(
    bands: str, golfers: str, frontier: str, model: str, calibration: str, landing: str, landing_bands_csv: str
) -> None:
    """Run the step; see the module's docstring."""
    carry_model, found = read_artefact(model, FittedModel).model, read_artefact(frontier, Frontier)
    flight = read_artefact(calibration, StudyFlight).calibration
    places = {turf: place_of(flight, found.air, found.turf, Asked(turf=turf)) for turf in TURFS}
    turfs = {turf: OnTurf.of(found, carry_model, place) for turf, place in places.items()}
    table = Landings.validate(landings_of(turfs, read_table(golfers, Golfers), carry_model))
    write_csv(Path(landing), table)
    of_bands = LandingBands.validate(landing_bands(turfs, read_table(bands, BandTable)))
    write_csv(Path(landing_bands_csv), of_bands)
    gains = table.filter(pl.col("total_gain_yd") >= 1).group_by("turf", maintain_order=True).len().rows()
    told = ", ".join(f"{count} on {turf} turf" for turf, count in gains) or "none"
    golfers_told = table.get_column("golfer").n_unique()
    print(f"Landing of {golfers_told} golfers. A yard or more of total to gain by delivery alone: {told}.")
