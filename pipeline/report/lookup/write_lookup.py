"""Step: write the coach's page, which answers a lookup on a phone without a network.

In: model.json, replicates.npz, frontier.json, calibration.json, pace.json, usual_reaching.json. Out: lookup.html.
"""

from pathlib import Path

from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.lookup_command import Asked, place_of
from pipeline.coach.goals.pace import Pace
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.files import write_text
from pipeline.fit.model import FittedModel
from pipeline.flight.calibrate import StudyFlight
from pipeline.report.lookup.lookup_data import lookup_data
from pipeline.report.lookup.lookup_page import build_lookup_page, conditions_text
from pipeline.report.lookup.reaching import reaching_data
from pipeline.statistics.drive_spread import UsualReaching


def run(
    model: str,
    replicates: str,
    frontier: str,
    calibration: str,
    pace: str,
    usual_reaching: str,
    page: str,
    window_tolerance_yd: float,
    min_golfers: int,
) -> None:
    """Run the step; see the module's docstring."""
    fitted, reached = read_artefact(model, FittedModel), read_artefact(frontier, Frontier)
    flight = read_artefact(calibration, StudyFlight)
    place = place_of(flight.calibration, reached.air, reached.turf, Asked())
    refits, gain = read_arrays(replicates)["coefficients"], read_artefact(pace, Pace).gain
    reaching = reaching_data(read_artefact(usual_reaching, UsualReaching), fitted.model, min_golfers)
    text = build_lookup_page(
        lookup_data(fitted.model, reached, place, refits, gain, reaching),
        study=reached.study,
        fitted_on=fitted.fitted_on,
        conditions=conditions_text(reached.air, reached.turf, fitted.model.offsets.reference),
        window_tolerance_yd=window_tolerance_yd,
        units=reached.units,
        strike=reached.strike,
    )
    write_text(Path(page), text)
    print(f"Wrote the coach's page for {len(reached.speed_mph)} club speeds.")
