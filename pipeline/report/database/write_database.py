"""Step `write_database`: the study's database, for queries of one's own.

Inputs: loaded.duckdb, drives.parquet, model.json (the model in use), devices.json, the tables sources.csv, devices.csv,
golfers.csv, bands.csv, straightness.csv and straightness_bands.csv, and held_out.parquet, if it is of the model in use.
Output: shots.duckdb with the tables `shots` (schema StandardShots, a row per drive, by source and row), `rejects`
(Rejects) and those read, and the view `drives` (StudiedDrives), each table and column with a comment. It is made whole
by this step alone and read-only afterwards.
"""

from collections.abc import Sequence
from pathlib import Path

import polars as pl

from pipeline.edge.artefacts import read_artefact
from pipeline.edge.database import read_distinct, write_shots
from pipeline.edge.tables_file import read_tables
from pipeline.fit.model import FittedModel
from pipeline.flight.devices import StudyDevices


def run(
    loaded: str,
    tables: Sequence[str],
    readings: str,
    drives: str,
    model: str,
    database: str,
    held_out: str | list[str],
) -> None:
    """Write the database.

    Parameters
    ----------
    loaded, readings, drives, model, held_out : str
        Paths of the inputs; `readings` is devices.json.
    tables : sequence of str
        Paths of the tables to store.
    database : str
        Path of the output.
    """
    pairs = read_distinct(Path(loaded), ("device", "ball"))
    added = pl.Series("added_share", read_artefact(model, FittedModel).model.added_share(pairs))
    write_shots(
        Path(loaded),
        Path(drives),
        pairs.with_columns(added),
        read_tables(tables),
        Path(database),
        read_artefact(readings, StudyDevices).changes,
        Path(held_out) if isinstance(held_out, str) else None,
    )
    print(f"Wrote {database}.")
