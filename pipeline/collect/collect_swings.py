"""Step `collect_swings`: the logs of swings without a ball in; cleaned, pseudonymous swings out.

Inputs: all speed logs of a study and its key. Outputs: `swings` (parquet, schema Swings, a row per accepted swing that
no earlier row holds), `rejects` (csv, schema Rejects, a row per rejected row) and `sources` (csv, schema Sources, a row
per log; rows = accepted + rejected + duplicates). A log that can't be used is listed as refused with the reason; one
that changes while it is read stops the run.

Speed logs are small, so one step takes them all: the exact times, by which swings that two logs hold are told and sets
are found, are then never written down. What is written bears the day alone.
"""

from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import polars as pl

from pipeline.collect.collect_log import Receipt
from pipeline.collect.key import read_key
from pipeline.collect.read import LogRefusedError, fingerprint, open_log, sha256_of
from pipeline.collect.rules import Split
from pipeline.collect.swings import (
    deduplicate,
    find_sets,
    masked_swings,
    match_swing_headers,
    split_swings,
    standardise_swings,
    swing_remarks,
)
from pipeline.collect.times import latest_day
from pipeline.collect.withheld import holds_name, known_names, shown_headers
from pipeline.configuration.layouts import SpeedFile
from pipeline.edge.files import write_csv, write_parquet
from pipeline.errors import UserError
from pipeline.tables import SWING_REQUIRED, Rejects, Sources, Swings


class CollectedLog(NamedTuple):
    """One speed log, read."""

    receipt: Receipt
    split: Split
    """Its accepted swings, with the seconds that must not be stored, and its rejected rows."""


def run(
    logs: list[str], key: str, swings: str, rejects: str, sources: str, study: str, log_files: list[dict[str, Any]]
) -> None:
    """Collect the speed logs of a study.

    Parameters
    ----------
    logs : list of str
        Paths of the logs.
    key : str
        Path of the study's key.
    swings, rejects, sources : str
        Paths of the outputs.
    study : str
        Name of the study, which the demo key is checked against.
    log_files : list of dict
        `SpeedFile` of each log as JSON, in the order of `logs`.

    Raises
    ------
    UserError
        If the key can't be used, or a log changes meanwhile.
    """
    secret = read_key(Path(key), study)
    described = [SpeedFile.model_validate(log_file) for log_file in log_files]
    found = [collect_or_refuse(Path(log), one, secret) for log, one in zip(logs, described, strict=True)]
    told_apart = deduplicate(pl.concat([_nothing(), *(log.split.accepted for log in found)]))
    write_parquet(Path(swings), find_sets(told_apart.swings))
    rejected = pl.concat([Rejects.create_empty(), *(log.split.rejected for log in found)])
    write_csv(Path(rejects), Rejects.validate(rejected.sort("source", "row")))
    write_csv(Path(sources), sources_of([log.receipt for log in found], told_apart.duplicates))
    for log in found:
        print(log.receipt.sentence())
    repeated = sum(told_apart.duplicates.values())
    print(f"{len(found)} speed logs: {told_apart.swings.height} swings kept, {repeated} duplicates left out.")


def collect_or_refuse(log: Path, speed_file: SpeedFile, key: bytes) -> CollectedLog:
    """Collect a log; one that can't be used gives a receipt that says why, and no rows."""
    try:
        return collect_swings(log, speed_file, key)
    except LogRefusedError as refusal:
        source, sha256 = speed_file.source, sha256_of(log)
        receipt = Receipt(source, sha256, "refused", 0, 0, 0, [], [], {}, False, [], None, str(refusal))
        return CollectedLog(receipt, Split(_nothing(), Rejects.create_empty()))


def collect_swings(log: Path, speed_file: SpeedFile, key: bytes) -> CollectedLog:
    """Read, clean and mask one speed log.

    Raises
    ------
    LogRefusedError
        If the log can't be used.
    UserError
        If the file changed meanwhile.
    """
    before = fingerprint(log)
    try:
        return _collect(log, speed_file, key)
    finally:
        if fingerprint(log) != before:
            raise UserError(f"{log}: it changed while it was read; run again when it is complete.")


