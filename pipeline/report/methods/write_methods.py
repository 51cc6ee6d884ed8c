"""Step: write the methods section of a paper, filled from the run.

In: sources.csv, devices.csv, golfers.csv and scores.csv, drives.parquet, model.json, replicates.npz, frontier.json,
calibration.json, and the newest fit's verdict.json where the run judges one. Out: methods.md.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.edge.artefacts import read_arrays, read_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_text
from pipeline.edge.made_by import code_version
from pipeline.edge.tables_file import read_tables
from pipeline.fit.kept import model_in_use, package_versions
from pipeline.fit.model import FittedModel
from pipeline.flight.calibrate import StudyFlight
from pipeline.flight.offsets import count_levels
from pipeline.report.methods.methods_facts import (
    RunTables,
    data_facts,
    device_facts,
    efficient_facts,
    flag_facts,
    flight_facts,
    model_facts,
)
from pipeline.report.methods.methods_text import methods_text
from pipeline.tables.devices import Devices
from pipeline.tables.figures import Scores
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources


def run(
    tables: Sequence[str],
    drives: str,
    model: str,
    replicates: str,
    frontier: str,
    calibration: str,
    which: str,
    methods: str,
    scores: str,
    settings: dict[str, Any],
    choice: dict[str, Any],
) -> None:
    """Run the step; see the module's docstring. `choice` is the `Choice` of the model in use."""
    read = read_tables([*tables, scores])
    every = open_drives(Path(drives), ("golfer", "device", "ball"))
    levels = every.gathered(count_levels).group_by("device", "ball").agg(pl.col("drives").sum())
    run_tables = RunTables(read[Sources], read[Devices], read[Golfers], read[Scores], levels)
    carry, used = read_artefact(model, FittedModel).model, model_in_use(choice, model, which)
    facts = {
        "title": settings["study"],
        "code": code_version(),
        "versions": package_versions(),
        **data_facts(run_tables, used, carry.surface.speed),
        **device_facts(read[Devices], carry),
        **flight_facts(read_artefact(calibration, StudyFlight), settings["air"]),
        **model_facts(carry, read[Scores], used, len(read_arrays(replicates)["counts"]), settings),
        **efficient_facts(read_artefact(frontier, Frontier), carry, settings),
        **flag_facts(read[Golfers], settings),
    }
    write_text(Path(methods), methods_text(facts))
    print("Wrote the methods text.")
