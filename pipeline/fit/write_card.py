"""Step: write the model's card.

In: drives.parquet, model.json, coefficients.csv, scores.csv, held_out.parquet and replicates.npz of a fit, and
calibration.json. Out: card.md, from which and coefficients.csv carry can be calculated by hand.

A step of its own, since the id of a fit is that of its files, and since what counts as efficient is no part of a fit.
"""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.configuration.study import Efficient, StandardAir
from pipeline.drives import Drives, speed_of_study, straightened
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_text
from pipeline.edge.tables_file import read_table
from pipeline.fit.card import CardFacts, card_text, residual_sd_yd
from pipeline.fit.card_formula import flight_gap
from pipeline.fit.held_out import edges_at
from pipeline.fit.kept import model_id
from pipeline.fit.model import CarryModel, Delivery, FittedModel
from pipeline.fit.scores import choice_of
from pipeline.fit.survey import extents_of
from pipeline.flight.calibrate import StudyFlight
from pipeline.physics.air import Air
from pipeline.statistics.arrays import Array
from pipeline.tables.figures import Scores

FLOWN = 1000  # drives by which the formula is compared with the model


def run(
    drives: str,
    model: str,
    coefficients: str,
    scores: str,
    held_out: str,
    replicates: str,
    calibration: str,
    card: str,
    settings: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring. `settings` are those of the study, but for its logs."""
    fitted, table = read_artefact(model, FittedModel), read_table(scores, Scores)
    every = open_drives(Path(drives)).mapped(straightened)
    used = every.usable(speed_of_study(every))
    air = StandardAir.model_validate(settings["air"])
    standard = Air.of(air.temp_c, air.pressure_hpa * 100, air.humidity)
    predictions, flight = pl.read_parquet(held_out), read_artefact(calibration, StudyFlight)
    facts = CardFacts(
        id=model_id({"model": model, "coefficients": coefficients, "scores": scores, "calibration": calibration}),
        fitted=fitted,
        scores=table,
        choice=choice_of(table, settings["model"]["choose"]),
        extents=extents_of(used),
        residual_sd_yd=residual_sd_yd(_squares(fitted.model, used), fitted.fitted_on.drives, fitted.model),
        gap=flight_gap(fitted.model, _some(used, fitted.fitted_on.drives), flight.calibration.ball, standard),
        flight=flight,
        air=air,
        seed=settings["seed"],
        folds=predictions.get_column("fold").n_unique(),
        replicates=len(read_arrays(replicates)["counts"]),
        efficient=Efficient.model_validate(settings["efficient"]),
        level=settings["intervals"]["level"],
        intervals=edges_at(settings["intervals"]["level"], predictions),
    )
    write_text(Path(card), card_text(facts))
    print(f"Wrote the card of the model {facts.id}.")


def _some(used: Drives, count: int) -> pl.DataFrame:
    """Take about `FLOWN` of the drives, evenly."""
    step = max(count // FLOWN, 1)
    return used.gathered(lambda frame: frame.select("ball_speed_mph", "launch_deg", "spin_rpm").gather_every(step))


def _squares(model: CarryModel, used: Drives) -> Array:
    """Sum the squared residuals of drives, yd^2, piece by piece."""

    def squares(frame: pl.DataFrame) -> float:
        residual = model.reference_carry(frame) - model.expected(Delivery.of(frame))
        return float(np.sum(residual**2))

    return np.array(list(used.each(squares)))
