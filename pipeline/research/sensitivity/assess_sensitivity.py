"""Step: see how far a study's figures move when one of its choices is made otherwise.

In: drives.parquet, model.json, scores.csv, frontier.json, replicates.npz, efficient_replicates.npz, devices.json,
calibration.json, calibrations.csv, the study's own candidates, regressors.parquet where it names any. Out:
sensitivity.csv (one row per scenario and band, and one of all golfers).
"""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from pipeline.bands import SpeedBands
from pipeline.benchmark.frontier import Frontier
from pipeline.configuration.study import Model, StandardAir
from pipeline.drives import FIT_COLUMNS, Drives
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.errors import UserError
from pipeline.fit.model import FittedModel
from pipeline.fit.own_files import read_written
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.curve import SIDE_COLUMNS
from pipeline.flight.devices import StudyDevices
from pipeline.golfers.flags import FlagRules
from pipeline.golfers.losses import known_losses
from pipeline.golfers.shared_errors import SharedErrors
from pipeline.physics.air_of_drives import AIR_COLUMNS
from pipeline.research.sensitivity.flight_sets import other_sets
from pipeline.research.sensitivity.moves import moves_of
from pipeline.research.sensitivity.scenarios import AXIS, scenarios_of
from pipeline.research.sensitivity.worked_out import Asked
from pipeline.tables.figures import Calibrations, Scores
from pipeline.tables.logs import DriveTable
from pipeline.tables.sensitivity import Sensitivity

MOST_GOLFERS = 5000  # more would say the same, and cost minutes
COLUMNS = (*FIT_COLUMNS, "carry_measured_yd", "struck_on", AXIS, *AIR_COLUMNS, *SIDE_COLUMNS)

say = partial(print, flush=True)


def run(
    drives: str,
    model: str,
    scores: str,
    frontier: str,
    replicates: str,
    efficient_replicates: str,
    devices: str,
    calibration: str,
    calibrations: str,
    sensitivity: str,
    settings: dict[str, Any],
    own: Sequence[str],
    beside: str | None = None,
) -> None:
    """Run the step; see the module's docstring. `settings` are those of study.yaml that figures depend on."""
    fitted, reached = read_artefact(model, FittedModel), read_artefact(frontier, Frontier)
    check_newest(Path(model), Path(frontier), reached)
    step = -(-fitted.fitted_on.golfers // MOST_GOLFERS)
    columns = (*COLUMNS, *(name for name in settings["model"]["regressors"] if name in DriveTable.columns()))
    opened = open_drives(Path(drives), tuple(dict.fromkeys(columns)), None if beside is None else Path(beside))
    every = opened.of_every(step).held()
    flight, tried = read_artefact(calibration, StudyFlight), read_table(calibrations, Calibrations)
    asked = _asked(every, fitted, reached, flight, settings, own)
    others = other_sets(flight.calibration, tried, settings["flight"]["sets"], every, asked.air, asked.seed)
    errors, refits = (read_arrays(path) for path in (efficient_replicates, replicates))
    shared = SharedErrors.read_from(reached, fitted.model, errors, refits, read_artefact(devices, StudyDevices))
    doubt, _ = known_losses(every, fitted.model, shared, asked.flags.day_form_yd)
    scenarios = scenarios_of(
        every, flight.calibration, others, read_table(scores, Scores), asked.flags.min_shots, settings["efficient"]
    )
    table = Sensitivity.validate(moves_of(asked, scenarios, doubt, say))
    write_csv(Path(sensitivity), table)
    sampled = f", of one golfer in {step}" if step > 1 else ""
    say(f"Tried {len(scenarios)} scenarios{sampled}.")


def _asked(
    drives: Drives,
    fitted: FittedModel,
    frontier: Frontier,
    flight: StudyFlight,
    settings: dict[str, Any],
    own: Sequence[str],
) -> Asked:
    choices = Model.model_validate(settings["model"])
    return Asked(
        drives=drives,
        model=fitted.model,
        frontier=frontier,
        flight=flight,
        bands=SpeedBands.of(settings["bands"]["centres"], settings["bands"]["half_width_mph"]),
        min_golfers=settings["privacy"]["min_golfers"],
        flags=FlagRules(**settings["flags"]),
        air=StandardAir.model_validate(settings["air"]),
        seed=settings["seed"],
        choices=choices,
        written=read_written(choices.formulas, own),
        **settings["efficient"],
    )


def check_newest(model: Path, frontier: Path, reached: Frontier) -> None:
    """Raise UserError where benchmarks are those of a kept model: its drives aren't the study's."""
    if (frontier.parents[1] / reached.model_file).resolve() != model.resolve():
        raise UserError(
            f"{frontier}: is made with {reached.model_file}, and sensitivity is that of a fit of today's drives; "
            "run it without model=, or as a trial with trial=NAME."
        )
