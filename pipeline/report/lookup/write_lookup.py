"""Step: write the coach's page, which answers a lookup on a phone without a network.

In: model.json, guide.json, calibration.json. Out: lookup.html.
"""

from pathlib import Path

from pipeline.benchmark.lookup import Guide
from pipeline.benchmark.lookup_command import Asked, place_of
from pipeline.edge.files import write_text
from pipeline.edge.tables_file import read_json
from pipeline.fit.model import CarryModel
from pipeline.flight.calibrate import Calibration
from pipeline.report.lookup.lookup_data import build_lookup_page, conditions_text, lookup_data


def run(model: str, guide: str, calibration: str, page: str, window_tolerance_yd: float) -> None:
    """Run the step; see the module's docstring.

    Raises
    ------
    UserError
        If an input is missing or is no JSON.
    """
    fitted, grid = read_json(model), read_json(guide)
    carry_model = CarryModel.from_dict(fitted["model"])
    kept = Calibration.from_dict(read_json(calibration)["calibration"])
    place = place_of(kept, grid["air"], str(grid["turf"]), Asked())
    data = lookup_data(carry_model, Guide.from_dict(grid), place, str(grid["study"]))
    text = build_lookup_page(
        data,
        fitted_on=fitted["fitted_on"],
        conditions=conditions_text(grid["air"], grid["turf"], carry_model.offsets.reference),
        window_tolerance_yd=window_tolerance_yd,
    )
    write_text(Path(page), text)
    print(f"Wrote the coach's page for {len(grid['speeds'])} club speeds.")
