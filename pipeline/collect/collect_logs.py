"""Step `collect_logs`: the logs of a partition in; their drives, rejected rows and receipts out.

Inputs: the logs and the study's key. Outputs: `shots` (parquet, schema Shots, a row per accepted drive, by source and
row), `rejects` (parquet, schema Rejects, a row per rejected row, likewise), `receipts` (JSON, a list of `Receipt`),
`names` (JSON, `SealedNames`: keyed digests of the golfers' names) and, where the study names further columns as
regressors, `readings` (parquet, schema Readings, by source, row and column).
A log that can't be used ends as a receipt that says why, and leaves its neighbours as they are; one that changes while
it is read stops the run.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.collect.clean_log import Cleaned, Sink, clean_log, judged
from pipeline.collect.key import read_key
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.other_logs import sealed_names, without_names_of
from pipeline.collect.partitions import described
from pipeline.collect.read import open_unchanged, sha256_of
from pipeline.collect.receipt import Receipt
from pipeline.collect.rules import Split
from pipeline.collect.withheld import all_names
from pipeline.configuration.layouts import LogFile
from pipeline.edge.collected_files import table_writer
from pipeline.edge.files import write_json
from pipeline.tables.logs import Readings, Rejects, Shots

Writers = Callable[[], AbstractContextManager[Sink]]
Used = list[tuple[LogFile, Cleaned]]


def run(
    key: str,
    study: str,
    folder: str,
    partition: dict[str, Any],
    shots: str,
    rejects: str,
    receipts: str,
    names: str | None = None,
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
    shots, rejects, receipts, names, readings : str
        Paths of the outputs.

    Raises
    ------
    UserError
        If the key can't be used, a log changes while it is read, or a further column of it identifies golfers.
    """
    secret, logs = read_key(Path(key), study), described(partition)
    write = partial(writers, Path(shots), Path(rejects), None if readings is None else Path(readings))
    results, used = (_alone if len(logs) == 1 else _together)(Path(folder), logs, secret, write)
    write_json(Path(receipts), [asdict(result) for result in results])
    if names is not None:
        write_json(Path(names), sealed_names(used, secret))
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


def _alone(folder: Path, logs: list[LogFile], key: bytes, write: Writers) -> tuple[list[Receipt], Used]:
    """Collect one log of any size, piece by piece."""
    log = folder / logs[0].source
    try:
        with write() as sink:
            cleaned = read_log(log, logs[0], key, sink)
            return judged([cleaned]), [(logs[0], cleaned)]
    except LogRefusedError as refusal:
        # Pieces that were written before the fault showed are gone: a log counts whole or not at all.
        with write():
            return [_refused(log, logs[0], refusal)], []


def _together(folder: Path, logs: list[LogFile], key: bytes, write: Writers) -> tuple[list[Receipt], Used]:
    """Collect small logs, which memory holds all at once."""
    used: list[tuple[LogFile, Cleaned]] = []
    refused: dict[str, Receipt] = {}
    kept: dict[str, list[Split]] = {}
    for log in logs:
        pieces: list[Split] = []
        try:
            used.append((log, read_log(folder / log.source, log, key, pieces.append)))
            kept[log.source] = pieces
        except LogRefusedError as refusal:
            refused[log.source] = _refused(folder / log.source, log, refusal)
    used = _without_each_others(used, kept)
    results = refused | {receipt.source: receipt for receipt in judged([cleaned for _, cleaned in used])}
    every = [piece for pieces in kept.values() for piece in pieces]
    with write() as sink:
        if every:
            readings = [piece.readings for piece in every if piece.readings is not None]
            sink(
                Split(
                    pl.concat([piece.accepted for piece in every]),
                    pl.concat([piece.rejected for piece in every]),
                    pl.concat(readings) if readings else None,
                )
            )
    return [results[log.source] for log in logs], used


def _without_each_others(used: Used, kept: dict[str, list[Split]]) -> Used:
    """Withhold texts that hold the name of a golfer of another log; the pieces in `kept` are changed."""
    every = all_names(cleaned.names for _, cleaned in used)
    told: Used = []
    for log, cleaned in used:
        counts = Counter(cleaned.receipt.withheld)
        for place, piece in enumerate(kept[log.source]):
            accepted, found = without_names_of(piece.accepted, log, every)
            kept[log.source][place] = piece._replace(accepted=accepted)
            counts.update(found)
        told.append((log, cleaned._replace(receipt=replace(cleaned.receipt, withheld=dict(sorted(counts.items()))))))
    return told


def _refused(log: Path, log_file: LogFile, refusal: LogRefusedError) -> Receipt:
    return Receipt(log_file.source, sha256_of(log), "refused", reason=str(refusal))
