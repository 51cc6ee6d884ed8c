"""Step `compare_devices`: how the readings of the study's devices differ, and what puts them right.

Input: loaded.duckdb, whose readings stay as they are logged. Outputs: devices.json (`StudyDevices`, by which later
steps correct readings as they read drives), devices.csv (schema Devices, a row per device and reading) and sources.csv
(schema Sources, a row per log file, with what was found of its device).
"""

from pathlib import Path
from typing import Any

from pipeline.configuration.study import StandardAir
from pipeline.edge.artefacts import write_artefact
from pipeline.edge.database import devices_of_sources, golfer_summaries, read_sources
from pipeline.edge.files import write_csv
from pipeline.flight.compare import choose_reference, compare_all
from pipeline.flight.device_words import described, devices_table, reference_entry, with_devices
from pipeline.flight.devices import StudyDevices
from pipeline.flight.offsets import UNSTATED
from pipeline.tables.devices import Devices
from pipeline.tables.logs import Sources


def run(
    database: str, devices: str, table: str, sources: str, reference_device: str | None, air: dict[str, Any], seed: int
) -> None:
    """Compare the study's devices; see the module's docstring.

    Parameters
    ----------
    database, devices, table, sources : str
        Paths of the input and the outputs.
    reference_device : str or None
        The device that study.yaml names.
    air : dict
        The study's standard conditions (`StandardAir`).
    seed : int
        The study's seed.
    """
    standard = StandardAir.model_validate(air)
    drives = devices_of_sources(Path(database))
    reference = choose_reference(drives, reference_device)
    others = sorted(set(drives.get_column("device").fill_null(UNSTATED)) - {reference})
    comparisons = []
    if reference is not None and others:
        about = (standard.temp_c, standard.pressure_hpa)
        comparisons = compare_all(golfer_summaries(Path(database)), others, reference, about, seed)
    found = [described(one, reference or "") for one in comparisons]
    listed = [reference_entry(reference), *found] if reference is not None and found else found
    notes = {one.device: one.note for one in listed}
    write_artefact(devices, StudyDevices(reference, listed))
    write_csv(Path(table), Devices.validate(devices_table(comparisons, reference or "")))
    write_csv(Path(sources), Sources.validate(with_devices(read_sources(Path(database)), drives, notes)))
    print(*[f"{one.note}." for one in found] or ["One device: nothing to compare."], sep="\n")
