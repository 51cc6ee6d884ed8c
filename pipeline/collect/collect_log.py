"""Collecting one log: its drives, cleaned and pseudonymous, its rejected rows, and a receipt (an edge module)."""

from collections import Counter
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import NamedTuple, Protocol

import polars as pl

from pipeline.collect.layout import Matched, match_headers, standardise
from pipeline.collect.plausible import Impression, fly_together
from pipeline.collect.pseudonym import mask, shot_keys
from pipeline.collect.read import LogRefusedError, OpenLog, fingerprint, open_log, sha256_of
from pipeline.collect.rules import Split, split
from pipeline.collect.times import latest_day
from pipeline.collect.withheld import Names, clean_texts, holds_name, known_names, shown_headers, withhold_names
from pipeline.configuration.layouts import LogFile
from pipeline.errors import UserError
from pipeline.tables import OPTIONAL_TEXTS, REQUIRED


class Receipt(NamedTuple):
    """What became of one log."""

    source: str
    sha256: str | None
    status: str
    rows: int
    accepted: int
    rejected: int
    dropped: list[str]
    """Headers that no standard column takes, or their places: their cells were never stored."""
    absent: list[str]
    """Wanted or optional columns that the layout names a header for, but the log lacks; none for standard logs."""
    withheld: dict[str, int]
    """Text columns with the number of cells that held a golfer's name and were replaced by a fixed word."""
    named_file: bool
    """Whether the log's file name, which results show, holds the name of one of its golfers."""
    notes: list[str]
    """What looks wrong with the log as a whole, though its rows were used; clauses."""
    carry_over_flight: float | None
    """Median carry over that of flight, by which logs are compared."""
    reason: str | None

    def sentence(self) -> str:
        """Say it in one line."""
        if self.status == "refused":
            return f"{self.source}: refused, {self.reason}."
        parts = [f"{self.rows} rows read, {self.accepted} accepted, {self.rejected} rejected"]
        if self.dropped:
            parts.append(f"columns not used: {', '.join(self.dropped)}")
        if self.absent:
            parts.append(f"in the layout but not in the log: {', '.join(self.absent)}")
        if self.withheld:
            told = ", ".join(f"{number} in {column}" for column, number in self.withheld.items())
            parts.append(f"cells withheld, as they hold a golfer's name: {told}")
        if self.named_file:
            parts.append("its file name holds a golfer's name and results show it: rename the file")
        told = f"{self.source}: {'; '.join(parts)}."
        return f"{told} Look again: {'; '.join(self.notes)}." if self.notes else told


class Sink(Protocol):
    """What takes the rows of a log, piece by piece."""

    def __call__(self, rows: Split, /) -> None:
        """Take the next piece."""


class Read(NamedTuple):
    """A log whose rows were read, before it is judged as a whole."""

    receipt: Receipt
    impression: Impression


def collect(log: Path, log_file: LogFile, key: bytes, sink: Sink) -> Receipt:
    """Read, clean and mask one log, handing its rows to `sink` piece by piece, and judge it; raises as `read_log`."""
    return judged([read_log(log, log_file, key, sink)])[0]


def judged(logs: Sequence[Read]) -> list[Receipt]:
    """Say of each log what looks wrong with it as a whole, and how its drives carry against flight."""
    fly_together([log.impression for log in logs])
    return [
        log.receipt._replace(
            notes=[*log.receipt.notes, *log.impression.remarks()],
            carry_over_flight=log.impression.carry_over_flight(),
        )
        for log in logs
    ]


def read_log(log: Path, log_file: LogFile, key: bytes, sink: Sink) -> Read:
    """Read, clean and mask one log, handing its rows to `sink` piece by piece.

    Raises
    ------
    LogRefusedError
        If the log can't be used, which may show after some pieces.
    UserError
        If the file changed meanwhile: no state of it was read whole, so the run stops and reads it again next time.
    """
    before = fingerprint(log)
    try:
        return _read_log(log, log_file, key, sink, before.sha256 if before else None)
    finally:
        if fingerprint(log) != before:
            raise UserError(f"{log}: it changed while it was read; run again when it is complete.")


def _read_log(log: Path, log_file: LogFile, key: bytes, sink: Sink, sha256: str | None) -> Read:
    rows = accepted = 0
    impression = Impression(log_file.layout)
    withheld: Counter[str] = Counter()
    with open_log(log, log_file.layout) as opened:
        matched = matched_columns(opened, log_file)
        # Before all rows, for any of them may hold the name of any golfer.
        names = known_names(opened.distinct(matched.positions["golfer"]))
        pseudonyms: dict[str, str] = {}
        for raw in opened.batches(matched.positions):
            read = standardise(raw, log_file, typed_as_text=opened.typed_as_text)
            nameless, found = without_names(read, log_file, names)
            withheld.update(found)
            part = split(masked(nameless, log_file, key, pseudonyms), latest_day(date.today()))
            impression.take(read, part)
            rows += raw.height
            accepted += part.accepted.height
            sink(part)
    if (reason := impression.refusal()) is not None:
        raise LogRefusedError(reason)
    standard = log_file.entry.layout is None
    receipt = Receipt(
        source=log_file.source,
        sha256=sha256,
        status="used",
        rows=rows,
        accepted=accepted,
        rejected=rows - accepted,
        dropped=shown_headers(opened.headers, matched.positions.values(), names),
        absent=[] if standard else [name for name in matched.absent if name not in REQUIRED],
        withheld=dict(sorted(withheld.items())),
        named_file=holds_name(log_file.source, names, parts=False),
        notes=list(opened.notes),
        carry_over_flight=None,
        reason=None,
    )
    return Read(receipt, impression)


def without_names(rows: pl.DataFrame, log_file: LogFile, names: Names) -> tuple[pl.DataFrame, dict[str, int]]:
    """Clean the texts of standardised rows and withhold those that hold a golfer's name; the study's own words stay."""
    columns = [name for name in OPTIONAL_TEXTS if name != "group" or log_file.group == "plain"]
    constants = {name: getattr(log_file.entry, name) for name in columns}
    return withhold_names(clean_texts(rows, columns), names, constants)


def matched_columns(opened: OpenLog, log_file: LogFile) -> Matched:
    """Match an open log's headers; raise LogRefusedError if required ones are missing."""
    matched = match_headers(opened.headers, log_file.layout)
    if matched.problems:
        raise LogRefusedError("; ".join(matched.problems))
    return matched


def refused(log: Path, log_file: LogFile, refusal: LogRefusedError) -> Receipt:
    """Give the receipt of a log that can't be used."""
    return Receipt(log_file.source, sha256_of(log), "refused", 0, 0, 0, [], [], {}, False, [], None, str(refusal))


def masked(rows: pl.DataFrame, log_file: LogFile, key: bytes, pseudonyms: dict[str, str]) -> pl.DataFrame:
    """Replace the names in standardised rows by pseudonyms, and the time by its keyed fingerprint.

    `pseudonyms` has those of golfers that were worked out before, and takes the new ones.
    """
    golfers = mask(rows["golfer"], key, "golfer", pseudonyms)
    return rows.with_columns(
        pl.lit(log_file.source).alias("source"),
        golfers,
        rows["group"] if log_file.group == "plain" else mask(rows["group"], key, "group"),
        shot_keys(golfers, rows["second"], key),
    ).drop("second")
