"""Step `collect_logs`: the logs of a partition in; their drives, rejected rows and receipts out.

Inputs: the logs and the study's key. Outputs: `shots` (parquet, schema Shots, a row per accepted drive, by source and
row), `rejects` (parquet, schema Rejects, a row per rejected row, likewise) and `receipts` (JSON, a list of
`collect_log.Receipt`). A log that can't be used ends as a receipt that says why, and leaves its neighbours as they
are; one that changes while it is read stops the run.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import polars as pl
import pyarrow.parquet

from pipeline.collect.collect_log import Read, Receipt, collect, judged, read_log, refused
from pipeline.collect.key import read_key
from pipeline.collect.partitions import described
from pipeline.collect.read import LogRefusedError
from pipeline.collect.rules import Split
from pipeline.configuration.layouts import LogFile
from pipeline.edge.files import whole, write_json
from pipeline.tables import Rejects, Shots


def run(key: str, study: str, folder: str, partition: dict[str, Any], shots: str, rejects: str, receipts: str) -> None:
    """Collect the logs of a partition.

    Parameters
    ----------
    key : str
        Path of the study's key.
    study : str
        Name of the study, which the demo key is checked against.
    folder : str
        The study's folder.
    partition : dict
        The logs, as `partitions.describe` gives them.
    shots, rejects, receipts : str
        Paths of the outputs.

    Raises
    ------
    UserError
        If the key can't be used, or a log changes while it is read.
    """
    secret = read_key(Path(key), study)
    logs = described(partition)
    collected = _alone if len(logs) == 1 else _together
    results = collected(Path(folder), logs, secret, Path(shots), Path(rejects))
    write_json(Path(receipts), [result._asdict() for result in results])
    for result in results:
        print(result.sentence())


def _alone(folder: Path, logs: list[LogFile], key: bytes, shots: Path, rejects: Path) -> list[Receipt]:
    """Collect one log of any size, piece by piece."""
    log = folder / logs[0].source
    try:
        with _writer(shots, Shots) as write_shots, _writer(rejects, Rejects) as write_rejects:

            def sink(rows: Split) -> None:
                write_shots(rows.accepted)
                write_rejects(rows.rejected)

            return [collect(log, logs[0], key, sink)]
    except LogRefusedError as refusal:
        # Pieces that were written before the fault showed are gone: a log counts whole or not at all.
        with _writer(shots, Shots), _writer(rejects, Rejects):
            return [refused(log, logs[0], refusal)]


def _together(folder: Path, logs: list[LogFile], key: bytes, shots: Path, rejects: Path) -> list[Receipt]:
    """Collect small logs, which memory holds all at once."""
    read: dict[str, Read] = {}
    results: dict[str, Receipt] = {}
    kept: list[Split] = []
    for log in logs:
        pieces: list[Split] = []
        try:
            read[log.source] = read_log(folder / log.source, log, key, pieces.append)
            kept += pieces
        except LogRefusedError as refusal:
            results[log.source] = refused(folder / log.source, log, refusal)
    results |= dict(zip(read, judged(list(read.values())), strict=True))
    with _writer(shots, Shots) as write_shots, _writer(rejects, Rejects) as write_rejects:
        if kept:
            write_shots(pl.concat([piece.accepted for piece in kept]))
            write_rejects(pl.concat([piece.rejected for piece in kept]))
    return [results[log.source] for log in logs]


class _Write(Protocol):
    def __call__(self, table: pl.DataFrame) -> None: ...


@contextmanager
def _writer(path: Path, schema: type[Shots] | type[Rejects]) -> Iterator[_Write]:
    """Open a parquet file for pieces of a table, one row group each; it appears whole or not at all."""
    form = schema.create_empty().to_arrow(compat_level=pl.CompatLevel.oldest()).schema
    open_writer: Any = pyarrow.parquet.ParquetWriter  # pyarrow declares no types
    # Numbers of rows and fingerprints don't repeat, so a dictionary of them costs time and saves nothing.
    repeating = [name for name in form.names if name not in ("row", "shot_key")]
    how = {"compression": "zstd", "use_dictionary": repeating, "write_statistics": ["source", "row"]}
    with whole(path) as part, open_writer(part, form, **how) as file:

        def write(table: pl.DataFrame) -> None:
            if table.height:
                file.write_table(table.select(form.names).to_arrow(compat_level=pl.CompatLevel.oldest()))

        yield write
