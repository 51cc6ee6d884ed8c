"""Small logs that are as they were when their partition was last collected: what of it still holds (pure).

A log's part follows from its own bytes, the key, what the study says of it, the code and, for shots in the future, the
day. Two things of it don't: texts that hold the name of another log's golfer, and rows that tomorrow no longer reject.
A log with either isn't kept, and is read again each time. So is one with further columns: what was collected of one
that turns out to identify golfers is deleted, and shall not lie in a second place.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any, NamedTuple

import polars as pl

from pipeline.collect.other_logs import SealedNames
from pipeline.collect.partitions import describe
from pipeline.collect.pseudonym import keyed_digest
from pipeline.collect.receipt import Receipt
from pipeline.collect.rules import AHEAD, Split
from pipeline.configuration.layouts import LogFile

Tables = dict[str, pl.DataFrame]


class Part(NamedTuple):
    """What one log that could be used gives to its partition."""

    receipt: Receipt
    names: SealedNames
    rows: Split | None
    """None of a log with a header alone."""


def stamp_of_log(log_file: LogFile, sha256: str | None, key: bytes) -> str:
    """Digest what a log's part follows from, beside the code and the day; empty if the log can't be read."""
    said = json.dumps(describe([log_file]), sort_keys=True)
    text = f"log\0{sha256}\0{said}"
    return keyed_digest(key, hashlib.sha256(text.encode()).digest()) if sha256 else ""


def keep(parts: Sequence[Part], stamps: Mapping[str, str], last_day: date) -> tuple[Tables, dict[str, Any]]:
    """Give what the next run may take of logs' parts: their rows, and the rest as values for JSON.

    Parameters
    ----------
    parts : sequence of Part
        Without those whose texts another log's golfers changed.
    stamps : mapping of str to str
        Source: `stamp_of_log`.
    last_day : date
        The last day that was taken for no future when they were read, or a later one.
    """
    logs, lasting = {}, []
    for receipt, names, some in parts:
        if some and some.readings is None and AHEAD not in some.rejected["rule"]:
            own = {"receipt": asdict(receipt), "names": vars(names)}  # not copied: of thousands of golfers
            logs[receipt.source] = {"stamp": stamps[receipt.source], **own}
            lasting.append(some)
    rows = joined_rows(lasting)
    tables = {"accepted": rows.accepted, "rejected": rows.rejected} if rows else {}
    return tables, {"last_day": last_day.isoformat(), "logs": logs}


def kept(tables: Tables, about: Mapping[str, Any], stamps: Mapping[str, str], last_day: date) -> dict[str, Part]:
    """Give the parts, by source, that still hold of what `keep` gave; `stamps` and `last_day` are those of today."""
    if not about or date.fromisoformat(about["last_day"]) > last_day:
        return {}  # a clock that was set back
    by_source = {
        name: {str(source): rows for (source,), rows in table.partition_by("source", as_dict=True).items()}
        for name, table in tables.items()
    }
    found = {}
    for source, log in about["logs"].items():
        if log["stamp"] and log["stamp"] == stamps.get(source):
            rows = {name: by_source[name].get(source, table.clear()) for name, table in tables.items()}
            found[source] = Part(Receipt(**log["receipt"]), SealedNames(**log["names"]), Split(**rows))
    return found


def joined_rows(parts: Sequence[Split]) -> Split | None:
    """Put pieces of rows together, in their order and as one stretch of memory; None without any.

    A file's pages end where stretches do, and those shall not depend on which rows were read and which were kept.
    """
    if not parts:
        return None
    readings = [part.readings for part in parts if part.readings is not None]
    return Split(
        pl.concat([part.accepted for part in parts], rechunk=True),
        pl.concat([part.rejected for part in parts], rechunk=True),
        pl.concat(readings, rechunk=True) if readings else None,
    )
