"""Cleaning one log: its drives, pseudonymous, its rejected rows, and a receipt (pure: touches no file)."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple, Protocol

import polars as pl

from pipeline.collect.further import IN_BATCHES, Further, places_of
from pipeline.collect.layout import Matched, match_headers, standardise
from pipeline.collect.opened_log import LogRefusedError, OpenLog
from pipeline.collect.plausible import Impression, fly_together
from pipeline.collect.pseudonym import mask, shot_keys
from pipeline.collect.receipt import Receipt
from pipeline.collect.rows_taken import RowsFound
from pipeline.collect.rules import Split, split
from pipeline.collect.times import latest_day
from pipeline.collect.withheld import Names, clean_texts, holds_name, known_names, shown_headers, withhold_names
from pipeline.collect.without_flight import of_the_other_kind
from pipeline.configuration.layouts import LogFile
from pipeline.errors import UserError
from pipeline.tables.logs import OPTIONAL_TEXTS

NO_ROWS = "it holds a header and no rows"


class Sink(Protocol):
    """What takes the rows of a log, piece by piece."""

    def __call__(self, rows: Split, /) -> None:
        """Take the next piece."""


class Cleaned(NamedTuple):
    """A log whose rows were cleaned, before it is judged as a whole."""

    receipt: Receipt
    impression: Impression
    names: Names
    golfers: Mapping[str, str]
    """Pseudonym by name, as written."""


def clean_log(opened: OpenLog, log_file: LogFile, key: bytes, sink: Sink) -> Cleaned:
    """Clean and mask the rows of an open log, handing them to `sink` piece by piece.

    Raises
    ------
    LogRefusedError
        If the log can't be used, which may show after some pieces.
    UserError
        If a further column identifies golfers.
    """
    rows = accepted = 0
    impression = Impression(log_file.layout)
    withheld: Counter[str] = Counter()
    matched = matched_columns(opened, log_file)
    # Before all rows, for any of them may hold the name of any golfer.
    names = known_names(opened.distinct(matched.positions["golfer"]))
    pseudonyms: dict[str, str] = {}
    places = places_of(opened.headers, log_file.layout, log_file.regressors, matched)
    further = Further(tuple(places), log_file.layout, opened.typed_as_text)
    taken = RowsFound.of(opened.headers, log_file.layout)
    wanted = matched.positions | {f"{IN_BATCHES}{name}": place for name, place in places.items()} | taken.positions
    for whole in opened.batches(wanted):
        raw = taken.take(whole)
        read = standardise(raw, log_file, typed_as_text=opened.typed_as_text)
        nameless, found = without_names(read, log_file, names)
        withheld.update(found)
        part = split(masked(nameless, log_file, key, pseudonyms), latest_day(date.today()), log_file.table)
        impression.take(read, part)
        rows += raw.height
        accepted += part.accepted.height
        sink(part._replace(readings=further.take(raw, part.accepted)) if log_file.regressors else part)
    if identifying := further.identifying():
        raise UserError("\n".join(identifying))
    if (reason := impression.refusal()) is not None:
        raise LogRefusedError(reason)
    standard = log_file.entry.layout is None
    receipt = Receipt(
        source=log_file.source,
        sha256=opened.sha256,
        status="used",
        rows=rows,
        accepted=accepted,
        rejected=rows - accepted,
        dropped=shown_headers(opened.headers, opened.used(wanted.values()), names),
        absent=[] if standard else [name for name in matched.absent if name not in log_file.required],
        withheld=dict(sorted(withheld.items())),
        named_file=holds_name(log_file.source, names, parts=False),
        notes=[*opened.notes, *taken.remarks(rows), *([] if rows or taken.left_out else [NO_ROWS])],
        further=further.counts(),
        left_out=taken.left_out,
    )
    return Cleaned(receipt, impression, names, pseudonyms)


def judged(logs: Sequence[Cleaned]) -> list[Receipt]:
    """Say of each log what looks wrong with it as a whole, and how its drives carry against flight."""
    fly_together([log.impression for log in logs])
    return [
        replace(
            log.receipt,
            notes=[*log.receipt.notes, *log.impression.remarks()],
            carry_over_flight=log.impression.carry_over_flight(),
        )
        for log in logs
    ]


def without_names(rows: pl.DataFrame, log_file: LogFile, names: Names) -> tuple[pl.DataFrame, dict[str, int]]:
    """Clean the texts of standardised rows and withhold those that hold a golfer's name; the study's own words stay."""
    constants = texts_kept(log_file)
    return withhold_names(clean_texts(rows, list(constants)), names, constants)


def texts_kept(log_file: LogFile) -> dict[str, str | None]:
    """Name the text columns whose texts are stored as they are, with the study's own word for each."""
    columns = [name for name in OPTIONAL_TEXTS if name != "group" or log_file.group == "plain"]
    return {name: getattr(log_file.entry, name) for name in columns}


def matched_columns(opened: OpenLog, log_file: LogFile) -> Matched:
    """Match an open log's headers; raise LogRefusedError if required ones are missing, or it is of the other kind."""
    matched = match_headers(opened.headers, log_file.layout, required=log_file.required)
    if (reason := of_the_other_kind(opened.headers, matched, by_hand=log_file.by_hand)) is not None:
        raise LogRefusedError(reason)
    if matched.problems:
        raise LogRefusedError("; ".join(matched.problems))
    return matched


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


def golfers_of(opened: OpenLog, log_file: LogFile) -> list[str]:
    """List the distinct golfers of an open log, as written, in the order of their first rows; for names.csv alone."""
    matched, taken = matched_columns(opened, log_file), RowsFound.of(opened.headers, log_file.layout)
    return distinct_in_order(
        standardise(taken.take(raw), log_file, typed_as_text=opened.typed_as_text)["golfer"]
        for raw in opened.batches(matched.positions | taken.positions)
    )


def distinct_in_order(pieces: Iterable[pl.Series]) -> list[str]:
    """List the distinct texts of some pieces in the order in which they first come; nulls are none."""
    distinct = [piece.drop_nulls().unique(maintain_order=True) for piece in pieces]
    texts: list[str] = pl.concat(distinct).unique(maintain_order=True).to_list() if distinct else []
    return texts