def _collect(log: Path, speed_file: SpeedFile, key: bytes) -> CollectedLog:
    with open_log(log, speed_file.layout) as opened:
        matched = match_swing_headers(opened.headers, speed_file.layout)
        if matched.problems:
            raise LogRefusedError("; ".join(matched.problems))
        names = known_names(opened.distinct(matched.positions["golfer"]))
        pieces = [
            standardise_swings(raw, speed_file, typed_as_text=opened.typed_as_text)
            for raw in opened.batches(matched.positions)
        ]
    masked = [masked_swings(piece, speed_file.source, key) for piece in pieces]
    _check_days(masked)
    splits = [split_swings(piece, latest_day(date.today())) for piece in masked]
    split = Split(
        pl.concat([_nothing(), *(one.accepted for one in splits)]),
        pl.concat([Rejects.create_empty(), *(one.rejected for one in splits)]),
    )
    rows = sum(piece.height for piece in pieces)
    absent = [name for name in matched.absent if name not in SWING_REQUIRED] if speed_file.entry.layout else []
    receipt = Receipt(
        source=speed_file.source,
        sha256=sha256_of(log),
        status="used",
        rows=rows,
        accepted=split.accepted.height,
        rejected=split.rejected.height,
        dropped=shown_headers(opened.headers, matched.positions.values(), names),
        absent=absent,
        withheld={},  # no text of a speed log is stored
        named_file=holds_name(speed_file.source, names, parts=False),
        notes=[*opened.notes, *swing_remarks(rows, split)],
        carry_over_flight=None,
        reason=None,
    )
    return CollectedLog(receipt, split)


def names_in(log: Path, speed_file: SpeedFile) -> list[str]:
    """List the distinct names of a speed log in the order of their first rows, for the academy's own list of names.

    A log that can't be used has none.
    """
    try:
        with open_log(log, speed_file.layout) as opened:
            matched = match_swing_headers(opened.headers, speed_file.layout)
            if matched.problems:
                return []
            pieces = [
                standardise_swings(raw, speed_file, typed_as_text=opened.typed_as_text)["golfer"].drop_nulls()
                for raw in opened.batches(matched.positions)
            ]
    except LogRefusedError:
        return []
    names: list[str] = pl.concat(pieces).unique(maintain_order=True).to_list() if pieces else []
    return names


def _check_days(pieces: list[pl.DataFrame]) -> None:
    """Refuse a log more of whose times fit with day and month exchanged than only as the layout says."""
    exchanged = sum(int(piece["only_exchanged"].sum()) for piece in pieces)
    given = sum(int((piece["swung_on"].dt.day() > 12).sum()) for piece in pieces)
    if exchanged > given:
        raise LogRefusedError(
            f"its times fit the layout's format only in part, and {exchanged} more fit with day and month exchanged; "
            "correct the format of 'swung_at'"
        )


def sources_of(receipts: list[Receipt], duplicates: dict[str, int]) -> pl.DataFrame:
    """Give the table of speed logs, by source.

    Parameters
    ----------
    receipts : list of Receipt
        Their accepted rows still include duplicates.
    duplicates : dict of str to int
        Source: number of its swings that an earlier row holds; a source without any may be absent.

    Returns
    -------
    pl.DataFrame
        Schema Sources.
    """
    rows = []
    for receipt in receipts:
        again = duplicates.get(receipt.source, 0)
        notes = list(receipt.notes)
        if again and again == receipt.accepted:
            notes.append(f"all its {again} swings were read before; leave the log out")
        own = {name: value for name, value in receipt._asdict().items() if name in Sources.column_names()}
        counts = {"accepted": receipt.accepted - again, "duplicates": again}
        rows.append(own | counts | {"reason": receipt.reason or "; ".join(notes) or None})
    table = pl.DataFrame(rows, schema=dict(Sources.create_empty().schema))
    return Sources.validate(table.sort("source"))


def _nothing() -> pl.DataFrame:
    return Swings.create_empty().with_columns(pl.lit(None, pl.Int64).alias("second"))
