"""Step `collect_logs`: the logs of a partition in; their drives, rejected rows and receipts out.

Inputs: the logs and the study's key. Outputs: `shots` (parquet, schema Shots, a row per accepted drive, by source and
row), `rejects` (parquet, schema Rejects, a row per rejected row, likewise), `receipts` (JSON, a list of `Receipt`),
`names` (JSON, `SealedNames`: keyed digests of the golfers' names) and, where the study names further columns as
regressors, `readings` (parquet, schema Readings, by source, row and column). `known` is what the next run may take of
small logs that haven't changed, so that it reads the others alone; outputs are the same as if it read all.
A log that can't be used ends as a receipt that says why, and leaves its neighbours as they are; one that changes while
it is read stops the run.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import asdict, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from pipeline.collect.clean_log import Cleaned, Cleaning, Sink, clean_log, judged
from pipeline.collect.key import read_key
from pipeline.collect.lots import Lots
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.other_logs import SealedNames, joined_names, sealed_names, without_names_of
from pipeline.collect.partitions import described
from pipeline.collect.read import open_unchanged, sha256_of
from pipeline.collect.receipt import Receipt
from pipeline.collect.rules import Split
from pipeline.collect.times import latest_day
from pipeline.collect.unchanged import Part, joined_rows, keep, kept, stamp_of_log
from pipeline.collect.withheld import Names
from pipeline.configuration.layouts import LogFile
from pipeline.edge.collected_files import read_kept, table_writer, write_kept
from pipeline.edge.files import write_json
from pipeline.tables.logs import Readings, Rejects, Shots

Writers = Callable[[], AbstractContextManager[Sink]]
# Receipts of all logs, names in those that could be used, and parts that the next run may take.
Collected = tuple[list[Receipt], SealedNames, list[Part]]


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
    known: str | None = None,
    code: str = "",
) -> None:
    """Collect the logs of a partition.

    Parameters
    ----------
    key, study, folder, partition
        Path of the study's key; the study's name and folder; its logs, as `partitions.describe` gives them.
    shots, rejects, receipts, names, readings, known, code : str
        Paths of the outputs; a digest of the step's code, without which nothing is taken from the last run.

    Raises
    ------
    UserError
        If the key can't be used, a log changes while it is read, or a further column of it identifies golfers.
    """
    secret, logs = read_key(Path(key), study), described(partition)
    write = partial(writers, Path(shots), Path(rejects), None if readings is None else Path(readings))
    stamps = stamps_of(Path(folder), logs, secret)
    before = kept(*read_kept(Path(known), code), stamps, latest_day(date.today())) if known else {}
    gather = _alone if len(logs) == 1 else _together
    results, sealed, lasting = gather(Path(folder), logs, secret, write, before)
    write_json(Path(receipts), [asdict(result) for result in results])
    if names is not None:
        write_json(Path(names), vars(sealed))
    if known is not None:
        write_kept(Path(known), *keep(lasting, stamps, latest_day(date.today())), code)
    print(*(result.sentence() for result in results), sep="\n")


def stamps_of(folder: Path, logs: list[LogFile], key: bytes) -> dict[str, str]:
    """Give each log's stamp, by its source; none for a log alone, of which nothing is kept."""
    return (
        {} if len(logs) == 1 else {log.source: stamp_of_log(log, sha256_of(folder / log.source), key) for log in logs}
    )


def read_log(log: Path, log_file: LogFile, key: bytes, sink: Sink) -> Cleaned:
    """Read and clean one log, piece by piece; raises as `read.open_unchanged` and `clean_log` do."""
    with open_unchanged(log, log_file.layout) as opened:
        return clean_log(opened, log_file, key, sink)


def read_into(lots: Lots, log: Path, log_file: LogFile) -> Cleaning:
    """Read one small log into lots; raises as `read.open_unchanged` and `Cleaning` do."""
    with open_unchanged(log, log_file.layout) as opened:
        begun = Cleaning.of(opened, log_file, small=True)
        for raw in begun.pieces():
            lots.take(begun, raw)
    return begun


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


def _alone(folder: Path, logs: list[LogFile], key: bytes, write: Writers, _: dict[str, Part]) -> Collected:
    """Collect one log of any size, piece by piece; nothing of it is kept."""
    log_file = logs[0]
    log = folder / log_file.source
    try:
        with write() as sink:
            cleaned = read_log(log, log_file, key, sink)
            return judged([cleaned]), sealed_names(log_file, cleaned, key), []
    except LogRefusedError as refusal:
        # Pieces that were written before the fault showed are gone: a log counts whole or not at all.
        with write():
            return [_refused(log, log_file, refusal)], joined_names([]), []


def _together(folder: Path, logs: list[LogFile], key: bytes, write: Writers, before: dict[str, Part]) -> Collected:
    """Collect small logs, which memory holds all at once; those in `before` aren't read."""
    read, refused = _read(folder, [log for log in logs if log.source not in before], key)
    parts = {log.source: (before | read)[log.source] for log in logs if log.source not in refused}
    if before:
        print(f"Read {len(logs) - len(before)} of {len(logs)} logs; the others haven't changed.")
    names = joined_names([part.names for part in parts.values()])
    told = _without_each_others({log.source: log for log in logs}, parts, names.names(), key)
    rows = joined_rows([part.rows for part in told.values() if part.rows])
    with write() as sink:
        if rows:
            sink(rows)
    results = [refused[log.source] if log.source in refused else told[log.source].receipt for log in logs]
    lasting = [part for source, part in told.items() if part is parts[source]]
    return results, names, lasting


def _read(folder: Path, logs: list[LogFile], key: bytes) -> tuple[dict[str, Part], dict[str, Receipt]]:
    """Read logs, and judge those that can be used; give the parts of these and receipts of the others by source."""
    lots, begun = Lots(key), {}
    refused: dict[str, Receipt] = {}
    for log in logs:
        try:
            begun[log.source] = read_into(lots, folder / log.source, log)
        except LogRefusedError as refusal:
            lots.forget(log)
            refused[log.source] = _refused(folder / log.source, log, refusal)
    lots.clean()
    used: list[tuple[LogFile, Cleaned]] = []
    for log in logs:
        if log.source in begun:
            try:
                used.append((log, begun[log.source].cleaned()))
            except LogRefusedError as refusal:
                refused[log.source] = _refused(folder / log.source, log, refusal)
    receipts = judged([cleaned for _, cleaned in used])
    return {
        log.source: Part(receipt, sealed_names(log, cleaned, key), joined_rows(lots.rows[log.source]))
        for receipt, (log, cleaned) in zip(receipts, used, strict=True)
    }, refused


def _without_each_others(
    logs: Mapping[str, LogFile], parts: Mapping[str, Part], every: Names, key: bytes
) -> dict[str, Part]:
    """Withhold texts that hold the name of a golfer of another log; a part without any stays the same object."""
    told = dict(parts)
    for source, part in parts.items():
        if part.rows:
            accepted, found = without_names_of(part.rows.accepted, logs[source], every, key)
            if found:
                counts = Counter(part.receipt.withheld) + Counter(found)
                receipt = replace(part.receipt, withheld=dict(sorted(counts.items())))
                told[source] = part._replace(receipt=receipt, rows=part.rows._replace(accepted=accepted))
    return told


def _refused(log: Path, log_file: LogFile, refusal: LogRefusedError) -> Receipt:
    return Receipt(log_file.source, sha256_of(log), "refused", reason=str(refusal))
