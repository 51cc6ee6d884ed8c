"""Step `write_database`: the study's database, for queries of one's own.

Inputs: loaded.duckdb, sources.csv, devices.csv, drives.parquet and model.json (the model in use). Output: shots.duckdb
with the tables `shots` (schema StandardShots, a row per drive, by source and row), `rejects` (Rejects), `sources`
(Sources) and `devices` (Devices), each table and column with a comment. It is made whole by this step alone and
read-only afterwards.
"""

from pathlib import Path

import polars as pl

from pipeline.edge.artefacts import read_artefact
from pipeline.edge.database import read_distinct, write_shots
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.tables.devices import Devices
from pipeline.tables.logs import Sources
from pipeline.tables.table_set import TableSet


def run(loaded: str, sources: str, devices: str, drives: str, model: str, database: str) -> None:
    """Write the database.

    Parameters
    ----------
    loaded, sources, devices, drives, model : str
        Paths of the inputs.
    database : str
        Path of the output.
    """
    pairs = read_distinct(Path(loaded), ("device", "ball"))
    added = pl.Series("added_share", read_artefact(model, FittedModel).model.added_share(pairs))
    told = TableSet({Sources: read_table(sources, Sources), Devices: read_table(devices, Devices)})
    write_shots(Path(loaded), Path(drives), pairs.with_columns(added), told, Path(database))
    print(f"Wrote {database}.")
