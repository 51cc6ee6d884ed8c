"""Step `collect_logs`: the logs of a partition in; their drives, rejected rows and receipts out.

Inputs: the logs and the study's key. Outputs: `shots` (parquet, schema Shots, a row per accepted drive, by source and
row), `rejects` (parquet, schema Rejects, a row per rejected row, likewise), `receipts` (JSON, a list of `Receipt`) and,
where the study names further columns as regressors, `readings` (parquet, schema Readings, by source, row and column).
A log that can't be used ends as a receipt that says why, and leaves its neighbours as they are; one that changes while
it is read stops the run.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.collect.clean_log import Cleaned, Sink, clean_log, judged
from pipeline.collect.key import read_key
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.partitions import described
from pipeline.collect.read import open_unchanged, sha256_of
from pipeline.collect.receipt import Receipt
from pipeline.collect.rules import Split
from pipeline.configuration.layouts import LogFile
from pipeline.edge.collected_files import table_writer
from pipeline.edge.files import write_json
from pipeline.tables.logs import Readings, Rejects, Shots

Writers = Callable[[], AbstractContextManager[Sink]]


def run(
    key: str,
    study: str,
    folder: str,
    partition: dict[str, Any],
    shots: str,
    rejects: str,
    receipts: str,
    readings: str | None = None,
) -> None:
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
    shots, rejects, receipts, readings : str
        Paths of the outputs.

    Raises
    ------
    UserError
        If the key can't be used, a log changes while it is read, or a further column of it identifies golfers.
    """
    secret = read_key(Path(key), study)
    logs = described(partition)
    collected = _alone if len(logs) == 1 else _together
    write = partial(writers, Path(shots), Path(rejects), None if readings is None else Path(readings))
    results = collected(Path(folder), logs, secret, write)
    write_json(Path(receipts), [asdict(result) for result in results])
    for result in results:
        print(result.sentence())


def read_log(log: Path, log_file: LogFile, key: bytes, sink: Sink) -> Cleaned:
    """Read and clean one log, piece by piece; raises as `read.open_unchanged` and `clean_log` do."""
    with open_unchanged(log, log_file.layout) as opened:
        return clean_log(opened, log_file, key, sink)


def collect(log: Path, log_file: LogFile, key: bytes, sink: Sink) -> Receipt:
    """Read, clean and judge one log; raises as `read_log` does."""
    return judged([read_log(log, log_file, key, sink)])[0]


@contextmanager
def writers(shots: Path, rejects: Path, readings: Path | None) -> Iterator[Sink]:
    """Open the files of a partition for its rows, piece by piece; they appear whole or not at all."""
    with ExitStack() as opened:
        write_shots = opened.enter_context(table_writer(shots, Shots))
        write_rejects = opened.enter_context(table_writer(rejects, Rejects))
        write_readings = opened.enter_context(table_writer(readings, Readings)) if readings else None

        def sink(rows: Split) -> None:
            write_shots(rows.accepted)
            write_rejects(rows.rejected)
            if write_readings and rows.readings is not None:
                write_readings(rows.readings)

        yield sink


def _alone(folder: Path, logs: list[LogFile], key: bytes, write: Writers) -> list[Receipt]:
    """Collect one log of any size, piece by piece."""
    log = folder / logs[0].source
    try:
        with write() as sink:
            return [collect(log, logs[0], key, sink)]
    except LogRefusedError as refusal:
        # Pieces that were written before the fault showed are gone: a log counts whole or not at all.
        with write():
            return [_refused(log, logs[0], refusal)]


def _together(folder: Path, logs: list[LogFile], key: bytes, write: Writers) -> list[Receipt]:
    """Collect small logs, which memory holds all at once."""
    read: dict[str, Cleaned] = {}
    results: dict[str, Receipt] = {}
    kept: list[Split] = []
    for log in logs:
        pieces: list[Split] = []
        try:
            read[log.source] = read_log(folder / log.source, log, key, pieces.append)
            kept += pieces
        except LogRefusedError as refusal:
            results[log.source] = _refused(folder / log.source, log, refusal)
    results |= dict(zip(read, judged(list(read.values())), strict=True))
    with write() as sink:
        if kept:
            readings = [piece.readings for piece in kept if piece.readings is not None]
            sink(
                Split(
                    pl.concat([piece.accepted for piece in kept]),
                    pl.concat([piece.rejected for piece in kept]),
                    pl.concat(readings) if readings else None,
                )
            )
    return [results[log.source] for log in logs]


def _refused(log: Path, log_file: LogFile, refusal: LogRefusedError) -> Receipt:
    return Receipt(log_file.source, sha256_of(log), "refused", reason=str(refusal))
